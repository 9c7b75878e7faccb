//! Other processes beside the running program: the commands for whoever runs the machine, a second program on the same folder, and
//! a browser that sends too much.

use std::process::Output;

use crate::http::Request;
use crate::pages::Browser;
use crate::program::{Place, Program};
use crate::studio::{OWNER, PASSPHRASE, claim};

/// A house that is claimed and runs; the folder goes with the value.
struct Claimed {
    _folder: tempfile::TempDir,
    place: Place,
    program: Program,
    owner: Browser,
}

impl Claimed {
    fn start() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let place = Place { data: folder.path().join("data"), postgres: None };
        let program = Program::start(&place);
        let mut owner = Browser::new(program.address);
        claim(&mut owner, &program);
        assert_eq!(owner.get("/").status, 200, "she is signed in");
        Self { _folder: folder, place, program, owner }
    }

    /// Runs a command on the same folder while the program serves.
    fn beside(&self, words: &[&str]) -> Output {
        self.place.command(words).output().unwrap()
    }

    fn sign_in(&self, passphrase: &str) -> u16 {
        let typed = [("name", OWNER), ("passphrase", passphrase)];
        Browser::new(self.program.address).fill("/sign-in", "/sign-in", &typed).status
    }
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

/// A command that could not do what was asked: one line on standard error, nothing on standard output.
#[track_caller]
fn failed_with_one_line(output: &Output, part: &str) {
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    assert_eq!(out(output), "");
    assert_eq!(err(output).lines().count(), 1, "{}", err(output));
    assert!(err(output).contains(part), "{part}\nnot in\n{}", err(output));
}

#[test]
fn a_passphrase_is_set_anew_by_a_link_made_beside_the_running_program() {
    let mut house = Claimed::start();
    let listed = house.beside(&["person", "list"]);
    assert_eq!(listed.status.code(), Some(0), "{listed:?}");
    let words: Vec<_> = out(&listed).split_whitespace().map(str::to_owned).collect();
    assert_eq!(words.join(" "), format!("owner signs in {OWNER}"));

    let made = house.beside(&["person", "reset", &OWNER.to_uppercase()]);
    assert_eq!(made.status.code(), Some(0), "{made:?}");
    let told = out(&made);
    let link = told.split_whitespace().find(|word| word.contains("/invited/")).expect("it prints a link");
    let path = &link[link.find("/invited/").unwrap()..];

    let after = house.owner.get("/");
    assert_eq!(after.status, 303, "her sign-in of before is over");
    assert!(after.header("location").is_some_and(|to| to.starts_with("/sign-in")), "{:?}", after.headers);
    assert_eq!(house.sign_in(PASSPHRASE), 303, "the old passphrase counts until there is a new one");

    let phrase = "kestrel umbrella forty onions";
    let mut browser = Browser::new(house.program.address);
    assert_eq!(browser.fill(path, path, &[("passphrase", phrase), ("again", phrase)]).status, 303);
    assert_eq!(browser.get("/office/people").status, 200, "the link signs her in");
    assert_eq!(Browser::new(house.program.address).get(path).status, 404, "a link opens once");
    assert_eq!(house.sign_in(PASSPHRASE), 422);
    assert_eq!(house.sign_in(phrase), 303);
}

#[test]
fn a_command_for_nobody_of_the_house_says_so_in_one_line() {
    let mut house = Claimed::start();
    failed_with_one_line(&house.beside(&["person", "reset", "Nobody Here"]), "stillroom person list");
    assert_eq!(house.owner.get("/").status, 200, "nobody was signed out");
    let elsewhere = tempfile::tempdir().unwrap();
    let nowhere = Place { data: elsewhere.path().join("data"), postgres: None };
    failed_with_one_line(&nowhere.command(&["person", "list"]).output().unwrap(), "stillroom: ");
    assert!(!nowhere.data.exists(), "a mistyped folder is not made");
}

#[test]
fn a_second_program_on_the_same_folder_ends_with_one_line_and_leaves_the_first_alone() {
    let mut house = Claimed::start();
    let second = house.beside(&["serve", "--listen", "127.0.0.1:0"]);
    failed_with_one_line(&second, "another Stillroom already uses the data folder");
    assert!(err(&second).contains(&house.place.data.display().to_string()), "{}", err(&second));
    assert_eq!(house.owner.get("/").status, 200);
}

#[test]
fn a_browser_that_sends_too_much_still_reads_why_it_was_refused() {
    let house = Claimed::start();
    let much = "x".repeat(3 << 20);
    let form = Request::form("/sign-in", &[("name", &much)]);
    let answer = form.send(house.program.address).expect("the connection must not break off before the answer");
    assert_eq!(answer.status, 413);
    assert!(answer.body.contains("The form holds more than a page of ours sends."), "{}", answer.body);
}

#[test]
fn a_log_that_goes_into_a_file_holds_no_colours() {
    let house = Claimed::start();
    let log = house.place.last_words();
    assert!(log.contains("INFO") && log.contains("request"), "{log}");
    assert!(!log.contains('\u{1b}'), "{log}");
}
