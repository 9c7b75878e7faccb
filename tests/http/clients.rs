//! Clients over HTTP: records, search, duplicates, files read in, consultation, consents; and who may see what of them.

use stillroom::base::time::{DAY, Instant, MINUTE};
use stillroom::clients::{self, Purpose};
use stillroom::store::audit;

use crate::browser::Browser;
use crate::doors::{Row, Sent, empty_form, form, get, post};
use crate::house::{TestHouse, both_databases};
use crate::html;
use crate::mistakes::Slip;
use crate::schema::id;
use crate::studio::{Actor, PHRASE, Things};

/// A table with a new client, one who is here, and one whose row is faulty.
pub(crate) const CLIENT_FILE: &str = "name,phone,email,born,notes\nNora Falk,30405060,,1980-05-01,x\nAda Lovell,20304050,,1994-03-07,x\nBad Row,call,,,x\n";

/// A signature as the page would send it.
pub(crate) const DRAWN: &str = "[[100,800,0,500,100,40,900,800,90],[300,500,200,700,500,260]]";

//                                                                    anonymous, expired, A, B, desk, accountant, owner,
// Letters in this order:                                             sensor, reader

/// Ada is kept by artist A: she and those who receive see her, artist B does not.
pub(crate) fn rows() -> Vec<Row> {
    let mut rows = pages();
    rows.extend(records());
    rows.extend(health());
    rows.extend(handed());
    rows.extend(owners());
    rows.extend(rights());
    rows
}

fn pages() -> Vec<Row> {
    vec![
        get("/door", "ssooonoss"),
        get("/door/clients", "ssooonoss"),
        get("/door/clients/new", "ssooonoss"),
        get("/door/clients/duplicates", "ssnnonoss"),
        get("/door/clients/import", "ssnnonoss"),
        get("/door/clients/import/{file}", "ssnnonoss"),
        get("/door/clients/{client}", "ssoxonoss"),
        get("/door/clients/{client}/edit", "ssoxonoss"),
        get("/door/clients/{client}/consultation", "ssoxonoss"),
        get("/door/clients/{client}/consultations/{consultation}", "ssoxnnoss"),
        get("/door/clients/{client}/sign/{purpose}", "ssoxonoss"),
        get("/door/clients/{client}/photos", "ssoxnnoss"),
        get("/door/clients/{client}/photos/{photo}", "ssoxnnoss"),
        get("/door/clients/{client}/consents/{consent}", "ssoxonoss"),
        get("/door/clients/{client}/merge/{other}", "ssnxonoss"),
        get("/door/clients/{client}/file", "ssoxnnnss"),
        get("/door/clients/{client}/file.json", "ssoxnnnss"),
        get("/door/clients/{client}/restriction", "ssoxnnnss"),
        get("/door/clients/{client}/erasure", "ssoxnnnss"),
        get("/door/erased", "ssoonnoss"),
        get("/door/erased/{client}", "ssoxonoss"),
        get("/door/erased/{client}/file", "ssoxnnnss"),
        get("/door/erased/{client}/file.json", "ssoxnnnss"),
        // Hers are gone: what her keeper may open is looked at where a complaint keeps one.
        get("/door/erased/{client}/photos/{photo}", "ssxxxnxss"),
        get("/door/questions", "ssooonoss"),
        get("/door/questions/new", "ssnnnnoss"),
        get("/door/questions/blank", "ssooonoss"),
        get("/door/questions/{question}", "ssnnnnoss"),
        get("/door/consents", "ssooonoss"),
        get("/door/consents/{purpose}", "ssnnnnoss"),
        get("/door/consents/{purpose}/blank", "ssooonoss"),
        get("/door/ages", "ssnnnnoss"),
    ]
}

fn records() -> Vec<Row> {
    vec![
        post("/door/found", |_| form(&[("typed", "lo ad")]), "ssooonoss"),
        post("/door/clients", |_| form(&a_client("Mona Quist")), "ssgggngss"),
        post("/door/clients/{client}/edit", as_she_is, "ssgxgngss"),
        post(
            "/door/clients/{client}/artists",
            |things| Sent::Form(vec![("artist", things.people[Actor::ArtistB.name()].clone())]),
            "ssnxgngss",
        ),
        post("/door/clients/{client}/artists/{person}/end", empty_form, "ssnxgngss"),
        post("/door/clients/import", |_| Sent::File(CLIENT_FILE), "ssnngngss"),
        post("/door/clients/import/{file}/take", empty_form, "ssnngngss"),
        post("/door/clients/import/{file}/leave", empty_form, "ssnngngss"),
    ]
}

fn health() -> Vec<Row> {
    vec![
        post(
            "/door/clients/{client}/consultations/{consultation}/advice",
            |_| form(&[("from", "Dr Aune"), ("dated", "1 Feb"), ("words", "She may."), ("may", "yes")]),
            "ssgxnngss",
        ),
        post("/door/clients/{client}/asked", |_| form(&[("changed", "nothing")]), "ssgxgngss"),
        post("/door/clients/{client}/consultations", |things| Sent::Form(things.answers.clone()), "ssgxgngss"),
        post("/door/clients/{client}/sign/{purpose}", |_| form(&signed()), "ssgxgngss"),
        post("/door/clients/{client}/photos", |_| Sent::Photo, "ssgxnngss"),
        post("/door/clients/{client}/consents/{consent}/copies", |_| form(&[("way", "shown")]), "ssgxgngss"),
        post("/door/clients/{client}/consents/{consent}/withdraw", empty_form, "ssgxgngss"),
    ]
}

/// A device in a client's hands: the tenth letter is hers. Whoever hands it over takes it back before the next row.
fn handed() -> Vec<Row> {
    vec![
        get("/door/clients/{client}/hand-over/{form}", "ssoxonoss"),
        get("/handed-over", "ssxxxxxssg"),
        get("/handed-over/{step}", "ssxxxxxsso"),
        post("/handed-over/{step}", first_answer, "ssxxxxxssg"),
        post("/handed-over/in-person", empty_form, "ssxxxxxssg"),
        get("/handed-over/leave", "ssgggggsso"),
        post("/handed-over/begin/{client}/{form}", empty_form, "ssgxgxgssn"),
        post("/handed-over/leave", |_| form(&[("passphrase", PHRASE)]), "ssgxgxgssg"),
    ]
}

fn first_answer(things: &Things) -> Sent {
    Sent::Form(things.answers.iter().find(|(name, _)| name.starts_with("q_")).cloned().into_iter().collect())
}

fn owners() -> Vec<Row> {
    let question = |things: &Things| {
        form(&[
            ("stood", &things.stood["/door/questions/lens"]),
            ("text", "Do bright lamps hurt your eyes?"),
            ("group", "Your eyes today"),
            ("kind", "one_of"),
            ("answer0", "no"),
            ("effect0", "nothing"),
            ("answer1", "yes"),
            ("effect1", "precaution"),
            ("then", "Dim the lamp."),
            ("after", "first"),
        ])
    };
    vec![
        // Before another stands in front of it.
        post("/door/questions/{question}", question, "ssnnnngss"),
        post("/door/questions", question, "ssnnnngss"),
        post(
            "/door/questions/{question}/remove",
            |things| form(&[("stood", &things.stood["/door/questions/hay_fever"])]),
            "ssnnnngss",
        ),
        post(
            "/door/consents/{purpose}",
            |things| {
                let body = "What is done, what can go wrong, and that I may stop at any time.";
                form(&[("stood", &things.stood["/door/consents/treatment"]), ("body", body)])
            },
            "ssnnnngss",
        ),
        post(
            "/door/ages",
            |things| form(&[ages().as_slice(), &[("stood", things.stood["/door/ages"].as_str())]].concat()),
            "ssnnnngss",
        ),
    ]
}

/// Erasure and putting together take things away: they stand last.
fn rights() -> Vec<Row> {
    vec![
        post("/door/clients/{client}/restriction", |_| form(&[("wish", "lift")]), "ssgxnnnss"),
        post("/door/clients/{client}/apart/{other}", empty_form, "ssnngngss"),
        post("/door/clients/{client}/merge/{other}", empty_form, "ssnxgngss"),
        post("/door/clients/{client}/erasure", |_| form(&[("treated", "no")]), "ssgxnnnss"),
    ]
}

fn ages() -> [(&'static str, &'static str); 5] {
    [
        ("refused_below", "16"),
        ("guardian_below", "18"),
        ("answers_days", "180"),
        ("keep_years", "7"),
        ("keep_minor_until", "25"),
    ]
}

/// Ada's number.
const PHONE: &str = "+45 20 30 40 50";

/// Ada's own record again, her keeper with it.
fn as_she_is(things: &Things) -> Sent {
    let keeper = things.people[Actor::ArtistA.name()].clone();
    let own = a_client("Ada Lovell").map(|(name, value)| match name {
        "keeper" => (name, keeper.clone()),
        "phone" => (name, PHONE.to_owned()),
        _ => (name, value.to_owned()),
    });
    Sent::Form(own.into_iter().chain([("shown", things.shown.clone())]).collect())
}

fn a_client(name: &'static str) -> [(&'static str, &'static str); 8] {
    [
        ("name", name),
        ("phone", ""),
        ("email", ""),
        ("born_day", "7"),
        ("born_month", "3"),
        ("born_year", "1994"),
        ("keeper", "studio"),
        ("notes", ""),
    ]
}

pub(crate) fn signed() -> [(&'static str, &'static str); 7] {
    [
        ("version", "0"),
        ("printed_name", "Ada Lovell"),
        ("language", "English"),
        ("reader", ""),
        ("strokes", DRAWN),
        ("agree", "yes"),
        ("witness", "Ines Okafor"),
    ]
}

/// Clients of the furnished studio, made through the pages.
pub(crate) async fn furnish(house: &TestHouse, things: &mut Things) {
    let mut artist = Browser::new(&house.app, "", things.jars[&Actor::ArtistA].clone());
    let keeper = things.people[Actor::ArtistA.name()].clone();
    things.client = add(&mut artist, "Ada Lovell", &keeper, &[("phone", PHONE)]).await;
    let edit = format!("/door/clients/{}/edit", things.client);
    things.shown = artist.form(&edit, &edit).await.value("shown").to_owned();
    things.twin = add(&mut artist, "Lovell, Ada", &keeper, &[("another", "yes")]).await;
    things.leaving = add(&mut artist, "Gro Haugen", &keeper, &[("born_year", "1971")]).await;
    things.erased = add(&mut artist, "Siv Roth", &keeper, &[("born_year", "1972")]).await;
    let path = format!("/door/clients/{}/erasure", things.erased);
    let form = artist.form(&path, &path).await.with("treated", "no");
    artist.submit(&form).await.must(303);

    let page = format!("/door/clients/{}/consultation", things.client);
    let action = format!("/door/clients/{}/consultations", things.client);
    let asked = artist.form(&page, &action).await;
    things.answers = answers(&asked);
    let filled = things.answers.iter().fold(asked, |form, (name, value)| form.with(name, value));
    let read = artist.submit(&filled).await.goes_to();
    things.consultation = read.rsplit('/').next().unwrap().to_owned();

    let path = format!("/door/clients/{}/sign/treatment", things.client);
    let form = artist.form(&path, &path).await.with_all(&signed());
    let read = artist.submit(&form).await.goes_to();
    things.consent = read.rsplit('/').next().unwrap().to_owned();

    let path = format!("/door/clients/{}/sign/record_photos", things.leaving);
    let form = artist.form(&path, &path).await.with_all(&signed());
    artist.submit(&form).await.must(303);
    things.photo = crate::clients_photos::take(house, &mut artist, &things.leaving).await;

    let mut handed = house.stranger();
    handed.sign_in(Actor::HandedOver.name(), PHRASE).await.must(303);
    let page = format!("/door/clients/{}/hand-over/consultation", things.client);
    let form = handed.form(&page, &format!("/handed-over/begin/{}/consultation", things.client)).await;
    assert_eq!(handed.submit(&form).await.goes_to(), "/handed-over");
    things.jars.insert(Actor::HandedOver, handed.jar);

    let mut desk = Browser::new(&house.app, "", things.jars[&Actor::Desk].clone());
    things.client_file = send_file(&mut desk, "first.csv", CLIENT_FILE).await;
    things.second_file = send_file(&mut desk, "second.csv", CLIENT_FILE).await;
}

/// Adds a client; gives her id.
pub(crate) async fn add(who: &mut Browser, name: &str, keeper: &str, more: &[(&str, &str)]) -> String {
    let form = who.form("/door/clients/new", "/door/clients").await;
    let born = [("born_day", "7"), ("born_month", "3"), ("born_year", "1994")];
    let form = form.with("name", name).with("keeper", keeper).with_all(&born).with_all(more);
    who.submit(&form).await.goes_to().rsplit('/').next().unwrap().to_owned()
}

/// Every question answered with its first answer, which is the harmless one, but for a precaution and a wait for advice.
fn answers(form: &html::FormOnPage) -> Vec<(&'static str, String)> {
    let mut names: Vec<String> = form.names.iter().filter(|name| name.starts_with("q_")).cloned().collect();
    names.dedup();
    let mut all: Vec<(&'static str, String)> =
        vec![("version", form.value("version").to_owned()), ("given_by", "asked".into())];
    for name in names {
        let value = match name.as_str() {
            "q_own_words" => "Drops called Gentle Fen",
            "q_hay_fever" | "q_swollen" => "1",
            _ => "0",
        };
        // The rows of the matrix want names that live as long as the program.
        all.push((Box::leak(name.into_boxed_str()), value.to_owned()));
    }
    all
}

async fn send_file(who: &mut Browser, name: &str, content: &str) -> String {
    let form = who.form("/door/clients/import", "/door/clients/import").await;
    who.submit_file(&form, name, content.as_bytes()).await.goes_to().rsplit('/').next().unwrap().to_owned()
}

/// Forms with mistakes, as the owner meets them.
pub(crate) fn slips(things: &Things) -> Vec<Slip> {
    let ada = format!("/door/clients/{}", things.client);
    let slip = |page: String, action: String, typed: &[_], wrong: &[_], corrected: &[_]| Slip {
        page,
        action,
        typed: typed.to_vec(),
        wrong: wrong.to_vec(),
        corrected: corrected.to_vec(),
    };
    let record = [
        ("name", " "),
        ("phone", "ring <twice>"),
        ("email", "ada at home"),
        ("born_day", "31"),
        ("born_month", "2"),
        ("born_year", "1994"),
        ("notes", "likes \"tea\" & <quiet>"),
    ];
    let wrong = ["name", "phone", "email", "born_day"];
    let right = [("name", "Mia Toft"), ("phone", "30405061"), ("email", "mia@example.org"), ("born_day", "28")];
    vec![
        slip("/door/clients/new".into(), "/door/clients".into(), &record, &wrong, &right),
        slip(format!("{ada}/edit"), format!("{ada}/edit"), &record, &wrong, &right),
        slip(
            format!("{ada}/sign/marketing"),
            format!("{ada}/sign/marketing"),
            &[
                ("printed_name", ""),
                ("language", "English"),
                ("strokes", "[[1,2,3]]"),
                ("witness", ""),
                ("agree", "yes"),
            ],
            &["printed_name", "typed_name", "witness"],
            &[("printed_name", "Ada Lovell"), ("strokes", DRAWN), ("witness", "Runa Marsh")],
        ),
        slip(
            "/door/questions/lens".into(),
            "/door/questions/lens".into(),
            &[("text", ""), ("group", "Eyes"), ("answer0", "no"), ("answer1", "no"), ("then", "")],
            &["text", "answer1"],
            &[("text", "Lenses?"), ("answer1", "yes"), ("then", "Out before she lies down.")],
        ),
        slip(
            "/door/questions/new".into(),
            "/door/questions".into(),
            &[("text", "Cold?"), ("group", ""), ("then", "")],
            &["group", "then"],
            &[("group", "Health"), ("then", "Another day.")],
        ),
        slip(
            "/door/consents/marketing".into(),
            "/door/consents/marketing".into(),
            &[("body", "I waive every claim against the studio, now and for ever, whatever happens.")],
            &["body"],
            &[("body", "The studio may write to me, and I may end that at any time with one word.")],
        ),
        slip(
            "/door/ages".into(),
            "/door/ages".into(),
            &[
                ("refused_below", "18"),
                ("guardian_below", "16"),
                ("answers_days", "0"),
                ("keep_years", "x"),
                ("keep_minor_until", ""),
            ],
            &["guardian_below", "answers_days", "keep_years", "keep_minor_until"],
            &ages(),
        ),
    ]
}

/// The names of those a search shows to somebody.
async fn found(who: &mut Browser, typed: &str) -> Vec<String> {
    let form = who.form("/door/clients", "/door/found").await.with("typed", typed).with("part", "rows");
    let page = who.submit(&form).await.must(200).text();
    let mut names = Vec::new();
    for (at, _) in page.match_indices("<h3><a ") {
        let rest = &page[at..];
        let text = &rest[rest[7..].find('>').unwrap() + 8..rest.find("</a>").unwrap()];
        names.push(html::read(text));
    }
    names
}

both_databases!(a_client_is_found_by_what_begins_her_name_number_or_address, async |house| {
    let mut desk = house.actor(Actor::Desk);
    add(&mut desk, "Åse Ørsted", "studio", &[("email", "aase@example.org"), ("born_year", "1960")]).await;
    for (typed, name) in [
        ("ase", "Åse Ørsted"),
        ("ØRST", "Åse Ørsted"),
        ("aase@ex", "Åse Ørsted"),
        ("haug gr", "Gro Haugen"),
        ("GRO", "Gro Haugen"),
    ] {
        assert_eq!(found(&mut desk, typed).await, [name], "{typed}");
    }
    for typed in ["20304", "+45 2030", "4050"] {
        assert_eq!(found(&mut desk, typed).await, ["Ada Lovell"], "{typed}");
    }
    assert_eq!(found(&mut desk, "lo ad").await, ["Ada Lovell", "Lovell, Ada"]);
    for nobody in ["", "  ", "x", "ada gro", "%", "_", "' or 1=1 --"] {
        assert!(found(&mut desk, nobody).await.is_empty(), "{nobody}");
    }
    // Without the script the same rows stand on a page, and what was typed with them.
    let form = desk.form("/door/clients", "/door/found").await.with("typed", "gro");
    let page = desk.submit(&form).await.must(200);
    page.says("One found.");
    assert_eq!(page.form("/door/found").value("typed"), "gro");
});

both_databases!(records_of_an_older_program_are_gone_through_once_and_found_in_plain_letters, async |house| {
    let mut desk = house.actor(Actor::Desk);
    let her = add(&mut desk, "Ægir Łukasz", "studio", &[("born_year", "1961")]).await;
    // As an older program kept them: no word in plain letters, another sound. One word of hers comes from a record put together with hers.
    let set_back = async || {
        let mut db = house.past().await;
        sqlx::query("delete from client_word where client = $1").bind(&her).execute(&mut db).await.unwrap();
        for word in ["ægir", "łukasz", "bjørk"] {
            let add = sqlx::query("insert into client_word (client, word) values ($1, $2)");
            add.bind(&her).bind(word.as_bytes().to_vec()).execute(&mut db).await.unwrap();
        }
        sqlx::query("update client set sound = 'older' where id = $1").bind(&her).execute(&mut db).await.unwrap();
    };
    set_back().await;
    // More than one statement looks at, without any words.
    let row = |n: usize| format!("('{}', 'Søs Nr{n}', 'older', 'older', '', '', '', '', '', 1)", id(900_000 + n));
    let rows = (0..600).map(row).collect::<Vec<_>>().join(", ");
    let columns = "id, name, name_key, sound, phone, phone_digits, email, email_key, notes, created";
    house.run(&format!("insert into client ({columns}) values {rows}")).await.unwrap();
    let erased = format!("update client set name = '', erased = 1 where id = '{}'", id(900_007));
    house.run(&erased).await.unwrap();
    for typed in ["aegir", "lukasz", "bjork", "sos nr599"] {
        assert!(found(&mut desk, typed).await.is_empty(), "{typed}");
    }

    let lines = house.number("select count(*) from audit").await;
    clients::refill(&house.house).await.unwrap();
    for typed in ["aegir", "ÆGIR", "lukasz", "bjork", "bjørk"] {
        assert_eq!(found(&mut desk, typed).await, ["Ægir Łukasz"], "{typed}");
    }
    assert_eq!(found(&mut desk, "sos nr599").await, ["Søs Nr599"]);
    let sos = async || {
        let mut db = house.house.store.read().await.unwrap();
        clients::find(&mut db, "sos", 1000).await.unwrap().len()
    };
    assert_eq!(sos().await, 599, "whoever was erased has no words");
    let left = "select count(*) from client where erased is null and (name_key = 'older' or sound = 'older')";
    assert_eq!(house.number(left).await, 0);
    assert_eq!(house.number("select count(*) from audit").await, lines, "nobody changed a record");
    let words = "select count(*) from client_word";
    let all = house.number(words).await;
    clients::refill(&house.house).await.unwrap();
    assert_eq!(house.number(words).await, all);

    // Done is done; a database from before it is gone through again.
    set_back().await;
    clients::refill(&house.house).await.unwrap();
    assert!(found(&mut desk, "aegir").await.is_empty());
    house.run("delete from setting where name = 'clients.found_by'").await.unwrap();
    clients::refill(&house.house).await.unwrap();
    assert_eq!(found(&mut desk, "aegir").await, ["Ægir Łukasz"]);
    assert_eq!(house.number(words).await, all);
});

both_databases!(an_artist_finds_and_opens_only_whom_she_keeps_or_looks_after, async |house| {
    let (mut a, mut b) = (house.actor(Actor::ArtistA), house.actor(Actor::ArtistB));
    let ada = format!("/door/clients/{}", house.things.client);
    assert_eq!(found(&mut a, "ada").await.len(), 2);
    assert!(found(&mut b, "ada").await.is_empty());
    // Foreign and missing answer alike.
    let foreign = b.get(&ada).await.must(404).words();
    assert_eq!(b.get("/door/clients/0192f0c1-7e57-7000-8000-00000000beef").await.must(404).words(), foreign);

    let mut desk = house.actor(Actor::Desk);
    let form = desk.form(&ada, &format!("{ada}/artists")).await;
    let form = form.with("artist", &house.things.people[Actor::ArtistB.name()]);
    desk.submit(&form).await.must(303);
    assert_eq!(found(&mut b, "ada").await, ["Ada Lovell"]);
    b.page(&ada).await.says("Ada Lovell");
    // She looks after her, and is not her keeper.
    b.get(&format!("{ada}/file")).await.must(403);
    let end = format!("{ada}/artists/{}/end", house.things.people[Actor::ArtistB.name()]);
    let form = desk.form(&ada, &end).await;
    desk.submit(&form).await.must(303);
    b.get(&ada).await.must(404);
});

both_databases!(a_studios_client_begun_by_an_artist_stays_in_her_sight, async |house| {
    let (mut a, mut b) = (house.actor(Actor::ArtistA), house.actor(Actor::ArtistB));
    let id = add(&mut a, "Jo Berg", "studio", &[("born_year", "1985")]).await;
    a.page(&format!("/door/clients/{id}")).await;
    b.get(&format!("/door/clients/{id}")).await.must(404);
    // She does not hand a record to another artist as its keeper.
    let form = a.form("/door/clients/new", "/door/clients").await;
    let form = form.with("name", "Kaja Lien").with("keeper", &house.things.people[Actor::ArtistB.name()]);
    a.submit(&form).await.must(422);
});

both_databases!(a_record_like_another_is_kept_only_when_somebody_looked, async |house| {
    let mut desk = house.actor(Actor::Desk);
    let before = house.number("select count(*) from client").await;
    let form = desk.form("/door/clients/new", "/door/clients").await.with_all(&[
        ("name", "Aida Lovel"),
        ("born_day", "07"),
        ("born_month", "3"),
        ("born_year", "1994"),
        ("keeper", "studio"),
    ]);
    let again = desk.submit(&form).await.must(422);
    again.says("There is a record like this one");
    assert!(again.text().contains(&house.things.client), "no link to the record that is there");
    assert_eq!(house.number("select count(*) from client").await, before);
    desk.submit(&again.form("/door/clients").with("another", "yes")).await.must(303);
    assert_eq!(house.number("select count(*) from client").await, before + 1);

    // Artist B sees no record of Ada's, so she is not told that there is one.
    let mut b = house.actor(Actor::ArtistB);
    let form = b.form("/door/clients/new", "/door/clients").await.with_all(&a_client("Ada Lovell"));
    b.submit(&form).await.must(303);

    let pairs = desk.page("/door/clients/duplicates").await;
    pairs.says("names that sound alike and the same birth date");
    let apart = format!("/door/clients/{}/apart/{}", house.things.client, house.things.twin);
    let form = pairs.form(&apart);
    desk.submit(&form).await.must(303);
    let after = desk.page("/door/clients/duplicates").await.text();
    assert!(!after.contains(&apart), "told apart, and shown again");
});

both_databases!(a_table_of_clients_is_shown_before_it_is_taken_and_taken_once, async |house| {
    let mut desk = house.actor(Actor::Desk);
    let path = format!("/door/clients/import/{}", house.things.client_file);
    let preview = desk.page(&path).await;
    preview.says("Type a number of 6 to 20 digits");
    preview.says("Left out: notes.");
    preview.says("New 1 client would be added");
    preview.says("Already here 1 row or twice");
    preview.says("Add 1 client");
    let form = preview.form(&format!("{path}/take"));
    desk.submit(&form).await.must(303);
    desk.page(&path).await.says("One client was added. The file itself is not kept.");
    assert_eq!(
        house.number("select cast(max(length(content)) as bigint) from client_import where state = 'taken'").await,
        0
    );
    assert_eq!(found(&mut desk, "nora fa").await, ["Nora Falk"]);
    // The same rows again: nobody is new.
    let other = format!("/door/clients/import/{}", house.things.second_file);
    desk.page(&other).await.says("New 0 clients");
    let csrf = desk.csrf().await;
    let pairs = [("csrf", csrf.as_str()), ("form_key", "the-same-file-again")];
    desk.post(&format!("{path}/take"), &pairs).await.must(409);
});

both_databases!(
    what_a_form_says_of_health_is_read_by_those_who_treat_and_each_reading_is_written_down,
    async |house| {
        let read = "select count(*) from audit where action = 'read consultation'";
        let before = house.number(read).await;
        let page = format!("/door/clients/{}/consultations/{}", house.things.client, house.things.consultation);
        for actor in [Actor::Desk, Actor::Accountant, Actor::ArtistB] {
            let answer = house.actor(actor).get(&page).await;
            assert!(answer.status >= 400 && !answer.words().contains("Fen"), "{actor:?}");
        }
        assert_eq!(house.number(read).await, before, "who may not read is not written down as a reader");
        let mut a = house.actor(Actor::ArtistA);
        let shown = a.page(&page).await;
        shown.says("Drops called Gentle Fen");
        shown.says("treat with a precaution");
        shown.says("no doctor has answered yet");
        assert_eq!(house.number(read).await, before + 1);
        let last = house
            .look("select subject || ' ' || detail from audit where action = 'read consultation' order by line desc")
            .await;
        assert_eq!(last, format!("{} {}", house.things.client, house.things.consultation), "ids, and nothing else");

        // Nobody else's page holds a word of it, and neither does the list of who did what.
        let ada = format!("/door/clients/{}", house.things.client);
        for (actor, path) in [
            (Actor::ArtistA, ada.as_str()),
            (Actor::Desk, ada.as_str()),
            (Actor::Desk, "/door/clients"),
            (Actor::Owner, "/office/audit"),
        ] {
            let words = house.actor(actor).page(path).await.words().to_lowercase();
            for word in ["gentle fen", "hay fever", "precaution", "swollen", "medical advice"] {
                assert!(!words.contains(word), "{actor:?} reads “{word}” on {path}");
            }
        }
    }
);

both_databases!(a_doctors_yes_ends_the_wait_and_new_answers_begin_it_again, async |house| {
    let keys = house.house.store.keys();
    let id = house.things.client.parse().unwrap();
    let health = async || {
        let mut db = house.house.store.read().await.unwrap();
        clients::health_answers(&mut db, keys, id, house.clock.now().0).await.unwrap()
    };
    assert!(health().await.waits_for_advice() && health().await.hold());
    assert_eq!(health().await.precautions.len(), 2, "hay fever, and what she wrote");
    let mut a = house.actor(Actor::ArtistA);
    let page = format!("/door/clients/{}/consultations/{}", house.things.client, house.things.consultation);
    // What is missing comes back beside what was typed; that the page was shown again is one more reading.
    let form = a.form(&page, &format!("{page}/advice")).await;
    let again = a
        .submit(&form.with_all(&[("from", ""), ("dated", "1 Feb"), ("words", "Kept words"), ("may", "no")]))
        .await
        .must(422);
    assert!(again.text().contains("id=\"f-from-wrong\"") && !again.text().contains("id=\"f-words-wrong\""));
    assert_eq!(again.form(&format!("{page}/advice")).value("words"), "Kept words");
    assert_eq!(house.number("select count(*) from medical_advice").await, 0);
    for (may, waits) in [("no", true), ("yes", false)] {
        let form = a.form(&page, &format!("{page}/advice")).await;
        let form = form.with_all(&[("from", "Dr Aune"), ("dated", "1 Feb"), ("words", "Looked at it."), ("may", may)]);
        a.submit(&form).await.must(303);
        assert_eq!(health().await.waits_for_advice(), waits, "{may}");
        house.clock.advance(MINUTE);
    }

    // Something has changed: the answers hold no longer until they are given anew.
    let ada = format!("/door/clients/{}", house.things.client);
    let form = a.form(&ada, &format!("{ada}/asked")).await.with("changed", "something");
    assert_eq!(a.submit(&form).await.goes_to(), format!("{ada}/consultation"));
    assert!(!health().await.hold());
    house.clock.advance(MINUTE);
    ask(&mut a, house, &[]).await;
    assert!(health().await.hold() && health().await.waits_for_advice(), "the doctor answered the answers before");

    house.clock.advance(180 * DAY);
    assert!(health().await.expired && !health().await.hold());
});

/// Gives the consultation again, some answers other than at first.
async fn ask(who: &mut Browser, house: &TestHouse, other: &[(&str, &str)]) -> String {
    let ada = format!("/door/clients/{}", house.things.client);
    let form = who.form(&format!("{ada}/consultation"), &format!("{ada}/consultations")).await;
    let version = form.value("version").to_owned();
    let filled = house.things.answers.iter().fold(form, |form, (name, value)| form.with(name, value));
    let filled = filled.with("version", &version).with_all(other);
    who.submit(&filled).await.goes_to()
}

both_databases!(a_doctors_answer_half_typed_comes_back_and_the_look_is_written_down, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    let said = format!("/door/clients/{}/consultations/{}", house.things.client, house.things.consultation);
    let form = a.form(&said, &format!("{said}/advice")).await;
    let looks =
        async || house.number("select count(*) from audit where action like 'read %' or action like 'see %'").await;
    let before = looks().await;
    let back = a.submit(&form.with_all(&[("from", ""), ("dated", "1 Feb & <later>"), ("words", " ")])).await.must(422);
    assert_eq!(back.form(&format!("{said}/advice")).value("dated"), "1 Feb & <later>");
    for wrong in ["from", "words"] {
        assert!(back.text().contains(&format!("id=\"f-{wrong}-wrong\"")), "no sentence beside {wrong}");
    }
    assert_eq!(house.number("select count(*) from medical_advice").await, 0);
    assert!(looks().await > before, "her answers were shown again");
});

both_databases!(a_question_left_out_comes_back_with_all_the_answers, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    let ada = format!("/door/clients/{}", house.things.client);
    let form = a.form(&format!("{ada}/consultation"), &format!("{ada}/consultations")).await;
    let filled = house.things.answers.iter().fold(form, |form, (name, value)| form.with(name, value));
    let before = house.number("select count(*) from consultation").await;
    let again = a.submit(&filled.without("q_asthma").with("q_lens", "1")).await.must(422);
    let shown = again.form(&format!("{ada}/consultations"));
    assert_eq!((shown.value("q_lens"), shown.value("q_own_words")), ("1", "Drops called Gentle Fen"));
    assert!(again.text().contains("id=\"f-q_asthma-wrong\""));
    assert_eq!(house.number("select count(*) from consultation").await, before);
    a.submit(&shown.with("q_asthma", "0")).await.must(303);
    assert_eq!(house.number("select count(*) from consultation").await, before + 1);
});

both_databases!(answers_given_before_a_change_keep_the_words_they_were_asked_in, async |house| {
    let mut owner = house.owner();
    let ada = format!("/door/clients/{}", house.things.client);
    let opened = owner.form(&format!("{ada}/consultation"), &format!("{ada}/consultations")).await;
    let path = "/door/questions/hay_fever";
    let form = owner.form(path, path).await.with("text", "Does pollen make your eyes run?");
    let form = form.with("effect1", "do_not_treat").with("then", "Not in the season.");
    owner.submit(&form).await.must(303);
    let page = format!("/door/clients/{}/consultations/{}", house.things.client, house.things.consultation);
    let old = owner.page(&page).await;
    old.says("Do you have hay fever or another allergy");
    assert!(!old.words().contains("pollen"));
    // A page opened before the change asked the old words: it is not taken, and what was answered to the others comes back.
    let filled = house.things.answers.iter().fold(opened, |form, (name, value)| form.with(name, value));
    let before = house.number("select count(*) from consultation").await;
    let back = owner.submit(&filled).await.must(409);
    back.says("The owner changed the questions while these were being answered.");
    let again = back.form(&format!("{ada}/consultations"));
    assert_eq!((again.value("q_lens"), again.value("q_own_words")), ("0", "Drops called Gentle Fen"));
    assert_eq!(again.value("q_hay_fever"), "", "the changed question is asked anew");
    assert!(back.text().contains("id=\"f-q_hay_fever-wrong\""));
    assert_eq!(house.number("select count(*) from consultation").await, before);
    owner.submit(&again.clone()).await.must(422);
    owner.submit(&again.with("q_hay_fever", "1")).await.must(303);
    assert_eq!(house.number("select count(*) from consultation").await, before + 1);
    let new = ask(&mut owner, house, &[]).await;
    owner.page(&new).await.says("Do not treat now");
});

both_databases!(answers_that_come_late_are_dated_when_they_were_given_and_stand_behind_newer_ones, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let given = house.clock.now().0.plus(MINUTE);
    house.pass(60, &mut [&mut artist]).await;
    let newer = ask(&mut artist, house, &[]).await;
    let newer = newer.rsplit('/').next().unwrap();
    house.pass(60, &mut [&mut artist]).await;
    let done = (given.0 / 1000).to_string();
    let late = ask(&mut artist, house, &[("done", &done), ("q_lens", "1")]).await;
    let late = late.rsplit('/').next().unwrap();
    assert_eq!(house.number(&format!("select at from consultation where id = '{late}'")).await, given.0);
    let client = house.things.client.parse().unwrap();
    let mut db = house.house.store.read().await.unwrap();
    let now = house.clock.now().0;
    let health = clients::health_answers(&mut db, house.house.store.keys(), client, now).await.unwrap();
    assert_eq!(health.consultation.unwrap().to_string(), newer, "what she said last is what counts");
    drop(db);
    // A device whose clock runs ahead gives no answers in the future.
    let ahead = (now.plus(5 * MINUTE).0 / 1000).to_string();
    let ahead = ask(&mut artist, house, &[("done", &ahead)]).await;
    let ahead = ahead.rsplit('/').next().unwrap();
    assert_eq!(house.number(&format!("select at from consultation where id = '{ahead}'")).await, now.0);
});

both_databases!(a_clock_that_is_wrong_puts_no_answers_behind_older_ones, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let clear = [("q_swollen", "0"), ("q_hay_fever", "0")];
    house.pass(60, &mut [&mut artist]).await;
    ask(&mut artist, house, &clear).await;
    house.clock.advance(5 * MINUTE);
    let ms = |minutes: i64| (house.clock.now().0.plus(minutes * MINUTE).0 / 1000).to_string();
    let at = async |page: &str| {
        let id = page.rsplit('/').next().unwrap();
        house.number(&format!("select at from consultation where id = '{id}'")).await
    };
    // Pressed and sent by a clock that is ten minutes slow: given now, and the newest.
    let told = [("done", ms(-10)), ("sent", ms(-10)), ("q_inflamed", "1".to_owned())];
    let told: Vec<(&str, &str)> = told.iter().map(|(name, value)| (*name, value.as_str())).collect();
    let page = ask(&mut artist, house, &told).await;
    assert_eq!(at(&page).await, house.clock.now().0.0);
    let health = async || {
        let mut db = house.house.store.read().await.unwrap();
        let (keys, client) = (house.house.store.keys(), house.things.client.parse().unwrap());
        clients::health_answers(&mut db, keys, client, house.clock.now().0).await.unwrap()
    };
    assert_eq!(health().await.consultation.unwrap().to_string(), page.rsplit('/').next().unwrap());
    assert_eq!(health().await.do_not_treat.len(), 1);
    // Three minutes on their way, by a clock that is an hour fast; sent once more it is the same entry.
    let ada = format!("/door/clients/{}", house.things.client);
    let form = artist.form(&format!("{ada}/consultation"), &format!("{ada}/consultations")).await;
    let form = house.things.answers.iter().fold(form, |form, (name, value)| form.with(name, value));
    let form = form.with("done", &ms(57));
    let page = artist.submit(&form.clone().with("sent", &ms(60))).await.goes_to();
    assert_eq!(at(&page).await, house.clock.now().0.plus(-3 * MINUTE).0);
    assert_eq!(artist.submit(&form.with("sent", &ms(61))).await.goes_to(), page);
});

both_databases!(late_answers_that_stand_against_a_treatment_count_beside_newer_ones, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let given = (house.clock.now().0.plus(MINUTE).0 / 1000).to_string();
    house.pass(60, &mut [&mut artist]).await;
    let health = async || {
        let mut db = house.house.store.read().await.unwrap();
        let (keys, client) = (house.house.store.keys(), house.things.client.parse().unwrap());
        clients::health_answers(&mut db, keys, client, house.clock.now().0).await.unwrap()
    };
    let clear = [("q_swollen", "0"), ("q_hay_fever", "0")];
    let newest = ask(&mut artist, house, &[]).await;
    let advice = async |who: &mut Browser| {
        let form = who.form(&newest, &format!("{newest}/advice")).await;
        let said = [("from", "Dr Aune"), ("dated", "1 Feb"), ("words", "Looked at it."), ("may", "yes")];
        who.submit(&form.with_all(&said)).await.must(303);
    };
    advice(&mut artist).await;
    house.clock.advance(MINUTE);
    ask(&mut artist, house, &[clear[0], clear[1], ("q_inflamed", "1"), ("done", &given)]).await;
    let held = health().await;
    assert!(newest.ends_with(&held.consultation.unwrap().to_string()), "they keep their own time");
    assert_eq!(held.do_not_treat.len(), 1, "and count all the same");
    assert!(!held.waits_for_advice());
    // Medical advice first, which came in after the letter of a doctor: the letter did not know of it.
    ask(&mut artist, house, &[("q_hay_fever", "0"), ("done", &given)]).await;
    assert!(health().await.waits_for_advice());
    advice(&mut artist).await;
    assert!(!health().await.waits_for_advice(), "a letter that came in since does");
    assert_eq!(health().await.do_not_treat.len(), 1);
    house.clock.advance(MINUTE);
    ask(&mut artist, house, &clear).await;
    let anew = health().await;
    assert!(anew.do_not_treat.is_empty() && anew.advice_first.is_empty(), "until she answers anew");
});

both_databases!(late_answers_change_what_the_next_newer_ones_differ_from, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let given = (house.clock.now().0.plus(MINUTE).0 / 1000).to_string();
    house.pass(60, &mut [&mut artist]).await;
    let differs = async |page: &str| {
        let id = page.rsplit('/').next().unwrap();
        house.number(&format!("select differs from consultation where id = '{id}'")).await
    };
    let newest = ask(&mut artist, house, &[]).await;
    assert_eq!(differs(&newest).await, 0, "the same as at first");
    let clear = [("q_swollen", "0"), ("q_hay_fever", "0")];
    let late = ask(&mut artist, house, &[clear[0], clear[1], ("done", &given)]).await;
    assert_eq!((differs(&late).await, differs(&newest).await), (1, 1), "she had said something else between them");
    let between = (house.clock.now().0.plus(-30 * MINUTE).0 / 1000).to_string();
    let later = ask(&mut artist, house, &[("done", &between)]).await;
    assert_eq!((differs(&later).await, differs(&newest).await), (1, 0));
});

both_databases!(a_consent_is_kept_as_signed_and_withdrawn_with_one_tap, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    let id = house.things.client.parse().unwrap();
    let in_force = async |purpose| {
        let mut db = house.house.store.read().await.unwrap();
        clients::consent_in_force(&mut db, id, purpose, house.clock.now().0).await.unwrap()
    };
    assert!(in_force(Purpose::Treatment).await && !in_force(Purpose::PatchTest).await);
    let ada = format!("/door/clients/{}", house.things.client);
    let page = format!("{ada}/consents/{}", house.things.consent);
    let shown = a.page(&page).await;
    shown.says("in force");
    shown.says("Ada Lovell");
    shown.says("2026-02-18T09:12:00Z");
    shown.says("Drops called Gentle Fen");
    assert!(shown.text().contains("M100 800L500 100L900 800M300 500L700 500"), "the signature is not drawn as signed");
    let digest = house.look("select digest from consent where purpose = 'treatment'").await;
    assert!(shown.text().contains(&digest));
    let in_chain =
        house.look("select detail from audit where action = 'sign consent' and detail like 'treatment%'").await;
    assert_eq!(in_chain, format!("treatment {digest}"));
    // The desk sees the consent, and not the answers in it.
    let at_desk = house.actor(Actor::Desk).page(&page).await;
    at_desk.says("in force");
    assert!(!at_desk.words().contains("Fen"), "{}", at_desk.words());

    let form = shown.form(&format!("{page}/copies")).with("way", "printed");
    a.submit(&form).await.must(303);
    a.page(&page).await.says("printed, today 10:12 by Ines Okafor");
    let form = a.form(&ada, &format!("{page}/withdraw")).await;
    a.submit(&form).await.must(303);
    assert!(!in_force(Purpose::Treatment).await);
    a.page(&page).await.says("withdrawn today 10:12");
    assert_eq!(
        house.number("select count(*) from consent where purpose = 'treatment'").await,
        1,
        "the consent itself stays as it was signed"
    );
});

both_databases!(a_consent_taken_back_without_network_is_dated_when_it_was_pressed, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    let ada = format!("/door/clients/{}", house.things.client);
    let page = format!("{ada}/consents/{}", house.things.consent);
    let ms = |at: Instant| (at.0 / 1000).to_string();
    let signed = house.clock.now().0;
    house.clock.advance(5 * MINUTE);
    let pressed = house.clock.now().0;
    house.clock.advance(20 * MINUTE);
    // A copy cannot have been given before there was anything to copy.
    for (way, at) in [("printed", pressed), ("shown", signed.plus(-DAY))] {
        let form = a.form(&page, &format!("{page}/copies")).await.with("way", way).with("done", &ms(at));
        a.submit(&form).await.must(303);
    }
    let shown = a.page(&page).await;
    shown.says("printed, today 10:17");
    shown.says("shown, today 10:12");
    let form = a.form(&ada, &format!("{page}/withdraw")).await.with("done", &ms(pressed));
    a.submit(&form).await.must(303);
    a.page(&page).await.says("withdrawn today 10:17");
    // Dated before it was signed, or after now, it is neither.
    let at = "select at from consent_withdrawal";
    house.run("delete from consent_withdrawal").await.unwrap();
    let form = a.form(&ada, &format!("{page}/withdraw")).await.with("done", &ms(signed.plus(-DAY)));
    a.submit(&form).await.must(303);
    assert_eq!(house.number(at).await, house.number("select at from consent where purpose = 'treatment'").await);
    house.run("delete from consent_withdrawal").await.unwrap();
    let form = a.form(&ada, &format!("{page}/withdraw")).await.with("done", &ms(house.clock.now().0.plus(5 * MINUTE)));
    a.submit(&form).await.must(303);
    assert_eq!(house.number(at).await, house.clock.now().0.0);
});

both_databases!(a_changed_missing_or_added_consent_is_noticed, async |house| {
    let broken = async || {
        let mut db = house.house.store.read().await.unwrap();
        clients::consents::verify(&mut db, house.house.store.keys()).await.unwrap()
    };
    assert_eq!(broken().await, []);
    let consent = &house.things.consent;
    let was = |column: &str| format!("select cast({column} as text) from consent where id = '{consent}'");
    for (change, back) in [
        ("body = body || '.'".to_owned(), format!("body = '{}'", house.look(&was("body")).await.replace('\'', "''"))),
        ("purpose = 'marketing'".to_owned(), "purpose = 'treatment'".to_owned()),
        ("version = 7".to_owned(), "version = 0".to_owned()),
        ("by_guardian = 1".to_owned(), "by_guardian = 0".to_owned()),
        ("language = 'Danish'".to_owned(), "language = 'English'".to_owned()),
        ("at = at + 1".to_owned(), "at = at - 1".to_owned()),
        ("digest = 'x' || digest".to_owned(), format!("digest = '{}'", house.look(&was("digest")).await)),
        (format!("given_as = '{}'", house.things.twin), format!("given_as = '{}'", house.things.client)),
    ] {
        house.run(&format!("update consent set {change} where id = '{consent}'")).await.unwrap();
        assert_eq!(broken().await, [audit::Broken::Changed(consent.clone())], "{change}");
        house.run(&format!("update consent set {back} where id = '{consent}'")).await.unwrap();
        assert_eq!(broken().await, [], "{back}");
    }
    let by = &house.things.people[Actor::Owner.name()];
    house
        .run(&format!("insert into consent_withdrawal (consent, at, by_person) values ('{consent}', 1, '{by}')"))
        .await
        .unwrap();
    assert_eq!(broken().await, [audit::Broken::Changed(consent.clone())], "a withdrawal nobody made");
    house.run("delete from consent_withdrawal").await.unwrap();
    house
        .run(&format!(
            "update consent set signed = (select answers from consultation order by id limit 1) where id = '{consent}'"
        ))
        .await
        .unwrap();
    assert_eq!(broken().await, [audit::Broken::Changed(consent.clone())], "another sealed thing in its place");
    house.run(&format!("delete from consent where id = '{consent}'")).await.unwrap();
    assert_eq!(broken().await, [audit::Broken::Gone(consent.clone())]);
});

both_databases!(ages_are_judged_on_the_day_and_a_guardian_signs_and_answers, async |house| {
    let mut desk = house.actor(Actor::Desk);
    let of_others = house.number("select count(*) from consent").await;
    let born = |year: &'static str| [("born_day", "18"), ("born_month", "2"), ("born_year", year)];
    // On this very day she is sixteen; and a day short of it.
    let child =
        add(&mut desk, "Ea Lund", "studio", &[("born_day", "19"), ("born_month", "2"), ("born_year", "2010")]).await;
    let minor = add(&mut desk, "Liv Dam", "studio", &born("2010")).await;
    let unknown =
        add(&mut desk, "Ulla Bro", "studio", &[("born_day", ""), ("born_month", ""), ("born_year", "")]).await;

    for (id, purpose, why) in [
        (&child, "treatment", "too young by the studio’s rule"),
        (&minor, "marketing", "neither she nor a guardian"),
        (&minor, "publicity_photos", "neither she nor a guardian"),
        (&unknown, "patch_test", "birth date is not known"),
    ] {
        let path = format!("/door/clients/{id}/sign/{purpose}");
        desk.page(&path).await.says(why);
        let csrf = desk.csrf().await;
        let mut pairs = vec![("csrf", csrf.as_str()), ("form_key", "a-key-of-this-test")];
        pairs.extend(signed());
        desk.post(&path, &pairs).await.must(409);
    }
    assert_eq!(house.number("select count(*) from consent").await, of_others, "those of the furnished studio");

    let path = format!("/door/clients/{minor}/sign/treatment");
    let form = desk.form(&path, &path).await.with_all(&signed());
    let again = desk.submit(&form).await.must(422);
    again.says("Guardian’s name, printed: Fill this in.");
    let form = again.form(&path).with_all(&[
        ("guardian_name", "Bea Dam"),
        ("guardian_relation", "mother"),
        ("guardian_identity", "Sanna Reve"),
        ("guardian_typed", "Bea Dam"),
    ]);
    assert_eq!(form.value("strokes"), DRAWN, "what was drawn came back");
    let read = desk.submit(&form).await.goes_to();
    desk.page(&read).await.says("Bea Dam, mother");
    let facts = {
        let mut db = house.house.store.read().await.unwrap();
        clients::guardian(&mut db, minor.parse().unwrap(), house.clock.now().0).await.unwrap()
    };
    assert!(facts.treatment.is_some() && facts.patch_test.is_none() && facts.born.is_some());

    let page = format!("/door/clients/{minor}/consultation");
    let action = format!("/door/clients/{minor}/consultations");
    let form = desk.form(&page, &action).await;
    let filled = house.things.answers.iter().fold(form, |form, (name, value)| form.with(name, value));
    desk.submit(&filled.clone().with("given_by", "asked")).await.must(422).says("At her age her guardian answers.");
    desk.submit(&filled.clone().with("given_by", "guardian").with("guardian", " ")).await.must(422);
    desk.submit(&filled.with("given_by", "guardian").with("guardian", "Bea Dam")).await.must(303);

    // Two years later she is of age: no guardian's block.
    house.clock.advance(731 * DAY);
    let mut desk = house.stranger();
    desk.sign_in(Actor::Desk.name(), crate::studio::PHRASE).await.must(303);
    let form = desk.form(&path, &path).await;
    assert!(!form.names.iter().any(|name| name.starts_with("guardian")));
});

both_databases!(a_consent_typed_instead_of_drawn_says_so, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    let path = format!("/door/clients/{}/sign/patch_test", house.things.client);
    let form = a.form(&path, &path).await.with_all(&signed()).with("strokes", "[]").with("typed_name", "Ada Lovell");
    // Without her agreement to sign on a screen nothing is signed.
    let again = a.submit(&form.clone().without("agree")).await.must(422);
    again.says("print it and sign on paper");
    let read = a.submit(&again.form(&path).with("agree", "yes")).await.goes_to();
    a.page(&read).await.says("Ada Lovell typed");
});

both_databases!(facts_of_many_clients_are_those_of_each, async |house| {
    let mut desk = house.actor(Actor::Desk);
    let mut ids: Vec<stillroom::base::ids::ClientId> = vec![house.things.client.parse().unwrap()];
    for n in 0..23 {
        let name = format!("Client {}", ["Bo", "Cy", "Di", "Ed", "Fi"][n % 5].repeat(n / 5 + 1));
        let year = (1950 + n).to_string();
        ids.push(add(&mut desk, &name, "studio", &[("born_year", &year)]).await.parse().unwrap());
    }
    let now = house.clock.now().0;
    let keys = house.house.store.keys();
    let mut db = house.house.store.read().await.unwrap();
    let all = clients::health_answers_of(&mut db, keys, &ids, now).await.unwrap();
    assert_eq!(all.keys().collect::<Vec<_>>(), [&ids[0]], "who never answered has no entry");
    assert_eq!(all[&ids[0]], clients::health_answers(&mut db, keys, ids[0], now).await.unwrap());
    let guardians = clients::guardian_of(&mut db, &ids, now).await.unwrap();
    assert_eq!(guardians.len(), ids.len());
});

both_databases!(nobody_but_the_keeper_changes_whose_client_she_is, async |house| {
    let edit = format!("/door/clients/{}/edit", house.things.client);
    let keeper = async || {
        house.look(&format!("select coalesce(keeper, 'studio') from client where id = '{}'", house.things.client)).await
    };
    let ines = house.things.people[Actor::ArtistA.name()].clone();
    // The owner is not offered it while the self-employed artist works here, and a form sent all the same changes nothing of it.
    let mut owner = house.owner();
    let page = owner.page(&edit).await;
    assert!(!page.text().contains("name=\"keeper\""));
    let form = page.form(&edit).with("keeper", "studio").with("notes", "By the window.");
    owner.submit(&form).await.must(303);
    assert_eq!(keeper().await, ines);
    // She hands it to the studio herself; from then on it is the owner's to change, and no longer hers.
    let mut artist = house.actor(Actor::ArtistA);
    let form = artist.form(&edit, &edit).await.with("keeper", "studio");
    artist.submit(&form).await.must(303);
    assert_eq!(keeper().await, "studio");
    let form = owner.form(&edit, &edit).await.with("keeper", &ines);
    owner.submit(&form).await.must(303);
    assert_eq!(keeper().await, ines);
    // Once she has left, it is the owner's again.
    let form = owner.form(&format!("/office/people/{ines}"), &format!("/office/people/{ines}/leave")).await;
    owner.submit(&form).await.must(303);
    let form = owner.form(&edit, &edit).await.with("keeper", "studio");
    owner.submit(&form).await.must(303);
    assert_eq!(keeper().await, "studio");
});
