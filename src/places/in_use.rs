//! Bottles in use that do not fit whose hands use them: on an open treatment card, else taken on advice today, else in daily use where
//! somebody works. And whether the air has left the band of one, or it was never inside.

use super::advice_asked::room_now;
use super::advice_links;
use super::day::{Asked, Day, Here, Own};
use super::in_hand::{daily, seen_from, set_time};
use crate::adhesives::{Air, Bead, Liquids, OnShelf, PickUp};
use crate::advice::board::cell;
use crate::advice::cores::on_every_core;
use crate::advice::judge::{HandsTables, RoomNow, ShelfDraws, Verdict};
use crate::artists::Style;
use crate::base::ids::{BottleId, RoomId};
use crate::base::time::Instant;
use crate::base::units::{Celsius, RelHumidity};
use crate::rooms::TrailPoint;

/// Why a bottle counts as in use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Why {
    /// It is on a treatment card that nobody has closed.
    OnCard,
    /// It was taken on advice today.
    Taken,
    /// It is the one in daily use.
    Daily,
}

/// A bottle in use that does not fit in the air of now.
#[derive(Debug, Clone)]
pub(super) struct Unfit {
    /// The place of its room among the rooms of the day.
    pub(super) room: usize,
    /// What it is called there.
    pub(super) bottle: String,
    /// Never that it fits.
    pub(super) verdict: Verdict,
    pub(super) why: Why,
    /// It fitted in some air since it has been in use: then the air has left its band.
    pub(super) fitted: bool,
    /// The path of the advice on it, used as it is.
    pub(super) advice: String,
}

/// A bottle in use, and how.
struct Use {
    room: usize,
    bottle: OnShelf,
    why: Why,
    style: Style,
    work: (Bead, Option<PickUp>, Liquids),
    /// The air it has been used in; none is asked for where it fitted when it was taken.
    airs: Vec<Air>,
}

impl Day {
    /// Those of each artist.
    pub(super) fn unfit(&self, tables: &[HandsTables]) -> Vec<Vec<Unfit>> {
        on_every_core(self.artists.len(), |artist| {
            let own = &self.artists[artist];
            self.uses(own).into_iter().filter_map(|used| self.judged(own, used, &tables[artist])).collect()
        })
    }

    /// What is on her open cards. What she took since; and where nothing was taken today, neither so nor by a card, what is in daily use.
    fn uses(&self, own: &Own) -> Vec<Use> {
        let mut uses: Vec<Use> = Vec::new();
        let cards = || self.cards.iter().filter(|card| card.artist == own.artist.id);
        for card in cards() {
            let Some((room, here, bottle)) = self.found(card.room, card.bottle) else { continue };
            if uses.iter().any(|used| used.room == room && used.bottle.bottle == card.bottle) {
                continue;
            }
            let begun = card.air.and_then(|(t, h)| Some((Celsius::new(t).ok()?, RelHumidity::new(h).ok()?)));
            let begun = begun.map(|(temperature, humidity)| Air { temperature, humidity });
            uses.push(Use {
                room,
                bottle,
                why: Why::OnCard,
                style: card.style.unwrap_or(own.style),
                work: (card.bead, None, card.liquids),
                airs: begun.into_iter().chain(airs_since(&here.trail, card.since)).collect(),
            });
        }
        let newest_card = cards().map(|card| card.since).max();
        let newest = self.taken.iter().rfind(|taken| taken.artist == own.artist.id);
        if let Some(taken) = newest {
            let later = newest_card.is_none_or(|card| taken.at >= card) && taken.verdict == Verdict::Fits;
            let found = self.found(taken.room, taken.bottle).zip(Style::parse(&taken.style)).filter(|_| later);
            if let Some(((room, _, bottle), style)) = found {
                let work = (taken.work.bead(), taken.work.pick_up(), taken.work.liquids());
                uses.retain(|used| used.room != room || used.bottle.bottle != bottle.bottle);
                uses.push(Use { room, bottle, why: Why::Taken, style, work, airs: Vec::new() });
            }
        } else if newest_card.is_none_or(|card| card < self.morning) {
            let place = self.whereabouts.or_only(&own.artist);
            let here = self.rooms.iter().find(|here| Some(here.room.id) == place);
            let bottle = here.and_then(|here| Some(here.shelf[daily(here.room.id, &here.shelf)?].bottle));
            if let Some((room, here, bottle)) = place.zip(bottle).and_then(|(room, bottle)| self.found(room, bottle)) {
                let work = (Bead::Medium, None, Liquids::NONE);
                let airs = airs_since(&here.trail, self.morning).collect();
                uses.push(Use { room, bottle, why: Why::Daily, style: own.style, work, airs });
            }
        }
        uses
    }

    /// A room of the day and a bottle of the house as it is called there; none where one is closed or the other used up.
    fn found(&self, room: RoomId, bottle: BottleId) -> Option<(usize, &Here, OnShelf)> {
        let (at, here) = self.rooms.iter().enumerate().find(|(_, here)| here.room.id == room)?;
        let bottle = self.bottles.iter().find(|own| own.bottle == bottle)?;
        let rooms: Vec<_> = self.rooms.iter().map(|here| here.room.clone()).collect();
        let named = seen_from(room, &rooms, vec![bottle.clone()]).pop()?;
        Some((at, here, named))
    }

    /// None where it fits, where nobody has read the air, and for hands that nobody has timed in that style.
    fn judged(&self, own: &Own, used: Use, tables: &HandsTables) -> Option<Unfit> {
        if used.style == own.style {
            return self.judged_by(own, used, tables);
        }
        let (_, _, hands) = self.hands.iter().find(|(id, of, _)| *id == own.artist.id && *of == used.style)?;
        let in_that_style = Own { artist: own.artist.clone(), style: used.style, hands: hands.clone() };
        self.judged_by(&in_that_style, used, &HandsTables::of(hands))
    }

    fn judged_by(&self, own: &Own, used: Use, tables: &HandsTables) -> Option<Unfit> {
        let here = &self.rooms[used.room];
        if own.hands.placements == 0 {
            return None;
        }
        let now = room_now(here.air.as_ref()?);
        let verdict_in = |air: Air| {
            let (bead, pick_up, liquids) = used.work;
            let room = RoomNow { air, doubt: now.doubt };
            let asked = Asked::some(used.room, here, room, std::slice::from_ref(&used.bottle), liquids);
            let mut question = self.question(own, &asked);
            question.work.bead = bead;
            question.work.pick_up = pick_up;
            question.work.liquids = liquids;
            cell(&ShelfDraws::of(&question), &question, tables).bottles[0].0
        };
        let verdict = verdict_in(now.air);
        if verdict == Verdict::Fits {
            return None;
        }
        let fitted = used.why == Why::Taken || has_fitted(&used, now, verdict, verdict_in);
        let advice = advice_links::as_used(here.room.id, own.artist.id, used.style, used.work);
        Some(Unfit { room: used.room, bottle: used.bottle.name, verdict, why: used.why, fitted, advice })
    }
}

/// Whether it fitted in one of the airs it was used in. What is too quick now is looked at first where it set slowest: where it was too
/// quick there, too, it was everywhere. A verdict outside the maker's air tells nothing of that.
fn has_fitted(used: &Use, now: RoomNow, verdict: Verdict, verdict_in: impl Fn(Air) -> Verdict) -> bool {
    if verdict == Verdict::NotForToday {
        return false;
    }
    let mut airs: Vec<(f64, Air)> =
        used.airs.iter().map(|air| (set_time(&used.bottle, *air, now.doubt).get(), *air)).collect();
    airs.sort_by(|a, b| a.0.total_cmp(&b.0));
    if verdict.is_too_quick() {
        airs.reverse();
    }
    for (_, air) in airs {
        let then = verdict_in(air);
        if then == Verdict::Fits {
            return true;
        }
        let inside = used.bottle.climate.is_none_or(|climate| climate.holds(&air));
        if inside && then.is_too_quick() == verdict.is_too_quick() {
            return false;
        }
    }
    false
}

/// So many stretches of a trail, each told by its driest and its dampest air.
const STRETCHES: usize = 8;

/// The airs of a trail from an instant on, thinned.
fn airs_since(trail: &[TrailPoint], from: Instant) -> impl Iterator<Item = Air> {
    let since = &trail[trail.partition_point(|(at, ..)| *at < from)..];
    since.chunks(since.len().div_ceil(STRETCHES).max(1)).flat_map(|stretch| {
        let by_humidity = |a: &&TrailPoint, b: &&TrailPoint| a.2.get().total_cmp(&b.2.get());
        [stretch.iter().min_by(by_humidity), stretch.iter().max_by(by_humidity)]
            .into_iter()
            .flatten()
            .map(|(_, temperature, humidity)| Air { temperature: *temperature, humidity: *humidity })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn trail(humidities: &[f64]) -> Vec<TrailPoint> {
        let at = |(n, humidity): (usize, &f64)| {
            let minute = i64::try_from(n).unwrap();
            (Instant(minute), Celsius::clamped(22.0), RelHumidity::clamped(*humidity))
        };
        humidities.iter().enumerate().map(at).collect()
    }

    fn humidities(airs: impl Iterator<Item = Air>) -> Vec<f64> {
        airs.map(|air| air.humidity.get()).collect()
    }

    #[test]
    fn a_thinned_trail_keeps_its_driest_and_its_dampest_air() {
        let mut long: Vec<f64> = (0..1000).map(|n| 45.0 + f64::from(n % 7)).collect();
        (long[333], long[777]) = (31.0, 68.0);
        let kept = humidities(airs_since(&trail(&long), Instant(0)));
        assert!(kept.len() <= 2 * STRETCHES, "{}", kept.len());
        assert!(kept.contains(&31.0) && kept.contains(&68.0), "{kept:?}");
    }

    #[test]
    fn what_was_before_does_not_count_and_nothing_gives_nothing() {
        let few = trail(&[31.0, 45.0, 46.0]);
        assert!(!humidities(airs_since(&few, Instant(1))).contains(&31.0));
        assert!(humidities(airs_since(&few, Instant(0))).contains(&31.0));
        assert!(humidities(airs_since(&few, Instant(3))).is_empty());
        assert!(humidities(airs_since(&[], Instant(0))).is_empty());
    }
}
