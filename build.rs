//! A new migration or a changed asset must reach the binary: both folders are read at build time.

fn main() {
    println!("cargo:rerun-if-changed=migrations");
    println!("cargo:rerun-if-changed=static");
}
