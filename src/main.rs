//! The command line; what it does stands in `cli`.

fn main() -> std::process::ExitCode {
    stillroom::cli::run(std::env::args_os())
}
