//! The answer as a page of plain text, with a small picture: one axis of seconds, on it the hands time, what suits,
//! and every class and bottle as it is likely to be in this room.

use crate::base::number::DecimalMark;
use crate::base::units::Seconds;

use super::file::Answer;
use super::judge::{HandsTables, Judgement, Question, Verdict};
use super::options::Options;
use super::reasons;
use super::strip::{Suits, suits_by};
use super::words;

/// What the picture shows besides the answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// The hands time (until it lies still, counting what the travel uses up), 8 in 10: low, median, high.
    pub hands_time: (Seconds, Seconds, Seconds),
    /// Set times that suit, if any.
    pub suits: Option<Suits>,
    /// Each class's window here.
    pub classes: Vec<(Seconds, Seconds)>,
    /// Whether the answer rests on nobody's measurements.
    pub starting_guess: bool,
    /// Whether nobody has timed these hands.
    pub untimed: bool,
    /// One line on the room and the work.
    pub asked: String,
    /// Why, in sentences, and what was left out; the options stand in the answer.
    pub why: Vec<String>,
}

impl Picture {
    /// Takes from a judgement what the answer does not carry.
    #[must_use]
    pub(super) fn of(
        q: &Question<'_>,
        judged: &Judgement,
        options: &Options,
        tables: &HandsTables,
        why: Vec<String>,
    ) -> Self {
        let hands = judged.hands_time;
        Self {
            hands_time: (hands.low, hands.median, hands.high),
            suits: suits_by(q, tables),
            classes: judged.classes.iter().map(|c| c.here).collect(),
            starting_guess: reasons::is_starting_guess(q, judged),
            untimed: q.hands.placements == 0,
            why: why.into_iter().chain(reasons::left_out(options)).collect(),
            asked: format!(
                "{}\u{a0}°C, {:.0}\u{a0}%RH, {}, {} placements a set, {} bead{}",
                DecimalMark::Point.show(q.room.air.temperature.get(), 1),
                q.room.air.humidity.get(),
                q.work.technique.word(),
                q.work.placements_per_set,
                q.work.bead.word(),
                q.work.pick_up.map_or_else(String::new, |p| format!(", {}", p.words()))
            ),
        }
    }
}

/// Width of the drawn axis, in characters.
const AXIS: usize = 44;
/// Ends of the axis, seconds.
const FROM_S: f64 = 0.2;
const TO_S: f64 = 20.0;
/// Width of the column of names.
const NAMES: usize = 16;

/// The page.
#[must_use]
pub fn page(answer: &Answer, picture: &Picture) -> String {
    let mut lines = vec![headline(answer, picture), picture.asked.clone(), String::new()];
    lines.extend(drawing(answer, picture));
    if !answer.options.is_empty() {
        lines.push(String::new());
        lines.push("What would be better, soonest first".to_owned());
        for o in &answer.options {
            lines.push(item(&format!(
                "{}: {}; works {}; disturbed {}, extra holding {} a set",
                o.change,
                o.verdict_after.words(),
                o.takes.words(),
                words::share(o.disturbed_after),
                words::minutes(o.extra_hold_min_per_set_after)
            )));
        }
    }
    lines.push(String::new());
    lines.push(format!("To be surer: {}.", answer.surest_next_step));
    lines.push(String::new());
    lines.push("Why".to_owned());
    lines.extend(picture.why.iter().map(|r| item(r)));
    lines.push(String::new());
    lines.push("Cautions".to_owned());
    lines.extend(answer.cautions.iter().map(|c| item(c)));
    lines.push(String::new());
    lines.push(
        "A stated model corrected by this studio's own timings and tests; it says nothing about any one client."
            .to_owned(),
    );
    lines.join("\n")
}

/// Longest line of prose, in characters.
const PROSE: usize = 100;

/// One point of a list, broken at blanks into lines of readable length.
fn item(text: &str) -> String {
    let mut lines = vec![String::from("-")];
    for word in text.split(' ') {
        let line = lines.last().map_or(0, |l| l.chars().count());
        if line + 1 + word.chars().count() > PROSE {
            lines.push(String::from(" "));
        }
        if let Some(line) = lines.last_mut() {
            line.push(' ');
            line.push_str(word);
        }
    }
    lines.join("\n")
}

fn headline(answer: &Answer, picture: &Picture) -> String {
    let window = |w: [f64; 2]| format!("{}–{}\u{a0}s", w[0], w[1]);
    let guess = if picture.starting_guess { " (a starting guess)" } else { "" };
    match (answer.recommended_s, answer.least_bad_s, answer.sure) {
        (Some(w), _, Some(sure)) => {
            format!("Cure-speed class {}{guess}, sure in {}", window(w), words::in_ten(sure))
        }
        (_, Some(w), _) if picture.untimed => {
            format!("As a starting guess, cure-speed class {} comes nearest to the limits", window(w))
        }
        (_, Some(w), _) => format!("No class is within the limits; {} comes nearest", window(w)),
        _ => "No class to judge".to_owned(),
    }
}

/// One row a class and a bottle on one rule of seconds.
fn drawing(answer: &Answer, picture: &Picture) -> Vec<String> {
    let (low, median, high) = picture.hands_time;
    let mut rows = vec![
        row("", &scale_text(), ""),
        row("hands time", &bar(low, high, Some(median), ['[', '-', ']', '+']), &words::seconds_range(low, high)),
    ];
    rows.push(match picture.suits {
        Some(s) => row("suits", &bar(s.from, s.to, None, ['<', '=', '>', '=']), &words::seconds_range(s.from, s.to)),
        None => row("suits", "", "no set time suits both limits"),
    });
    for (class, (from, to)) in answer.classes.iter().zip(&picture.classes) {
        let name = format!("{}–{}\u{a0}s", class.window_s[0], class.window_s[1]);
        rows.push(row(&name, &bar(*from, *to, None, ['#', '#', '#', '#']), &said(class.verdict, class.disturbed.mean)));
    }
    for bottle in &answer.bottles {
        let t = bottle.set_time_s;
        let [low, high, median] = [t.low, t.high, t.median].map(Seconds::clamped);
        let learned = bottle.learned_from.set_tests > 0;
        let ink = if learned { ['-', '-', '-', 'o'] } else { ['.', '.', '.', 'o'] };
        rows.push(row(&bottle.name, &bar(low, high, Some(median), ink), &said(bottle.verdict, bottle.disturbed.mean)));
    }
    rows
}

fn said(verdict: Verdict, disturbed: f64) -> String {
    format!("{}; disturbed {}", verdict.words(), words::share(disturbed))
}

fn row(name: &str, drawn: &str, said: &str) -> String {
    let short: String = name.chars().take(NAMES).collect();
    format!("{short:<NAMES$} {drawn:<AXIS$} {said}").trim_end().to_owned()
}

/// Column of a time on the axis, logarithmic.
fn column(t: f64) -> usize {
    let place = (t.clamp(FROM_S, TO_S) / FROM_S).ln() / (TO_S / FROM_S).ln();
    ((place * (AXIS - 1) as f64).round() as usize).min(AXIS - 1)
}

/// A bar from one time to another: start, middle, end, and the mark of the best guess.
fn bar(from: Seconds, to: Seconds, best: Option<Seconds>, [start, middle, end, mark]: [char; 4]) -> String {
    let (a, b) = (column(from.get()), column(to.get()));
    let mut drawn = vec![' '; AXIS];
    for cell in &mut drawn[a..=b.max(a)] {
        *cell = middle;
    }
    drawn[a] = start;
    drawn[b.max(a)] = end;
    if let Some(best) = best {
        drawn[column(best.get())] = mark;
    }
    drawn.into_iter().collect::<String>().trim_end().to_owned()
}

fn scale_text() -> String {
    let mut drawn = vec![' '; AXIS + 4];
    for t in ["0.2", "0.5", "1", "2", "3", "5", "8", "15"] {
        let at = column(t.parse().unwrap_or(FROM_S));
        for (i, letter) in t.chars().enumerate() {
            drawn[at + i] = letter;
        }
    }
    let text: String = drawn.into_iter().collect();
    format!("{} s", text.trim_end())
}
