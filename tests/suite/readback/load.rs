//! Records in a real PostGIS and in a GeoPackage: what is there afterwards, whatever happens in between.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use aslaid::export::geometry::projected;
use aslaid::export::{View, wkb};
use aslaid::record::AsBuilt;
use rusqlite::Connection;

use super::common::{HOSTILE, draft, local, sample};
use super::server::Database;
use super::{build, here, outside, python};

/// Results of a record in a folder of its own.
fn result(root: &Path, name: &str, record: AsBuilt) -> PathBuf {
    build(&root.join(name), record).folder
}

fn revision(number: u32) -> AsBuilt {
    let mut record = sample();
    record.job.revision = Some(number);
    for mark in &mut record.marks {
        mark.note = Some(format!("as of revision {number}"));
    }
    record
}

fn command(into: &str, results: &[&Path], more: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_aslaid"));
    command
        .arg("load")
        .args(results)
        .args(["--into", into])
        .args(more);
    command
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

fn load(into: &str, results: &[&Path], more: &[&str]) -> Output {
    command(into, results, more).output().unwrap()
}

fn loaded(into: &str, results: &[&Path], more: &[&str]) -> String {
    let output = load(into, results, more);
    assert_eq!(
        output.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8(output.stdout).unwrap()
}

fn refused(into: &str, results: &[&Path], more: &[&str]) -> String {
    let output = load(into, results, more);
    assert_eq!(
        output.status.code(),
        Some(2),
        "{}",
        String::from_utf8_lossy(&output.stdout)
    );
    String::from_utf8(output.stderr).unwrap()
}

/// A place to load into, and how to count there.
trait Place {
    fn address(&self) -> String;
    /// A number, by SQL in which `{mark}` and the like stand for the tables.
    fn count(&self, sql: &str) -> i64;
}

impl Place for Database {
    fn address(&self) -> String {
        self.url()
    }

    fn count(&self, sql: &str) -> i64 {
        Database::count(self, &sql.replace('{', "aslaid.").replace('}', ""))
    }
}

struct File {
    _folder: tempfile::TempDir,
    path: PathBuf,
}

impl File {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("utility.gpkg");
        Self {
            _folder: folder,
            path,
        }
    }
}

impl Place for File {
    fn address(&self) -> String {
        self.path.to_str().unwrap().to_owned()
    }

    fn count(&self, sql: &str) -> i64 {
        let connection = Connection::open(&self.path).unwrap();
        connection.busy_timeout(Duration::from_mins(1)).unwrap();
        connection
            .query_row(&sql.replace(['{', '}'], ""), [], |row| row.get(0))
            .unwrap()
    }
}

fn both(check: impl Fn(&dyn Place)) {
    check(&Database::new());
    check(&File::new());
}

#[test]
fn a_record_is_there_once_and_its_revisions_follow_each_other() {
    both(|place| {
        let root = tempfile::tempdir().unwrap();
        let [one, two] =
            [1, 2].map(|number| result(root.path(), &number.to_string(), revision(number)));
        let into = place.address();
        let said = loaded(&into, &[&one], &[]);
        assert!(said.contains("LAT-2031 (Invented Locating), revision 1: 2 runs, 9 marks, 3 camera observations, 3 references; new"), "{said}");
        let said = loaded(&into, &[&one], &[]);
        assert!(said.contains("the same record again"), "{said}");
        assert_eq!(place.count("SELECT count(*) FROM {mark}"), 9);
        assert_eq!(place.count("SELECT count(*) FROM {mark_history}"), 0);
        assert_eq!(place.count("SELECT count(*) FROM {record_history}"), 0);
        let said = loaded(&into, &[&two], &[]);
        assert!(said.contains("in place of revision 1"), "{said}");
        assert_eq!(
            place.count(
                "SELECT count(*) FROM {mark} WHERE revision = 2 AND note = 'as of revision 2'"
            ),
            9
        );
        assert_eq!(
            place.count("SELECT count(*) FROM {mark} WHERE revision <> 2"),
            0
        );
        assert_eq!(place.count("SELECT count(*) FROM {mark_history} WHERE revision = 1 AND note = 'as of revision 1'"), 9);
        assert_eq!(place.count("SELECT count(*) FROM {run_history}"), 2);
        assert_eq!(place.count("SELECT count(*) FROM {record_history} h JOIN {record} r USING (supplier, job) WHERE h.hash <> r.hash AND h.replaced_at IS NOT NULL"), 1);
        assert_eq!(place.count("SELECT count(DISTINCT record_hash) FROM {mark_history} JOIN {record_history} ON hash = record_hash"), 1);

        // A lower revision, and another record of the same one, are refused and change nothing.
        let message = refused(&into, &[&one], &[]);
        assert!(
            message.contains("is there with revision 2")
                && message.contains("this one has revision 1"),
            "{message}"
        );
        let mut other = revision(2);
        other.job.title = Some("Another record".to_owned());
        let other = result(root.path(), "other", other);
        let message = refused(&into, &[&other], &[]);
        assert!(
            message.contains("nothing was loaded") && message.contains("--replace"),
            "{message}"
        );
        assert_eq!(place.count("SELECT count(*) FROM {record_history}"), 1);
        loaded(&into, &[&other], &["--replace"]);
        assert_eq!(place.count("SELECT count(*) FROM {record_history}"), 2);
        assert_eq!(place.count("SELECT count(*) FROM {mark}"), 9);
    });
}

#[test]
fn the_script_makes_the_extension_and_loads() {
    let root = tempfile::tempdir().unwrap();
    let folder = result(root.path(), "a", sample());
    let database = Database::new();
    database
        .client()
        .batch_execute("DROP EXTENSION postgis")
        .unwrap();
    assert!(refused(&database.url(), &[&folder], &[]).contains("CREATE EXTENSION postgis"));
    let output = Command::new(here("scripts/load-postgis"))
        .args([
            &database.url(),
            folder.to_str().unwrap(),
            "--schema",
            "Sewer \"x\"",
        ])
        .env("ASLAID", env!("CARGO_BIN_EXE_aslaid"))
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{said}");
    assert_eq!(
        database.count("SELECT count(*) FROM \"Sewer \"\"x\"\"\".mark"),
        9
    );
}

#[test]
fn two_suppliers_have_a_job_of_one_name() {
    both(|place| {
        let root = tempfile::tempdir().unwrap();
        let of = |supplier: &str| {
            let mut record = sample();
            record.job.supplier = Some(supplier.to_owned());
            "2026-01".clone_into(&mut record.job.id);
            result(root.path(), supplier, record)
        };
        let (first, second) = (of("First Locating"), of("Second Locating"));
        loaded(&place.address(), &[&first, &second], &[]);
        loaded(&place.address(), &[&first], &[]);
        assert_eq!(place.count("SELECT count(*) FROM {mark}"), 18);
        assert_eq!(
            place.count("SELECT count(DISTINCT supplier) FROM {mark} WHERE job = '2026-01'"),
            2
        );
    });
}

#[test]
fn all_of_one_call_is_loaded_or_nothing() {
    both(|place| {
        let root = tempfile::tempdir().unwrap();
        let good = result(root.path(), "a", revision(1));
        loaded(&place.address(), &[&good], &[]);
        let mut other = sample();
        "LAT-9".clone_into(&mut other.job.id);
        let other = result(root.path(), "b", other);
        let mut clash = revision(1);
        clash.job.title = None;
        let clash = result(root.path(), "c", clash);
        refused(&place.address(), &[&other, &clash], &[]);
        assert_eq!(
            place.count("SELECT count(*) FROM {mark} WHERE job = 'LAT-9'"),
            0
        );
        assert_eq!(place.count("SELECT count(*) FROM {mark}"), 9);
    });
}

#[test]
fn a_first_load_that_fails_leaves_no_file() {
    let root = tempfile::tempdir().unwrap();
    let good = result(root.path(), "a", revision(1));
    let mut other = sample();
    "LAT-9".clone_into(&mut other.job.id);
    "EPSG:25833".clone_into(&mut other.frame.crs);
    let other = result(root.path(), "b", other);
    let place = File::new();
    let message = refused(&place.address(), &[&good, &other], &[]);
    assert!(message.contains("coordinate system"), "{message}");
    let folder = place.path.parent().unwrap();
    assert_eq!(fs::read_dir(folder).unwrap().count(), 0);
    loaded(&place.address(), &[&good], &[]);
    refused(&place.address(), &[&other], &[]);
    assert_eq!(place.count("SELECT count(*) FROM {record}"), 1);
    let nowhere = root.path().join("no/folder.gpkg");
    let message = refused(nowhere.to_str().unwrap(), &[&good], &[]);
    assert!(message.contains("can't be opened or made"), "{message}");
}

#[test]
fn what_a_folder_of_results_holds_beside_records_is_passed_over_with_a_word() {
    let root = tempfile::tempdir().unwrap();
    let good = result(root.path(), "all/LAT-7", revision(1));
    let all = good.parent().unwrap();
    fs::create_dir(all.join("E-1")).unwrap();
    fs::write(all.join("E-1/findings.csv"), "code\n").unwrap();
    fs::create_dir(all.join("E-1.superseded")).unwrap();
    fs::copy(
        good.join("record.json"),
        all.join("E-1.superseded/record.json"),
    )
    .unwrap();
    let place = File::new();
    let said = loaded(&place.address(), &[all], &[]);
    for part in [
        "E-1: its job has errors",
        "E-1.superseded: `build` has withdrawn these results",
    ] {
        assert!(said.contains(part), "{part} in {said}");
    }
    assert_eq!(place.count("SELECT count(*) FROM {record}"), 1);
    for (path, says) in [
        ("E-1", "its job has errors"),
        ("E-1.superseded", "has withdrawn"),
        ("E-1.superseded/record.json", "has withdrawn"),
        ("nothing", "there is no such file or folder"),
    ] {
        let message = refused(&place.address(), &[&all.join(path)], &[]);
        assert!(message.contains(says), "{path}: {message}");
    }
}

#[test]
fn what_has_no_place_in_a_database_is_refused_in_plain_words() {
    let root = tempfile::tempdir().unwrap();
    let place = File::new();
    let mut nobody = sample();
    nobody.job.supplier = None;
    for (name, record, word) in [
        ("n", nobody, "names no supplier"),
        ("d", draft(), "is a draft"),
        ("l", local(), "site coordinates"),
    ] {
        let folder = result(root.path(), name, record);
        let message = refused(&place.address(), &[&folder], &[]);
        assert!(message.contains(word), "{message}");
    }
    let folder = result(root.path(), "changed", sample());
    let file = folder.join("record.json");
    let text = fs::read_to_string(&file).unwrap();
    fs::write(&file, text.replacen("214.", "215.", 1)).unwrap();
    assert!(refused(&place.address(), &[&folder], &[]).contains("does not have the hash"));
    fs::write(&file, "{}").unwrap();
    assert!(refused(&place.address(), &[&folder], &[]).contains("is no record"));
    let empty = tempfile::tempdir().unwrap();
    assert!(refused(&place.address(), &[empty.path()], &[]).contains("there is no record.json"));
    assert!(
        refused("mysql://x/y", &[&folder], &[]).contains("neither a postgres:// URL nor a path")
    );
    assert!(refused("x.sqlite", &[&folder], &[]).contains("ends in .gpkg"));
    assert!(refused(&place.address(), &[&folder], &["--table", "pipe=x"]).contains("WHAT=NAME"));
    let rubbish = root.path().join("rubbish.gpkg");
    fs::write(
        &rubbish,
        "not a database, but long enough to look like one to a program in a hurry".repeat(20),
    )
    .unwrap();
    let good = result(root.path(), "good", sample());
    assert!(refused(rubbish.to_str().unwrap(), &[&good], &[]).contains("is no GeoPackage"));
    let message = refused("postgres://nobody@127.0.0.1:9/none", &[&good], &[]);
    assert!(
        message.contains("127.0.0.1/none: nothing was loaded"),
        "{message}"
    );
}

#[test]
fn a_table_with_other_columns_is_refused_by_name() {
    let root = tempfile::tempdir().unwrap();
    let folder = result(root.path(), "a", sample());
    let database = Database::new();
    database
        .client()
        .batch_execute("CREATE SCHEMA city; CREATE TABLE city.mark (fid bigint, geom geometry, id text, station text, colour text)")
        .unwrap();
    let message = refused(&database.url(), &[&folder], &["--schema", "city"]);
    for part in [
        "\"city\".\"mark\"",
        "\"station\" is text and must be double precision",
        "it has \"colour\" (text)",
        "it lacks \"easting\" (double precision)",
    ] {
        assert!(message.contains(part), "{part}: {message}");
    }
    assert_eq!(
        database
            .count("SELECT count(*) FROM information_schema.tables WHERE table_schema = 'city'"),
        1
    );
    loaded(
        &database.url(),
        &[&folder],
        &[
            "--schema",
            "city",
            "--table",
            "mark=Lateral \"Mark\"; DROP TABLE mark",
        ],
    );
    assert_eq!(
        database.count("SELECT count(*) FROM city.\"Lateral \"\"Mark\"\"; DROP TABLE mark\""),
        9
    );
    assert_eq!(database.count("SELECT count(*) FROM city.mark"), 0);

    let file = File::new();
    loaded(&file.address(), &[&folder], &[]);
    let connection = Connection::open(&file.path).unwrap();
    connection
        .execute_batch("ALTER TABLE camera ADD COLUMN colour TEXT")
        .unwrap();
    let message = refused(&file.address(), &[&folder], &[]);
    assert!(
        message.contains("table camera") && message.contains("it has \"colour\" (TEXT)"),
        "{message}"
    );
}

#[test]
fn another_coordinate_system_needs_another_table() {
    both(|place| {
        let root = tempfile::tempdir().unwrap();
        loaded(
            &place.address(),
            &[&result(root.path(), "a", sample())],
            &[],
        );
        let mut record = sample();
        "EPSG:32119".clone_into(&mut record.frame.crs);
        (record.frame.crs_unit, record.frame.crs_unit_metres) = ("metre".to_owned(), 1.0);
        let other = result(root.path(), "b", record);
        let message = refused(&place.address(), &[&other], &["--replace"]);
        assert!(
            message.contains("holds the coordinate system 2264")
                && message.contains("--crs EPSG:2264"),
            "{message}"
        );
    });
}

#[test]
#[allow(
    clippy::too_many_lines,
    reason = "one record, looked at from every side"
)]
fn postgis_gives_back_the_same_geometry_and_the_same_cells() {
    let root = tempfile::tempdir().unwrap();
    let mut record = sample();
    for (mark, text) in record.marks.iter_mut().zip(HOSTILE.iter().rev()) {
        mark.fitting = Some((*text).to_owned());
    }
    record.marks[0].note = Some("ends\0here".to_owned());
    let folder = result(root.path(), "a", record.clone());
    let database = Database::new();
    loaded(&database.url(), &[&folder], &[]);
    let mut client = database.client();
    let view = View::new(&record);
    let mut cells = 0;
    for table in view.features() {
        let names: Vec<String> = table
            .columns
            .iter()
            .map(|column| format!("{:?}::text", column.name))
            .collect();
        let sql = format!(
            "SELECT ST_AsEWKB(geom), {} FROM aslaid.{:?} ORDER BY fid",
            names.join(", "),
            table.name
        );
        let rows = client.query(&sql, &[]).unwrap();
        assert_eq!(rows.len(), table.rows(&record).count());
        for (row, wanted) in rows.iter().zip(table.rows(&record)) {
            let geometry: Option<Vec<u8>> = row.get(0);
            assert_eq!(geometry, wkb::extended(&projected(wanted), 2264));
            for (index, column) in table.columns.iter().enumerate() {
                let found: Option<String> = row.get(index + 1);
                let value = column.value(wanted);
                let expected = (!value.is_absent()).then(|| value.text().replace('\0', "\u{fffd}"));
                assert_eq!(found, expected, "{} {}", table.name, column.name);
                cells += 1;
            }
        }
    }
    println!("{cells} cells equal");
    // Told by the server's own functions: grid in US survey feet, elevation of the record's metres in the same unit.
    let row = client.query_one("SELECT ST_X(geom), ST_Y(geom), ST_Z(geom), ST_SRID(geom) FROM aslaid.mark WHERE mark = 'A1'", &[]).unwrap();
    let mark = &record.marks[0];
    for (index, wanted) in [
        mark.easting,
        mark.northing,
        mark.invert.unwrap() * 3937.0 / 1200.0,
    ]
    .into_iter()
    .enumerate()
    {
        assert!((row.get::<_, f64>(index) - wanted).abs() <= 0.51e-4);
    }
    assert_eq!(row.get::<_, i32>(3), 2264);
    let said = outside("ogrinfo", &["-ro", "-al", &database.gdal(), "aslaid.run"]);
    assert!(
        said.contains("LINESTRING Z (1450212.3457 541707.6235")
            && said.contains("NAD83 / North Carolina (ftUS)"),
        "{said}"
    );
    assert_eq!(database.count("SELECT count(*) FROM pg_indexes WHERE schemaname = 'aslaid' AND indexdef LIKE '%USING gist%'"), 4);
    let dimensions =
        "SELECT count(*) FROM geometry_columns WHERE f_table_schema = 'aslaid' AND srid = 2264";
    assert_eq!(database.count(dimensions), 4);
}

#[test]
fn a_shared_geopackage_is_a_valid_one_and_holds_the_same() {
    let root = tempfile::tempdir().unwrap();
    let file = File::new();
    for number in [1, 2, 2, 3] {
        loaded(
            &file.address(),
            &[&result(root.path(), &number.to_string(), revision(number))],
            &[],
        );
    }
    let said = python(&[
        "-m",
        "osgeo_utils.samples.validate_gpkg",
        "--extra",
        "--warning-as-error",
        &file.address(),
    ]);
    assert!(said.trim().is_empty() || said.contains("OK"), "{said}");
    // What the layers hold is what `asbuilt.gpkg` holds.
    let alone = root.path().join("3/LAT-2031/asbuilt.gpkg");
    for layer in ["run", "mark", "camera", "reference"] {
        let dump = |path: &Path| {
            let select = format!("SELECT * FROM {layer} ORDER BY id");
            let said = outside(
                "ogr2ogr",
                &[
                    "-f",
                    "GeoJSON",
                    "/vsistdout/",
                    path.to_str().unwrap(),
                    "-sql",
                    &select,
                ],
            );
            said.lines()
                .filter(|line| line.starts_with("{ \"type\": \"Feature\""))
                .map(str::to_owned)
                .collect::<Vec<_>>()
        };
        let (shared, alone) = (dump(&file.path), dump(&alone));
        assert!(
            !alone.is_empty() && shared == alone,
            "{layer}:\n{shared:?}\n{alone:?}"
        );
    }
    assert_eq!(file.count("SELECT count(*) FROM rtree_mark_geom"), 9);
    assert_eq!(
        file.count("SELECT count(*) FROM rtree_mark_history_geom"),
        18
    );
}

#[test]
fn the_citys_own_names_are_loaded_too() {
    both(|place| {
        let root = tempfile::tempdir().unwrap();
        let fields = here("fixtures/fields/riverbend.toml");
        let more = [
            "--fields",
            fields.to_str().unwrap(),
            "--table",
            "mark=sewer_point",
        ];
        for number in [1, 2] {
            let folder = result(root.path(), &number.to_string(), revision(number));
            loaded(&place.address(), &[&folder], &more);
        }
        assert_eq!(place.count("SELECT count(*) FROM {sewer_point} WHERE \"METHOD\" = 2 AND \"CONTRACTOR\" = 'Invented Locating' AND \"REV\" = 2"), 9);
        assert_eq!(
            place.count("SELECT count(*) FROM {sewer_point_history} WHERE \"REV\" = 1"),
            9
        );
        assert_eq!(
            place.count("SELECT count(*) FROM {run} WHERE \"MATERIAL\" = 3"),
            2
        );
        let lost = root.path().join("lost.toml");
        fs::write(&lost, "[mark]\n[[mark.column]]\nfrom = \"mark\"\n").unwrap();
        let message = refused(
            &place.address(),
            &[root.path()],
            &["--fields", lost.to_str().unwrap()],
        );
        assert!(
            message.contains("leaves `supplier` out of [mark]"),
            "{message}"
        );
    });
}

/// A record of many marks.
fn large(marks: usize, number: u32) -> AsBuilt {
    let mut record = revision(number);
    let pattern = record.marks[0].clone();
    record.marks = (0..marks)
        .map(|index| {
            let mut mark = pattern.clone();
            mark.mark = format!("A{index}");
            mark.id = format!("Invented Locating/LAT-2031/A/A{index}");
            mark.easting += index as f64 * 0.25;
            mark
        })
        .collect();
    record
}

/// Only what `load` reads.
fn bare(root: &Path, record: AsBuilt) -> PathBuf {
    let record = aslaid::export::record::seal(record).unwrap();
    fs::create_dir_all(root).unwrap();
    fs::write(root.join("record.json"), {
        let mut text = serde_json::to_vec_pretty(&record).unwrap();
        text.push(b'\n');
        text
    })
    .unwrap();
    root.to_owned()
}

/// The same row of random numbers every time.
fn random(state: &mut u64) -> f64 {
    *state = state
        .wrapping_mul(6_364_136_223_846_793_005)
        .wrapping_add(1_442_695_040_888_963_407);
    (*state >> 11) as f64 / (1_u64 << 53) as f64
}

#[test]
fn a_load_killed_at_any_moment_leaves_the_old_or_the_new() {
    both(|place| {
        let root = tempfile::tempdir().unwrap();
        let results: Vec<PathBuf> = [1, 2]
            .iter()
            .map(|number| bare(&root.path().join(number.to_string()), large(3000, *number)))
            .collect();
        let into = place.address();
        loaded(&into, &[&results[0]], &[]);
        let begun = Instant::now();
        loaded(&into, &[&results[1]], &["--replace"]);
        let whole = begun.elapsed();
        let (mut state, mut killed, mut done) = (7, 0, 0);
        for turn in 0..20 {
            let mut child: Child = command(&into, &[&results[turn % 2]], &["--replace"])
                .spawn()
                .unwrap();
            thread::sleep(whole.mul_f64(random(&mut state) * 1.1));
            child.kill().unwrap();
            let status = child.wait().unwrap();
            if status.code() == Some(0) {
                done += 1;
            } else {
                killed += 1;
            }
            assert_eq!(place.count("SELECT count(*) FROM {mark}"), 3000);
            assert_eq!(
                place.count("SELECT count(DISTINCT revision) FROM {mark}"),
                1
            );
            assert_eq!(place.count("SELECT count(*) FROM {mark} m JOIN {record} r USING (supplier, job) WHERE m.revision = r.revision"), 3000);
            assert_eq!(
                place.count("SELECT count(*) FROM {mark_history} m"),
                3000 * place.count("SELECT count(*) FROM {record_history}")
            );
        }
        println!("{killed} killed, {done} done in time, {whole:?} for a whole one");
        assert!(
            killed >= 10,
            "only {killed} of 20 were killed before they were done"
        );
    });
}

#[test]
fn loads_that_overlap_wait_for_each_other() {
    both(|place| {
        let root = tempfile::tempdir().unwrap();
        let shared = bare(&root.path().join("shared"), large(2000, 1));
        let own: Vec<PathBuf> = (0..3)
            .map(|index| {
                let mut record = large(500, 1);
                record.job.id = format!("OWN-{index}");
                bare(&root.path().join(index.to_string()), record)
            })
            .collect();
        // All make the tables, all load the shared job, in opposite orders.
        let children: Vec<Child> = own
            .iter()
            .enumerate()
            .map(|(index, own)| {
                let both: [&Path; 2] = if index % 2 == 0 {
                    [&shared, own]
                } else {
                    [own, &shared]
                };
                command(&place.address(), &both, &[]).spawn().unwrap()
            })
            .collect();
        for child in children {
            let output = child.wait_with_output().unwrap();
            assert_eq!(
                output.status.code(),
                Some(0),
                "{}",
                String::from_utf8_lossy(&output.stderr)
            );
        }
        assert_eq!(place.count("SELECT count(*) FROM {mark}"), 3500);
        assert_eq!(place.count("SELECT count(*) FROM {record}"), 4);
        assert_eq!(place.count("SELECT count(*) FROM {record_history}"), 0);
    });
}

#[test]
fn a_hundred_thousand_marks_go_in_at_once() {
    let root = tempfile::tempdir().unwrap();
    let folder = bare(&root.path().join("large"), large(100_000, 1));
    let database = Database::new();
    let begun = Instant::now();
    loaded(&database.url(), &[&folder], &[]);
    let ours = begun.elapsed();
    assert_eq!(database.count("SELECT count(*) FROM aslaid.mark"), 100_000);
    let file = File::new();
    let begun = Instant::now();
    loaded(&file.address(), &[&folder], &[]);
    let packed = begun.elapsed();
    assert_eq!(file.count("SELECT count(*) FROM mark"), 100_000);
    let begun = Instant::now();
    outside(
        "ogr2ogr",
        &[
            "-f",
            "PostgreSQL",
            &database.gdal(),
            &file.address(),
            "mark",
            "-nln",
            "by_ogr",
            "--config",
            "PG_USE_COPY",
            "YES",
        ],
    );
    let theirs = begun.elapsed();
    assert_eq!(database.count("SELECT count(*) FROM by_ogr"), 100_000);
    println!(
        "100 000 marks: PostGIS {ours:?} (record.json read and its hash checked), GeoPackage {packed:?}, ogr2ogr from that GeoPackage into PostGIS {theirs:?}"
    );
    let size = fs::metadata(folder.join("record.json")).unwrap().len();
    println!("record.json has {} MB", size / 1_000_000);
}
