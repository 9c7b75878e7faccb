//! Marks as the timing page sends them: a line a placement, three instants in milliseconds.

use super::{LONGEST_S, MOST, SHORTEST_S, Timed};
use crate::base::units::Seconds;

/// Why marks could not be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BadMarks {
    /// Nothing was marked to its end.
    None,
    /// More placements than a session holds.
    TooMany,
    /// Not what the page sends.
    Unreadable,
}

impl BadMarks {
    /// The sentence for the page.
    #[must_use]
    pub fn sentence(self) -> String {
        match self {
            Self::None => {
                "No placement has all three marks yet: picked up, touches, still. Mark at least one.".to_owned()
            }
            Self::TooMany => {
                format!("One session holds at most {MOST} placements. Keep these, then begin another.")
            }
            Self::Unreadable => "These marks could not be read. Type the seconds instead.".to_owned(),
        }
    }
}

/// Reads marks: `picked;touches;still` in milliseconds on any clock, a line each, `x;` before a line that was struck out.
/// A line with fewer than three instants is a placement not finished, and is left out: the last one, or one struck out, which was
/// left when the next was picked up. A placement shorter or longer than believable is kept, struck out.
///
/// # Errors
/// [`BadMarks`].
pub fn marks(text: &str) -> Result<Vec<Timed>, BadMarks> {
    let lines: Vec<&str> = text.lines().map(str::trim).filter(|line| !line.is_empty()).collect();
    let mut found = Vec::new();
    for (at, line) in lines.iter().enumerate() {
        let (struck, rest) = line.strip_prefix("x;").map_or((false, *line), |rest| (true, rest));
        let instants = rest
            .split(';')
            .map(|one| one.parse::<f64>().ok().filter(|ms| ms.is_finite() && ms.abs() < 1e14))
            .collect::<Option<Vec<f64>>>()
            .ok_or(BadMarks::Unreadable)?;
        match instants.as_slice() {
            [picked, touches, still] => found.push(timed([*picked, *touches, *still], struck)?),
            [_] | [_, _] if struck || at + 1 == lines.len() => {}
            _ => return Err(BadMarks::Unreadable),
        }
    }
    match found.len() {
        0 => Err(BadMarks::None),
        n if n > MOST => Err(BadMarks::TooMany),
        _ => Ok(found),
    }
}

fn timed([picked, touches, still]: [f64; 3], struck: bool) -> Result<Timed, BadMarks> {
    let spans = [(touches - picked) / 1000.0, (still - touches) / 1000.0];
    // Events of one page come in order; whatever does not was not made there.
    if spans.iter().any(|span| !(*span > 0.0 && *span < 86_400.0)) {
        return Err(BadMarks::Unreadable);
    }
    let odd = spans.iter().any(|span| !(SHORTEST_S..=LONGEST_S).contains(span));
    let [travel, settle] = spans.map(Seconds::clamped);
    Ok(Timed { travel, settle, struck: struck || odd })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Vec<(f64, f64, bool)> {
        let rounded = |s: Seconds| (s.get() * 1e4).round() / 1e4;
        marks(text).unwrap().iter().map(|t| (rounded(t.travel), rounded(t.settle), t.struck)).collect()
    }

    #[test]
    fn three_instants_make_a_placement_and_a_struck_one_stays() {
        let text = "1764000000000.5;1764000002400.5;1764000003500.5\r\nx;1764000005000;1764000007000;1764000007900\n";
        assert_eq!(read(text), [(2.4, 1.1, false), (2.0, 0.9, true)]);
    }

    #[test]
    fn a_placement_not_finished_is_left_out_at_the_end_or_struck_out() {
        assert_eq!(read("0;2400;3500\n9000;11000"), [(2.4, 1.1, false)]);
        assert_eq!(read("x;9000\nx;9500;11000\n20000;22400;23500\n"), [(2.4, 1.1, false)]);
        assert_eq!(marks("x;9000\nx;9500;11000"), Err(BadMarks::None));
        assert_eq!(marks("9000;11000\n0;2400;3500"), Err(BadMarks::Unreadable));
        assert_eq!(marks("9000"), Err(BadMarks::None));
        assert_eq!(marks(" \n"), Err(BadMarks::None));
    }

    #[test]
    fn a_double_touch_and_an_interruption_are_kept_struck_out() {
        assert_eq!(
            read("0;2000;2010\n0;90000;91000\n0;2000;3000"),
            [(2.0, 0.01, true), (90.0, 1.0, true), (2.0, 1.0, false)]
        );
    }

    #[test]
    fn what_no_page_sends_is_refused() {
        for text in ["a;b;c", "3;2;1", "1;2;3;4", "1;1;2", "NaN;1;2", "0;1;inf", "0;1e300;1e301"] {
            assert_eq!(marks(text), Err(BadMarks::Unreadable), "{text}");
        }
        assert_eq!(marks(&"0;2000;3000\n".repeat(501)), Err(BadMarks::TooMany));
        assert_eq!(marks(&"0;2000;3000\n".repeat(500)).unwrap().len(), 500);
    }
}
