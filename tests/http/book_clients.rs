//! The book and the clients of the studio: who can be chosen, whom clearance expects, what is said of her at booking, her rights.

use stillroom::base::time::{DAY, Instant};
use stillroom::clearance;
use stillroom::demo;

use crate::book::{deed, id_of, overlaps};
use crate::browser::{Answer, Browser};
use crate::house::{TestHouse, both_databases};
use crate::html::tags;
use crate::studio::{Actor, Things};

/// A wish for Ines and the furnished service on a day at ten.
fn wish<'a>(things: &'a Things, client: &'a str, day: &'a str) -> Vec<(&'a str, &'a str)> {
    vec![
        ("client", client),
        ("short_name", ""),
        ("service", &things.book.service),
        ("artist", &things.hands.artist),
        ("day", day),
        ("at", "10:00"),
    ]
}

/// Books for a client's record, through the form as her own link opens it.
async fn booked(who: &mut Browser, wish: &[(&str, &str)]) -> Answer {
    let client = wish.iter().find(|(name, _)| *name == "client").unwrap().1;
    let form = who.form(&format!("/book/new?client={client}"), "/book").await.with_all(wish);
    who.submit(&form.without("first_visit")).await
}

/// What is expected for an appointment: client, kind, instant and whether it still is; nothing where nobody is.
async fn expected(house: &TestHouse, appointment: &str) -> Vec<String> {
    if house.number(&format!("select count(*) from expected_visit where id = '{appointment}'")).await == 0 {
        return Vec::new();
    }
    let sql = format!(
        "select client || ' ' || kind || ' ' || cast(at as text) || ' ' || case when gone is null then 'expected' else 'gone' end
         from expected_visit where id = '{appointment}'"
    );
    vec![house.look(&sql).await]
}

/// How the expected visit of an appointment must read.
async fn as_booked(house: &TestHouse, appointment: &str, client: &str, kind: &str, stands: &str) -> Vec<String> {
    let starts = house.number(&format!("select starts from appointment where id = '{appointment}'")).await;
    vec![format!("{client} {kind} {starts} {stands}")]
}

async fn add_service(house: &TestHouse, name: &str, kind: &str) -> String {
    let mut owner = house.owner();
    let form = owner.form("/book/services/new", "/book/services").await;
    owner.submit(&form.with_all(&[("name", name), ("kind", kind), ("minutes", "30"), ("first", "0")])).await.must(303);
    house.look(&format!("select id from service where name = '{name}'")).await
}

both_databases!(who_is_booked_is_expected_who_is_moved_is_expected_then_and_who_is_called_off_no_more, async |house| {
    let things = &house.things;
    let mut desk = house.actor(Actor::Desk);
    let alva = things.clearance["ada"].as_str();
    let id = id_of(&booked(&mut desk, &wish(things, alva, "2026-02-24")).await.goes_to());
    assert_eq!(expected(house, &id).await, as_booked(house, &id, alva, "set", "expected").await);
    let list = |page: Answer| page.words().contains("Alva L.");
    assert!(list(desk.page("/door/not-cleared").await), "the desk's list has her");
    // Moved to another time and another service.
    let page = format!("/book/{id}/move");
    let infill = house.look("select id from service where name = 'Infill'").await;
    let form = desk.form(&page, &page).await;
    assert_eq!(form.value("client"), alva, "her record stays chosen");
    desk.submit(&form.with("day", "2026-02-23").with("at", "14:00").with("service", &infill)).await.must(303);
    assert_eq!(expected(house, &id).await, as_booked(house, &id, alva, "infill", "expected").await);
    // Called off, held again, missed.
    deed(&mut desk, &id, "cancel").await.must(303);
    assert_eq!(expected(house, &id).await, as_booked(house, &id, alva, "infill", "gone").await);
    assert!(!list(desk.page("/door/not-cleared").await));
    deed(&mut desk, &id, "restore").await.must(303);
    assert_eq!(expected(house, &id).await, as_booked(house, &id, alva, "infill", "expected").await);
    house.clock.advance(6 * DAY);
    let mut desk = house.stranger();
    desk.sign_in(Actor::Desk.name(), crate::studio::PHRASE).await.must(303);
    deed(&mut desk, &id, "no-show").await.must(303);
    assert_eq!(expected(house, &id).await, as_booked(house, &id, alva, "infill", "gone").await);
});

both_databases!(what_is_booked_goes_over_to_a_colleague_where_she_is_free, async |house| {
    let things = &house.things;
    let (ines, tilde) = (&things.people[Actor::ArtistA.name()], &things.people[Actor::ArtistB.name()]);
    let artist_of = async |person: &str| house.look(&format!("select id from artist where person = '{person}'")).await;
    let (of_ines, of_tilde) = (artist_of(ines).await, artist_of(tilde).await);
    let (alva, dora) = (things.clearance["ada"].as_str(), things.clearance["dora"].as_str());
    let mut desk = house.actor(Actor::Desk);
    let free = id_of(&booked(&mut desk, &wish(things, alva, "2026-02-25")).await.goes_to());
    let busy = id_of(&booked(&mut desk, &wish(things, dora, "2026-02-26")).await.goes_to());
    let mut in_the_way = wish(things, "", "2026-02-26");
    in_the_way.extend([
        ("artist", of_tilde.as_str()),
        ("short_name", "Nora F."),
        ("bed", things.book.spare_bed.as_str()),
    ]);
    let form = desk.form("/book/new", "/book").await.with_all(&in_the_way);
    desk.submit(&form).await.goes_to();
    // Past the holiday.
    let later = id_of(&booked(&mut desk, &wish(things, alva, "2026-03-18")).await.goes_to());
    let stands = async |id: &str| {
        let sql = format!(
            "select a.artist || ' ' || coalesce((select v.artist from expected_visit v where v.id = a.id and v.gone is null), '')
             from appointment a where a.id = '{id}'"
        );
        house.look(&sql).await
    };
    let (with_ines, with_tilde) = (format!("{of_ines} {ines}"), format!("{of_tilde} {tilde}"));
    let cover = format!("/office/people/{ines}/cover");
    let mut owner = house.owner();
    let form = owner.form(&cover, &cover).await.with("to", tilde).with("last_day", "2026-03-01");
    owner.submit(&form).await.must(303);
    assert_eq!(stands(&free).await, with_tilde, "diary and desk list name the same colleague");
    assert_eq!(stands(&busy).await, with_ines, "nobody is booked twice");
    assert_eq!(stands(&later).await, with_ines, "only what lies in the holiday");
    owner.page(&format!("/book/{free}")).await.says("taken over from Ines");
    assert_eq!(overlaps(house).await, 0);
    // Moved afterwards it stays the colleague's.
    let page = format!("/book/{free}/move");
    let form = desk.form(&page, &page).await.with("at", "14:00");
    desk.submit(&form).await.must(303);
    assert_eq!(stands(&free).await, with_tilde);
    // She leaves: what lies later goes over as well.
    let form = owner.form(&cover, &cover).await;
    owner.submit(&form.with_all(&[("to", tilde.as_str()), ("why", "leaves")])).await.must(303);
    assert_eq!(stands(&later).await, with_tilde);
});

both_databases!(a_talk_and_a_name_without_a_record_are_not_expected, async |house| {
    let things = &house.things;
    let mut desk = house.actor(Actor::Desk);
    let talk = add_service(house, "Talk", "consultation").await;
    let dora = things.clearance["dora"].as_str();
    let mut of_talk = wish(things, dora, "2026-02-24");
    of_talk.push(("service", &talk));
    let id = id_of(&booked(&mut desk, &of_talk).await.goes_to());
    assert_eq!(expected(house, &id).await, Vec::<String>::new());
    assert!(!desk.page(&format!("/book/{id}")).await.words().contains("Clearance"), "of a talk nothing is judged");
    // A set becomes a talk: she is expected no more.
    let set = id_of(&booked(&mut desk, &wish(things, dora, "2026-02-25")).await.goes_to());
    assert_eq!(expected(house, &set).await, as_booked(house, &set, dora, "set", "expected").await);
    let page = format!("/book/{set}/move");
    let form = desk.form(&page, &page).await.with("service", &talk);
    desk.submit(&form).await.must(303);
    assert_eq!(expected(house, &set).await, as_booked(house, &set, dora, "set", "gone").await);
    let form = desk.form("/book/new", "/book").await.with_all(&wish(things, "", "2026-02-26"));
    let alone = id_of(&desk.submit(&form.with("short_name", "Nora F.")).await.goes_to());
    assert_eq!(expected(house, &alone).await, Vec::<String>::new());
    desk.page(&format!("/book/{alone}?told=booked")).await.says("nothing is known of her clearance");
    // Once her record is there, it is chosen by moving the appointment.
    let page = format!("/book/{alone}/move");
    let alva = things.clearance["ada"].as_str();
    let form = desk.form(&page, &page).await.with("client", alva);
    desk.submit(&form).await.must(303);
    assert_eq!(expected(house, &alone).await, as_booked(house, &alone, alva, "set", "expected").await);
    desk.page("/book?day=2026-02-26").await.says("Alva L.");
});

/// Makes the database refuse whoever would be expected, or allows it again.
async fn refuse_expected(house: &TestHouse, refuse: bool) {
    let texts: &[&str] = match (house.is_sqlite(), refuse) {
        (true, true) => &[
            "create trigger nobody_new before insert on expected_visit begin select raise(abort, 'refused'); end",
            "create trigger nobody_else before update on expected_visit begin select raise(abort, 'refused'); end",
        ],
        (true, false) => &["drop trigger nobody_new", "drop trigger nobody_else"],
        (false, true) => &[
            "create function refuse() returns trigger language plpgsql as $$ begin raise exception 'refused'; end $$",
            "create trigger nobody before insert or update on expected_visit for each row execute function refuse()",
        ],
        (false, false) => &["drop trigger nobody on expected_visit", "drop function refuse()"],
    };
    for text in texts {
        house.run(text).await.unwrap();
    }
}

both_databases!(appointment_and_expected_visit_come_and_go_together_or_not_at_all, async |house| {
    let things = &house.things;
    let mut desk = house.actor(Actor::Desk);
    let alva = things.clearance["ada"].as_str();
    let expected = "select count(*) from expected_visit where gone is null";
    let others = house.number(expected).await;
    let kept = id_of(&booked(&mut desk, &wish(things, alva, "2026-02-24")).await.goes_to());
    let before = house.counts().await;
    // What is in the way leaves neither.
    booked(&mut desk, &wish(things, alva, "2026-02-24")).await.must(422);
    assert_eq!(house.counts().await, before);
    // Nor does a list that cannot be written: the appointment goes with it, whatever is done.
    refuse_expected(house, true).await;
    booked(&mut desk, &wish(things, alva, "2026-02-25")).await.must(500);
    deed(&mut desk, &kept, "cancel").await.must(500);
    let page = format!("/book/{kept}/move");
    let form = desk.form(&page, &page).await.with("at", "14:00");
    desk.submit(&form).await.must(500);
    assert_eq!(house.counts().await, before);
    let version = format!("select version from appointment where id = '{kept}'");
    assert_eq!(house.number(&version).await, 1, "neither moved nor called off");
    // It was the list alone that refused: of whom nobody expects the book takes an appointment.
    let form = desk.form("/book/new", "/book").await.with_all(&wish(things, "", "2026-02-25"));
    desk.submit(&form.with("short_name", "Nora F.")).await.must(303);
    refuse_expected(house, false).await;
    booked(&mut desk, &wish(things, alva, "2026-02-26")).await.must(303);
    deed(&mut desk, &kept, "cancel").await.must(303);
    assert_eq!(house.number(expected).await, others + 1, "Alva’s new one");
});

/// A form holds each field once: what was said last.
fn last_of_each<'a>(pairs: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    let later = |n: usize| pairs[n + 1..].iter().any(|(name, _)| *name == pairs[n].0);
    (0..pairs.len()).filter(|n| !later(*n)).map(|n| pairs[n]).collect()
}

/// Looks without booking: the form as it stands, sent to the other button.
async fn look(who: &mut Browser, fields: &[(&str, &str)]) -> Answer {
    let csrf = who.csrf().await;
    let pairs = [&[("csrf", csrf.as_str()), ("form_key", "key-of-a-look")], fields].concat();
    who.post("/book/look", &last_of_each(&pairs)).await
}

both_databases!(the_beginning_of_a_name_finds_her_record_for_those_who_see_her, async |house| {
    let things = &house.things;
    let before = house.counts().await;
    for (who, finds) in [(Actor::Desk, true), (Actor::ArtistA, true), (Actor::Owner, true), (Actor::ArtistB, false)] {
        let mut who = house.actor(who);
        let part = look(&mut who, &[("short_name", "lo ad"), ("part", "found")]).await.must(200);
        assert_eq!(part.words().contains("Ada Lovell, born"), finds);
        assert!(!part.text().contains("<nav"), "nothing stands around what was found");
        let whole = look(&mut who, &[("short_name", "lo ad"), ("note", "by the window")]).await.must(200);
        assert_eq!(whole.words().contains("Ada Lovell, born"), finds);
        assert_eq!(whole.form("/book").value("note"), "by the window", "what was typed is still there");
    }
    // A record that is not hers is chosen by nobody, whatever the form says.
    let mut other = house.actor(Actor::ArtistB);
    let mut wish = wish(things, &things.clearance["ada"], "2026-02-24");
    wish.push(("artist", &things.untimed_artist));
    let csrf = other.csrf().await;
    let pairs = [&[("csrf", csrf.as_str()), ("form_key", "key-of-b")], wish.as_slice()].concat();
    other.post("/book", &last_of_each(&pairs)).await.must(422).says("This record cannot be chosen any more");
    assert_eq!(house.counts().await, before);
});

both_databases!(at_booking_it_is_said_how_she_stands_and_until_when_a_test_can_be_placed, async |house| {
    let things = &house.things;
    let mut desk = house.actor(Actor::Desk);
    let alva = things.clearance["ada"].as_str();
    for day in ["2026-02-24", "2026-02-19"] {
        let page = look(&mut desk, &wish(things, alva, day)).await.must(200);
        page.says("Place a patch test.");
        if day == "2026-02-24" {
            page.says("not yet");
            page.says("A patch test can be placed until Sun 22 Feb 10:00, in 3 days 23 h.");
        } else {
            page.says("overdue");
            page.says("too late for this time. Move the visit to Fri 20 Feb");
        }
    }
    // She can be booked all the same; then it is said again.
    let to = booked(&mut desk, &wish(things, alva, "2026-02-24")).await.goes_to();
    let page = desk.page(&to).await;
    page.says("It is booked. She is not cleared for it: see below.");
    page.says("A patch test can be placed until Sun 22 Feb 10:00");
    // Placed and looked at in time, nothing is missing.
    old_test(house, alva).await;
    let page = desk.page(&to).await;
    assert!(!page.words().contains("not cleared"), "{}", page.words());
    page.says("cleared");
});

/// A test of the house adhesive, placed three days ago and looked at.
async fn old_test(house: &TestHouse, client: &str) {
    crate::clearance::old_test(house, client, 3).await;
}

both_databases!(a_held_client_can_be_booked_and_the_page_tells_nothing_of_her_health, async |house| {
    let things = &house.things;
    let dora = things.clearance["dora"].as_str();
    let removal = add_service(house, "Removal", "removal").await;
    for who in [Actor::Desk, Actor::ArtistA, Actor::Owner] {
        let mut who = house.actor(who);
        // What was found alone: the frame around it tells everybody when to stop and refer.
        let mut of_set = wish(things, dora, "2026-02-24");
        of_set.push(("part", "found"));
        let seen = look(&mut who, &of_set).await.must(200);
        let mut of_removal = of_set.clone();
        of_removal.push(("service", &removal));
        let free = look(&mut who, &of_removal).await.must(200);
        for (page, holds) in [(&seen, true), (&free, false)] {
            assert_eq!(page.words().contains("not now"), holds, "{}", page.words());
            assert_eq!(page.words().contains("Speak with Ines"), holds);
            for word in ["reaction", "held", "refer", "itching", "doctor"] {
                assert!(!page.words().to_lowercase().contains(word), "{word}: {}", page.words());
            }
        }
    }
    let mut desk = house.actor(Actor::Desk);
    let mut of_removal = wish(things, dora, "2026-02-24");
    of_removal.push(("service", &removal));
    let id = id_of(&booked(&mut desk, &of_removal).await.goes_to());
    assert_eq!(expected(house, &id).await, as_booked(house, &id, dora, "removal", "expected").await);
    let to = booked(&mut desk, &wish(things, dora, "2026-02-25")).await.goes_to();
    desk.page(&to).await.says("She is not cleared for it");
});

both_databases!(another_service_is_never_called_cleared_without_asking_for_its_own_test, async |house| {
    let things = &house.things;
    let mut owner = house.owner();
    let form = owner.form("/book/services/new", "/book/services").await;
    let form = form.with_all(&[("name", "Tint"), ("kind", "other_service"), ("minutes", "30"), ("patch_test", "yes")]);
    owner.submit(&form).await.must(303);
    let tint = house.look("select id from service where name = 'Tint'").await;
    let alva = things.clearance["ada"].as_str();
    let mut wish = wish(things, alva, "2026-02-24");
    wish.push(("service", &tint));
    let id = id_of(&booked(&mut owner, &wish).await.goes_to());
    assert_eq!(expected(house, &id).await, as_booked(house, &id, alva, "other_service", "expected").await);
    owner.page(&format!("/book/{id}")).await.says("needs a patch test with its own product, which is not judged here");
    owner.page("/door/not-cleared").await.says("other service");
});

both_databases!(no_link_of_the_book_holds_a_name, async |house| {
    let things = &house.things;
    let mut desk = house.actor(Actor::Desk);
    let id = id_of(&booked(&mut desk, &wish(things, &things.clearance["ada"], "2026-02-24")).await.goes_to());
    let free = format!("/book/free?service={}&waiting={}", things.book.service, things.book.waiting);
    let mut links = 0;
    for page in [format!("/book/{id}"), free, "/book/waiting".to_owned(), "/book?day=2026-02-24".to_owned()] {
        for tag in tags(&desk.page(&page).await.text()) {
            let Some(href) = tag.get("href") else { continue };
            links += usize::from(href.contains("/book/new?"));
            assert!(!href.contains("name=") && !href.contains("Alva") && !href.contains("Elin"), "{page}: {href}");
        }
    }
    assert!(links > 10, "{links}");
    // What the link leaves out the page reads: the next visit is for the same client.
    let page = desk.page(&format!("/book/{id}")).await;
    let next = tags(&page.text())
        .iter()
        .find_map(|tag| tag.get("href").filter(|href| href.contains("next_of")).map(str::to_owned));
    let form = desk.form(&next.unwrap(), "/book").await;
    assert_eq!((form.value("client"), form.value("short_name")), (things.clearance["ada"].as_str(), "Alva L."));
});

both_databases!(who_comes_for_the_first_time_gets_the_time_for_it, async |house| {
    let things = &house.things;
    let mut desk = house.actor(Actor::Desk);
    let alva = things.clearance["ada"].as_str();
    let form = desk.form(&format!("/book/new?client={alva}"), "/book").await;
    assert_eq!(form.value("first_visit"), "yes");
    let form = form.with_all(&wish(things, alva, "2026-02-24"));
    let id = id_of(&desk.submit(&form).await.goes_to());
    let length = format!("select (ends - starts) / 60000000 from appointment where id = '{id}'");
    assert_eq!(house.number(&length).await, 135);
    // Once that time has come she is no newcomer.
    let earlier = 30 * DAY;
    house
        .run(&format!(
            "update appointment set starts = starts - {earlier}, ends = ends - {earlier}, busy_from = busy_from - {earlier},
             busy_to = busy_to - {earlier} where id = '{id}'"
        ))
        .await
        .unwrap();
    let form = desk.form(&format!("/book/new?client={alva}"), "/book").await;
    assert_eq!(form.value("first_visit"), "");
});

both_databases!(her_rights_reach_the_book, async |house| {
    let things = &house.things;
    let mut owner = house.owner();
    let mut a = house.actor(Actor::ArtistA);
    let (ada, twin) = (things.client.as_str(), things.twin.as_str());
    let past = id_of(&booked(&mut a, &wish(things, twin, "2026-02-12")).await.goes_to());
    let coming = id_of(&booked(&mut a, &wish(things, twin, "2026-02-24")).await.goes_to());
    let file = a.page(&format!("/door/clients/{twin}/file.json")).await.text();
    assert!(file.contains("Appointments") && file.contains("2026-02-24T09:00:00Z"), "{file}");
    // Put together, both lie with the record that stays.
    let merge = format!("/door/clients/{ada}/merge/{twin}");
    let mut desk = house.actor(Actor::Desk);
    let form = desk.form(&merge, &merge).await;
    desk.submit(&form).await.must(303);
    let of = |client: &str| format!("select count(*) from appointment where client = '{client}'");
    let (of_ada, of_twin) = (house.number(&of(ada)).await, house.number(&of(twin)).await);
    let (stays, gone) = if of_ada == 2 { (ada, twin) } else { (twin, ada) };
    assert_eq!((of_ada + of_twin, house.number(&of(gone)).await), (2, 0));
    // Erased, what is to come is called off and no name is left of what was.
    let path = format!("/door/clients/{stays}/erasure");
    let form = a.form(&path, &path).await.with("treated", "no");
    a.submit(&form).await.must(303);
    assert_eq!(house.number(&of(stays)).await, 0);
    let state = async |id: &str| {
        house.look(&format!("select state || ' ' || short_name from appointment where id = '{id}'")).await
    };
    assert_eq!((state(&past).await, state(&coming).await), ("booked –".to_owned(), "cancelled –".to_owned()));
    assert_eq!(expected(house, &coming).await, Vec::<String>::new());
    owner.page(&format!("/book/{coming}")).await.says("called off");
});

both_databases!(in_the_invented_studio_the_book_and_the_desk_agree, unclaimed, async |house| {
    demo::fill_with(&house.house, 20).await.unwrap();
    let now = house.clock.now().0;
    let mut db = house.house.store.read().await.unwrap();
    let expected = clearance::expected(&mut db, now, now.plus(7 * DAY)).await.unwrap();
    drop(db);
    assert!(expected.len() > 15, "{}", expected.len());
    for visit in &expected {
        let sql = format!(
            "select count(*) from appointment a join artist p on p.id = a.artist where a.id = '{}' and a.client = '{}' and a.starts = {}
             and a.state = 'booked' and p.person = '{}'",
            visit.id,
            visit.client,
            visit.at.0,
            visit.artist.unwrap()
        );
        assert_eq!(house.number(&sql).await, 1, "{visit:?}");
    }
    let booked = "select count(*) from appointment where client is not null and starts >= ";
    let Instant(from) = now;
    assert_eq!(house.number(&format!("{booked}{from}")).await, i64::try_from(expected.len()).unwrap());
    assert_eq!(overlaps(house).await, 0);
    // Whoever comes on the next day has a record; some of them are not cleared, no more than about one of five.
    let tomorrow = "select count(*) from appointment where wall like '2026-02-19%' and state = 'booked'";
    assert!(house.number(tomorrow).await > 10);
    assert_eq!(house.number(&format!("{tomorrow} and client is null")).await, 0);
    let mut owner = house.stranger();
    owner.sign_in(demo::PEOPLE[0].0, demo::PASSPHRASE).await.must(303);
    let sheet = owner.page("/cards/sheets/tomorrow").await;
    assert!(!sheet.words().contains("no record"), "{}", sheet.words());
    let not_cleared = sheet.words().matches("not cleared").count();
    let booked = usize::try_from(house.number(tomorrow).await).unwrap();
    assert!((1..=booked / 5 + 1).contains(&not_cleared), "{not_cleared} of {booked}: {}", sheet.words());
    let records = house.number("select count(*) from client").await;
    demo::fill_with(&house.house, 20).await.unwrap();
    assert_eq!(house.number("select count(*) from client").await, records, "a second start adds nobody");
});
