//! The command line; what it does stands in `cli`.

/// Gives the 19 MiB of a passphrase's hashing back to the machine; the system's allocator keeps them for every thread.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> std::process::ExitCode {
    stillroom::cli::run(std::env::args_os())
}
