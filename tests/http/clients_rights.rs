//! A client's own rights: her file, restriction, erasure, and what is left of her afterwards; two records put together.

use std::path::Path;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use stillroom::base::time::{DAY, MINUTE};
use stillroom::clients::{self, Purpose};
use stillroom::store::{OpenOptions, Store};
use stillroom::{clearance, privacy};

use crate::browser::Browser;
use crate::clients::{DRAWN, add};
use crate::clients_sealed::everywhere;
use crate::house::{TestHouse, both_databases};
use crate::studio::{Actor, PHRASE};

/// Twenty words that stand nowhere else, put wherever a form of a client takes words.
const MARKS: [&str; 20] = [
    "Quorvane", "Zibbleth", "Wexmarra", "Oolithe", "Pranzig", "Murkaby", "Tresfol", "Vandrix", "Yulmeno", "Kastrew",
    "Brindolo", "Flaxenut", "Grumvale", "Hespidor", "Jornaxe", "Lorquist", "Nimbelor", "Quexture", "Sprandle",
    "Twizzork",
];

/// A client with a mark in every field that takes words.
async fn marked(house: &TestHouse, who: &mut Browser, keeper: &str) -> String {
    let [first, last, mail, note, typed, guardianless, reader, witness, own, doctor, dated, words, ..] = MARKS;
    let id = add(
        who,
        &format!("{first} {last}"),
        keeper,
        &[
            ("phone", "+45 71 72 73 74"),
            ("email", &format!("{mail}@example.org")),
            ("notes", &format!("{note} {guardianless}")),
            ("born_year", "1961"),
        ],
    )
    .await;
    let path = format!("/door/clients/{id}");
    let form = who.form(&format!("{path}/edit"), &format!("{path}/edit")).await;
    who.submit(&form.with("name", &format!("{first} {last} {}", MARKS[12]))).await.must(303);

    let form = who.form(&format!("{path}/consultation"), &format!("{path}/consultations")).await;
    let filled = house.things.answers.iter().fold(form, |form, (name, value)| form.with(name, value));
    let read = who.submit(&filled.with("q_own_words", &format!("{own} {}", MARKS[13]))).await.goes_to();
    let form = who.form(&read, &format!("{read}/advice")).await;
    let form = form.with_all(&[
        ("from", doctor),
        ("dated", dated),
        ("words", &format!("{words} {} {}", MARKS[14], MARKS[15])),
        ("may", "yes"),
    ]);
    who.submit(&form).await.must(303);
    for (purpose, drawn) in [("treatment", false), ("publicity_photos", true)] {
        let sign = format!("{path}/sign/{purpose}");
        let form = who.form(&sign, &sign).await.with_all(&[
            ("printed_name", &format!("{first} {}", MARKS[16]) as &str),
            ("language", "English"),
            ("reader", &format!("{reader} {}", MARKS[17])),
            ("strokes", if drawn { DRAWN } else { "" }),
            ("typed_name", &format!("{typed} {}", MARKS[18])),
            ("agree", "yes"),
            ("witness", &format!("{witness} {}", MARKS[19])),
        ]);
        who.submit(&form).await.must(303);
    }
    id
}

/// Words for every field of clearance that takes words, each with the page whose form it is typed into.
pub(crate) const CLEARANCE_MARKS: [&str; 11] = [
    "Abrelsk",
    "Dovintha",
    "Elquorin",
    "Fuzzarel",
    "Gintravo",
    "Hulmoxa",
    "Ickworth",
    "Jalvendo",
    "Krispool",
    "Lemnuvar",
    "Mozzaquil",
];

/// A mark in every field of clearance that takes words: decision, test, look, finding, statement, reaction, follow-up, complaint.
pub(crate) async fn marked_in_clearance(house: &TestHouse, who: &mut Browser, id: &str) {
    let path = format!("/door/clients/{id}");
    let [reason, site, look, finding, statement, seen, aid, liquids, again, complaint, later] = CLEARANCE_MARKS;
    let send = async |who: &mut Browser, page: &str, action: &str, typed: &[(&str, &str)]| {
        let form = who.form(&format!("{path}{page}"), &format!("{path}{action}")).await.with_all(typed);
        who.submit(&form).await.goes_to()
    };
    crate::clearance::old_test(house, id, 200).await;
    let typed = [("reason", format!("{reason} asked the insurer by telephone."))];
    send(who, "/decisions/new", "/decisions", &typed.each_ref().map(|(name, value)| (*name, value.as_str()))).await;
    // Before she places a test herself: whoever treated her enters no statement.
    let typed = [("says", "ethyl"), ("written", "2026-02-16T08:00"), ("words", statement)];
    send(who, "/statements/new", "/statements", &typed).await;
    let bottle = house.things.clearance["bottle"].clone();
    let typed = [
        ("done", "placed"),
        ("bottle", bottle.as_str()),
        ("method", "lashes"),
        ("number", "3"),
        ("site", site),
        ("at", "2026-02-16T08:00"),
    ];
    send(who, "/tests/new", "/tests", &typed).await;
    let test =
        house.look(&format!("select id from patch_test where client = '{id}' order by placed desc limit 1")).await;
    let form = who.form(&format!("/door/tests/{test}"), &format!("/door/tests/{test}/looks")).await;
    who.submit(&form.with_all(&[("result", "doubtful"), ("words", look)])).await.must(303);
    let typed = [("grade", "+"), ("at", "2026-02-17T08:00"), ("words", finding)];
    send(who, "/findings/new", "/findings", &typed).await;
    let typed = [
        ("symptom", "itching"),
        ("eyes", "both"),
        ("severity", "mild"),
        ("noticed", "2026-02-16T09:00"),
        ("exposed", ""),
        ("artist", "none"),
        ("words", seen),
        ("first_aid", aid),
        ("liquids", liquids),
    ];
    let reaction = send(who, "/reactions/new", "/reactions", &typed).await;
    for words in [again, later] {
        let page = who.page(&reaction).await;
        let form = crate::html::forms(&page.text()).into_iter().find(|form| form.action.contains("/follow-ups/"));
        who.submit(&form.unwrap().with("words", words)).await.must(303);
    }
    send(who, "/complaints/new", "/complaints", &[("what", complaint)]).await;
}

/// How many marks lie somewhere, and where the first of them does.
async fn marks_left(house: &TestHouse) -> (usize, String) {
    let mut bytes = everywhere(house).await;
    bytes.extend(fresh_copy(house).await);
    let lower = |text: &[u8]| text.to_ascii_lowercase();
    let all: Vec<(String, Vec<u8>)> = bytes.into_iter().map(|(place, bytes)| (place, lower(&bytes))).collect();
    let mut left = 0;
    let mut first = String::new();
    for mark in MARKS.iter().chain(&CLEARANCE_MARKS) {
        let mark = lower(mark.as_bytes());
        if let Some((place, _)) = all.iter().find(|(_, bytes)| bytes.windows(mark.len()).any(|window| window == mark)) {
            left += 1;
            if first.is_empty() {
                first = format!("{} in {place}", String::from_utf8_lossy(&mark));
            }
        }
    }
    (left, first)
}

/// A fresh copy of the database as a backup holds it: SQLite's own; on PostgreSQL the archive the program itself writes, what it keeps
/// as base64 made bytes again.
async fn fresh_copy(house: &TestHouse) -> Vec<(String, Vec<u8>)> {
    if !house.is_sqlite() {
        return fresh_archive(house).await;
    }
    let to = house.folder.join("fresh-copy.db");
    if Path::new(&to).exists() {
        std::fs::remove_file(&to).unwrap();
    }
    let mut db = house.past().await;
    sqlx::query("vacuum into $1").bind(to.to_str().unwrap()).execute(&mut db).await.unwrap();
    vec![("a fresh copy".to_owned(), std::fs::read(&to).unwrap())]
}

/// The archive that is written before a migration: the database is made to look older for the length of one start, which then stops at
/// the migration.
async fn fresh_archive(house: &TestHouse) -> Vec<(String, Vec<u8>)> {
    let folder = house.folder.join("beside/backups");
    let mut options = OpenOptions::of(&house.house.config, house.clock.clone());
    options.data_dir = house.folder.join("beside");
    let mut db = house.past().await;
    let turn = "update _sqlx_migrations set version = -version
                where abs(version) = (select max(abs(version)) from _sqlx_migrations)";
    sqlx::query(turn).execute(&mut db).await.unwrap();
    assert!(Store::open(&options).await.is_err(), "a database with a migration nobody knows was opened");
    sqlx::query(turn).execute(&mut db).await.unwrap();
    let mut files: Vec<_> = std::fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    assert_eq!(files.len(), 1, "{files:?}");
    let file = files.remove(0);
    let text = std::fs::read_to_string(&file).unwrap();
    std::fs::remove_dir_all(&folder).unwrap();
    let mut all = vec![("the archive".to_owned(), text.clone().into_bytes())];
    for line in text.lines() {
        let row: serde_json::Value = serde_json::from_str(line).unwrap();
        for (column, value) in row.as_object().unwrap() {
            if let Some(bytes) = value["base64"].as_str() {
                all.push((format!("the archive’s {column}"), STANDARD.decode(bytes).unwrap()));
            }
        }
    }
    assert!(all.len() > 20, "few columns of bytes are in the archive");
    all
}

async fn erase(who: &mut Browser, id: &str, fields: &[(&str, &str)]) -> String {
    let path = format!("/door/clients/{id}/erasure");
    let form = who.form(&path, &path).await.with_all(fields);
    who.submit(&form).await.goes_to()
}

both_databases!(of_an_erased_client_who_was_never_treated_no_mark_is_left_anywhere, async |house| {
    let mut owner = house.owner();
    let id = marked(house, &mut owner, "studio").await;
    let (before, _) = marks_left(house).await;
    assert!(before >= 4, "the record's own words lie in the clear before: {before}");
    // Her file first: all twenty marks are in it, so nothing was planted in vain.
    let file = owner.page(&format!("/door/clients/{id}/file.json")).await.text().to_lowercase();
    for mark in MARKS {
        assert!(file.contains(&mark.to_lowercase()), "{mark} is not in her file");
    }

    let told = erase(&mut owner, &id, &[("treated", "no")]).await;
    owner.page(&told).await.says("Everything this house kept of her is gone.");
    assert_eq!(marks_left(house).await, (0, String::new()));
    for gone in [
        format!("select count(*) from client_key where client = '{id}'"),
        format!("select count(*) from consultation where client = '{id}'"),
        format!("select count(*) from consent where client = '{id}'"),
        format!("select count(*) from client_word where client = '{id}'"),
    ] {
        assert_eq!(house.number(&gone).await, 0, "{gone}");
    }
    for page in ["", "/edit", "/file", "/consultation", "/erasure"] {
        owner.get(&format!("/door/clients/{id}{page}")).await.must(404);
    }
    // The chain still holds, and tells that and when, with ids alone.
    let mut db = house.house.store.read().await.unwrap();
    let whole = stillroom::store::audit::verify(&mut db, house.house.store.keys(), &[]).await.unwrap();
    assert!(matches!(whole, stillroom::store::audit::Verdict::Whole { .. }), "{whole:?}");
    assert_eq!(clients::consents::verify(&mut db, house.house.store.keys()).await.unwrap(), []);
});

both_databases!(her_file_to_read_has_words_and_pictures_and_what_is_for_programs_stands_in_the_other, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    let path = format!("/door/clients/{}/file", house.things.client);
    let json = a.page(&format!("{path}.json")).await.text();
    let digest = house.look("select digest from consent where purpose = 'treatment'").await;
    let artist = &house.things.people[Actor::ArtistA.name()];
    let for_programs = [digest.as_str(), artist.as_str(), house.things.client.as_str(), "100,800,0"];
    for text in for_programs {
        assert!(json.contains(text), "the file for programs lacks {text}");
    }
    for open in ["", "?open=yes"] {
        let page = a.page(&format!("{path}{open}")).await;
        let words = page.words();
        for text in for_programs {
            assert!(!words.contains(text), "{text} is nothing to read");
        }
        let is_iso = |word: &str| word.len() == 20 && word.ends_with('Z') && word.contains("T");
        assert!(!words.split_whitespace().any(is_iso), "an instant for programs: {words}");
        page.says("Keeper artist Ines Okafor");
        page.says("Europe/Copenhagen");
        let html = page.text();
        assert!(html.contains("class=\"signature\""), "the signature is no picture");
        // The list of contents leads to every part.
        let parts: Vec<_> =
            html.match_indices("href=\"#p").map(|(at, _)| html[at + 7..].split('"').next().unwrap()).collect();
        assert!(parts.len() >= 3, "{parts:?}");
        for part in parts {
            assert!(html.contains(&format!("id=\"{part}\"")), "{part} is not on the page");
        }
        // To print, nothing is folded away.
        assert_eq!(html.contains("<details>"), open.is_empty());
    }
});

both_databases!(after_a_treatment_what_must_stay_stays_locked_with_its_reason_until_its_day, async |house| {
    let mut owner = house.owner();
    let id = marked(house, &mut owner, "studio").await;
    let told = erase(&mut owner, &id, &[("treated", "yes"), ("last_day", "2026-02-01")]).await;
    let page = owner.page(&told).await;
    for words in [
        "signed consents",
        "consultations",
        "name, birth date and how to reach her, sealed",
        "Tue 1 Feb 2033",
        "keeping time",
    ] {
        page.says(words);
    }
    // None in the clear; sealed, they are there.
    assert_eq!(marks_left(house).await, (0, String::new()));
    assert_eq!(house.number(&format!("select count(*) from consent where client = '{id}'")).await, 1, "publicity went");
    assert_eq!(house.number(&format!("select count(*) from client_key where client = '{id}'")).await, 1);

    // The clock a day before, and on the day.
    for (days, left) in [(7 * 365 - 30, 1), (30, 0)] {
        house.clock.advance(days * DAY);
        privacy::go_on(&house.house).await.unwrap();
        privacy::go_on(&house.house).await.unwrap();
        assert_eq!(house.number(&format!("select count(*) from consent where client = '{id}'")).await, left);
        assert_eq!(house.number(&format!("select count(*) from client_key where client = '{id}'")).await, left);
    }
    assert_eq!(house.number("select count(*) from erasure_rest").await, 0);
    let mut db = house.house.store.read().await.unwrap();
    assert_eq!(clients::consents::verify(&mut db, house.house.store.keys()).await.unwrap(), []);
});

both_databases!(
    of_tests_reactions_complaints_and_doctors_papers_no_mark_is_readable_and_after_their_time_none_is_left,
    async |house| {
        let mut owner = house.owner();
        let id = marked(house, &mut owner, "studio").await;
        marked_in_clearance(house, &mut owner, &id).await;
        let file = owner.page(&format!("/door/clients/{id}/file.json")).await.text().to_lowercase();
        for mark in CLEARANCE_MARKS {
            assert!(file.contains(&mark.to_lowercase()), "{mark} is not in her file");
        }
        let told = erase(&mut owner, &id, &[("treated", "no")]).await;
        let page = owner.page(&told).await;
        for words in ["patch tests", "reactions and doctors’ papers", "complaints", "signed consents"] {
            page.says(words);
        }
        assert_eq!(marks_left(house).await, (0, String::new()));
        // Sealed, everything is there still, and only her key opens it.
        let sealed = |table: &str| format!("select count(*) from {table} where client = '{id}'");
        for table in
            ["patch_test_look", "doctor_finding", "doctor_statement", "clearance_override", "reaction", "complaint"]
        {
            assert!(house.number(&sealed(table)).await > 0, "{table}");
        }
        assert_eq!(house.number(&sealed("client_key")).await, 1);

        house.clock.advance((8 * 365 + 2) * DAY);
        privacy::go_on(&house.house).await.unwrap();
        privacy::go_on(&house.house).await.unwrap();
        for table in clearance::TABLES.iter().chain(&["client_key", "consent", "consultation", "erasure_rest"]) {
            assert_eq!(house.number(&sealed(table)).await, 0, "{table}");
        }
        assert_eq!(marks_left(house).await, (0, String::new()));
        crate::clearance::without_old_tests(house).await;
        let mut db = house.house.store.read().await.unwrap();
        assert_eq!(clearance::verify(&mut db, house.house.store.keys()).await.unwrap(), [], "erased is not gone");
    }
);

both_databases!(where_only_a_complaint_must_stay_only_what_it_is_about_does, async |house| {
    let mut owner = house.owner();
    let id = marked(house, &mut owner, "studio").await;
    let (product, long_ago) = (&house.things.clearance["product"], house.clock.now().0.plus(-9 * 365 * DAY).0);
    // Long ago: a test, a reaction to it, and two lots she met, one of which she complains of now.
    crate::clearance::old_test(house, &id, 9 * 365).await;
    let new = || stillroom::base::ids::ExposureId::new();
    let reaction = new();
    for text in [
        format!(
            "insert into reaction (id, client, noticed, acute, details, entered, entered_by)
             select '{reaction}', '{id}', {long_ago}, 0, answers, {long_ago}, '' from consultation where client = '{id}'"
        ),
        format!("insert into reaction_product (reaction, product, lot) values ('{reaction}', '{product}', 'K-1')"),
        format!(
            "insert into exposure (id, client, product, lot, at, kind, source)
             values ('{}', '{id}', '{product}', 'K-1', {long_ago}, 'treatment', 'before'),
                    ('{}', '{id}', '{product}', 'K-2', {long_ago}, 'treatment', 'before')",
            new(),
            new()
        ),
    ] {
        house.run(&text).await.unwrap();
    }
    let path = format!("/door/clients/{id}/complaints");
    let form = owner.form(&format!("{path}/new"), &path).await;
    owner.submit(&form.with("what", CLEARANCE_MARKS[9])).await.must(303);
    house.run(&format!("update complaint set product = '{product}', lot = 'K-1' where client = '{id}'")).await.unwrap();

    let told = erase(&mut owner, &id, &[("treated", "no")]).await;
    let page = owner.page(&told).await;
    for words in
        ["complaints", "products and lots a complaint is about", "name, birth date and how to reach her, sealed"]
    {
        page.says(words);
    }
    assert_eq!(house.number("select count(*) from erasure_rest").await, 3, "{}", page.words());
    let rows = async |table: &str| house.number(&format!("select count(*) from {table} where client = '{id}'")).await;
    for gone in ["patch_test", "reaction", "consent", "consultation", "client_word"] {
        assert_eq!(rows(gone).await, 0, "{gone}");
    }
    assert_eq!(house.number(&format!("select count(*) from reaction_product where reaction = '{reaction}'")).await, 0);
    for stays in ["complaint", "client_key"] {
        assert_eq!(rows(stays).await, 1, "{stays}");
    }
    let lot = house.look(&format!("select min(lot) || ' ' || max(lot) from exposure where client = '{id}'")).await;
    assert_eq!(lot, "K-1 K-1", "the other lot is forgotten");
    assert_eq!(marks_left(house).await, (0, String::new()));
    // Whoever looks for that lot still finds her.
    owner.page(&format!("/door/lots?product={product}&lot=K-1")).await.says("+45 71 72 73 74");

    house.clock.advance((7 * 365 + 3) * DAY);
    privacy::go_on(&house.house).await.unwrap();
    for table in clearance::TABLES.iter().chain(&["client_key", "erasure_rest"]) {
        assert_eq!(rows(table).await, 0, "{table}");
    }
    assert_eq!(marks_left(house).await, (0, String::new()));
});

both_databases!(
    what_stays_after_an_erasure_goes_on_the_day_that_was_told_whatever_the_rules_say_since,
    async |house| {
        let mut owner = house.owner();
        let id = marked(house, &mut owner, "studio").await;
        marked_in_clearance(house, &mut owner, &id).await;
        house.clock.advance(400 * DAY);
        let mut owner = crate::clearance::sign_in(house, Actor::Owner).await;
        let path = format!("/door/clients/{id}/complaints");
        let form = owner.form(&format!("{path}/new"), &path).await;
        owner.submit(&form.with("what", CLEARANCE_MARKS[9])).await.must(303);
        let told = erase(&mut owner, &id, &[("treated", "no")]).await;
        let stays = owner.page(&told).await.words();
        let dates = format!("select count(*) from erasure_rest where client = '{id}'");
        let all = house.number(&dates).await;
        assert!(all >= 6, "{stays}");

        // Twice as long, and then the shortest there is: what she was told stays as it was.
        for years in ["15", "1"] {
            let form = owner.form("/door/ages", "/door/ages").await;
            owner.submit(&form.with("keep_years", years)).await.must(303);
            privacy::go_on(&house.house).await.unwrap();
            assert_eq!(house.number(&dates).await, all);
            assert_eq!(owner.page(&told).await.words(), stays, "{years}");
        }
        let form = owner.form("/door/ages", "/door/ages").await;
        owner.submit(&form.with("keep_years", "15")).await.must(303);

        // Tests and reactions of the year before go a year earlier; the complaint stays, and says whose it is.
        let rows =
            async |table: &str| house.number(&format!("select count(*) from {table} where client = '{id}'")).await;
        house.clock.advance(2260 * DAY);
        privacy::go_on(&house.house).await.unwrap();
        for gone in ["patch_test", "patch_test_look", "reaction", "follow_up", "doctor_finding", "doctor_statement"] {
            assert_eq!(rows(gone).await, 0, "{gone}");
        }
        for gone in ["clearance_override", "exposure", "consent", "consultation"] {
            assert_eq!(rows(gone).await, 0, "{gone}");
        }
        for (stays, n) in [("complaint", 2), ("client_key", 1), ("erasure_rest", 2)] {
            assert_eq!(rows(stays).await, n, "{stays}");
        }
        {
            let mut db = house.house.store.read().await.unwrap();
            let broken = clearance::verify(&mut db, house.house.store.keys()).await.unwrap();
            let hers = house.look(&format!("select min(id) from complaint where client = '{id}'")).await;
            assert!(!broken.iter().any(|own| own.to_string().contains(&hers)), "{broken:?}");
            let gone = broken.iter().filter(|own| matches!(own, stillroom::store::audit::Broken::Gone(_))).count();
            assert_eq!(gone, 0, "erased is not gone: {broken:?}");
        }
        house.clock.advance(365 * DAY);
        privacy::go_on(&house.house).await.unwrap();
        for table in clearance::TABLES.iter().chain(&["client_key", "erasure_rest"]) {
            assert_eq!(rows(table).await, 0, "{table}");
        }
        assert_eq!(marks_left(house).await, (0, String::new()));
    }
);

both_databases!(an_erasure_says_what_it_needs_to_know_and_a_wrong_answer_erases_nothing, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    let path = format!("/door/clients/{}/erasure", house.things.leaving);
    for fields in [[("treated", "x"), ("last_day", "")], [("treated", "yes"), ("last_day", "soon")]] {
        let form = a.form(&path, &path).await.with_all(&fields);
        let again = a.submit(&form).await.must(422);
        assert_eq!(again.form(&path).value("last_day"), fields[1].1);
    }
    a.page(&format!("/door/clients/{}", house.things.leaving)).await.says("Gro Haugen");
});

both_databases!(a_file_waiting_to_be_read_in_goes_with_an_erasure, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    assert!(house.number("select cast(max(length(content)) as bigint) from client_import").await > 0);
    erase(&mut a, &house.things.leaving, &[("treated", "no")]).await;
    assert_eq!(house.number("select cast(max(length(content)) as bigint) from client_import").await, 0);
});

both_databases!(her_file_is_whole_counted_and_the_keepers_to_give, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    let path = format!("/door/clients/{}/file", house.things.client);
    let page = a.page(&path).await;
    for words in
        ["Ada Lovell", "+45 20 30 40 50", "Drops called Gentle Fen", "Consent to treatment", "medical advice first"]
    {
        page.says(words);
    }
    let answer = a.page(&format!("{path}.json")).await;
    assert_eq!(answer.header("content-disposition"), "attachment; filename=\"client-file.json\"");
    let file = answer.json();
    assert_eq!(file["client"], house.things.client);
    let consents = &file["parts"][2]["records"];
    assert_eq!(
        consents[0]["fields"]["digest"],
        house.look("select digest from consent where purpose = 'treatment'").await
    );
    assert!(consents[0]["fields"]["signature"].as_str().unwrap().contains("100,800,0"));
    assert_eq!(house.number("select count(*) from audit where action = 'export client file'").await, 2);
    // The owner keeps the studio's clients, not an artist's, until she has left.
    let mut owner = house.owner();
    owner.get(&path).await.must(403);
    let ines = &house.things.people[Actor::ArtistA.name()];
    let leave = format!("/office/people/{ines}/leave");
    let form = owner.form(&format!("/office/people/{ines}"), &leave).await;
    owner.submit(&form).await.must(303);
    owner.page(&path).await.says("Ada Lovell");
});

both_databases!(a_restricted_record_is_kept_and_not_used_until_that_is_lifted, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    let ada = format!("/door/clients/{}", house.things.client);
    let restriction = format!("{ada}/restriction");
    let wish = async |a: &mut Browser, wish: &str| {
        let form = a.form(&restriction, &restriction).await.with("wish", wish);
        a.submit(&form).await.must(303);
    };
    let before = a.form(&format!("{ada}/edit"), &format!("{ada}/edit")).await.with("name", "Ada Other");
    wish(&mut a, "restrict").await;
    a.page(&ada).await.says("only kept, not used");
    a.submit(&before).await.must(409).says("Her record is restricted at her wish");
    for page in ["/consultation", "/sign/patch_test"] {
        a.get(&format!("{ada}{page}")).await.must(409);
    }
    // Withdrawing stays as easy as ever.
    let form = a.form(&ada, &format!("{ada}/consents/{}/withdraw", house.things.consent)).await;
    a.submit(&form).await.must(303);
    wish(&mut a, "lift").await;
    let form = a.form(&format!("{ada}/edit"), &format!("{ada}/edit")).await.with("name", "Ada Other");
    a.submit(&form).await.must(303);
    a.page(&ada).await.says("Ada Other");
});

both_databases!(two_records_put_together_keep_both_histories, async |house| {
    let mut desk = house.actor(Actor::Desk);
    let mut a = house.actor(Actor::ArtistA);
    let (ada, twin) = (&house.things.client, &house.things.twin);
    // The twin signs, answers and has words of her own.
    let path = format!("/door/clients/{twin}");
    let form = a.form(&format!("{path}/consultation"), &format!("{path}/consultations")).await;
    let filled = house.things.answers.iter().fold(form, |form, (name, value)| form.with(name, value));
    a.submit(&filled.with("q_own_words", "Tape of the twin")).await.must(303);
    let sign = format!("{path}/sign/patch_test");
    let form = a.form(&sign, &sign).await.with_all(&[
        ("printed_name", "Ada Lovell"),
        ("language", "English"),
        ("strokes", DRAWN),
        ("agree", "yes"),
        ("witness", "Ines Okafor"),
    ]);
    a.submit(&form).await.must(303);
    house.clock.advance(DAY);
    let mut desk_again = house.stranger();
    desk_again.sign_in(Actor::Desk.name(), PHRASE).await.must(303);
    std::mem::swap(&mut desk, &mut desk_again);

    let merge = format!("/door/clients/{ada}/merge/{twin}");
    let form = desk.form(&merge, &merge).await.with("name", "other");
    assert_eq!(desk.submit(&form).await.goes_to(), format!("/door/clients/{ada}"));
    desk.page(&format!("/door/clients/{ada}")).await.says("Lovell, Ada");
    desk.get(&path).await.must(404);

    let (keys, now) = (house.house.store.keys(), house.clock.now().0);
    let id = ada.parse().unwrap();
    let mut db = house.house.store.read().await.unwrap();
    for purpose in [Purpose::Treatment, Purpose::PatchTest] {
        assert!(clients::consent_in_force(&mut db, id, purpose, now).await.unwrap(), "{purpose:?}");
    }
    let health = clients::health_answers(&mut db, keys, id, now).await.unwrap();
    assert!(health.answered.is_some() && !health.hold(), "both had answered: she is asked anew");
    assert_eq!(clients::consents::verify(&mut db, keys).await.unwrap(), [], "digests hold under the other key");
    let found = clients::find(&mut db, "lovell ada", 20).await.unwrap();
    assert_eq!(found.iter().map(|client| client.id).collect::<Vec<_>>(), [id]);
    assert_eq!(house.number(&format!("select count(*) from client_key where client in ('{ada}', '{twin}')")).await, 1);
    drop(db);
    let mut a = house.stranger();
    a.sign_in(Actor::ArtistA.name(), PHRASE).await.must(303);
    let file = a.page(&format!("/door/clients/{ada}/file")).await;
    for words in ["Drops called Gentle Fen", "Tape of the twin", "Earlier record, put together with this one"] {
        file.says(words);
    }
    // Erased, the earlier record goes with her.
    erase(&mut a, ada, &[("treated", "no")]).await;
    assert_eq!(house.number("select count(*) from client where name <> '' and erased is not null").await, 0);
});

both_databases!(what_was_taken_back_under_one_record_is_not_in_force_again_once_two_are_one, async |house| {
    let (ada, twin) = (&house.things.client, &house.things.twin);
    let mut a = house.actor(Actor::ArtistA);
    let sign = async |a: &mut Browser, id: &str| {
        let path = format!("/door/clients/{id}/sign/patch_test");
        let form = a.form(&path, &path).await.with_all(&crate::clients::signed());
        a.submit(&form).await.goes_to()
    };
    let consent = sign(&mut a, ada).await;
    house.clock.advance(MINUTE);
    sign(&mut a, twin).await;
    house.clock.advance(MINUTE);
    let form = a.form(&format!("/door/clients/{ada}"), &format!("{consent}/withdraw")).await;
    a.submit(&form).await.must(303);
    let merge = format!("/door/clients/{ada}/merge/{twin}");
    let mut desk = house.actor(Actor::Desk);
    let form = desk.form(&merge, &merge).await;
    desk.submit(&form).await.must(303);
    let mut db = house.house.store.read().await.unwrap();
    let (id, now) = (ada.parse().unwrap(), house.clock.now().0);
    assert!(!clients::consent_in_force(&mut db, id, Purpose::PatchTest, now).await.unwrap(), "she took it back last");
    assert_eq!(clients::consents::verify(&mut db, house.house.store.keys()).await.unwrap(), [], "the chain knows");
});

both_databases!(an_erasure_keeps_what_a_recorded_test_asks_to_be_kept_whatever_was_answered, async |house| {
    let ada = &house.things.client;
    house
        .run(&format!(
            "insert into patch_test (id, client, method, number_placed, placed, placed_by, read_by, result, created)
             values ('{}', '{ada}', 'lashes', 3, {}, '', '', 'waiting', 1)",
            stillroom::base::ids::PatchTestId::new(),
            house.clock.now().0.plus(-DAY).0
        ))
        .await
        .unwrap();
    let mut a = house.actor(Actor::ArtistA);
    let told = erase(&mut a, ada, &[("treated", "no")]).await;
    house.owner().page(&told).await.says("signed consents");
    assert!(house.number(&format!("select count(*) from consent where client = '{ada}'")).await > 0);
    assert!(house.number(&format!("select count(*) from consultation where client = '{ada}'")).await > 0);
});

both_databases!(who_comes_back_after_an_erasure_is_held_by_what_had_to_stay, async |house| {
    let ada = &house.things.client;
    let mut a = house.actor(Actor::ArtistA);
    let form = a.form(&format!("/door/clients/{ada}/reactions/new"), &format!("/door/clients/{ada}/reactions")).await;
    a.submit(&crate::clearance::reacted(house, form).with("symptom", "itching")).await.must(303);
    let born = house.look(&format!("select born from client where id = '{ada}'")).await;
    erase(&mut a, ada, &[("treated", "yes"), ("last_day", "2026-02-10")]).await;
    let mut desk = house.actor(Actor::Desk);
    let parts: Vec<&str> = born.split('-').collect();
    let day = [("born_year", parts[0]), ("born_month", parts[1]), ("born_day", parts[2])];
    let held = async |id: &str| {
        let mut db = house.house.store.read().await.unwrap();
        let product = house.look("select id from product order by created, id limit 1").await.parse().unwrap();
        let plan = [clearance::PlannedProduct::adhesive(product, stillroom::adhesives::Family::Ethyl)];
        let (keys, now) = (house.house.store.keys(), house.clock.now().0);
        let answer = clearance::may_treat(&mut db, keys, id.parse().unwrap(), &plan, now, now).await.unwrap();
        matches!(answer, clearance::Clearance::Held(_))
    };
    // Her name in another order, and the day she was born.
    let back =
        crate::clients::add(&mut desk, "Lovell Ada", "studio", &[day.as_slice(), &[("another", "yes")]].concat()).await;
    assert!(held(&back).await);
    // Somebody of that name born on another day is somebody else.
    let other =
        crate::clients::add(&mut desk, "Ada Lovell", "studio", &[("born_year", "1971"), ("another", "yes")]).await;
    assert!(!held(&other).await);
    // No time relaxes a reaction while she is a client again: what holds her outlives the day that was told.
    let reactions = async || house.number(&format!("select count(*) from reaction where client = '{ada}'")).await;
    house.clock.advance(3_000 * DAY);
    privacy::go_on(&house.house).await.unwrap();
    assert_eq!(reactions().await, 1);
    assert!(held(&back).await);
    assert!(
        house
            .look(&format!(
                "select reason from erasure_rest where client = '{ada}' and until > {}",
                house.clock.now().0.0
            ))
            .await
            .contains("she came back")
    );
    // Once she is gone again, so is what held her.
    house.run(&format!("update client set erased = 1 where id = '{back}'")).await.unwrap();
    house.clock.advance(400 * DAY);
    privacy::go_on(&house.house).await.unwrap();
    assert_eq!(reactions().await, 0);
});

both_databases!(a_record_changed_meanwhile_is_not_undone_by_an_older_page, async |house| {
    let ada = format!("/door/clients/{}", house.things.client);
    let mut desk = house.actor(Actor::Desk);
    let older = desk.form(&format!("{ada}/edit"), &format!("{ada}/edit")).await.with("phone", "+45 31 31 31 31");
    let mut a = house.actor(Actor::ArtistA);
    let form = a.form(&format!("{ada}/edit"), &format!("{ada}/edit")).await;
    a.submit(&form.with("born_year", "2010")).await.must(303);
    let back = desk.submit(&older).await.must(422);
    back.says("was changed while this page was open");
    back.says("2010");
    let born = async || house.look(&format!("select born from client where id = '{}'", house.things.client)).await;
    assert!(born().await.starts_with("2010"));
    // Looked at and put right, what was typed is kept.
    let form = back.form(&format!("{ada}/edit")).with("born_year", "2010");
    desk.submit(&form).await.must(303);
    assert!(born().await.starts_with("2010"));
    desk.page(&ada).await.says("+45 31 31 31 31");
});

both_databases!(stricter_answers_of_either_record_count_until_she_answers_anew, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    let (ada, twin) = (&house.things.client, &house.things.twin);
    let answer = async |who: &mut Browser, client: &str, typed: &[(&str, &str)]| {
        let path = format!("/door/clients/{client}");
        let form = who.form(&format!("{path}/consultation"), &format!("{path}/consultations")).await;
        let filled = house.things.answers.iter().fold(form, |form, (name, value)| form.with(name, value));
        let filled = typed.iter().fold(filled, |form, (name, value)| form.with(name, value));
        who.submit(&filled).await.must(303);
    };
    let waits = async || {
        let mut db = house.house.store.read().await.unwrap();
        let (keys, now) = (house.house.store.keys(), house.clock.now().0);
        clients::health_answers(&mut db, keys, ada.parse().unwrap(), now).await.unwrap().waits_for_advice()
    };
    // Ada's own answers ask for medical advice; the twin's, given later, ask for nothing.
    assert!(waits().await);
    house.clock.advance(DAY);
    let mut again = house.stranger();
    again.sign_in(Actor::ArtistA.name(), PHRASE).await.must(303);
    std::mem::swap(&mut a, &mut again);
    answer(&mut a, twin, &[("q_swollen", "0"), ("q_hay_fever", "0")]).await;
    let mut desk = house.stranger();
    desk.sign_in(Actor::Desk.name(), PHRASE).await.must(303);
    let merge = format!("/door/clients/{ada}/merge/{twin}");
    let form = desk.form(&merge, &merge).await;
    desk.submit(&form).await.must(303);
    assert!(waits().await, "put together, the stricter answers go on counting");
    answer(&mut a, ada, &[("q_swollen", "0"), ("q_hay_fever", "0")]).await;
    assert!(!waits().await);
});

both_databases!(records_of_two_keepers_are_not_put_together, async |house| {
    let mut owner = house.owner();
    let other = add(&mut owner, "Ada Lovell", "studio", &[("another", "yes")]).await;
    let merge = format!("/door/clients/{}/merge/{other}", house.things.client);
    owner.page(&merge).await.says("different keepers");
    let csrf = owner.csrf().await;
    owner.post(&merge, &[("csrf", csrf.as_str()), ("form_key", "a-key-of-this-test")]).await.must(409);
    assert_eq!(house.number("select count(*) from client where merged_into is not null").await, 0);
});
