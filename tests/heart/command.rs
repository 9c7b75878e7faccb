//! The command, as a person or another program uses it.

use stillroom::advice;

fn example(name: &str) -> String {
    std::fs::read_to_string(format!("{}/docs/examples/{name}.json", env!("CARGO_MANIFEST_DIR"))).unwrap()
}

#[test]
fn show() {
    println!("{}", advice::command(&example("one_bottle"), true).unwrap());
    println!("{}", advice::command(&example("one_bottle"), false).unwrap());
}
