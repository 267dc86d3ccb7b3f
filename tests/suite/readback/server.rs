//! A PostgreSQL server with PostGIS, started by the test itself on a loopback port and stopped with the last test that uses
//! it.

use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, Weak};

use postgres::{Client, NoTls};
use tempfile::TempDir;

const PROGRAMS: &str = "/usr/lib/postgresql/15/bin";

/// The server.
pub struct Server {
    folder: TempDir,
    port: u16,
}

static RUNNING: Mutex<Weak<Server>> = Mutex::new(Weak::new());
static DATABASES: AtomicUsize = AtomicUsize::new(0);

/// A fresh database with PostGIS.
pub struct Database {
    server: Arc<Server>,
    name: String,
}

impl Database {
    pub fn new() -> Self {
        let mut running = RUNNING
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner);
        let server = running.upgrade().unwrap_or_else(|| {
            let server = Arc::new(Server::start());
            *running = Arc::downgrade(&server);
            server
        });
        let name = format!("test_{}", DATABASES.fetch_add(1, Ordering::Relaxed));
        let mut admin = Client::connect(&server.url("postgres"), NoTls).unwrap();
        admin
            .batch_execute(&format!("CREATE DATABASE {name}"))
            .unwrap();
        let database = Self { server, name };
        database
            .client()
            .batch_execute("CREATE EXTENSION postgis")
            .unwrap();
        database
    }

    pub fn url(&self) -> String {
        self.server.url(&self.name)
    }

    /// As GDAL names it.
    pub fn gdal(&self) -> String {
        format!(
            "PG:host=127.0.0.1 port={} user=postgres dbname={}",
            self.server.port, self.name
        )
    }

    pub fn client(&self) -> Client {
        Client::connect(&self.url(), NoTls).unwrap()
    }

    /// One number.
    pub fn count(&self, sql: &str) -> i64 {
        self.client().query_one(sql, &[]).unwrap().get(0)
    }
}

impl Server {
    fn start() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let port = TcpListener::bind("127.0.0.1:0")
            .unwrap()
            .local_addr()
            .unwrap()
            .port();
        let server = Self { folder, port };
        if is_root() {
            run(Command::new("chown")
                .args(["-R", "postgres"])
                .arg(server.folder.path()));
        }
        let data = server.data();
        let at = |arguments: &mut Command| run(arguments.current_dir(server.folder.path()));
        at(program("initdb")
            .args([
                "--auth=trust",
                "--username=postgres",
                "--encoding=UTF8",
                "--no-sync",
                "-D",
            ])
            .arg(&data));
        let options = format!(
            "-h 127.0.0.1 -p {port} -k {} -c fsync=off -c max_connections=50",
            server.folder.path().display()
        );
        at(program("pg_ctl")
            .args(["start", "-w", "-s", "-o", &options, "-l"])
            .arg(data.join("log"))
            .arg("-D")
            .arg(&data));
        server
    }

    fn data(&self) -> PathBuf {
        self.folder.path().join("data")
    }

    fn url(&self, database: &str) -> String {
        format!("postgres://postgres@127.0.0.1:{}/{database}", self.port)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        run(program("pg_ctl")
            .args(["stop", "-s", "-m", "immediate", "-D"])
            .arg(self.data())
            .current_dir("/"));
    }
}

fn is_root() -> bool {
    let output = Command::new("id").arg("-u").output().unwrap();
    output.stdout.starts_with(b"0\n")
}

/// The server's programs refuse to run as root.
fn program(name: &str) -> Command {
    let path = Path::new(PROGRAMS).join(name);
    assert!(
        path.exists(),
        "{} is missing; scripts/setup test installs it",
        path.display()
    );
    if !is_root() {
        return Command::new(path);
    }
    let mut command = Command::new("runuser");
    command.args(["-u", "postgres", "--"]).arg(path);
    command
}

fn run(command: &mut Command) {
    let status = command
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .status()
        .unwrap();
    assert!(status.success(), "{command:?}");
}
