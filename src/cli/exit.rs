//! How a command ends, and the one place that prints.

use std::io::Write;
use std::process::ExitCode;

/// Why a command did not do what was asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Exit {
    /// It was tried and failed: exit code 1.
    Failed(String),
    /// What was given cannot be read: exit code 2.
    Input(String),
}

/// The exit code; the sentence goes to standard error.
pub(super) fn told(done: Result<(), Exit>) -> ExitCode {
    let (code, sentence) = match done {
        Ok(()) => return ExitCode::SUCCESS,
        Err(Exit::Failed(sentence)) => (1, sentence),
        Err(Exit::Input(sentence)) => (2, sentence),
    };
    note(&sentence);
    ExitCode::from(code)
}

/// What clap has to say: help and version are answers, the rest is bad input.
pub(super) fn of_clap(told: &clap::Error) -> ExitCode {
    // A reader that went away (`stillroom --help | head -1`) has seen what it wanted.
    drop(told.print());
    if told.use_stderr() { ExitCode::from(2) } else { ExitCode::SUCCESS }
}

/// Prints an answer. A reader that closed the pipe has seen what it wanted; any other fault is a failure.
pub(super) fn answer(text: &str) -> Result<(), Exit> {
    let mut out = std::io::stdout().lock();
    let newline = if text.ends_with('\n') { "" } else { "\n" };
    match write!(out, "{text}{newline}").and_then(|()| out.flush()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(Exit::Failed(format!("The answer could not be written: {error}.")))
        }
        _ => Ok(()),
    }
}

/// Lines for the person at the terminal, beside the answer.
pub(super) fn note(sentences: &str) {
    let mut err = std::io::stderr().lock();
    for sentence in sentences.lines() {
        // Nobody is left to tell when standard error is closed.
        drop(writeln!(err, "stillroom: {sentence}"));
    }
}
