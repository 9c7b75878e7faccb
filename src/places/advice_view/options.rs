//! What could be changed, with the time each change takes in this room and why others were left out.

use super::Around;
use super::numbers::clock;
use crate::advice::board::{mark, word};
use crate::advice::for_work::ForWork;
use crate::advice::judge::Verdict;
use crate::advice::options::{Change, Offer, Takes};
use crate::advice::words;
use crate::base::text::capital;
use crate::places::advice_asked::{Asked, Read, refuses};
use crate::places::advice_links;
use crate::places::air_options::{self, When};
use crate::web::studio::Studio;

/// A change that would be better.
pub(in crate::places) struct OptionRow {
    pub(in crate::places) when: String,
    pub(in crate::places) until: String,
    pub(in crate::places) change: String,
    pub(in crate::places) side_effect: String,
    pub(in crate::places) state: (&'static str, &'static str, &'static str),
    pub(in crate::places) disturbed: String,
    pub(in crate::places) holding: String,
    pub(in crate::places) link: (String, String),
    /// The soonest that fits, on good data: its act is the filled one.
    pub(in crate::places) filled: bool,
}

/// When each offer works in this room; `None` for one that changes no air. A plan of hours by the minute: asked once each.
pub(super) fn when(work: &ForWork, read: &Read, studio: &Studio) -> Vec<Option<When>> {
    let of = |offer: &Offer| air_options::when(offer, read.plan.as_ref(), read.room.surface, studio);
    work.options.offers.iter().map(of).collect()
}

/// Options with the time they take in this room, soonest first; a change of air that cannot be had goes to what was
/// left out.
pub(super) fn options(
    work: &ForWork,
    when: &[Option<When>],
    asked: &Asked,
    read: &Read,
    around: &Around<'_>,
) -> (Vec<OptionRow>, Vec<(String, String)>) {
    let mut left_out: Vec<(String, String)> =
        work.options.left_out.iter().map(|left| (left.change.clone(), left.why.to_owned())).collect();
    let mut timed: Vec<(f64, &Offer, String, String)> = Vec::new();
    for (offer, when) in work.options.offers.iter().zip(when) {
        if let Some(why) = not_for_her(offer, asked) {
            left_out.push((offer.change.clone(), why));
            continue;
        }
        let (hours, when, until) = match when.clone() {
            None if offer.takes == Takes::Now => (0.0, "Now".to_owned(), "no waiting".to_owned()),
            None => (0.1, "Minutes".to_owned(), "before the first lash".to_owned()),
            Some(When::In(best, when, until)) => (0.2 + best, capital(&when), until),
            Some(When::NotKnown) => (1e4, "Hours".to_owned(), "how many is not known".to_owned()),
            Some(When::Never(why)) => {
                left_out.push((offer.change.clone(), why));
                continue;
            }
        };
        timed.push((hours, offer, when, until));
    }
    // The order of equal times is that of the offers: best first.
    timed.sort_by(|a, b| a.0.total_cmp(&b.0));
    let known = work.poor.is_none() && read.air.as_ref().is_some_and(|air| !air.stale);
    let first = timed.iter().position(|(_, offer, ..)| known && offer.verdict_after == Verdict::Fits);
    let row = |(at, (_, offer, when, until)): (usize, (f64, &Offer, String, String))| {
        let (word, wrong) = word(offer.verdict_after);
        OptionRow {
            when,
            until,
            change: offer.change.clone(),
            side_effect: brings(offer),
            state: (mark(offer.verdict_after), word, wrong),
            disturbed: format!(
                "{} → {}",
                words::share(offer.before.disturbed.mean),
                words::share(offer.after.disturbed.mean)
            ),
            holding: format!(
                "{} → {}",
                clock(offer.before.extra_hold_min_per_set * 60.0),
                clock(offer.after.extra_hold_min_per_set * 60.0)
            ),
            link: advice_links::leads_to(around.house, around.studio, offer, asked, read),
            filled: first == Some(at),
        }
    };
    (timed.into_iter().enumerate().map(row).collect(), left_out)
}

/// Why an offer is not for the client: it adds a liquid that is not for her today.
fn not_for_her(offer: &Offer, asked: &Asked) -> Option<String> {
    let her = asked.her.as_ref()?;
    let Change::With(liquid) = offer.what else { return None };
    let why = refuses(her, liquid)?;
    Some(format!("not for today: {}", why.words()))
}

/// Side effect and cost as sentences.
fn brings(offer: &Offer) -> String {
    let cost = if offer.cost.is_empty() { String::new() } else { format!("costs {}", offer.cost) };
    let said: Vec<String> =
        [offer.side_effect, &cost].into_iter().filter(|clause| !clause.is_empty()).map(capital).collect();
    said.join(". ")
}
