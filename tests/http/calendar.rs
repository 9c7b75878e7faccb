//! Calendars over HTTP: what leaves the house, read back by a reader that is not ours.

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;
use std::process::Command;

use jiff::ToSpan;
use stillroom::base::time::{DAY, Instant, MINUTE};
use stillroom::base::zone::Zone;
use stillroom::book::When;
use stillroom::book::slots::Length;

use crate::book::open_calendar;
use crate::browser::Browser;
use crate::house::{TestHouse, both_databases};
use crate::random::Random;
use crate::studio::Actor;

/// Reads a calendar with Python's icalendar and prints one line an event.
const READER: &str = r#"
import sys
from icalendar import Calendar
calendar = Calendar.from_ical(open(sys.argv[1], "rb").read())
print(calendar["NAME"], calendar["REFRESH-INTERVAL"].to_ical().decode(), sep="|")
for event in calendar.walk("VEVENT"):
    at = lambda name: int(event[name].dt.timestamp())
    print(event["UID"], at("DTSTART"), at("DTEND"), at("DTSTAMP"), event["SEQUENCE"], event["STATUS"], event["SUMMARY"], event.get("LOCATION", ""), sep="|")
"#;

/// The lines of the reader; none where it is not installed.
fn read_back(calendar: &[u8]) -> Option<Vec<String>> {
    let python = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/.venv/bin/python");
    let there = Command::new(&python).args(["-c", "import icalendar"]).output().is_ok_and(|done| done.status.success());
    if !there {
        let _told = std::io::stderr().write_all(b"skipped: no reader of calendars\n");
        return None;
    }
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("calendar.ics");
    std::fs::write(&file, calendar).unwrap();
    let done = Command::new(&python).args(["-c", READER]).arg(&file).output().unwrap();
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    Some(String::from_utf8(done.stdout).unwrap().lines().map(str::to_owned).collect())
}

/// A thousand appointments by chance over a year: one in ten called off. Gives what a calendar must say of each.
async fn a_thousand(house: &TestHouse) -> Vec<String> {
    let (artist, service, bed) = (&house.things.hands.artist, &house.things.book.service, &house.things.book.bed);
    let now = house.clock.now().0;
    let mut random = Random(2026);
    let mut wanted = Vec::new();
    let mut rows = Vec::new();
    let letters = ["A", "Ö", "漢", "É", "Z"];
    for n in 0..1000 {
        let id = format!("01890000-0000-7000-8000-{n:012}");
        // From 50 days back to 380 ahead: both changes of the clocks lie in it.
        let starts = now.plus(-50 * DAY + 5 * MINUTE * random.below(430 * 288) as i64);
        let starts = Instant(starts.0 - starts.0 % 1_000_000);
        let ends = starts.plus((30 + 5 * random.below(30) as i64) * MINUTE);
        let changed = Instant(now.0 - now.0 % 1_000_000).plus(-(random.below(100) as i64) * DAY);
        let (off, version) = (random.below(10) == 0, 1 + random.below(9));
        let (first, last) = (random.one(&letters), random.one(&letters));
        let state = if off { "cancelled" } else { "booked" };
        rows.push(format!(
            "('{id}', '{artist}', '{bed}', '{service}', '{first}da-Kristín {last}.', 0, '2026-02-18T10:00:00', 'Europe/Copenhagen', {}, {}, {}, {}, '{state}', {version}, '', 1, {})",
            starts.0, ends.0, starts.0, ends.0, changed.0
        ));
        let second = |at: Instant| at.0 / 1_000_000;
        let status = if off { "CANCELLED" } else { "CONFIRMED" };
        wanted.push(format!(
            "{id}|{}|{}|{}|{version}|{status}|Appointment {first}. {last}.|Gable, Left bed",
            second(starts),
            second(ends),
            second(changed)
        ));
    }
    for some in rows.chunks(50) {
        let sql = "insert into appointment (id, artist, bed, service, short_name, first_visit, wall, zone, starts, ends, busy_from, busy_to, state, version, note, created, changed) values";
        house.run(&format!("{sql} {}", some.join(", "))).await.unwrap();
    }
    wanted.sort();
    wanted
}

async fn fetch(house: &TestHouse) -> crate::browser::Answer {
    let mut phone: Browser = house.stranger();
    phone.get(&format!("/calendar/{}", house.things.book.feed)).await.must(200)
}

both_databases!(a_thousand_appointments_are_read_back_without_a_difference, async |house| {
    house.run("delete from appointment_version").await.unwrap();
    house.run("delete from appointment").await.unwrap();
    let wanted = a_thousand(house).await;
    let answer = fetch(house).await;
    for line in answer.body.split(|byte| *byte == b'\n') {
        assert!(line.len() <= 76, "a line of {} octets", line.len());
    }
    let Some(read) = read_back(&answer.body) else { return };
    assert_eq!(read[0], "Ines at Marram House|PT15M");
    let mut events: Vec<String> = read[1..].to_vec();
    events.sort();
    let differences = wanted.iter().zip(&events).filter(|(wanted, read)| wanted != read).count();
    assert_eq!((events.len(), differences), (1000, 0), "first: {:?} {:?}", wanted.first(), events.first());
});

/// Works out from what stood on the wall, with Python's own zones, when each visit is, and compares it with the calendar. What was refused
/// as an hour that does not exist must be one there too.
const WALLS: &str = r#"
import sys
from datetime import datetime, timezone
from zoneinfo import ZoneInfo
from icalendar import Calendar
said, gaps, wrong = {}, 0, []
for line in open(sys.argv[2], encoding="utf-8"):
    uid, zone, wall, minutes = line.rstrip("\n").split("|")
    wall = datetime.fromisoformat(wall)
    there = wall.replace(tzinfo=ZoneInfo(zone), fold=0)
    exists = there.astimezone(timezone.utc).astimezone(ZoneInfo(zone)).replace(tzinfo=None) == wall
    if uid == "refused":
        gaps += 1
        if exists: wrong.append("refused and there: " + line)
    else:
        if not exists: wrong.append("kept and not there: " + line)
        said[uid] = (int(there.timestamp()), int(there.timestamp()) + 60 * int(minutes))
events = {}
for event in Calendar.from_ical(open(sys.argv[1], "rb").read()).walk("VEVENT"):
    events[str(event["UID"])] = tuple(int(event[name].dt.timestamp()) for name in ("DTSTART", "DTEND"))
wrong += [f"{uid}: {said.get(uid)} said, {events.get(uid)} in the calendar" for uid in sorted(said.keys() | events.keys()) if said.get(uid) != events.get(uid)]
print(len(events), gaps, len(wrong), *wrong[:3], sep="|")
"#;

/// Days on which the clocks change in 2026, by zone (IANA time zone database).
const CHANGES: [(&str, [(i8, i8); 2]); 3] = [
    ("Europe/Lisbon", [(3, 29), (10, 25)]),
    ("America/New_York", [(3, 8), (11, 1)]),
    ("Australia/Lord_Howe", [(4, 5), (10, 4)]),
];

/// A thousand visits by chance, as they are said on the walls of a zone: a third of them within a day of a change of the clocks.
/// Gives a line of each for the reader, those that were refused among them.
async fn on_the_wall(house: &TestHouse, name: &str, changes: [(i8, i8); 2], seed: u64) -> String {
    let (artist, service, bed) = (&house.things.hands.artist, &house.things.book.service, &house.things.book.bed);
    let zone = Zone::named(name).unwrap();
    let mut random = Random(seed);
    let (mut lines, mut rows, mut kept) = (String::new(), Vec::new(), 0);
    while kept < 1000 {
        let near = random.below(3) == 0;
        let day = if near {
            let (month, day) = *random.one(&changes);
            let change = jiff::civil::date(2026, month, day);
            change.checked_add((random.below(3) as i64 - 1).days()).unwrap()
        } else {
            // From 40 days back to 380 ahead: what a calendar holds.
            jiff::civil::date(2026, 2, 18).checked_add((random.below(420) as i64 - 40).days()).unwrap()
        };
        // Near a change mostly in the hours in which the clocks change.
        let hour = if near && random.below(2) == 0 { random.below(4) } else { random.below(24) };
        let wall = day.at(hour as i8, 5 * random.below(12) as i8, 0, 0);
        let minutes = 30 + 5 * random.below(30) as i64;
        let length = Length { minutes, before: 5, after: 10 };
        let Ok(when) = When::typed(wall, &zone, &length) else {
            writeln!(lines, "refused|{name}|{wall}|{minutes}").unwrap();
            continue;
        };
        let id = format!("01890000-0000-7000-8000-{kept:012}");
        writeln!(lines, "{id}|{name}|{wall}|{minutes}").unwrap();
        rows.push(format!(
            "('{id}', '{artist}', '{bed}', '{service}', 'Ada L.', 0, '{wall}', '{name}', {}, {}, {}, {}, 'booked', 1, '', 1, 1)",
            when.visit.from.0, when.visit.to.0, when.busy.from.0, when.busy.to.0
        ));
        kept += 1;
    }
    for some in rows.chunks(50) {
        let sql = "insert into appointment (id, artist, bed, service, short_name, first_visit, wall, zone, starts, ends, busy_from, busy_to, state, version, note, created, changed) values";
        house.run(&format!("{sql} {}", some.join(", "))).await.unwrap();
    }
    lines
}

both_databases!(
    what_was_said_on_the_wall_over_both_changes_in_three_zones_is_when_it_is_in_the_calendar,
    async |house| {
        let python = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/.venv/bin/python");
        for (seed, (name, changes)) in (1..).zip(CHANGES) {
            house.run("delete from appointment_version").await.unwrap();
            house.run("delete from appointment").await.unwrap();
            let lines = on_the_wall(house, name, changes, seed).await;
            assert!(lines.contains("refused|"), "{name}: the spring leaves an hour out, or half of one");
            let calendar = fetch(house).await.body;
            if read_back(&calendar).is_none() {
                return;
            }
            let folder = tempfile::tempdir().unwrap();
            let (file, said) = (folder.path().join("calendar.ics"), folder.path().join("said.txt"));
            std::fs::write(&file, &calendar).unwrap();
            std::fs::write(&said, &lines).unwrap();
            let done = Command::new(&python).args(["-c", WALLS]).arg(&file).arg(&said).output().unwrap();
            assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
            let told = String::from_utf8(done.stdout).unwrap();
            let (events, wrong) = (told.split('|').next(), told.trim_end().split('|').nth(2));
            assert_eq!((events, wrong), (Some("1000"), Some("0")), "{name}: {told}");
            // The comparison sees a quarter of an hour: one visit said a quarter later is one difference.
            let first = lines.lines().find(|line| !line.starts_with("refused")).unwrap();
            let minutes: i64 = first.rsplit('|').next().unwrap().parse().unwrap();
            let later = format!("{}|{}", first.rsplit_once('|').unwrap().0, minutes + 15);
            std::fs::write(&said, lines.replace(first, &later)).unwrap();
            let done = Command::new(&python).args(["-c", WALLS]).arg(&file).arg(&said).output().unwrap();
            let told = String::from_utf8(done.stdout).unwrap();
            assert_eq!(told.trim_end().split('|').nth(2), Some("1"), "{name}: {told}");
        }
    }
);

both_databases!(a_calendar_says_initials_and_knows_when_it_is_unchanged, async |house| {
    let answer = fetch(house).await;
    let text = answer.text();
    assert!(text.contains("SUMMARY:Appointment A. L."), "{text}");
    for not in ["Ada", "Classic", "set", "patch", "Elin"] {
        assert!(!text.contains(not), "{not} in {text}");
    }
    assert!(answer.header("content-type").starts_with("text/calendar"));
    let tag = answer.header("etag");
    let mut phone = house.stranger().with_header("if-none-match", &tag);
    let path = format!("/calendar/{}", house.things.book.feed);
    phone.get(&path).await.must(304);
    // Called off: it stays, with a higher number, and the tag is another.
    let id = house.look("select id from appointment where short_name = 'Ada L.'").await;
    let mut desk = house.actor(Actor::Desk);
    let form = desk.form(&format!("/book/{id}"), &format!("/book/{id}/cancel")).await;
    desk.submit(&form).await.must(303);
    let after = phone.get(&path).await.must(200).text();
    let event = after.split("BEGIN:VEVENT").find(|event| event.contains(&id)).unwrap();
    assert!(event.contains("SEQUENCE:2\r\nSTATUS:CANCELLED"), "{event}");
});

both_databases!(what_went_to_a_colleague_is_called_off_in_the_calendar_it_left, async |house| {
    let id = house.look("select id from appointment where short_name = 'Ada L.'").await;
    let mut desk = house.actor(Actor::Desk);
    let page = format!("/book/{id}/move");
    let form = desk.form(&page, &page).await.with("artist", &house.things.untimed_artist);
    desk.submit(&form).await.must(303);
    let text = fetch(house).await.text();
    let event = text.split("BEGIN:VEVENT").find(|event| event.contains(&id)).unwrap();
    assert!(event.contains("SEQUENCE:2\r\nSTATUS:CANCELLED") && !event.contains("A. L."), "{event}");
    let feed = open_calendar(&mut house.owner(), &house.things.untimed_artist).await;
    let hers = house.stranger().get(&format!("/calendar/{feed}")).await.must(200).text();
    assert!(hers.contains(&id) && hers.contains("SUMMARY:Appointment A. L."));
});

both_databases!(an_address_that_was_closed_or_never_made_opens_nothing, async |house| {
    let feed = house.things.book.feed.clone();
    let path = format!("/book/calendar/{}", house.things.hands.artist);
    let mut artist = house.actor(Actor::ArtistA);
    let fresh = open_calendar(&mut artist, &house.things.hands.artist).await;
    assert_ne!(fresh, feed);
    let mut phone = house.stranger();
    phone.get(&format!("/calendar/{feed}")).await.must(404);
    phone.get(&format!("/calendar/{fresh}")).await.must(200);
    phone.get(&format!("/calendar/{}", fresh.trim_end_matches(".ics"))).await.must(404);
    // The address is shown for ten minutes and then no more.
    house.clock.advance(11 * MINUTE);
    assert!(!artist.page(&path).await.text().contains(&fresh));
    let form = artist.form(&path, &format!("{path}/revoke")).await;
    artist.submit(&form).await.must(303);
    phone.get(&format!("/calendar/{fresh}")).await.must(404);
    let kept = house.look("select secret from calendar_feed order by created limit 1").await;
    assert!(!feed.contains(&kept), "the row holds a digest, not the address");
});
