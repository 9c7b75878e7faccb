//! Pure rules of the door: how long to wait after failures, which browsers are known.

use crate::base::time::{MINUTE, SECOND};

/// The longest wait after failures. Longer would let a stranger keep somebody out.
pub(super) const LONGEST_WAIT: i64 = 5 * MINUTE;

/// Microseconds to wait after this many failures in a row: none for the first two, then 1 s, doubling.
pub(super) fn wait_after(failures: i64) -> i64 {
    match failures {
        ..=2 => 0,
        failures => SECOND
            .checked_shl(u32::try_from(failures - 3).unwrap_or(u32::MAX).min(20))
            .unwrap_or(LONGEST_WAIT)
            .min(LONGEST_WAIT),
    }
}

/// Marks of browsers that have signed in before, at most so many people on one device.
pub(super) const KNOWN_MOST: usize = 12;

/// The list kept in the cookie with one more mark in front, the oldest dropped.
pub(super) fn with_mark(kept: &str, mark: &str) -> String {
    std::iter::once(mark)
        .chain(kept.split('~').filter(|other| !other.is_empty()))
        .take(KNOWN_MOST)
        .collect::<Vec<_>>()
        .join("~")
}

/// Only paths of this house are gone to after signing in: one leading slash, no host, no line breaks.
pub(super) fn own_path(next: &str) -> &str {
    let own = next.starts_with('/')
        && !next.starts_with("//")
        && !next.starts_with("/\\")
        && next.len() <= 500
        && next.bytes().all(|b| b.is_ascii_graphic() && b != b'\\');
    if own { next } else { "/" }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_wait_doubles_and_never_passes_five_minutes() {
        let seconds: Vec<i64> = [0, 1, 2, 3, 4, 5, 11, 12, 100, i64::MAX].map(|n| wait_after(n) / SECOND).to_vec();
        assert_eq!(seconds, [0, 0, 0, 1, 2, 4, 256, 300, 300, 300]);
    }

    #[test]
    fn one_goes_only_to_pages_of_this_house_after_signing_in() {
        for (next, goes) in [
            ("/rooms", "/rooms"),
            ("/rooms?moment=opening", "/rooms?moment=opening"),
            ("//elsewhere.example", "/"),
            ("/\\elsewhere.example", "/"),
            ("https://elsewhere.example", "/"),
            ("/a\r\nSet-Cookie: x", "/"),
            ("", "/"),
        ] {
            assert_eq!(own_path(next), goes, "{next}");
        }
    }

    #[test]
    fn a_device_remembers_the_newest_dozen_of_people() {
        let mut kept = String::new();
        for n in 0..20 {
            kept = with_mark(&kept, &n.to_string());
        }
        assert_eq!(kept.split('~').count(), KNOWN_MOST);
        assert!(kept.starts_with("19~18~"));
    }
}
