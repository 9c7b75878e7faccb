//! The real program as a child process, started on a free port and killed without warning.

use std::fs::File;
use std::io::{BufRead, BufReader};
use std::net::SocketAddr;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc;
use std::time::{Duration, Instant};

use crate::http::Request;

/// How long a start may take before the loop calls it stuck. (Two seconds is the goal, and is reported; this is the
/// point where waiting has no more use.)
const STUCK: Duration = Duration::from_secs(60);

/// Where the program keeps its data.
#[derive(Debug, Clone)]
pub(crate) struct Place {
    pub(crate) data: std::path::PathBuf,
    pub(crate) postgres: Option<String>,
}

/// A running program.
pub(crate) struct Program {
    child: Child,
    pub(crate) address: SocketAddr,
    lines: mpsc::Receiver<String>,
    /// From the start of the process to the first "ready".
    pub(crate) ready_after: Duration,
}

impl Place {
    /// A command of the program on this place, without the options of whoever runs the tests.
    pub(crate) fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stillroom"));
        for (name, _) in std::env::vars_os() {
            if name.to_string_lossy().starts_with("STILLROOM_") {
                command.env_remove(name);
            }
        }
        command.args(words).arg("--data-dir").arg(&self.data);
        if let Some(url) = &self.postgres {
            command.args(["--database-url", url]);
        }
        command
    }

    /// Where the count finds the database.
    pub(crate) fn url(&self) -> String {
        let file = || format!("sqlite://{}", self.data.join("stillroom.db").display());
        self.postgres.clone().unwrap_or_else(file)
    }

    fn log(&self) -> std::path::PathBuf {
        self.data.with_extension("log")
    }

    /// The last lines the program wrote to its error output.
    pub(crate) fn last_words(&self) -> String {
        let log = std::fs::read_to_string(self.log()).unwrap_or_default();
        let lines: Vec<&str> = log.lines().collect();
        lines[lines.len().saturating_sub(20)..].join("\n")
    }
}

impl Program {
    /// Starts serving and waits until it says that it is ready.
    pub(crate) fn start(place: &Place) -> Self {
        let began = Instant::now();
        let log = File::options().create(true).append(true).open(place.log()).unwrap();
        let mut child = place
            .command(&["serve", "--listen", "127.0.0.1:0"])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(log)
            .spawn()
            .unwrap();
        let lines = lines_of(child.stdout.take().unwrap());
        let mut printed = Vec::new();
        let address = loop {
            let Ok(line) = lines.recv_timeout(STUCK.saturating_sub(began.elapsed())) else {
                child.kill().ok();
                panic!("the program does not listen:\n{}\n{}", printed.join("\n"), place.last_words());
            };
            if let Some(address) = address_in(&line) {
                break address;
            }
            printed.push(line);
        };
        let mut program = Self { child, address, lines, ready_after: Duration::ZERO };
        program.wait_until_ready(began, place);
        program.ready_after = began.elapsed();
        program
    }

    /// The rest of the next line that begins so, among those it prints after the one with its address.
    pub(crate) fn printed(&self, beginning: &str) -> String {
        loop {
            let line = self.lines.recv_timeout(STUCK).unwrap_or_else(|_| panic!("it printed no line \"{beginning}…\""));
            if let Some(rest) = line.strip_prefix(beginning) {
                return rest.to_owned();
            }
        }
    }

    fn wait_until_ready(&mut self, began: Instant, place: &Place) {
        while began.elapsed() < STUCK {
            if Request::get("/readyz").send(self.address).is_ok_and(|answer| answer.status == 200) {
                return;
            }
            std::thread::sleep(Duration::from_millis(2));
        }
        panic!("the program is not ready after {STUCK:?}:\n{}", place.last_words());
    }

    /// Kill -9, and the wait until the process is gone.
    pub(crate) fn kill(mut self) {
        self.end();
    }

    fn end(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

impl Drop for Program {
    // A failing test must not leave a server behind.
    fn drop(&mut self) {
        self.end();
    }
}

fn lines_of(output: impl std::io::Read + Send + 'static) -> mpsc::Receiver<String> {
    let (tell, told) = mpsc::channel();
    std::thread::spawn(move || {
        for line in BufReader::new(output).lines().map_while(Result::ok) {
            if tell.send(line).is_err() {
                break;
            }
        }
    });
    told
}

/// The address in the line `listening on http://127.0.0.1:PORT`.
fn address_in(line: &str) -> Option<SocketAddr> {
    line.strip_prefix("listening on http://")?.split('/').next()?.parse().ok()
}
