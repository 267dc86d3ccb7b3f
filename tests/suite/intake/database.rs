//! Intake into PostGIS and a GeoPackage: the same as into a folder, whatever is killed when.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use aslaid::intake::ledger::Ledger as _;
use rusqlite::Connection;

use super::support;
use super::town::{FIELDS, Town};
use crate::readback::server::Database;

/// Deliveries that are taken in here: every way to be bad is among them, and the plain files.
const SOME: usize = 250;

fn command(town: &Town, fields: &Path, into: &str, report: &Path) -> Command {
    let count = town.deliveries.len();
    let plain = town.deliveries.get(count - 2..).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_aslaid"));
    command
        .arg("intake")
        .args(town.deliveries.iter().take(SOME))
        .args(plain)
        .arg("--mains")
        .arg(&town.mains)
        .arg("--fields")
        .arg(fields)
        .args(["--into", into, "--report"])
        .arg(report)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

/// Runs it to its end: some are refused, so it ends with 1.
fn whole(town: &Town, fields: &Path, into: &str, report: &Path) -> String {
    let output = command(town, fields, into, report).output().unwrap();
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let errors = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(1), "{errors}{said}");
    said.lines().last().unwrap().to_owned()
}

/// A place to take in to, and how to ask it.
trait Place {
    fn address(&self) -> String;
    /// Rows of texts, by SQL in which `{mark}` and the like stand for the tables.
    fn ask(&self, sql: &str) -> Result<Vec<String>, String>;
}

impl Place for Database {
    fn address(&self) -> String {
        self.url()
    }

    fn ask(&self, sql: &str) -> Result<Vec<String>, String> {
        let sql = sql.replace('{', "aslaid.").replace('}', "");
        let rows = self.client().query(&sql, &[]);
        let rows = rows.map_err(|why| why.to_string())?;
        Ok(rows.iter().map(|row| row.get(0)).collect())
    }
}

struct Package(PathBuf);

impl Place for Package {
    fn address(&self) -> String {
        self.0.display().to_string()
    }

    fn ask(&self, sql: &str) -> Result<Vec<String>, String> {
        let plain = |why: rusqlite::Error| why.to_string();
        let connection = Connection::open(&self.0).map_err(plain)?;
        connection
            .busy_timeout(Duration::from_mins(1))
            .map_err(plain)?;
        let mut ask = connection
            .prepare(&sql.replace(['{', '}'], ""))
            .map_err(plain)?;
        let rows = ask.query_map([], |row| row.get(0)).map_err(plain)?;
        rows.collect::<Result<_, _>>().map_err(plain)
    }
}

/// Everything but times and keys, by table.
fn tables(place: &dyn Place) -> BTreeMap<&'static str, Vec<String>> {
    let order = "ORDER BY 1";
    let ask = |sql: String| place.ask(&format!("{sql} {order}")).unwrap();
    BTreeMap::from([
        ("record", ask("SELECT supplier || '/' || job || '/' || hash FROM {record}".to_owned())),
        ("document", ask("SELECT supplier || '/' || job || '/' || hash || document FROM {record_document}".to_owned())),
        ("run", ask("SELECT id || '/' || coalesce(CAST(length_plan AS text), '-') FROM {run}".to_owned())),
        ("tap", ask("SELECT supplier || job || run || main || CAST(station_m AS text) || coalesce(CAST(above_m AS text), '-') FROM {tap}".to_owned())),
        ("history", ask("SELECT supplier || '/' || job || '/' || hash FROM {record_history}".to_owned())),
    ])
}

/// No record is there in part: each has its document, its run and its tap. All by one question, for a server may still be ending
/// the transaction of a program that was killed.
fn none_in_part(place: &dyn Place) -> usize {
    let tables = ["record", "record_document", "run", "tap"];
    let one = |table: &str| format!("SELECT '{table} ' || supplier || '/' || job FROM {{{table}}}");
    // Killed before the first record was in, none of the tables is there.
    let Ok(rows) = place.ask(&tables.map(one).join(" UNION ALL ")) else {
        return 0;
    };
    let of = |table: &str| {
        let mut ids: Vec<&str> = rows
            .iter()
            .filter_map(|row| row.strip_prefix(table)?.strip_prefix(' '))
            .collect();
        ids.sort_unstable();
        ids
    };
    let records = of("record");
    for table in tables {
        assert_eq!(of(table), records, "{table}");
    }
    records.len()
}

fn check(town: &Town, folder: &Path, reference: &dyn Place, killed: &dyn Place, seed: u64) {
    let fields = folder.join("fields.toml");
    std::fs::write(&fields, FIELDS).unwrap();
    let report = folder.join("report.csv");
    let began = std::time::Instant::now();
    let said = whole(town, &fields, &reference.address(), &report);
    let took = began.elapsed().as_secs_f64();
    let due = tables(reference);
    let good = due["record"].len();
    println!("{}: {said}", reference.address());
    assert_eq!(none_in_part(reference), good);
    assert!(
        said.starts_with(&format!("{good} accepted")) && good > 250,
        "{said}"
    );
    assert!(due["history"].is_empty());
    let again = whole(town, &fields, &reference.address(), &report);
    assert!(
        again.starts_with(&format!("0 accepted, {good} unchanged")),
        "{again}"
    );
    assert_eq!(tables(reference), due);

    let mut random = support::Random(seed);
    let (mut kills, mut seen) = (0_u32, Vec::new());
    loop {
        let mut child = command(town, &fields, &killed.address(), &report)
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        // However fast the machine is: parts of what the whole takes, so that some are left for the next.
        std::thread::sleep(Duration::from_secs_f64(took * random.within(0.1, 0.35)));
        let over = child.try_wait().unwrap().is_some();
        // SIGKILL: nothing of the program runs after it.
        let _ = child.kill();
        child.wait().unwrap();
        if over {
            break;
        }
        kills += 1;
        seen.push(none_in_part(killed));
        if kills == 12 {
            break;
        }
    }
    let said = whole(town, &fields, &killed.address(), &report);
    println!("killed {kills} times with {seen:?} on file; then {said}");
    assert!(kills >= 3, "the machine is too fast for this test: {kills}");
    none_in_part(killed);
    assert_eq!(tables(killed), due);
}

#[test]
fn killed_and_repeated_it_ends_in_the_same_tables() {
    let folder = support::folder();
    let town = Town::build(folder.path());
    let package = |name: &str| Package(folder.path().join(name));
    check(
        &town,
        folder.path(),
        &package("whole.gpkg"),
        &package("killed.gpkg"),
        5,
    );
    check(&town, folder.path(), &Database::new(), &Database::new(), 6);
}

#[test]
fn what_a_database_can_not_take_is_refused_and_the_rest_goes_on() {
    let folder = support::folder();
    let town = Town::build(folder.path());
    let into = aslaid::export::load::Target::GeoPackage(folder.path().join("u.gpkg"));
    let options = aslaid::export::load::Options::default();
    let ledger = aslaid::intake::ledger::Database::new(into, options, "EPSG:2264");
    assert!(ledger.on_file().unwrap().is_empty());
    let text = std::fs::read_to_string(&town.deliveries[0]).unwrap();
    let mut record: aslaid::record::AsBuilt = serde_json::from_str(&text).unwrap();
    assert_eq!(ledger.takes(&record), Ok(()));
    record.frame.crs = "EPSG:32119".to_owned();
    let why = ledger.takes(&record).unwrap_err();
    assert!(
        why.contains("EPSG:32119") && why.contains("--crs EPSG:2264"),
        "{why}"
    );
}

/// Runs a command of the program in a folder: its exit status and what it says.
fn program(folder: &Path, arguments: &[&str]) -> (Option<i32>, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_aslaid"))
        .current_dir(folder)
        .args(arguments)
        .output()
        .unwrap();
    let said = [output.stdout, output.stderr].concat();
    (output.status.code(), String::from_utf8(said).unwrap())
}

fn load_and_intake(folder: &Path, place: &dyn Place) {
    let into = place.address();
    let load = |results: &str| {
        let found = program(folder, &["load", results, "--into", &into]);
        assert_eq!(found.0, Some(0), "{}", found.1);
    };
    let intake = |results: &[&str], says: &[&str]| {
        let more = [
            "--mains",
            "mains.geojson",
            "--fields",
            "fields.toml",
            "--into",
            &into,
        ];
        let found = program(folder, &[&["intake"], results, &more].concat());
        assert_eq!(found.0, Some(0), "{}", found.1);
        for part in says {
            assert!(found.1.contains(part), "{part} in {}", found.1);
        }
    };
    let kept = |table: &str, job: &str| {
        let ask = format!("SELECT job FROM {{{table}}} WHERE job = '{job}'");
        place.ask(&ask).unwrap().len()
    };
    // Loaded first: what it supersedes is passed over, and the next is judged.
    load("A-2");
    intake(
        &["A-1", "C-1"],
        &[
            "1 accepted, 0 unchanged, 1 superseded, 0 refused",
            "Revision 2 of this job is on file, and this is revision 1",
        ],
    );
    // The very record that was loaded gets what only an intake knows.
    assert_eq!(
        (kept("tap", "J-0001"), kept("record_document", "J-0001")),
        (0, 0)
    );
    intake(&["A-2"], &["1 accepted"]);
    intake(&["A-2"], &["0 accepted, 1 unchanged"]);
    for table in ["tap", "record_document", "run"] {
        assert_eq!(kept(table, "J-0001"), 1, "{table}");
    }
    // Loaded afterwards: nothing of the one before stays.
    load("A-2");
    assert_eq!(kept("tap", "J-0001"), 1);
    load("A-3");
    assert_eq!(
        (kept("tap", "J-0001"), kept("record_document", "J-0001")),
        (0, 0)
    );
    assert_eq!((kept("tap", "J-0003"), kept("run", "J-0001")), (1, 1));
    intake(&["A-2"], &["1 superseded", "Revision 3"]);
    intake(&["A-3"], &["1 accepted"]);
    none_in_part(place);
}

#[test]
fn load_and_intake_see_each_other() {
    let folder = support::folder();
    super::town::mains(folder.path());
    std::fs::write(folder.path().join("fields.toml"), FIELDS).unwrap();
    for (name, number, revision) in [("A-1", 1, 1), ("A-2", 1, 2), ("A-3", 1, 3), ("C-1", 3, 1)] {
        let mut record = super::town::good(number);
        record.job.revision = Some(revision);
        let results = folder.path().join(name);
        std::fs::create_dir(&results).unwrap();
        std::fs::write(results.join("record.json"), super::town::bytes(record)).unwrap();
    }
    load_and_intake(folder.path(), &Package(folder.path().join("u.gpkg")));
    load_and_intake(folder.path(), &Database::new());
}
