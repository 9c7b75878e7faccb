//! How sure the answer is, what it rests on, and the step that would make it surer.

use super::Around;
use crate::advice::for_work::{ForWork, how_sure};
use crate::advice::judge::{Doubt, Subject};
use crate::advice::words;
use crate::base::text::capital;
use crate::places::advice_asked::Read;

pub(super) fn sure(work: &ForWork, read: &Read) -> String {
    let word = capital(how_sure(work));
    let hands = match read.matter.hands.placements {
        0 => "hands nobody has timed".to_owned(),
        n => {
            format!("{} in {}", words::count(n, "timed placement"), words::count(read.matter.hands.sessions, "session"))
        }
    };
    let bottle = match work.judged.base {
        Subject::Bottle(b) => {
            let bottle = &read.matter.bottles[b];
            match (bottle.set_time.tests, bottle.set_time.sibling_tests) {
                (0, 0) => format!(", the label of {}", bottle.name),
                (0, tests) => {
                    format!(
                        ", {} of other bottles of the product, none of {}",
                        words::count(tests, "bench test"),
                        bottle.name
                    )
                }
                (tests, _) => format!(", {} of {}", words::count(tests, "bench test"), bottle.name),
            }
        }
        Subject::Class(_) => ", the label of a class".to_owned(),
    };
    let air = match &read.air {
        Some(air) if air.stale => ", and a reading that is stale, which widens everything".to_owned(),
        Some(air) => {
            format!(", and {}. {}", air.instrument.name, air.known.check_sentence()).trim_end_matches('.').to_owned()
        }
        None => ", and assumed air".to_owned(),
    };
    format!("{word}. Rests on {hands}{bottle}{air}.")
}

pub(super) fn next(work: &ForWork) -> String {
    let (now, without) = (100.0 * work.next.width_now, 100.0 * work.next.width_without);
    let words = capital(&work.next.words);
    if work.next.doubt.is_none() || now - without < 1.0 {
        return format!("{words}.");
    }
    format!(
        "{words}. At most, it would narrow the likely range of disturbed bonds from {now:.0} to {without:.0} in 100 wide."
    )
}

pub(super) fn next_link(work: &ForWork, read: &Read, around: &Around<'_>) -> Option<(String, &'static str)> {
    let bench = match work.judged.base {
        Subject::Bottle(b) => {
            Some(around.house.url(&format!("/shelf/bottles/{}/bench?room={}", read.shelf[b].bottle, read.room.id)))
        }
        Subject::Class(_) => None,
    };
    match work.next.doubt? {
        Doubt::Hands => Some((around.house.url("/hands"), "Time placements")),
        Doubt::Adhesive | Doubt::HumidityExponent | Doubt::Openness => bench.map(|href| (href, "Start a bench test")),
        Doubt::Instrument => {
            let air = read.air.as_ref()?;
            let path = format!("/rooms/{}/instruments/{}", read.room.id, air.instrument.id);
            Some((around.house.url(&path), "Check it"))
        }
    }
}
