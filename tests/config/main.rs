//! The configuration as a person meets it: its manual page, its sources, the command line of the built program.

#![expect(clippy::unwrap_used, reason = "a test that cannot set its scene has to stop")]

mod command_line;
mod manual;
mod sources;
