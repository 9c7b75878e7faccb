//! Calendars over HTTP: what leaves the house, read back by a reader that is not ours.

use std::io::Write as _;
use std::path::Path;
use std::process::Command;

use stillroom::base::time::{DAY, Instant, MINUTE};

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
