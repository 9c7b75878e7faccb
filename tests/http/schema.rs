//! The schema as both databases take it: words, types, keys; and statements that do not walk through long tables.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use sqlx::{AssertSqlSafe, Row};
use stillroom::adhesives::Bead;
use stillroom::adhesives::product::{Family, allowed_key};
use stillroom::adhesives::set_time::TestPiece;
use stillroom::artists::{Employment, Source, Technique};
use stillroom::base::actor::Role;
use stillroom::book::plan::Reason;
use stillroom::book::{State, VisitKind};
use stillroom::clients::handed::HandedState;
use stillroom::clients::photos::Moment;
use stillroom::clients::{GivenBy, Purpose};
use stillroom::rooms::{DeviceKind, InstrumentKind};

use crate::house::{TABLES, TestHouse, both_databases};

/// Words a column takes, how a row with one of them is put there, and which the program knows.
pub(crate) struct Words {
    pub(crate) column: &'static str,
    pub(crate) insert: fn(&str, usize) -> String,
    pub(crate) known: Vec<&'static str>,
}

pub(crate) fn id(n: usize) -> String {
    format!("01890000-0000-7000-8000-{n:012}")
}

fn client_import(n: usize, order: &str, state: &str) -> String {
    format!(
        "insert into client_import (id, file_name, content, day_order, made_by, created, state, rows_new) select '{}', '', content, '{order}', made_by, 1, '{state}', 0 from client_import where created > 1 and file_name = 'first.csv'",
        id(n)
    )
}

fn handed_form(n: usize, form: &str, state: &str) -> String {
    format!(
        "insert into handed_form (id, client, form, begun, by_person, state, draft) select '{}', client, '{form}', 1, by_person, '{state}', draft from handed_form where begun > 1",
        id(n)
    )
}

fn bench_test(n: usize, kind: &str, bead: &str) -> String {
    format!(
        "insert into bench_test (id, sitting, bottle, at, kind, seconds, bead, pick_up, liquids, days_open, temperature_c, humidity_pct, u_temperature_k, u_humidity_pct, by_person)
         select '{}', min(id), min(bottle), 1, '{kind}', 1, '{bead}', '', '', 0, 20, 40, 0, 0, '' from bench_sitting",
        id(n)
    )
}

fn words() -> Vec<Words> {
    let roles: Vec<_> = Role::ALL.into_iter().map(Role::word).collect();
    let devices: Vec<_> = DeviceKind::ALL.into_iter().map(DeviceKind::word).collect();
    let instruments: Vec<_> = InstrumentKind::ALL.into_iter().map(InstrumentKind::word).collect();
    vec![
        Words {
            column: "service.kind",
            insert: |word, n| {
                format!(
                    "insert into service (id, name, name_key, kind, minutes, before_minutes, after_minutes, first_minutes, techniques, patch_test, takes_bed) values ('{}', 'n', 'n{n}', '{word}', 60, 0, 0, 0, '', 0, 1)",
                    id(n)
                )
            },
            known: VisitKind::ALL.into_iter().map(VisitKind::word).collect(),
        },
        Words {
            column: "time_off.reason",
            insert: |word, n| {
                format!(
                    "insert into time_off (id, from_wall, to_wall, zone, from_at, to_at, reason, made_by) values ('{}', '', '', '', 1, 2, '{word}', '')",
                    id(n)
                )
            },
            known: Reason::ALL.into_iter().map(Reason::word).collect(),
        },
        Words {
            column: "appointment.state",
            insert: |word, n| {
                format!(
                    "insert into appointment (id, artist, service, short_name, first_visit, wall, zone, starts, ends, busy_from, busy_to, state, version, note, created, changed) select '{}', min(artist.id), min(service.id), '', 0, '', '', 1, 2, 1, 2, '{word}', 1, '', 1, 1 from artist, service",
                    id(n)
                )
            },
            known: State::ALL.into_iter().map(State::word).collect(),
        },
        Words {
            column: "appointment_version.state",
            insert: |word, n| {
                format!(
                    "insert into appointment_version (appointment, version, artist, service, wall, zone, starts, ends, state, reason, by_mark, at) select min(id), {} + {n}, min(artist), '', '', '', 1, 2, '{word}', '', '', 1 from appointment",
                    100
                )
            },
            known: State::ALL.into_iter().map(State::word).collect(),
        },
        Words {
            column: "person.role",
            insert: |word, n| {
                format!(
                    "insert into person (id, name, name_key, role, passphrase, created) values ('{}', 'n', 'n{n}', '{word}', '', 1)",
                    id(n)
                )
            },
            known: roles.clone(),
        },
        Words {
            column: "session.role",
            insert: |word, n| {
                format!(
                    "insert into session (id, token, person, name, role, browser, created, seen, expires) select '{}', 't{n}', person, 'n', '{word}', '', 1, 1, 1 from claim",
                    id(n)
                )
            },
            known: roles,
        },
        Words {
            column: "token.kind",
            insert: |word, n| {
                format!(
                    "insert into token (id, kind, name, secret, salt, made_by, created) select '{}', '{word}', 'n', 's{n}', '', person, 1 from claim",
                    id(n)
                )
            },
            // The two kinds of `web::token::Kind`, whose words stand beside its SQL.
            known: vec!["sensor", "read"],
        },
        Words {
            column: "device.kind",
            insert: |word, n| {
                format!(
                    "insert into device (id, room, kind, name) select '{}', min(id), '{word}', 'n' from room",
                    id(n)
                )
            },
            known: devices,
        },
        Words {
            column: "instrument.kind",
            insert: |word, n| {
                format!(
                    "insert into instrument (id, room, name, name_key, kind, place, bought, mapping) select '{}', min(id), 'n', 'n{n}', '{word}', 'bed', 1, '' from room",
                    id(n)
                )
            },
            known: instruments,
        },
        Words {
            column: "instrument.place",
            insert: |word, n| {
                format!(
                    "insert into instrument (id, room, name, name_key, kind, place, bought, mapping) select '{}', min(id), 'n', 'n{n}', 'hand', '{word}', 1, '' from room",
                    id(n)
                )
            },
            known: vec!["bed", "wall"],
        },
        Words {
            column: "instrument_check.quantity",
            insert: |word, n| {
                format!(
                    "insert into instrument_check (id, instrument, at, quantity, against, reference, shown, by_person) select '{}', min(id), 1, '{word}', 'other', 1, 1, '' from instrument",
                    id(n)
                )
            },
            known: vec!["humidity", "temperature"],
        },
        Words {
            column: "product.family",
            insert: |word, n| {
                format!(
                    "insert into product (id, name, name_key, family, colour, storage, accelerator, created) values ('{}', 'n', 'n{n}', '{word}', '', '', 'no', 1)",
                    id(n)
                )
            },
            known: Family::ALL.into_iter().map(Family::key).collect(),
        },
        Words {
            column: "product.accelerator",
            insert: |word, n| {
                format!(
                    "insert into product (id, name, name_key, family, colour, storage, accelerator, created) values ('{}', 'n', 'n{n}', 'ethyl', '', '', '{word}', 1)",
                    id(n)
                )
            },
            known: vec![allowed_key(Some(true)), allowed_key(Some(false)), allowed_key(None)],
        },
        Words {
            column: "advice.verdict",
            insert: |word, n| {
                format!(
                    "insert into advice (id, number, at, person, artist, room, style, bottle, verdict, model, inputs, answer)
                     select '{}', {}, 1, min(person), min(id), (select min(id) from room), '', (select min(id) from bottle),
                     '{word}', '', '', '' from artist",
                    id(n),
                    1000 + n
                )
            },
            // Every `Verdict` but *not for today*, which cannot be taken.
            known: vec!["fits", "near_too_quick", "near_too_slow", "too_quick", "too_slow"],
        },
        Words {
            column: "advice_shown.verdict",
            insert: |word, n| {
                format!(
                    "insert into advice_shown
                     (id, fingerprint, first_at, last_at, times, artist, room, style, bottle, verdict, model, inputs, answer)
                     select '{}', 'f{n}', 1, 1, 1, min(id), (select min(id) from room), '', (select min(id) from bottle),
                     '{word}', '', '', '' from artist",
                    id(n)
                )
            },
            // As above: what cannot be used is not proposed.
            known: vec!["fits", "near_too_quick", "near_too_slow", "too_quick", "too_slow"],
        },
        Words {
            column: "bench_sitting.piece",
            insert: |word, n| {
                format!(
                    "insert into bench_sitting (id, bottle, piece, at) select '{}', min(id), '{word}', 1 from bottle",
                    id(n)
                )
            },
            known: TestPiece::ALL.into_iter().map(TestPiece::key).collect(),
        },
        Words {
            column: "bench_test.kind",
            insert: |word, n| bench_test(n, word, "thin"),
            // The two kinds of `adhesives::bench::Found`.
            known: vec!["set", "open"],
        },
        Words {
            column: "bench_test.bead",
            insert: |word, n| bench_test(n, "set", word),
            known: Bead::ALL.into_iter().map(Bead::word).collect(),
        },
        Words {
            column: "reading_import.state",
            insert: |word, n| {
                format!(
                    "insert into reading_import (id, room, instrument, file_name, content, digest, zone, day_order, temperature_unit, made_by, created, rows_all, rows_done, rows_new, rows_aside, state) select '{}', room, instrument, '', content, '', '', '', '', '', 1, 0, 0, 0, 0, '{word}' from reading_import where created > 1",
                    id(n)
                )
            },
            // The states of `rooms::imports`, which no other part knows.
            known: vec!["preview", "taking", "taken", "dropped"],
        },
        Words {
            column: "client_import.state",
            insert: |word, n| client_import(n, "day_first", word),
            // The states of `clients::imports`, which no other part knows.
            known: vec!["preview", "taken", "dropped"],
        },
        Words {
            column: "client_import.day_order",
            insert: |word, n| client_import(n, word, "preview"),
            known: vec!["day_first", "month_first"],
        },
        Words {
            column: "consultation.given_by",
            insert: |word, n| {
                format!(
                    "insert into consultation (id, client, version, at, given_by, taken_by, answers) select '{}', client, 0, 1, '{word}', taken_by, answers from consultation where id = (select min(id) from consultation where at > 1)",
                    id(n)
                )
            },
            known: GivenBy::ALL.into_iter().map(GivenBy::word).collect(),
        },
        Words {
            column: "consent_text.purpose",
            insert: |word, n| {
                format!(
                    "insert into consent_text (purpose, version, body, made_by, at) select '{word}', {n}, '', person, 1 from claim"
                )
            },
            known: Purpose::ALL.into_iter().map(Purpose::word).collect(),
        },
        Words {
            column: "consent.purpose",
            insert: |word, n| {
                format!(
                    "insert into consent (id, client, given_as, purpose, version, language, body, text_hash, by_guardian, at, taken_by, signed, digest) select '{}', client, client, '{word}', 0, '', '', '', 0, 1, taken_by, signed, '' from consent where digest <> '' and purpose = 'treatment'",
                    id(n)
                )
            },
            known: Purpose::ALL.into_iter().map(Purpose::word).collect(),
        },
        Words {
            column: "consent_copy.way",
            insert: |word, n| {
                format!(
                    "insert into consent_copy (id, consent, at, by_person, way) select '{}', min(id), 1, min(taken_by), '{word}' from consent",
                    id(n)
                )
            },
            // The ways of `clients::consents::copies`, which no other part knows.
            known: vec!["printed", "e-mail", "shown"],
        },
        Words {
            column: "handed_form.form",
            insert: |word, n| handed_form(n, word, "open"),
            known: Purpose::ALL.into_iter().map(Purpose::word).chain(["consultation"]).collect(),
        },
        Words {
            column: "handed_form.state",
            insert: |word, n| handed_form(n, "consultation", word),
            known: HandedState::ALL.into_iter().map(HandedState::word).collect(),
        },
        Words {
            column: "photo.moment",
            insert: |word, n| {
                format!(
                    "insert into photo (id, client, consent, at, taken_by, moment, width, height, picture) select '{}', client, consent, 1, taken_by, '{word}', 1, 1, picture from photo where at > 1",
                    id(n)
                )
            },
            known: Moment::ALL.into_iter().map(Moment::word).collect(),
        },
        Words {
            column: "artist.employment",
            insert: |word, n| {
                format!(
                    "insert into artist (id, person, employment, trainee, styles, usual, placements_per_set, created) select '{}', min(id), '{word}', 0, '', '', 1, 1 from person where id not in (select person from artist)",
                    id(n)
                )
            },
            known: Employment::ALL.into_iter().map(Employment::word).collect(),
        },
        Words {
            column: "timing_session.technique",
            insert: |word, n| timing(n, word, "taps"),
            known: Technique::ALL.into_iter().map(Technique::word).collect(),
        },
        Words {
            column: "timing_session.source",
            insert: |word, n| timing(n, "classic", word),
            known: Source::ALL.into_iter().map(Source::word).collect(),
        },
    ]
}

fn timing(n: usize, technique: &str, source: &str) -> String {
    format!(
        "insert into timing_session (id, artist, technique, fan, at, received, source, bottle, bottle_name, dry, entered_by) select '{}', min(id), '{technique}', 0, 1, 1, '{source}', '', '', 1, '' from artist",
        id(n)
    )
}

both_databases!(columns_of_words_take_exactly_the_words_of_the_program, async |house| {
    let mut n = 0;
    for column in words().into_iter().chain(crate::clearance::words()).chain(crate::cards::words()) {
        for word in &column.known {
            n += 1;
            let kept = house.run(&(column.insert)(word, n)).await;
            assert!(kept.is_ok(), "{} refuses {word}: {kept:?}", column.column);
        }
        for wrong in ["", "other", &column.known[0].to_uppercase(), &format!("{} ", column.known[0])] {
            n += 1;
            assert!(house.run(&(column.insert)(wrong, n)).await.is_err(), "{} takes {wrong:?}", column.column);
        }
    }
});

/// `column` and its words, for every `check (column in (…))` of the migrations.
fn checks_of_migrations() -> Vec<(String, BTreeSet<String>)> {
    // A table that is made anew has the words it was made with last.
    let mut found = BTreeMap::new();
    for (_, text) in migrations() {
        let mut table = String::new();
        for line in text.lines() {
            if let Some(name) = line.strip_prefix("create table ") {
                table = name.trim_end_matches(" (").to_owned();
            }
            if let Some((_, rest)) = line.split_once(" check (") {
                let Some((column, list)) = rest.split_once(" in (") else { continue };
                let list = list.split(')').next().unwrap();
                let words = list.split(',').map(|word| word.trim().trim_matches('\'').to_owned()).collect();
                found.insert(format!("{table}.{column}"), words);
            }
        }
    }
    found.into_iter().collect()
}

fn migrations() -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    let read = |path: &std::path::PathBuf| {
        (path.file_name().unwrap().to_string_lossy().into_owned(), std::fs::read_to_string(path).unwrap())
    };
    files.iter().map(read).collect()
}

#[test]
fn every_column_of_words_in_the_migrations_is_tried_with_the_same_words() {
    let tried: Vec<(String, BTreeSet<String>)> = words()
        .into_iter()
        .chain(crate::clearance::words())
        .chain(crate::cards::words())
        .map(|column| (column.column.to_owned(), column.known.iter().map(|word| (*word).to_owned()).collect()))
        .collect();
    let in_migrations = checks_of_migrations();
    assert!(in_migrations.len() >= 8);
    for check in &in_migrations {
        assert!(tried.contains(check), "{check:?} is not tried");
    }
    assert_eq!(tried.len(), in_migrations.len());
}

#[test]
fn the_list_of_tables_is_that_of_the_migrations() {
    let text: String = migrations().into_iter().map(|(_, text)| text).collect();
    let made: BTreeSet<_> = text
        .lines()
        .filter_map(|line| line.strip_prefix("create table "))
        .map(|name| name.trim_end_matches(" ("))
        .collect();
    assert_eq!(made, TABLES.into_iter().collect());
}

#[test]
fn columns_have_only_types_that_both_databases_read_alike() {
    for (file, text) in migrations() {
        for line in text.lines().filter(|line| line.starts_with("  ") && !line.trim_start().starts_with("--")) {
            let (first, rest) = line.trim().split_once(' ').unwrap_or_default();
            // Rows of a table that is made anew.
            if first == "select" {
                continue;
            }
            let known = ["bigint", "double precision", "text", "bytea"].iter().any(|kind| rest.starts_with(kind));
            let constraint = ["primary key (", "unique ("].iter().any(|start| line.trim().starts_with(start));
            assert!(known || constraint, "{file}: {line}");
        }
    }
}

both_databases!(numbers_without_a_value_and_foreign_keys_are_refused, async |house| {
    for wrong in [
        "insert into session (id, token, person, name, role, browser, created, seen, expires) values ('x', 'x', 'nobody', '', 'owner', '', 1, 1, 1)",
        "insert into reading (id, room, instrument, at, given_by, received, set_aside) values ('x', 'nowhere', 'nothing', 1, '', 1, '')",
        "insert into claim (id, person, at) select 2, person, 1 from claim",
        "update room set volume_m3 = 0",
        "update room set volume_m3 = null",
        "delete from person",
    ] {
        assert!(house.run(wrong).await.is_err(), "{wrong}");
    }
});

/// Every SQL text of the program that reads or changes rows, with the file it stands in.
fn statements() -> Vec<(String, String)> {
    let mut found = Vec::new();
    let mut folders = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join("src")];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let text = std::fs::read_to_string(&path).unwrap();
                let file = path.strip_prefix(env!("CARGO_MANIFEST_DIR")).unwrap().display().to_string();
                found.extend(sql_in(&text).into_iter().map(|sql| (file.clone(), sql)));
            }
        }
    }
    found
}

/// Texts in quotes that begin as a statement does.
fn sql_in(text: &str) -> Vec<String> {
    let mut found = Vec::new();
    for piece in text.split('"') {
        let sql = piece.split_whitespace().collect::<Vec<_>>().join(" ");
        let verb = ["select ", "update ", "delete from "].iter().any(|verb| sql.starts_with(verb));
        if verb && (sql.contains(" from ") || sql.starts_with("update ")) && !sql.contains('{') && !sql.contains('\\') {
            found.push(sql);
        }
    }
    found
}

/// Tables that grow with every day of work.
const LONG: [&str; 21] = [
    "reading",
    "session",
    "audit",
    "form_key",
    "client_word",
    "consultation",
    "consent",
    "photo",
    "handed_form",
    "bench_test",
    "timing_session",
    "placement",
    "patch_test",
    "exposure",
    "appointment",
    "appointment_version",
    "waiting",
    "card",
    "card_count",
    "card_drop",
    "card_arrival",
];

both_databases!(no_statement_walks_through_a_long_table, async |house| {
    if !house.is_sqlite() {
        return;
    }
    fill_long_tables(house).await;
    let mut db = house.past().await;
    let mut covered = 0;
    let mut walks = Vec::new();
    for (file, sql) in statements() {
        let touches = LONG
            .iter()
            .any(|table| sql.split(|c: char| !(c.is_ascii_alphanumeric() || c == '_')).any(|word| word == *table));
        if !touches || sql.contains("information_schema") || sql.contains("_sqlx_migrations") {
            continue;
        }
        covered += 1;
        let places = (1..10).take_while(|n| sql.contains(&format!("${n}"))).count();
        let mut query = sqlx::query(AssertSqlSafe(format!("explain query plan {sql}")));
        for _ in 0..places {
            query = query.bind("x");
        }
        for row in query.fetch_all(&mut db).await.unwrap_or_else(|why| panic!("{file}: {sql}: {why}")) {
            let step: String = row.get(3);
            // In the order of an index and cut off after a few rows, a walk is no walk.
            let few = sql.contains(" limit ") && step.contains("USING INDEX");
            if LONG.iter().any(|table| step.starts_with(&format!("SCAN {table}"))) && !few {
                walks.push(format!("{file}: {step}: {sql}"));
            }
        }
    }
    assert!(covered >= 15, "only {covered} statements were found; are they written in another way now?");
    assert!(walks.is_empty(), "{}", walks.join("\n"));
});

/// Rows as in a house at work. No statistics are gathered, since the program gathers none: with them SQLite might choose
/// better than it will.
async fn fill_long_tables(house: &TestHouse) {
    let numbers = "with recursive n (n) as (select 1 union all select n + 1 from n where n < 20000)";
    for text in [
        format!(
            "{numbers} insert into card (id, client, artist, room, kind, lids, begun, closed, entered, entered_by, from_paper, clearance,
                 advised_class, lot, bead, liquids, technique, elsewhere, remover, remover_lot, next_visit, aftercare, hygiene, version)
                 select 'c' || n, (select min(id) from client), (select min(id) from artist), (select min(id) from room), 'infill', 'upper',
                 n, n, n, '', 0, '', '', '', 'thin', '', '', 0, '', '', '', 'told', '', 1 from n"
        ),
        format!(
            "{numbers} insert into card_count (id, card, side, lash, placed, at) select 'n' || n, 'c' || n, 'left', 'single', 40, n from n"
        ),
        format!(
            "{numbers} insert into card_drop (id, card, at, bottle, lot, bead)
                 select 'd' || n, 'c' || n, n, (select min(id) from bottle), '', 'thin' from n"
        ),
        format!(
            "{numbers} insert into card_arrival (card, side, of_card, had, attached, grown_out, lost, counted_by, at)
                 select 'c' || n, 'left', 'c' || n, 40, 30, 5, 5, 'self', n from n"
        ),
        format!(
            "{numbers} insert into reading (id, room, instrument, at, given_by, received, set_aside)
                 select 'r' || n, (select min(id) from room), (select min(id) from instrument), n, '', n, '' from n"
        ),
        format!(
            "{numbers} insert into session (id, token, person, name, role, browser, created, seen, expires, ended)
                 select 's' || n, 't' || n, (select person from claim), '', 'owner', '', n, n, n, n from n"
        ),
        format!(
            "{numbers} insert into client_word (client, word) select c.id, cast('word' || n as blob) from client c, n where c.erased is null"
        ),
        format!(
            "{numbers} insert into consultation (id, client, version, at, given_by, taken_by, answers)
                 select 'c' || n, (select min(id) from client), 0, n, 'asked', (select person from claim), cast('' as blob) from n"
        ),
        format!(
            "{numbers} insert into consent (id, client, given_as, purpose, version, language, body, text_hash, by_guardian, at, taken_by, signed, digest)
                 select 'c' || n, (select min(id) from client), '', 'treatment', 0, '', '', '', 0, n, (select person from claim), cast('' as blob), '' from n"
        ),
        format!(
            "{numbers} insert into audit (line, at, actor, action, subject, detail, chain)
                 select n + 100000, n, '', '', '', '', '' from n"
        ),
        format!(
            "{numbers} insert into form_key (actor, route, form, fingerprint, status, location, answer, at)
                 select 'a' || (n % 7), '/', 'f' || n, '', 303, '', '', n from n"
        ),
        format!(
            "{numbers} insert into bench_test (id, sitting, bottle, at, kind, seconds, bead, pick_up, liquids, days_open,
                 temperature_c, humidity_pct, u_temperature_k, u_humidity_pct, by_person)
                 select 't' || n, (select min(id) from bench_sitting), (select min(id) from bottle), n, 'set', 1, 'thin',
                 '', '', 0, 20, 40, 0, 0, '' from n"
        ),
        format!(
            "{numbers} insert into patch_test (id, client, method, number_placed, placed, placed_by, read_by, result, created)
                 select 'p' || n, (select min(id) from client), 'skin', 1, n, '', '', 'waiting', n from n"
        ),
        format!(
            "{numbers} insert into exposure (id, client, product, lot, at, kind, source)
                 select 'e' || n, (select min(id) from client), (select min(id) from product), '', n, 'treatment', n || '' from n"
        ),
        format!(
            "{numbers} insert into timing_session (id, artist, technique, fan, at, received, source, bottle, bottle_name, dry, entered_by)
                 select 't' || n, (select min(id) from artist), 'classic', 0, n, n, 'taps', '', '', 1, '' from n"
        ),
        format!(
            "{numbers} insert into placement (id, session, n, travel_s, settle_s)
                 select 'p' || n, 't' || (n / 20 + 1), n % 20, 2.4, 1.1 from n"
        ),
        format!(
            "{numbers} insert into appointment (id, artist, service, short_name, first_visit, wall, zone, starts, ends, busy_from,
                 busy_to, state, version, note, created, changed)
                 select 'a' || n, (select min(id) from artist), (select min(id) from service), '', 0, '', '', n, n + 1, n, n + 1,
                 'booked', 1, '', n, n from n"
        ),
        format!(
            "{numbers} insert into appointment_version (appointment, version, artist, service, wall, zone, starts, ends, state,
                 reason, by_mark, at)
                 select 'a' || n, 1, (select min(id) from artist), '', '', '', n, n + 1, 'booked', '', '', n from n"
        ),
        format!(
            "{numbers} insert into waiting (id, service, short_name, first_visit, from_day, to_day, after_minute, before_minute,
                 note, created, done)
                 select 'w' || n, (select min(id) from service), '', 0, '', '', 0, 1440, '', n, n from n"
        ),
    ] {
        // SQLite wants the recursive part behind the insert's target.
        let (with, insert) = text.split_at(text.find("insert").unwrap());
        let (target, select) = insert.split_at(insert.find("select").unwrap());
        house.run(&format!("{target} {with} {select}")).await.unwrap();
    }
}

#[test]
fn statements_are_found_in_the_source() {
    let text = "sqlx::query(\"select id from room where id = $1\") // \"no statement\"\n\"update\n   room set a = $1\"";
    assert_eq!(sql_in(text), ["select id from room where id = $1", "update room set a = $1"]);
}
