//! A card as lines to read: on its page, on paper, in her file, and as the version a correction replaced.

use super::card::{Comfort, CountedBy, Lash, START, Side, Whole, has_adhesive, is_removal};
use super::parts_store;
use super::seen::{Around, bottle_words, put_right_since};
use crate::adhesives::Liquid;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::people;
use crate::store::Db;

/// Word and value of every line that says something.
pub(super) async fn lines(
    db: &mut Db,
    around: &Around,
    whole: &Whole,
    now: Instant,
) -> Result<Vec<(String, String)>, Problem> {
    let (card, studio, zone) = (&whole.card, &around.studio, &around.studio.zone);
    let mut lines: Vec<(&str, String)> = vec![
        ("Visit", format!("{}, {}", card.kind.words(), card.lids.words())),
        ("Artist", around.artist_name(card.artist).to_owned()),
        ("Supervisor present", card.supervisor.map(|id| around.person_name(id).to_owned()).unwrap_or_default()),
        ("Room", around.room_name(card.room).to_owned()),
        ("Begun", zone.date_and_clock(card.begun, now)),
        ("Closed", card.closed.map(|at| zone.date_and_clock(at, now)).unwrap_or_default()),
    ];
    if let Some(writer) = card.paper {
        let by = around.name_of_mark(&card.entered.1);
        let when = zone.date_and_clock(card.entered.0, now);
        lines.push(("From paper", format!("written by {}; entered by {by} on {when}", around.person_name(writer))));
    }
    lines.push(("Clearance at the start", card.clearance.clone()));
    // A sheet of paper that lacks a tick is entered all the same.
    let checked: Vec<_> = START.iter().filter(|_| card.paper.is_none()).map(|(_, words)| *words).collect();
    lines.push(("Looked at before the first lash", checked.join("; ")));
    let air = card.air.map(|(celsius, humidity)| {
        let temperature = studio.number(studio.scale(celsius), 1);
        format!("{temperature}\u{a0}{}, {}\u{a0}%RH", studio.temperature_unit(), studio.number(humidity, 0))
    });
    lines.push(("Air at the start", air.unwrap_or_else(|| "not read".to_owned())));
    if has_adhesive(card.kind) {
        let advised = bottle_words(db, card.advised_bottle, "").await?;
        let advised = advised.trim_end_matches(", no lot printed");
        let class = if card.advised_class.is_empty() {
            String::new()
        } else {
            format!("class {}; ", card.advised_class_in(studio.decimal))
        };
        let advised = match card.advice {
            None => "no advice was taken before".to_owned(),
            Some(_) => format!("{class}{advised} was taken on it"),
        };
        lines.push(("Advised", advised));
        let right = put_right_since(db, card.bottle, (&card.lot, card.begun), zone, now).await?;
        lines.push(("Used", format!("{}{right}", bottle_words(db, card.bottle, &card.lot).await?)));
        lines.push(("Bead", card.bead.word().to_owned()));
        let style = card.style.map_or_else(|| "not said".to_owned(), |style| style.words());
        lines.push(("Technique", style));
    }
    let liquids: Vec<_> = card.liquids.iter().map(Liquid::words).collect();
    lines.push(("Liquids", liquids.join(", ")));
    if card.elsewhere {
        lines.push(("Placed elsewhere", "adhesive unknown; never counted in our retention".to_owned()));
    }
    if is_removal(card.kind) {
        lines.push(("Remover", card.remover.product.clone()));
        lines.push(("Its lot", card.remover.lot.clone()));
        lines.push(("Minutes on the lashes", card.remover.minutes.map(|n| n.to_string()).unwrap_or_default()));
        lines.push(("Why taken off", whole.words.reason.clone()));
    }
    for own in &whole.arrival {
        let f = own.found;
        let counted = match own.counted_by {
            CountedBy::Photo => "counted from a photo".to_owned(),
            by => format!("counted by {}", by.words()),
        };
        let counter = own.counter.map(|person| format!(": {}", around.person_name(person))).unwrap_or_default();
        // What does not go together is said, not hidden: the card before was put right after this was counted.
        let now_had = parts_store::on_lid(db, own.of_card, own.side).await?;
        let against = if now_had == f.had {
            String::new()
        } else {
            format!("; the card before says {now_had} by now, so these numbers need another look")
        };
        lines.push((
            arrived(own.side),
            format!(
                "{} of {} attached, {} grown out, {} lost; {counted}{counter}, before cleansing{against}",
                f.attached, f.had, f.grown_out, f.lost
            ),
        ));
    }
    for side in card.lids.sides() {
        lines.push((placed(*side), placed_words(whole, *side)));
    }
    for zone in &whole.zones {
        let fan = if zone.fan > 1 { format!(", {}D", zone.fan) } else { String::new() };
        let (length, wide) = (studio.exact(zone.length_mm, 0), studio.exact(zone.diameter_mm, 2));
        lines
            .push((map(zone.side), format!("zone {}: {length}\u{a0}mm {}, {wide}\u{a0}mm{fan}", zone.zone, zone.curl)));
    }
    lines.push(("Colour of the extensions", whole.words.colour.clone()));
    for drop in &whole.drops {
        let seen: Vec<_> = drop.seen.iter().map(|seen| seen.words()).collect();
        let seen = if seen.is_empty() { String::new() } else { format!("; seen: {}", seen.join(", ")) };
        let right = put_right_since(db, Some(drop.bottle), (&drop.lot, drop.at), zone, now).await?;
        let of = format!("{}{right}", bottle_words(db, Some(drop.bottle), &drop.lot).await?);
        let on = match drop.tablet {
            Some(tablet) => format!("; begun on “{}” while it was locked", people::tablet_name(db, tablet).await?),
            None => String::new(),
        };
        lines.push(("Drop", format!("{}, {of}, {} bead{seen}{on}", zone.clock(drop.at), drop.bead.word())));
    }
    for step in &whole.steps {
        let stands = match (step.begun, step.done) {
            (_, Some(at)) => format!("done {}", zone.clock(at)),
            (Some(at), None) => format!("begun {}, {} min to wait", zone.clock(at), step.minutes),
            (None, None) => "not done".to_owned(),
        };
        lines.push(("Aftercare step", format!("{}: {stands}", step.words)));
    }
    let comfort = Comfort::from_word(&whole.words.comfort).map(Comfort::words).unwrap_or_default();
    lines.extend([
        ("Comfort", comfort.to_owned()),
        ("Her own lashes", whole.words.condition.clone()),
        ("Note", whole.words.note.clone()),
        ("Aftercare", if card.closed.is_some() { card.aftercare.words().to_owned() } else { String::new() }),
        ("Hygiene", card.hygiene.join("; ")),
        ("Next visit", card.next_visit.clone()),
    ]);
    Ok(lines.into_iter().filter(|(_, value)| !value.is_empty()).map(|(word, value)| (word.to_owned(), value)).collect())
}

/// True for the word of a line of the lash map, which a page that draws it need not say once more.
pub(super) fn is_of_map(word: &str) -> bool {
    Side::ALL.iter().any(|side| map(*side) == word)
}

/// "95", or "60 single ones and 35 fans"; empty before anything is counted.
fn placed_words(whole: &Whole, side: Side) -> String {
    let of = |lash: Lash| whole.counts.iter().any(|count| count.side == side && count.lash == lash);
    let said: Vec<String> = Lash::ALL
        .iter()
        .filter(|lash| of(**lash))
        .map(|lash| format!("{} {}", whole.placed_of(side, *lash), lash.words()))
        .collect();
    let zones: std::collections::BTreeSet<u32> =
        whole.counts.iter().filter(|count| count.side == side).filter_map(|count| count.zone).collect();
    let in_zone = |zone: &u32| -> u32 {
        let own = whole.counts.iter().filter(|count| count.side == side && count.zone == Some(*zone));
        own.map(|count| count.placed).sum()
    };
    let by_zone: Vec<String> = zones.iter().map(|zone| format!("{} in zone {zone}", in_zone(zone))).collect();
    if by_zone.is_empty() {
        said.join(" and ")
    } else {
        format!("{}, of them {}", said.join(" and "), by_zone.join(", "))
    }
}

const fn placed(side: Side) -> &'static str {
    match side {
        Side::Left => "Placed, left eye",
        Side::Right => "Placed, right eye",
        Side::LeftLower => "Placed, left lower lid",
        Side::RightLower => "Placed, right lower lid",
    }
}

const fn arrived(side: Side) -> &'static str {
    match side {
        Side::Left => "On arrival, left eye",
        Side::Right => "On arrival, right eye",
        Side::LeftLower => "On arrival, left lower lid",
        Side::RightLower => "On arrival, right lower lid",
    }
}

const fn map(side: Side) -> &'static str {
    match side {
        Side::Left => "Map, left eye",
        Side::Right => "Map, right eye",
        Side::LeftLower => "Map, left lower lid",
        Side::RightLower => "Map, right lower lid",
    }
}
