//! A calendar as text: RFC 5545 with the name and refresh interval of RFC 7986. Pure.
//!
//! Written here and not by a library: what is sent is five properties an event, in UTC, and every octet of it decides what leaves
//! the house. Section numbers are from memory.

use std::fmt::Write as _;

use crate::base::time::Instant;

/// The most octets of a line, its break not counted (RFC 5545, 3.1).
const LINE: usize = 75;

/// An event of a calendar.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// What stays the same through every change.
    pub uid: String,
    /// Its beginning.
    pub starts: Instant,
    /// The first instant after it.
    pub ends: Instant,
    /// When it was last changed.
    pub changed: Instant,
    /// Counts its changes.
    pub sequence: i64,
    /// It was called off, and is still sent so that calendars take it out.
    pub cancelled: bool,
    /// What is shown: initials at most.
    pub summary: String,
    /// Where.
    pub place: String,
}

/// The text of a calendar with this name.
///
/// ```
/// let text = stillroom::book::calendar::text("Ines, Marram House", &[]);
/// assert!(text.starts_with("BEGIN:VCALENDAR\r\nVERSION:2.0\r\n") && text.ends_with("END:VCALENDAR\r\n"));
/// ```
#[must_use]
pub fn text(name: &str, events: &[Event]) -> String {
    let mut out = String::with_capacity(300 + events.len() * 330);
    line(&mut out, "BEGIN:VCALENDAR");
    line(&mut out, "VERSION:2.0");
    line(&mut out, "PRODID:-//Stillroom//Book//EN");
    line(&mut out, "CALSCALE:GREGORIAN");
    line(&mut out, &format!("NAME:{}", escaped(name)));
    line(&mut out, &format!("X-WR-CALNAME:{}", escaped(name)));
    line(&mut out, "REFRESH-INTERVAL;VALUE=DURATION:PT15M");
    line(&mut out, "X-PUBLISHED-TTL:PT15M");
    for event in events {
        line(&mut out, "BEGIN:VEVENT");
        line(&mut out, &format!("UID:{}", escaped(&event.uid)));
        line(&mut out, &format!("DTSTAMP:{}", utc(event.changed)));
        line(&mut out, &format!("LAST-MODIFIED:{}", utc(event.changed)));
        line(&mut out, &format!("DTSTART:{}", utc(event.starts)));
        line(&mut out, &format!("DTEND:{}", utc(event.ends)));
        line(&mut out, &format!("SEQUENCE:{}", event.sequence));
        line(&mut out, if event.cancelled { "STATUS:CANCELLED" } else { "STATUS:CONFIRMED" });
        line(&mut out, if event.cancelled { "TRANSP:TRANSPARENT" } else { "TRANSP:OPAQUE" });
        line(&mut out, "CLASS:PRIVATE");
        line(&mut out, &format!("SUMMARY:{}", escaped(&event.summary)));
        if !event.place.is_empty() {
            line(&mut out, &format!("LOCATION:{}", escaped(&event.place)));
        }
        line(&mut out, "END:VEVENT");
    }
    line(&mut out, "END:VCALENDAR");
    out
}

/// An instant in UTC, to the second.
fn utc(at: Instant) -> String {
    at.timestamp().strftime("%Y%m%dT%H%M%SZ").to_string()
}

/// Text as a value (RFC 5545, 3.3.11).
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\\' => out.push_str("\\\\"),
            ';' => out.push_str("\\;"),
            ',' => out.push_str("\\,"),
            '\n' => out.push_str("\\n"),
            c if c.is_control() => {}
            c => out.push(c),
        }
    }
    out
}

/// A content line, folded so that no line is longer than 75 octets and no character is cut.
fn line(out: &mut String, content: &str) {
    let mut octets = 0;
    for c in content.chars() {
        if octets + c.len_utf8() > LINE {
            out.push_str("\r\n ");
            octets = 1;
        }
        octets += c.len_utf8();
        out.push(c);
    }
    // Writing to a String cannot fail.
    let _written = write!(out, "\r\n");
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn event(summary: &str) -> Event {
        Event {
            uid: "0192f0c1-7e57-7000-8000-00000000beef".into(),
            starts: Instant(1_771_409_520_000_000),
            ends: Instant(1_771_416_720_000_000),
            changed: Instant(1_771_400_000_000_000),
            sequence: 3,
            cancelled: false,
            summary: summary.into(),
            place: "Gable, left; bed".into(),
        }
    }

    #[test]
    fn an_event_is_in_utc_and_its_text_escaped() {
        let text = text("Ines", &[event("A. L.")]);
        for wanted in [
            "DTSTART:20260218T101200Z\r\n",
            "DTEND:20260218T121200Z\r\n",
            "SEQUENCE:3\r\n",
            "STATUS:CONFIRMED\r\n",
            "LOCATION:Gable\\, left\\; bed\r\n",
        ] {
            assert!(text.contains(wanted), "{wanted} in {text}");
        }
        let off = Event { cancelled: true, sequence: 4, ..event("") };
        assert!(super::text("Ines", &[off]).contains("SEQUENCE:4\r\nSTATUS:CANCELLED\r\n"));
    }

    proptest! {
        #[test]
        fn no_line_is_longer_than_75_octets_and_unfolded_nothing_is_lost(summary in "[ -~äöÅ漢👩\\n;,\\\\]{0,200}") {
            let text = text("Ines", &[event(&summary)]);
            for line in text.split("\r\n") {
                prop_assert!(line.len() <= 75, "{} octets", line.len());
                prop_assert!(!line.contains(['\r', '\n']));
            }
            let unfolded = text.replace("\r\n ", "");
            let wanted = format!("SUMMARY:{}\r\n", escaped(&summary));
            prop_assert!(unfolded.contains(&wanted), "{}", wanted);
        }
    }
}
