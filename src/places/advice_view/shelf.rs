//! The shelf's rows on one rule: each bottle with how it stands, and what else is to be said of it.

use super::Around;
use crate::advice::board::{mark, word};
use crate::advice::draw::strip_chart::{self, OnRule, Rule};
use crate::advice::for_work::ForWork;
use crate::advice::judge::{Question, ShelfBottle, Subject};
use crate::advice::reasons::never_tested;
use crate::advice::words::{self, Basis};
use crate::places::advice_asked::{Asked, Read};
use crate::places::advice_links::Address;
use crate::web::studio::Studio;

/// A bottle on the shelf.
pub(in crate::places) struct ShelfRow {
    pub(in crate::places) name: String,
    pub(in crate::places) href: String,
    pub(in crate::places) about: String,
    pub(in crate::places) svg: String,
    pub(in crate::places) mark: &'static str,
    pub(in crate::places) word: &'static str,
    pub(in crate::places) clause: String,
    pub(in crate::places) here: bool,
}

pub(super) fn shelf(
    q: &Question<'_>,
    work: &ForWork,
    asked: &Asked,
    read: &Read,
    around: &Around<'_>,
    drawn: Option<&strip_chart::Drawn>,
) -> Vec<ShelfRow> {
    let at = Address::of(asked, read);
    let shown = match work.judged.base {
        Subject::Bottle(b) => Some(b),
        Subject::Class(_) => None,
    };
    let row = |(b, bottle): (usize, &ShelfBottle)| {
        let own = &work.judged.bottles[b];
        let (word, wrong) = word(own.verdict);
        let basis = if bottle_is_untested(bottle) { Basis::Assumed } else { Basis::Measured };
        let mut clause = own.not_today.map_or_else(|| wrong.to_owned(), |why| why.words().to_owned());
        if around.full {
            let told =
                format!("{}, {}", words::seconds(own.set_time.median), words::sureness_of_times(&own.set_time, basis));
            clause = if clause.is_empty() { told } else { format!("{clause}: {told}") };
        }
        let mut also = Vec::new();
        if own.outside_climate {
            also.push("outside its maker’s air: the time may suit, the strength is not known");
        }
        if read.air.is_some() && own.not_today.is_none() {
            also.extend(never_tested(&bottle.tested, &q.room.air));
        }
        for what in also {
            clause.push_str(if clause.is_empty() { "" } else { "; " });
            clause.push_str(what);
        }
        let tests = bottle.set_time.tests;
        ShelfRow {
            name: bottle.name.clone(),
            href: around.house.url(&at.with_bottle(read.shelf[b].bottle.to_string()).path()),
            about: match (tests, bottle.set_time.sibling_tests) {
                (0, 0) => "from its label".to_owned(),
                (0, _) => "from other bottles of the product".to_owned(),
                (tests, _) => words::count(tests, "bench test"),
            },
            svg: drawn.map(|drawn| drawn.rows[b].clone()).unwrap_or_default(),
            mark: mark(own.verdict),
            word,
            clause,
            here: shown == Some(b),
        }
    };
    q.bottles.iter().enumerate().map(row).collect()
}

fn bottle_is_untested(bottle: &ShelfBottle) -> bool {
    bottle.set_time.tests + bottle.set_time.sibling_tests == 0
}

pub(super) fn on_rule<'a>(q: &Question<'a>, work: &ForWork) -> Vec<OnRule<'a>> {
    q.bottles
        .iter()
        .zip(&work.judged.bottles)
        .map(|(bottle, own)| OnRule { name: &bottle.name, set_time: own.set_time, guess: bottle_is_untested(bottle) })
        .collect()
}

pub(super) fn rule<'a>(work: &ForWork, bottles: &'a [OnRule<'a>], studio: &Studio) -> Rule<'a> {
    Rule { hands_time: work.judged.hands_time, suits: work.suits, bottles, mark: studio.decimal }
}
