//! Where values come from, which one counts, and what is refused.

use std::collections::BTreeMap;
use std::path::Path;

use proptest::prelude::*;
use stillroom::config::{Config, Database, LogFormat, OPTIONS, Shown};

type Pairs<'a> = &'a [(&'a str, &'a str)];

fn resolve(flags: Pairs<'_>, environment: Pairs<'_>) -> Result<(Config, Vec<Shown>), String> {
    let flags: BTreeMap<String, String> = flags.iter().map(|(k, v)| ((*k).into(), (*v).into())).collect();
    let environment = environment.iter().map(|(k, v)| ((*k).into(), (*v).into()));
    Config::resolve(&flags, environment).map_err(|error| error.to_string())
}

fn refused(flags: Pairs<'_>, environment: Pairs<'_>) -> String {
    resolve(flags, environment).expect_err("should be refused")
}

fn row<'a>(shown: &'a [Shown], name: &str) -> (&'a str, String) {
    let row = shown.iter().find(|row| row.name == name).unwrap();
    (&row.value, row.origin.to_string())
}

/// A folder with a file of options in it, and the file's path.
fn file_with(text: &str) -> (tempfile::TempDir, String) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("options.toml");
    std::fs::write(&file, text).unwrap();
    let path = file.display().to_string();
    (folder, path)
}

#[test]
fn without_anything_given_the_defaults_count_and_may_be_served() {
    let (config, shown) = resolve(&[], &[]).unwrap();
    assert_eq!(config.listen.to_string(), "127.0.0.1:8270");
    assert_eq!(config.keys_dir, Path::new("./stillroom-data-keys"));
    assert_eq!(config.database, Database::Sqlite("./stillroom-data/stillroom.db".into()));
    assert_eq!(config.external("/claim"), "http://127.0.0.1:8270/claim");
    assert_eq!(config.cookie_name(), "__Host-stillroom");
    assert_eq!(config.log_format, LogFormat::Text);
    assert!(config.trusted_proxies.is_empty() && config.may_serve().is_ok());
    assert!(shown.iter().all(|row| row.origin.to_string() == "default"));
    assert_eq!(shown.len(), OPTIONS.len() + 1);
}

#[test]
fn a_flag_counts_before_the_environment_the_environment_before_the_file() {
    let (_folder, file) = file_with("session_hours = 3\nbackups_keep = 3\nmax_upload_mb = 3\n");
    let flags = [("config", file.as_str()), ("session_hours", "1")];
    let environment = [("STILLROOM_SESSION_HOURS", "2"), ("STILLROOM_BACKUPS_KEEP", "2")];
    let (config, shown) = resolve(&flags, &environment).unwrap();
    assert_eq!((config.session_length.as_secs(), config.backups_keep, config.max_upload_mb), (3600, 2, 3));
    assert_eq!(row(&shown, "session_hours"), ("1", "flag --session-hours".into()));
    assert_eq!(row(&shown, "backups_keep"), ("2", "environment STILLROOM_BACKUPS_KEEP".into()));
    assert_eq!(row(&shown, "max_upload_mb"), ("3", format!("file {file}")));
    assert_eq!(row(&shown, "read_connections"), ("4", "default".into()));
    assert_eq!(row(&shown, "config"), (file.as_str(), "flag --config".into()));
}

#[test]
fn every_option_can_be_given_in_each_of_the_three_ways() {
    for (name, value) in [
        ("listen", "127.0.0.1:9999"),
        ("data_dir", "/tmp/elsewhere"),
        ("keys_dir", "/tmp/keys"),
        ("database_url", "postgres://db.example/studio"),
        ("base_path", "/studio"),
        ("external_url", "https://studio.example"),
        ("insecure_http", "true"),
        ("trusted_proxies", "10.0.0.0/8"),
        ("session_idle_minutes", "7"),
        ("session_hours", "7"),
        ("max_upload_mb", "7"),
        ("read_connections", "7"),
        ("request_timeout_seconds", "7"),
        ("log", "debug"),
        ("log_format", "json"),
        ("backups_keep", "7"),
    ] {
        let option = OPTIONS.iter().find(|option| option.name == name).unwrap();
        let (_folder, file) = file_with(&format!("{name} = {value:?}\n"));
        for (flags, environment, origin) in [
            (vec![(name, value)], vec![], format!("flag --{}", option.flag())),
            (vec![], vec![(option.variable(), value)], format!("environment {}", option.variable())),
            (vec![("config", file.as_str())], vec![], format!("file {file}")),
        ] {
            let environment: Vec<(&str, &str)> = environment.iter().map(|(k, v)| (k.as_str(), *v)).collect();
            let (_, shown) = resolve(&flags, &environment).unwrap();
            assert_eq!(row(&shown, name), (value, origin));
        }
    }
    assert_eq!(OPTIONS.len(), 16, "a new option needs its row above");
}

#[test]
fn the_file_in_the_data_folder_is_read_unless_another_is_named() {
    let (folder, other) = file_with("log = \"warn\"\n");
    let data = folder.path().to_str().unwrap();
    std::fs::write(folder.path().join("stillroom.toml"), "log = \"debug\"\n").unwrap();
    let keys = format!("{data}-keys");
    let inside = [("STILLROOM_DATA_DIR", data), ("STILLROOM_KEYS_DIR", &keys)];
    assert_eq!(resolve(&[], &inside).unwrap().0.log, "debug");
    assert_eq!(resolve(&[("config", &other)], &inside).unwrap().0.log, "warn");
    assert_eq!(resolve(&[], &[inside[0], ("STILLROOM_CONFIG", &other)]).unwrap().0.log, "warn");

    std::fs::write(folder.path().join("stillroom.toml"), "data_dir = \"/elsewhere\"\n").unwrap();
    assert!(refused(&[], &inside).starts_with("data_dir stands in "));
}

#[test]
fn a_named_file_that_is_missing_or_no_toml_is_told_with_its_line_but_not_its_text() {
    let told = refused(&[("config", "/nowhere/x.toml")], &[]);
    assert!(told.starts_with("config (flag --config): the file /nowhere/x.toml cannot be read"), "{told}");
    let (_folder, file) = file_with("log = \"info\"\ndatabase_url = postgres://u:hunter2@h/d\n");
    let told = refused(&[("config", &file)], &[]);
    assert!(told.contains("is not TOML, line 2") && !told.contains("hunter2"), "{told}");
}

#[test]
fn an_unknown_name_is_refused_with_the_one_that_was_meant() {
    let (_folder, file) = file_with("sesion_hours = 3\n[server]\nport = 1\n");
    let told = refused(&[("config", &file)], &[("STILLROOM_LISTENER", "x"), ("STILLROOM_LOG_FILE", "x")]);
    for part in [
        format!("sesion_hours in {file} is no option; did you mean session_hours?"),
        format!("server in {file} is no option"),
        "STILLROOM_LISTENER in the environment is no option of Stillroom; did you mean STILLROOM_LISTEN?".into(),
        "STILLROOM_LOG_FILE in the environment is no option of Stillroom; did you mean STILLROOM_LOG?".into(),
    ] {
        assert!(told.contains(&part), "{part}\nnot in\n{told}");
    }
    assert!(refused(&[("lisen", "x")], &[]).contains("--lisen is no option; did you mean --listen?"));
    assert!(refused(&[], &[("STILLROOM_listen", "127.0.0.1:1")]).contains("did you mean STILLROOM_LISTEN?"));
    // Not ours, or the harness's.
    assert!(resolve(&[], &[("STILLROOM_TEST_DATABASE", "x"), ("STILLROOMY", "x"), ("PATH", "/bin")]).is_ok());
}

#[test]
fn a_secret_can_stand_in_a_file_of_its_own() {
    let folder = tempfile::tempdir().unwrap();
    let secret = folder.path().join("url");
    std::fs::write(&secret, "postgres://u:hunter2@db/s\r\n").unwrap();
    let path = secret.to_str().unwrap();
    let (_other, file) = file_with(&format!("database_url_file = {path:?}\n"));
    let ways: [(Pairs<'_>, Pairs<'_>, &str); 3] = [
        (&[("database_url_file", path)], &[], "flag --database-url-file"),
        (&[], &[("STILLROOM_DATABASE_URL_FILE", path)], "environment STILLROOM_DATABASE_URL_FILE"),
        (&[("config", &file)], &[], &format!("file {file}")),
    ];
    for (flags, environment, origin) in ways {
        let (config, shown) = resolve(flags, environment).unwrap();
        let Database::Postgres(url) = &config.database else { panic!("{:?}", config.database) };
        assert_eq!(url.reveal(), "postgres://u:hunter2@db/s");
        assert_eq!(row(&shown, "database_url"), ("postgres://u:***@db/s", origin.into()));
    }
}

#[test]
fn a_secret_given_twice_is_refused_whatever_the_origins() {
    let folder = tempfile::tempdir().unwrap();
    let secret = folder.path().join("url");
    std::fs::write(&secret, "postgres://u:hunter2@db/s").unwrap();
    let path = secret.to_str().unwrap();
    for (flags, environment) in [
        (vec![("database_url", "x.db"), ("database_url_file", path)], vec![]),
        (vec![("database_url", "x.db")], vec![("STILLROOM_DATABASE_URL_FILE", path)]),
    ] {
        let told = refused(&flags, &environment);
        assert!(told.contains("database_url (flag --database-url) and database_url_file ("), "{told}");
        assert!(told.ends_with("are both given; give one of them."), "{told}");
    }
}

#[test]
fn a_secrets_file_that_is_missing_or_empty_never_means_the_default() {
    let (_folder, empty) = file_with("\n");
    for path in ["/nowhere/secret", empty.as_str()] {
        let told = refused(&[], &[("STILLROOM_DATABASE_URL_FILE", path)]);
        assert!(told.contains("database_url_file (environment STILLROOM_DATABASE_URL_FILE): the file "), "{told}");
    }
    let mistaken = refused(&[("database_url_file", "postgres://u:hunter2@db/s")], &[]);
    assert!(mistaken.contains("takes the path of a file") && !mistaken.contains("hunter2"), "{mistaken}");
}

#[test]
fn no_secret_shows_in_rows_sentences_or_debug_prints() {
    let url = "postgres://ines:hunter2@db/s?password=hunter2";
    let (config, shown) = resolve(&[("database_url", url)], &[]).unwrap();
    let printed = format!("{config:?}{}{shown:?}", stillroom::config::table(&shown));
    assert!(!printed.contains("hunter2"), "{printed}");
    for bad in
        ["postgres://u:p@h/d?sslpassword=hunter2", "mysql://u:hunter2@h", "postgres://u:p@h:hunter2/d", "hunter2:x"]
    {
        let told = refused(&[("database_url", bad)], &[]);
        assert!(told.starts_with("database_url (flag --database-url): ") && !told.contains("hunter2"), "{told}");
    }
}

proptest! {
    #[test]
    fn no_part_of_a_password_shows_whatever_it_is_made_of(password in "\\PC{0,12}") {
        let url = format!("postgres://ines:Q9{password}Z7@db/s?password=Q9{password}Z7");
        let told = match resolve(&[("database_url", &url)], &[]) {
            Ok((config, shown)) => format!("{config:?}{shown:?}"),
            Err(told) => told,
        };
        prop_assert!(!told.contains("Q9") && !told.contains("Z7"), "{}", told);
    }

    #[test]
    fn any_text_for_any_option_is_taken_or_refused_by_name(n in 0..OPTIONS.len(), text in any::<String>()) {
        let name = OPTIONS[n].name;
        if let Err(told) = resolve(&[(name, &text)], &[]) {
            // A data folder that cannot be looked into is told by the file that might lie there.
            let named = told.lines().any(|sentence| sentence.starts_with(name));
            prop_assert!(named || (name == "data_dir" && told.starts_with("config (default): ")), "{}", told);
        }
    }
}

#[test]
fn forwarded_addresses_are_believed_only_from_listed_networks() {
    let trusts = |networks: &str, peer: &str| {
        resolve(&[("trusted_proxies", networks)], &[]).unwrap().0.trusts(peer.parse().unwrap())
    };
    assert!(!trusts("", "127.0.0.1") && !trusts("10.0.0.0/8", "11.0.0.1") && !trusts("10.0.0.0/8", "::1"));
    assert!(trusts("10.0.0.0/8,::1", "10.9.8.7") && trusts("10.0.0.0/8,::1", "::1"));
    assert!(trusts("10.0.0.0/8", "::ffff:10.9.8.7"), "listening at [::] shows an IPv4 peer like this");
}

#[test]
fn a_bad_value_names_its_option_and_origin_and_all_are_told_at_once() {
    let (_folder, file) = file_with(
        "listen = 8270\nmax_upload_mb = 2.5\nlog = [\"info\"]\ntrusted_proxies = [1]\nbackups_keep = 0\nkeys_dir = 2020-01-01\n",
    );
    let environment =
        [("STILLROOM_INSECURE_HTTP", "maybe"), ("STILLROOM_LOG_FORMAT", "xml"), ("STILLROOM_BASE_PATH", "/a b")];
    let told = refused(&[("config", &file), ("session_hours", "-1"), ("external_url", "studio")], &environment);
    let mistyped = [
        format!("log in {file} takes one value, not an array."),
        format!("trusted_proxies in {file} is an array with something else than texts in it."),
        format!("keys_dir in {file} takes no date"),
        format!("listen (file {file}): \"8270\" is not an IP address and port"),
        format!("max_upload_mb (file {file}): \"2.5\" is not a whole number from 1 to 100."),
        format!("backups_keep (file {file}): \"0\" is not a whole number from 1 to 1000."),
        "insecure_http (environment STILLROOM_INSECURE_HTTP): \"maybe\" is neither true nor false.".into(),
        "log_format (environment STILLROOM_LOG_FORMAT): \"xml\" is neither text nor json.".into(),
        "base_path (environment STILLROOM_BASE_PATH): \"/a b\" is not a path".into(),
        "session_hours (flag --session-hours): \"-1\" is not a whole number from 1 to 720.".into(),
        "external_url (flag --external-url): \"studio\"".into(),
    ];
    for part in &mistyped {
        assert!(told.contains(part), "{part}\nnot in\n{told}");
    }
    assert_eq!(told.lines().count(), mistyped.len(), "{told}");
}

#[test]
fn keys_inside_the_data_folder_are_refused_even_through_a_link() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    std::fs::create_dir(&data).unwrap();
    let data = data.to_str().unwrap();
    let within = format!("{data}/keys");
    let dotted = format!("{data}/../data/./keys");
    let mut ways = vec![data.to_owned(), within, dotted];
    #[cfg(unix)]
    {
        let link = folder.path().join("link");
        std::os::unix::fs::symlink(data, &link).unwrap();
        ways.push(link.join("keys").display().to_string());
    }
    for keys in ways {
        let told = refused(&[("data_dir", data), ("keys_dir", &keys)], &[]);
        assert!(told.starts_with("keys_dir (flag --keys-dir): ") && told.contains("lies inside data_dir"), "{told}");
    }
    assert!(resolve(&[("data_dir", data), ("keys_dir", &format!("{data}-keys"))], &[]).is_ok());
}

#[test]
fn an_idle_time_longer_than_the_session_is_refused() {
    assert!(
        refused(&[("session_hours", "1"), ("session_idle_minutes", "61")], &[]).starts_with("session_idle_minutes ")
    );
    assert!(resolve(&[("session_hours", "1"), ("session_idle_minutes", "60")], &[]).is_ok());
}

#[test]
fn plain_http_off_loopback_is_served_only_when_chosen() {
    let serve = |flags: Pairs<'_>| resolve(flags, &[]).unwrap().0;
    let lan = ("external_url", "http://studio.lan");
    let refused = serve(&[lan]).may_serve().unwrap_err().to_string();
    assert!(refused.contains("http://studio.lan") && refused.contains("insecure_http"), "{refused}");
    let chosen = serve(&[lan, ("insecure_http", "true")]);
    assert!(chosen.may_serve().is_ok() && !chosen.secure_context());
    assert_eq!(chosen.cookie_name(), "stillroom");

    let everywhere = ("listen", "0.0.0.0:8270");
    let told = serve(&[everywhere, ("insecure_http", "true")]).may_serve().unwrap_err().to_string();
    assert!(told.starts_with("external_url is missing: listen is 0.0.0.0:8270"), "{told}");
    let proxied = serve(&[everywhere, ("external_url", "https://studio.example")]);
    assert!(proxied.may_serve().is_ok() && proxied.is_https() && !proxied.is_loopback());
    assert_eq!(proxied.cookie_name(), "__Host-stillroom");
}

#[test]
fn links_carry_the_base_path_and_follow_the_port_the_machine_chose() {
    let (config, _) = resolve(&[("listen", "127.0.0.1:0"), ("base_path", "studio/")], &[]).unwrap();
    assert_eq!(config.url("/rooms"), "/studio/rooms");
    let bound = config.listening_at("127.0.0.1:40123".parse().unwrap());
    assert_eq!(bound.external("/rooms"), "http://127.0.0.1:40123/studio/rooms");
    let (told, _) = resolve(&[("listen", "127.0.0.1:0"), ("external_url", "https://studio.example/")], &[]).unwrap();
    let bound = told.listening_at("127.0.0.1:40123".parse().unwrap());
    assert_eq!(bound.external("/rooms"), "https://studio.example/rooms");
}
