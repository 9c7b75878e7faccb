//! The book over its pages: nothing overlaps whoever books at once, clocks that change, who sees whom, moving, calling off, waiting.

use std::sync::Arc;

use futures_util::future::join_all;
use jiff::ToSpan;
use jiff::civil::Date;
use sqlx::{AssertSqlSafe, Row as _};
use stillroom::base::time::{DAY, HOUR, Instant, MINUTE};
use stillroom::base::zone::Zone;
use stillroom::demo;
use tokio::sync::Barrier;

use crate::browser::{Answer, Browser};
use crate::doors::{Row, Sent, empty_form, form, get, post};
use crate::house::{TestHouse, both_databases};
use crate::html::FormOnPage;
use crate::mistakes::Slip;
use crate::random::Random;
use crate::studio::{Actor, Things};

/// What the tests of doors and forms find here.
#[derive(Debug, Default)]
pub(crate) struct BookThings {
    /// Two hours on a bed, five minutes kept free before and ten after; fifteen more at a first visit.
    pub(crate) service: String,
    /// One nothing is booked of.
    pub(crate) spare_service: String,
    pub(crate) bed: String,
    pub(crate) spare_bed: String,
    /// Of Ines, Friday 20 February at ten.
    appointment: String,
    to_cancel: String,
    cancelled: String,
    /// Begun this morning.
    pub(crate) begun: String,
    pub(crate) off: String,
    pub(crate) waiting: String,
    /// The file of Ines's calendar.
    pub(crate) feed: String,
}

impl BookThings {
    /// Each deed has an appointment of its own, so that they can be tried one after the other.
    pub(crate) fn appointment_for(&self, path: &str) -> &str {
        match path.rsplit('/').next() {
            Some("cancel") => &self.to_cancel,
            Some("restore") => &self.cancelled,
            Some("no-show") => &self.begun,
            _ => &self.appointment,
        }
    }
}

/// Two services, two beds, four appointments of Ines, somebody waiting, a day off, a calendar.
pub(crate) async fn furnish(house: &TestHouse, owner: &mut Browser, things: &mut Things) {
    for (name, minutes) in [("Classic set", "120"), ("Tea and talk", "45")] {
        let form = owner.form("/book/services/new", "/book/services").await;
        let form = form.with_all(&[("name", name), ("kind", "full_set"), ("minutes", minutes), ("classic", "yes")]);
        owner.submit(&form).await.must(303);
    }
    let form = owner.form("/book/services/new", "/book/services").await;
    let form =
        form.with_all(&[("name", "Infill"), ("kind", "infill"), ("minutes", "60"), ("first", "0"), ("classic", "yes")]);
    owner.submit(&form).await.must(303);
    for (room, name) in [(&things.gable, "Left bed"), (&things.lantern, "Right bed")] {
        let form = owner.form("/book/beds", "/book/beds").await.with("room", room).with("name", name);
        owner.submit(&form).await.must(303);
    }
    let mut book = BookThings {
        service: house.look("select id from service where name = 'Classic set'").await,
        spare_service: house.look("select id from service where name = 'Tea and talk'").await,
        bed: house.look("select id from bed where name = 'Left bed'").await,
        spare_bed: house.look("select id from bed where name = 'Right bed'").await,
        ..BookThings::default()
    };
    let ines = things.hands.artist.clone();
    let mut made = Vec::new();
    for (who, day, at) in [
        ("Ada L.", "2026-02-20", "10:00"),
        ("Bryn O.", "2026-02-23", "10:00"),
        ("Cleo R.", "2026-02-24", "10:00"),
        ("Dagny S.", "2026-02-18", "09:15"),
    ] {
        let wish = [
            ("short_name", who),
            ("service", &book.service),
            ("artist", &ines),
            ("day", day),
            ("at", at),
            ("bed", &book.bed),
        ];
        made.push(id_of(&booked(owner, &wish).await.goes_to()));
    }
    [book.appointment, book.to_cancel, book.cancelled, book.begun] = made.try_into().unwrap();
    deed(owner, &book.cancelled, "cancel").await.must(303);
    let form = owner.form("/book/waiting", "/book/waiting").await;
    owner.submit(&form.with("short_name", "Elin V.").with("service", &book.service)).await.must(303);
    book.waiting = house.look("select id from waiting").await;
    let form = owner.form("/book/off", "/book/off").await;
    let form =
        form.with_all(&[("whose", &ines), ("reason", "holiday"), ("from_day", "2026-07-06"), ("to_day", "2026-07-19")]);
    owner.submit(&form).await.must(303);
    book.off = house.look("select id from time_off").await;
    book.feed = open_calendar(owner, &ines).await;
    things.book = book;
}

/// Opens an artist's calendar; gives the name of its file.
pub(crate) async fn open_calendar(who: &mut Browser, artist: &str) -> String {
    let page = format!("/book/calendar/{artist}");
    let form = who.form(&page, &page).await;
    who.submit(&form).await.must(303);
    let address = crate::html::inside(&who.page(&page).await.text(), "data-calendar").unwrap();
    address.rsplit('/').next().unwrap().to_owned()
}

/// The id in "/book/{id}?told=booked".
pub(crate) fn id_of(location: &str) -> String {
    location.trim_start_matches("/book/").split('?').next().unwrap().to_owned()
}

async fn booked(who: &mut Browser, wish: &[(&str, &str)]) -> Answer {
    let form = who.form("/book/new", "/book").await.with_all(wish);
    who.submit(&form).await
}

/// Does one of the deeds of an appointment's page.
pub(crate) async fn deed(who: &mut Browser, id: &str, deed: &str) -> Answer {
    let form = who.form(&format!("/book/{id}"), &format!("/book/{id}/{deed}")).await;
    who.submit(&form).await
}

/// A wish for Ines and the furnished service.
fn wish<'a>(things: &'a Things, who: &'a str, day: &'a str, at: &'a str) -> Vec<(&'a str, &'a str)> {
    vec![
        ("short_name", who),
        ("service", &things.book.service),
        ("artist", &things.hands.artist),
        ("day", day),
        ("at", at),
    ]
}

fn sent(things: &Things, day: &'static str, more: &[(&'static str, &str)]) -> Sent {
    let usual = [
        ("short_name", "Freya T."),
        ("service", things.book.service.as_str()),
        ("artist", things.hands.artist.as_str()),
        ("day", day),
        ("at", "10:00"),
    ];
    form(&[usual.as_slice(), more].concat())
}

/// Artist A is Ines: B is told nothing of her clients and books for herself alone. The accountant has no door here.
pub(crate) fn rows() -> Vec<Row> {
    let mut rows = vec![
        get("/book", "ssooonoss"),
        get("/book/week", "ssooonoss"),
        get("/book/free", "ssooonoss"),
        get("/book/new", "ssooonoss"),
        post("/book", |things| sent(things, "2026-03-03", &[]), "ssgmgngss"),
        post("/book/look", |things| sent(things, "2026-03-03", &[]), "ssooonoss"),
        get("/book/{appointment}", "ssoxonoss"),
        get("/book/{appointment}/move", "ssoxonoss"),
        post("/book/{appointment}/move", |things| sent(things, "2026-03-04", &[("seen", "1")]), "ssgxgngss"),
        post("/book/{appointment}/cancel", |_| form(&[("seen", "1"), ("reason", "fever")]), "ssgxgngss"),
        post("/book/{appointment}/restore", |_| form(&[("seen", "2")]), "ssgxgngss"),
        post("/book/{appointment}/no-show", |_| form(&[("seen", "1")]), "ssgxgngss"),
        get("/book/waiting", "ssooonoss"),
        post(
            "/book/waiting",
            |things| form(&[("short_name", "Gro A."), ("service", &things.book.service)]),
            "ssgggngss",
        ),
        post("/book/waiting/{waiting}/done", empty_form, "ssgggngss"),
        get("/book/services", "ssooonoss"),
        get("/book/services/new", "ssnnnnoss"),
        post("/book/services", |_| Sent::Form(a_service("Volume set")), "ssnnnngss"),
        get("/book/services/{service}", "ssnnnnoss"),
        post("/book/services/{service}", |_| Sent::Form(a_service("Long talk")), "ssnnnngss"),
        post("/book/services/{service}/close", empty_form, "ssnnnngss"),
        get("/book/off", "ssooonoss"),
        post(
            "/book/off",
            |things| form(&[("whose", &things.hands.artist), ("reason", "away"), ("from_day", "2026-08-03")]),
            "ssgmgngss",
        ),
        post("/book/off/{off}/strike", empty_form, "ssgxgngss"),
        // Before it is opened anew, which closes the address.
        get("/calendar/{feed}", "ooooooooo"),
        get("/book/calendar/{artist}", "ssoxxnoss"),
        post("/book/calendar/{artist}", empty_form, "ssgxxngss"),
        post("/book/calendar/{artist}/hide", empty_form, "ssgxxngss"),
        post("/book/calendar/{artist}/revoke", empty_form, "ssgxxngss"),
    ];
    for path in ["/book/hours", "/book/hours/{artist}"] {
        rows.push(get(path, "ssnnnnoss"));
        rows.push(post(path, |_| form(&[("own", "yes"), ("mon", "9-17"), ("wed", "9-17")]), "ssnnnngss"));
    }
    rows.push(get("/book/beds", "ssnnnnoss"));
    rows.push(post("/book/beds", |things| form(&[("room", &things.gable), ("name", "Third bed")]), "ssnnnngss"));
    rows.push(post("/book/beds/{bed}/close", empty_form, "ssnnnngss"));
    rows
}

fn a_service(name: &str) -> Vec<(&'static str, String)> {
    [
        ("name", name),
        ("kind", "full_set"),
        ("minutes", "150"),
        ("before", "5"),
        ("after", "10"),
        ("first", "15"),
        ("takes_bed", "yes"),
    ]
    .map(|(name, value)| (name, value.to_owned()))
    .to_vec()
}

/// Forms with mistakes.
/// More words than a reason has room for.
const TOO_LONG: &str = "rain on the road and rain on the roof and rain on the road and rain on the roof and rain on the road and rain on the roof, all day";

pub(crate) fn slips(things: &Things) -> Vec<Slip> {
    let move_page = format!("/book/{}/move", things.book.appointment);
    let appointment = format!("/book/{}", things.book.to_cancel);
    let service = format!("/book/services/{}", things.book.spare_service);
    let hours = format!("/book/hours/{}", things.hands.artist);
    // Ids are not static, so the page's address fills the selects in.
    let new_page = format!("/book/new?service={}&artist={}", things.book.service, things.hands.artist);
    let waiting = format!("/book/waiting?service={}", things.book.service);
    vec![
        Slip::new(
            &new_page,
            "/book",
            &[("short_name", " "), ("day", "20 Feb"), ("at", "ten")],
            &["short_name", "day", "at"],
            &[("short_name", "Freya <b>T.</b>"), ("day", "2026-03-05"), ("at", "10:00")],
        ),
        Slip::new(
            &move_page,
            &move_page,
            &[("day", "2026-13-01"), ("at", "25:00")],
            &["day", "at"],
            &[("day", "2026-02-25"), ("at", "11:00")],
        ),
        Slip::new(
            &appointment,
            &format!("{appointment}/cancel"),
            &[("reason", TOO_LONG)],
            &["reason"],
            &[("reason", "rain & wind")],
        ),
        Slip::new(
            "/book/services/new",
            "/book/services",
            &[("name", "classic set"), ("kind", "full_set"), ("minutes", "2"), ("after", "-1")],
            &["minutes", "after"],
            &[("name", "Another set"), ("minutes", "90"), ("after", "10")],
        ),
        Slip::new(&service, &service, &[("name", "Classic SET")], &["name"], &[("name", "Short talk")]),
        Slip::new(
            "/book/hours",
            "/book/hours",
            &[("mon", "18-9"), ("tue", "nine")],
            &["mon", "tue"],
            &[("mon", "9-18"), ("tue", "")],
        ),
        Slip::new(&hours, &hours, &[("own", "yes"), ("sun", "9")], &["sun"], &[("sun", "9-10")]),
        Slip::new(
            "/book/off",
            "/book/off",
            &[("from_day", "soon"), ("to_at", "later")],
            &["from_day", "to_at"],
            &[("from_day", "2026-05-01"), ("to_at", "")],
        ),
        Slip::new("/book/beds", "/book/beds", &[("name", "")], &["name"], &[("name", "Fourth bed")]),
        Slip::new(
            &waiting,
            "/book/waiting",
            &[("short_name", ""), ("before", "x")],
            &["short_name", "before"],
            &[("short_name", "Gro A."), ("before", "16:00")],
        ),
    ]
}

/// Every pair of appointments that hold and share an artist or a bed for an instant, buffers counted in.
pub(crate) async fn overlaps(house: &TestHouse) -> i64 {
    house
        .number(
            "select count(*) from appointment a join appointment b on a.id < b.id and a.busy_from < b.busy_to and b.busy_from < a.busy_to
             where a.state = 'booked' and b.state = 'booked' and (a.artist = b.artist or a.bed = b.bed)",
        )
        .await
}

both_databases!(fifty_who_book_at_once_never_share_an_artist_or_a_bed, async |house| {
    let things = &house.things;
    // Fifty for one time: one gets it.
    let one = join_all((0..50).map(|n| async move {
        let mut owner = house.owner();
        let who = format!("Client {n}");
        booked(&mut owner, &wish(things, &who, "2026-03-10", "10:00")).await.status
    }))
    .await;
    assert_eq!(one.iter().filter(|status| **status == 303).count(), 1, "{one:?}");
    assert!(one.iter().all(|status| matches!(status, 303 | 422)), "{one:?}");
    // Fifty for times by chance, over two artists and two beds on one day.
    let before = house.number("select count(*) from appointment where state = 'booked'").await;
    let many = join_all((0..50_u64).map(|n| async move {
        let mut owner = house.owner();
        let mut random = Random(n + 1);
        let minute = 9 * 60 + 15 * random.below(30);
        let at = format!("{:02}:{:02}", minute / 60, minute % 60);
        let artists = [things.hands.artist.as_str(), things.untimed_artist.as_str()];
        let artist = random.one(&artists);
        let beds = ["", &things.book.bed, &things.book.spare_bed];
        let bed = random.one(&beds);
        let who = format!("Client {n}");
        let mut wish = wish(things, &who, "2026-03-11", &at);
        wish.retain(|(name, _)| *name != "artist");
        wish.extend([("artist", *artist), ("bed", *bed), ("outside", "yes")]);
        booked(&mut owner, &wish).await.status
    }))
    .await;
    let kept = many.iter().filter(|status| **status == 303).count();
    assert!(kept >= 2 && many.iter().all(|status| matches!(status, 303 | 422)), "{many:?}");
    assert_eq!(house.number("select count(*) from appointment where state = 'booked'").await, before + kept as i64);
    assert_eq!(overlaps(house).await, 0);
});

both_databases!(control_who_looks_first_and_books_afterwards_overlaps, async |house| {
    // The same fifty without the guard: each looks whether the time is free, then writes. If nothing overlapped here, the test
    // above would prove nothing.
    let (artist, service) = (&house.things.hands.artist, &house.things.book.service);
    let gate = Arc::new(Barrier::new(8));
    join_all((0..8).map(|n| {
        let gate = Arc::clone(&gate);
        async move {
            let free = house.number("select count(*) from appointment where busy_from < 200 and busy_to > 100").await == 0;
            gate.wait().await;
            let sql = format!(
                "insert into appointment (id, artist, service, short_name, first_visit, wall, zone, starts, ends, busy_from, busy_to,
                 state, version, note, created, changed)
                 values ('naive {n}', '{artist}', '{service}', '', 0, '', '', 100, 200, 100, 200, 'booked', 1, '', 1, 1)"
            );
            if free {
                house.run(&sql).await.unwrap();
            }
        }
    }))
    .await;
    assert!(overlaps(house).await > 0, "the control shows no overlap");
});

both_databases!(what_is_in_the_way_is_said_with_what_is_free_instead, async |house| {
    let things = &house.things;
    let mut desk = house.actor(Actor::Desk);
    // Ines has Ada at ten, until twelve; ten minutes after it and five before the next are kept free.
    let answer = booked(&mut desk, &wish(things, "Hedda I.", "2026-02-20", "12:00")).await.must(422);
    answer.says("That time overlaps with Ines’s 10:00");
    answer.says("Free that day: 12:15");
    assert_eq!(answer.form("/book").value("short_name"), "Hedda I.");
    booked(&mut desk, &wish(things, "Hedda I.", "2026-02-20", "12:15")).await.must(303);
    // The bed alone.
    let mut other = wish(things, "Iben J.", "2026-02-20", "10:30");
    other.retain(|(name, _)| *name != "artist");
    other.extend([("artist", things.untimed_artist.as_str()), ("bed", things.book.bed.as_str())]);
    booked(&mut desk, &other).await.must(422).says("Gable, Left bed is taken then");
    other.retain(|(name, _)| *name != "bed");
    let page = booked(&mut desk, &other).await.goes_to();
    desk.page(&page).await.says("Lantern, Right bed");
    // Outside the hours only when it is said; Sunday is closed.
    let sunday = wish(things, "Janne K.", "2026-02-22", "10:00");
    booked(&mut desk, &sunday).await.must(422).says("does not work then");
    booked(&mut desk, &[sunday.as_slice(), &[("outside", "yes")]].concat()).await.must(303);
    assert_eq!(overlaps(house).await, 0);
});

both_databases!(an_appointment_is_moved_without_dragging_and_by_one_who_saw_it_as_it_is, async |house| {
    let things = &house.things;
    let mut desk = house.actor(Actor::Desk);
    let id = &things.book.appointment;
    let page = format!("/book/{id}/move");
    let stale = desk.form(&page, &page).await;
    let form = desk.form(&page, &page).await.with("at", "14:00").with("artist", &things.untimed_artist);
    let to = desk.submit(&form).await.goes_to();
    let shown = desk.page(&to).await;
    shown.says("It is moved.");
    shown.says("14:00–16:00 with Tilde");
    assert_eq!(house.number(&format!("select version from appointment where id = '{id}'")).await, 2);
    // Somebody who still has the old page open is told; nothing is moved.
    desk.submit(&stale.with("at", "15:00")).await.must(409).says("changed by somebody else");
    // Ines no longer finds it, and a link from the search fills the form in.
    house.actor(Actor::ArtistA).get(&format!("/book/{id}")).await.must(404);
    let linked = desk.form(&format!("{page}?artist={}&day=2026-02-26&at=11:15", things.hands.artist), &page).await;
    assert_eq!((linked.value("day"), linked.value("at")), ("2026-02-26", "11:15"));
    desk.submit(&linked).await.must(303);
    house.actor(Actor::ArtistA).page(&format!("/book/{id}")).await.says("Thu 26 Feb 11:15–13:15 with Ines");
});

both_databases!(what_is_called_off_frees_its_time_and_holds_again_while_nobody_has_it, async |house| {
    let things = &house.things;
    let mut desk = house.actor(Actor::Desk);
    let id = &things.book.appointment;
    let to = deed(&mut desk, id, "cancel").await.goes_to();
    let page = desk.page(&to).await;
    page.says("called off");
    // Elin waits for such a time; the link books it for her and takes her off the list.
    page.says("Elin V.");
    let tags = crate::html::tags(&page.text());
    let link = tags.iter().filter_map(|tag| tag.get("href")).find(|href| href.contains("waiting=")).unwrap().to_owned();
    let form = desk.form(&link, "/book").await;
    desk.submit(&form).await.must(303);
    assert_eq!(house.number("select count(*) from waiting where done is null").await, 0);
    deed(&mut desk, id, "restore").await.must(409).says("Its time is no longer free.");
    // Nobody came: only once it has begun.
    let early = house.look(&format!("select id from appointment where short_name = 'Bryn O.' and id <> '{id}'")).await;
    let csrf = desk.csrf().await;
    let pairs = [("csrf", csrf.as_str()), ("form_key", "key-of-no-show"), ("seen", "1")];
    desk.post(&format!("/book/{early}/no-show"), &pairs).await.must(409).says("has not begun");
    deed(&mut desk, &things.book.begun, "no-show").await.must(303);
    desk.page("/book?day=2026-02-18").await.says("did not come");
    assert_eq!(overlaps(house).await, 0);
});

both_databases!(what_was_called_off_holds_again_only_within_the_hours_and_on_a_bed_in_use, async |house| {
    let things = &house.things;
    let (mut desk, mut owner) = (house.actor(Actor::Desk), house.owner());
    let id = &things.book.appointment;
    let state = async || house.look(&format!("select state from appointment where id = '{id}'")).await;
    deed(&mut desk, id, "cancel").await.must(303);
    // Ines has that Friday off by now.
    let off = owner.form("/book/off", "/book/off").await.with_all(&[
        ("whose", &things.hands.artist),
        ("reason", "away"),
        ("from_day", "2026-02-20"),
        ("to_day", "2026-02-20"),
    ]);
    owner.submit(&off).await.must(303);
    let refused = deed(&mut desk, id, "restore").await.must(422);
    refused.says("Ines does not work then, or the house is closed.");
    assert_eq!(state().await, "cancelled");
    // Whoever knows better says so.
    let form = refused.form(&format!("/book/{id}/restore")).with("outside", "yes");
    desk.submit(&form).await.must(303);
    assert_eq!(state().await, "booked");
    // Its bed was put away since.
    deed(&mut desk, id, "cancel").await.must(303);
    house.run(&format!("update bed set closed = 1 where id = '{}'", things.book.bed)).await.unwrap();
    let form = desk.form(&format!("/book/{id}"), &format!("/book/{id}/restore")).await.with("outside", "yes");
    desk.submit(&form).await.must(409).says("This bed is not in use.");
    assert_eq!(state().await, "cancelled");
});

both_databases!(looking_for_another_time_an_appointments_own_time_is_free_for_it, async |house| {
    let things = &house.things;
    let mut desk = house.actor(Actor::Desk);
    // A quarter of an hour later than it lies now: within its own time.
    let query = format!(
        "service={}&artist={}&from=2026-02-20&after=10:15&before=10:30",
        things.book.service, things.hands.artist
    );
    let offered = |page: &Answer| {
        let tags = crate::html::tags(&page.text());
        tags.iter().filter_map(|tag| tag.get("href")).any(|href| href.contains("day=2026-02-20&at=10%3A15"))
    };
    let moving = format!("/book/free?{query}&moving={}", things.book.appointment);
    assert!(offered(&desk.page(&moving).await), "its own time was counted as taken");
    assert!(!offered(&desk.page(&format!("/book/free?{query}")).await), "the time of another is taken");
    let other = format!("/book/free?{query}&moving={}", things.book.to_cancel);
    assert!(!offered(&desk.page(&other).await), "and so it is for another one that is moved");
});

both_databases!(a_colleague_sees_that_the_time_is_taken_and_not_by_whom, async |house| {
    let friday = "/book?day=2026-02-20";
    for who in [Actor::ArtistA, Actor::Desk, Actor::Owner] {
        house.actor(who).page(friday).await.says("Ada L.");
    }
    let page = house.actor(Actor::ArtistB).page(friday).await;
    assert!(!page.text().contains("Ada"), "{}", page.words());
    page.says("taken");
    for path in [
        "/book?day=2026-02-20&by=beds".to_owned(),
        format!("/book/week?day=2026-02-20&only={}", house.things.hands.artist),
    ] {
        assert!(!house.actor(Actor::ArtistB).page(&path).await.text().contains("Ada"), "{path}");
        house.actor(Actor::Desk).page(&path).await.says("Ada L.");
    }
});

both_databases!(the_search_finds_what_can_be_booked_and_nothing_else, async |house| {
    let things = &house.things;
    let mut desk = house.actor(Actor::Desk);
    let path = format!(
        "/book/free?service={}&artist={}&minutes=120&after=16:00&from=2026-02-18",
        things.book.service, things.hands.artist
    );
    let page = desk.page(&path).await;
    // 16:00 to 18:00 is the only beginning after four that ends within the hours.
    page.says("Wed 18 Feb 16:00");
    assert!(!page.words().contains("16:15"), "{}", page.words());
    let links: Vec<String> = crate::html::tags(&page.text())
        .iter()
        .filter_map(|tag| tag.get("href").filter(|href| href.contains("/book/new?")).map(str::to_owned))
        .collect();
    assert!(links.len() >= 10, "{links:?}");
    for link in links.iter().take(4) {
        let form = desk.form(link, "/book").await.with("short_name", "Kaja L.");
        desk.submit(&form).await.must(303);
    }
    assert_eq!(overlaps(house).await, 0);
    assert!(!desk.page(&path).await.words().contains("Wed 18 Feb 16:00"));
});

both_databases!(a_visit_may_take_another_time_than_its_service_and_keeps_it, async |house| {
    let things = &house.things;
    let mut desk = house.actor(Actor::Desk);
    let path = format!(
        "/book/free?service={}&artist={}&minutes=90&after=16:00&from=2026-02-18",
        things.book.service, things.hands.artist
    );
    let page = desk.page(&path).await;
    // Ninety minutes after four end within the hours up to half past.
    page.says("Wed 18 Feb 16:30");
    let tags = crate::html::tags(&page.text());
    let mut links = tags.iter().filter_map(|tag| tag.get("href").filter(|href| href.contains("/book/new?")));
    let form = desk.form(links.next().unwrap(), "/book").await;
    assert_eq!(form.value("minutes"), "90", "what was looked for is what is booked");
    let form = form.with("short_name", "Kaja L.");
    for (wrong, says) in [("4", "from 5 to 600"), ("601", "from 5 to 600"), ("long", "This is not a number.")] {
        desk.submit(&form.clone().with("minutes", wrong)).await.must(422).says(says);
    }
    let id = id_of(&desk.submit(&form).await.goes_to());
    let length = format!("select (ends - starts) / 60000000 from appointment where id = '{id}'");
    assert_eq!(house.number(&length).await, 90);
    let buffers = format!("select (busy_to - busy_from) / 60000000 from appointment where id = '{id}'");
    assert_eq!(house.number(&buffers).await, 105);
    // Moved, it stays as long as it was; emptied, it takes the service's own time again.
    let page = format!("/book/{id}/move");
    for (minutes, day, takes) in [("90", "2026-03-04", 90), ("", "2026-03-05", 120)] {
        let form = desk.form(&page, &page).await;
        assert_eq!(form.value("minutes"), "90");
        let form = form.with_all(&[("minutes", minutes), ("day", day), ("at", "10:00")]);
        desk.submit(&form).await.must(303);
        assert_eq!(house.number(&length).await, takes);
    }
    assert_eq!(desk.form(&page, &page).await.value("minutes"), "");
    assert_eq!(overlaps(house).await, 0);
});

both_databases!(nobody_is_booked_or_off_who_does_not_work_here, async |house| {
    let things = &house.things;
    let mut owner = house.owner();
    let gone =
        house.look(&format!("select id from artist where person = '{}'", things.people[Actor::ArtistB.name()])).await;
    let gone_too = format!("update person set left_at = 1 where id = '{}'", things.people[Actor::ArtistB.name()]);
    house.run(&gone_too).await.unwrap();
    for artist in [gone.as_str(), "0192f0c1-7e57-7000-8000-00000000beef"] {
        let mut wish = wish(things, "Kaja L.", "2026-03-04", "10:00");
        wish.extend([("artist", artist), ("outside", "yes")]);
        booked(&mut owner, &wish).await.must(422).says("Choose one of these.");
        let form = owner.form("/book/off", "/book/off").await;
        let form = form.with_all(&[("whose", artist), ("reason", "holiday"), ("from_day", "2026-03-04")]);
        owner.submit(&form).await.must(422).says("Choose one of these.");
    }
});

both_databases!(times_that_are_looked_for_are_as_long_as_a_first_visit_takes, async |house| {
    let things = &house.things;
    let mut desk = house.actor(Actor::Desk);
    let form = desk.form("/book/waiting", "/book/waiting").await.with_all(&[
        ("short_name", "Ylva R."),
        ("first_visit", "yes"),
        ("service", &things.book.service),
    ]);
    desk.submit(&form).await.must(303);
    let looks_for = async |desk: &mut Browser, page: &str| {
        let tags = crate::html::tags(&desk.page(page).await.text());
        let mut links = tags.iter().filter_map(|tag| tag.get("href")).filter(|href| href.contains("/book/free?"));
        let link = links.find(|href| href.contains("first_visit=yes")).unwrap_or_default().replace("&amp;", "&");
        assert!(!link.is_empty(), "{page}");
        desk.page(&link).await.says("135 minutes");
    };
    looks_for(&mut desk, "/book/waiting").await;
    let wish = [wish(things, "Ylva R.", "2026-03-04", "10:00").as_slice(), &[("first_visit", "yes")]].concat();
    let id = id_of(&booked(&mut desk, &wish).await.goes_to());
    looks_for(&mut desk, &format!("/book/{id}")).await;
});

both_databases!(after_a_set_an_infill_is_offered_in_two_to_three_weeks, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let page = artist.page(&format!("/book/{}", house.things.book.appointment)).await;
    page.says("Infill, 14 to 21 days after");
    let tags = crate::html::tags(&page.text());
    let links: Vec<&str> =
        tags.iter().filter_map(|tag| tag.get("href")).filter(|href| href.contains("/book/new?")).collect();
    assert_eq!(links.len(), 3);
    for link in &links {
        let form = artist.form(link, "/book").await;
        let day: Date = form.value("day").parse().unwrap();
        let set: Date = "2026-02-20".parse().unwrap();
        assert!((14..=21).contains(&(day - set).get_days()), "{day}");
        assert_eq!((form.value("at"), form.value("short_name")), ("10:00", "Ada L."));
    }
    let form = artist.form(links[0], "/book").await;
    let to = artist.submit(&form).await.goes_to();
    artist.page(&to).await.says("Infill, 14 to 21 days after");
});

both_databases!(the_book_is_right_over_both_clock_changes_in_three_zones, async |house| {
    // (zone, spring day, an hour that does not exist, the next one, what an hour and a half from 01:15 ends at; autumn day, end)
    for (zone, spring, gap, next, spring_end, autumn, autumn_end) in [
        ("Europe/Copenhagen", "2026-03-29", "02:30", "03:00", "04:15", "2026-10-25", "02:15"),
        ("America/New_York", "2027-03-14", "02:15", "03:00", "04:15", "2026-11-01", "02:15"),
        ("Australia/Lord_Howe", "2026-10-04", "02:15", "02:30", "03:45", "2026-04-05", "02:45"),
    ] {
        house.run(&format!("update setting set value = '{zone}' where name = 'studio.zone'")).await.unwrap();
        let things = &house.things;
        let mut desk = house.actor(Actor::Desk);
        let night = |day, at| [wish(things, "Liv M.", day, at).as_slice(), &[("outside", "yes")]].concat();
        let refused = booked(&mut desk, &night(spring, gap)).await.must(422);
        refused.says("this hour does not exist");
        refused.says(next);
        for (day, ends) in [(spring, spring_end), (autumn, autumn_end)] {
            let to = booked(&mut desk, &night(day, "01:15")).await.goes_to();
            // Two elapsed hours, whatever the wall says.
            desk.page(&to).await.says(&format!("01:15–{ends} with Ines"));
            let id = id_of(&to);
            let length = house.number(&format!("select ends - starts from appointment where id = '{id}'")).await;
            assert_eq!(length, 2 * HOUR);
            let page = desk.page(&format!("/book?day={day}")).await;
            page.says("The clocks go");
            page.says(&format!("01:15–{ends}"));
            desk.page(&format!("/book/week?day={day}&only={}", things.hands.artist))
                .await
                .says(&format!("01:15–{ends}"));
        }
        // The day after the change is booked by the wall.
        let monday: Date = spring.parse::<Date>().unwrap().checked_add(1.day()).unwrap();
        let monday = monday.to_string();
        let to = booked(&mut desk, &wish(things, "Maren N.", &monday, "10:00")).await.goes_to();
        desk.page(&to).await.says("10:00–12:00");
        let starts = house.number(&format!("select starts from appointment where id = '{}'", id_of(&to))).await;
        assert_eq!(Zone::named(zone).unwrap().clock(Instant(starts)), "10:00");
        assert_eq!(overlaps(house).await, 0);
    }
});

both_databases!(hours_breaks_and_days_off_are_kept_out_of_the_search, async |house| {
    let things = &house.things;
    let mut owner = house.owner();
    let path = format!("/book/hours/{}", things.hands.artist);
    let form = owner.form(&path, &path).await;
    let form = form.with_all(&[("own", "yes"), ("thu", "9:00–11:00, 14:00–17:00"), ("fri", "")]);
    owner.submit(&form).await.must(303);
    let form = owner.form("/book/off", "/book/off").await;
    let form =
        form.with_all(&[("whose", "house"), ("reason", "house"), ("from_day", "2026-02-21"), ("to_day", "2026-02-25")]);
    owner.submit(&form).await.must(303);
    owner.page("/book/off").await.says("one appointment lies in it");
    let found = owner
        .page(&format!("/book/free?service={}&artist={}&from=2026-02-19", things.book.service, things.hands.artist))
        .await;
    let words = found.words();
    for there in ["Thu 19 Feb 09:00", "Thu 19 Feb 14:00", "Thu 19 Feb 15:00", "Thu 26 Feb 09:00"] {
        assert!(words.contains(there), "{there}: {words}");
    }
    for not in ["Thu 19 Feb 09:15", "Thu 19 Feb 15:15", "Fri 20 Feb", "Sat 21 Feb", "Wed 25 Feb"] {
        assert!(!words.contains(not), "{not}: {words}");
    }
});

both_databases!(the_invented_year_overlaps_nowhere_and_is_topped_up, unclaimed, async |house| {
    demo::fill_with(&house.house, 40).await.unwrap();
    let first = house.number("select count(*) from appointment").await;
    assert!(first > 800, "{first}");
    assert_eq!(overlaps(house).await, 0);
    demo::fill_with(&house.house, 40).await.unwrap();
    assert_eq!(house.number("select count(*) from appointment").await, first, "a second start adds nothing");
    house.clock.advance(7 * DAY);
    demo::fill_with(&house.house, 40).await.unwrap();
    assert!(house.number("select count(*) from appointment").await > first + 50);
    assert_eq!(overlaps(house).await, 0);
    let mut owner = house.stranger();
    owner.sign_in(demo::PEOPLE[0].0, demo::PASSPHRASE).await.must(303);
    let page = owner.page("/book").await;
    page.says("Tilde Brandt");
    assert!(page.text().matches("class=\"visit\"").count() > 8, "{}", page.words());
});

both_databases!(a_full_day_stays_light, unclaimed, async |house| {
    demo::fill_with(&house.house, 20).await.unwrap();
    let mut plain = house.stranger();
    plain.sign_in(demo::PEOPLE[0].0, demo::PASSPHRASE).await.must(303);
    let mut owner = house.stranger().with_header("accept-encoding", "gzip");
    owner.jar = plain.jar.clone();
    for path in ["/book", "/book?by=beds", "/book/week", "/book/free", "/book/services", "/book/waiting"] {
        let page = owner.page(path).await;
        assert!(page.body.len() <= 40_000, "{path} weighs {}", page.body.len());
    }
});

/// A row read past the house.
async fn all_versions(house: &TestHouse, id: &str) -> Vec<(i64, String)> {
    let mut db = house.past().await;
    let sql = format!("select version, state from appointment_version where appointment = '{id}' order by version");
    let rows = sqlx::query(AssertSqlSafe(sql)).fetch_all(&mut db).await.unwrap();
    rows.iter().map(|row| (row.get(0), row.get(1))).collect()
}

both_databases!(every_change_is_a_version_that_stays_readable, async |house| {
    let id = &house.things.book.appointment;
    let mut desk = house.actor(Actor::Desk);
    let form: FormOnPage = desk.form(&format!("/book/{id}"), &format!("/book/{id}/cancel")).await;
    desk.submit(&form.with("reason", "train stands still")).await.must(303);
    deed(&mut desk, id, "restore").await.must(303);
    house.clock.advance(MINUTE);
    let states = all_versions(house, id).await;
    let words: Vec<_> = states.iter().map(|(n, state)| (*n, state.as_str())).collect();
    assert_eq!(words, [(1, "booked"), (2, "cancelled"), (3, "booked")]);
    desk.page(&format!("/book/{id}")).await.says("train stands still");
});
