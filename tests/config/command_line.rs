//! The built program, run as a person runs it.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use stillroom::config::OPTIONS;

/// Runs the program in an empty folder with no variables but these.
fn run_with(arguments: &[&str], environment: &[(&str, &str)], input: &[u8]) -> Output {
    let folder = tempfile::tempdir().unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillroom"));
    command.args(arguments).env_clear().envs(environment.iter().copied()).current_dir(folder.path());
    let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    // The program may end before it read everything.
    drop(child.stdin.take().unwrap().write_all(input));
    child.wait_with_output().unwrap()
}

fn run(arguments: &[&str]) -> Output {
    run_with(arguments, &[], b"")
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

/// Bad input: exit code 2, the sentence on standard error, nothing on standard output.
fn check_refused(output: &Output, part: &str) {
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    assert!(output.stdout.is_empty(), "{output:?}");
    assert!(err(output).contains(part), "{part}\nnot in\n{}", err(output));
}

#[test]
fn version_prints_the_version() {
    let output = run(&["--version"]);
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(out(&output), format!("stillroom {}\n", env!("CARGO_PKG_VERSION")));
}

#[test]
fn the_help_of_the_demo_names_nothing_that_it_does_not_read() {
    let demo = out(&run(&["demo", "--help"]));
    assert!(!demo.contains("STILLROOM_") && !demo.contains("[environment"), "{demo}");
    assert!(demo.contains("[default: ./stillroom-demo]"), "{demo}");
    assert!(!demo.contains("./stillroom-data"), "{demo}");
    let serve = out(&run(&["serve", "--help"]));
    for option in OPTIONS {
        assert!(demo.contains(&format!("--{}", option.flag())), "{} is missing in\n{demo}", option.name);
        assert!(serve.contains(&format!("[environment: {}]", option.variable())), "{} in\n{serve}", option.name);
    }
}

#[test]
fn config_show_prints_each_option_with_value_and_origin_and_masks_the_password() {
    let environment = [("STILLROOM_DATABASE_URL", "postgres://ines:hunter2@db/s"), ("STILLROOM_LOG", "warn")];
    // A flag counts before and after the command.
    let output = run_with(&["--session-hours", "8", "config", "show", "--insecure-http"], &environment, b"");
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let told = out(&output);
    assert_eq!(told.lines().count(), OPTIONS.len() + 1);
    let line = |name: &str| {
        let line = told.lines().find(|line| line.split_whitespace().next() == Some(name));
        line.unwrap_or_else(|| panic!("{name} is missing in\n{told}")).split_whitespace().collect::<Vec<_>>().join(" ")
    };
    assert_eq!(line("session_hours"), "session_hours 8 flag --session-hours");
    assert_eq!(line("insecure_http"), "insecure_http true flag --insecure-http");
    assert_eq!(line("log"), "log warn environment STILLROOM_LOG");
    assert_eq!(line("backups_keep"), "backups_keep 10 default");
    assert_eq!(line("database_url"), "database_url postgres://ines:***@db/s environment STILLROOM_DATABASE_URL");
    assert!(!told.contains("hunter2"));
}

#[test]
fn config_show_also_tells_what_would_keep_serve_from_starting() {
    let output = run(&["config", "show", "--external-url", "http://studio.lan"]);
    assert_eq!(output.status.code(), Some(0));
    assert!(err(&output).contains("serve would refuse to start: external_url is http://studio.lan"), "{output:?}");
    check_refused(&run(&["serve", "--external-url", "http://studio.lan"]), "insecure_http");
}

#[test]
fn what_is_unknown_or_cannot_be_read_is_bad_input() {
    check_refused(&run(&["config", "show", "--lisen", "x"]), "--listen");
    check_refused(&run(&["serv"]), "serve");
    check_refused(&run(&[]), "Usage");
    check_refused(&run(&["config", "show", "--listen", "nowhere"]), "listen (flag --listen): \"nowhere\"");
    let variable = [("STILLROOM_LISTN", "x")];
    check_refused(&run_with(&["config", "show"], &variable, b""), "did you mean STILLROOM_LISTEN?");
    check_refused(&run(&["air", "warm", "38"]), "TEMPERATURE \"warm\" is not a number");
    check_refused(&run(&["air", "21", "NaN"]), "HUMIDITY \"NaN\" is not a number");
    check_refused(&run(&["air", "21"]), "HUMIDITY");
    check_refused(&run(&["air", "21", "38", "--jsn"]), "--json");
}

#[test]
fn a_question_that_is_no_text_too_long_or_missing_is_bad_input() {
    check_refused(&run(&["advise", "missing.json"]), "missing.json cannot be read");
    check_refused(&run(&["advise"]), "FILE");
    check_refused(&run_with(&["advise", "-"], &[], b"{\n\n\xff}"), "not JSON, line 3");
    let most = stillroom::advice::file::LARGEST_FILE;
    let too_long = format!("longer than the {most} bytes accepted");
    check_refused(&run_with(&["advise", "-"], &[], &vec![b' '; most + 1]), &too_long);
    if Path::new("/dev/zero").exists() {
        check_refused(&run(&["advise", "/dev/zero"]), &too_long);
    }
}

const QUESTION: &str = include_str!("../../docs/examples/one_bottle.json");

/// The example with one piece of its text replaced.
fn question_with(old: &str, new: &str) -> Vec<u8> {
    assert_eq!(QUESTION.matches(old).count(), 1, "{old} must stand there once");
    QUESTION.replace(old, new).into_bytes()
}

/// Rubbish of a megabyte, the same in every run.
fn rubbish() -> Vec<u8> {
    let mut state = 20_260_218_u64;
    let next = |_| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 56) as u8
    };
    (0..1_000_000).map(next).collect()
}

#[test]
fn a_question_that_cannot_be_answered_is_one_line_that_names_the_field() {
    let classes = "[[0.5,1],[1,2],[2,3],[3,5],[5,8]]";
    let cases = [
        (question_with(r#""settle_s":1.12"#, r#""settle":1.12"#), "timings[0].settle: there is no such field here"),
        (question_with(r#""travel_s":2.61"#, r#""travel_s":-2.61"#), "timings[0].travel_s: −2.61 s"),
        (
            question_with(r#""relative_humidity_pct":38.0"#, r#""relative_humidity_pct":140"#),
            "room.relative_humidity_pct: relative humidity 140",
        ),
        (question_with(r#""temperature_c":21.0"#, r#""temperature_c":NaN"#), "not JSON, line "),
        (question_with(classes, "[]"), "classes_s: at least one class"),
        (rubbish(), "not JSON, line 1"),
        (vec![b'7'; 1_000_000], "stillroom: "),
        (vec![b'['; 1_000_000], "stillroom: "),
        (vec![b'\n'; 1_000_000], "not JSON, line "),
        (Vec::new(), "not JSON, line "),
    ];
    for (question, part) in &cases {
        for more in [&["-"][..], &["-", "--json"]] {
            let output = run_with(&[&["advise"], more].concat(), &[], question);
            check_refused(&output, part);
            let told = err(&output);
            assert_eq!(told.lines().count(), 1, "{told}");
            assert!(told.starts_with("stillroom: ") && told.chars().count() < 400, "{told}");
        }
    }
}

#[test]
fn one_bad_question_among_good_ones_is_named_and_none_is_answered() {
    let folder = tempfile::tempdir().unwrap();
    let (good, bad) = (folder.path().join("good.json"), folder.path().join("bad.json"));
    std::fs::write(&good, QUESTION).unwrap();
    std::fs::write(&bad, question_with(r#""travel_s":2.61"#, r#""travel_s":-2.61"#)).unwrap();
    let [good, bad] = [good, bad].map(|path| path.display().to_string());
    assert_eq!(run(&["advise", &good]).status.code(), Some(0), "the other one is good");
    let output = run(&["advise", &good, &bad]);
    check_refused(&output, &format!("{bad}: timings[0].travel_s"));
    assert_eq!(err(&output).lines().count(), 1);
}

#[test]
fn a_temperature_below_zero_is_a_number_not_a_flag() {
    for (temperature, mark) in [("-5", "-5"), ("-5,5", "-5,5"), ("-0.5", "-0.5")] {
        let output = run(&["air", temperature, "80", "--json"]);
        assert!(
            !err(&output).contains("unexpected argument") && !err(&output).contains("not a number"),
            "{mark}: {output:?}"
        );
    }
    // And a flag before it is still a flag.
    let output = run(&["air", "--json", "-5", "80"]);
    assert!(!err(&output).contains("not a number"), "{output:?}");
}

#[test]
fn the_help_of_serve_explains_every_option() {
    let told = out(&run(&["serve", "--help"]));
    let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let told = words(&told);
    for option in OPTIONS {
        for part in [format!("--{}", option.flag()), option.variable(), words(option.help)] {
            assert!(told.contains(&part), "{part}");
        }
    }
    let short = out(&run(&["serve", "-h"]));
    assert!(!short.contains("--data-dir") && short.lines().count() < 15, "{short}");
    for command in ["air", "advise", "completions"] {
        assert!(
            !out(&run(&[command, "--help"])).contains("--data-dir"),
            "{command} works without the service's options"
        );
    }
}

#[test]
fn completions_know_the_commands_and_the_options() {
    let script = out(&run(&["completions", "bash"]));
    for word in ["healthcheck", "--data-dir", "--database-url-file", "--print-tokens"] {
        assert!(script.contains(word), "{word}");
    }
    check_refused(&run(&["completions", "abacus"]), "abacus");
    if Command::new("bash").arg("-c").arg(":").status().is_ok_and(|status| status.success()) {
        let mut bash = Command::new("bash").arg("-n").stdin(Stdio::piped()).spawn().unwrap();
        bash.stdin.take().unwrap().write_all(script.as_bytes()).unwrap();
        assert!(bash.wait().unwrap().success(), "bash cannot read its completion script");
    }
}

#[test]
fn healthcheck_tells_ready_from_not_ready_by_its_exit_code() {
    let check = |status: &'static str| {
        let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let listen = listener.local_addr().unwrap().to_string();
        let server = std::thread::spawn(move || {
            let (mut stream, _) = listener.accept().unwrap();
            let mut asked = [0; 256];
            let n = std::io::Read::read(&mut stream, &mut asked).unwrap();
            write!(stream, "HTTP/1.1 {status}\r\nContent-Length: 0\r\n\r\n").unwrap();
            String::from_utf8_lossy(&asked[..n]).into_owned()
        });
        let output = run(&["healthcheck", "--listen", &listen, "--base-path", "/studio"]);
        assert!(server.join().unwrap().starts_with("GET /studio/readyz HTTP/1.1\r\n"));
        output
    };
    let ready = check("200 OK");
    assert_eq!((ready.status.code(), out(&ready).as_str()), (Some(0), "ready\n"));
    let busy = check("503 Service Unavailable");
    assert_eq!((busy.status.code(), out(&busy).as_str()), (Some(1), ""));
    assert!(err(&busy).contains("answered 503"));

    let nobody = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().to_string();
    let silent = run(&["healthcheck", "--listen", &nobody]);
    assert_eq!(silent.status.code(), Some(1), "{silent:?}");
    check_refused(&run(&["healthcheck", "--listen", "127.0.0.1:0"]), "port 0");
}
