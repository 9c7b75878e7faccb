//! The advice in sentences: what is recommended, why, how sure, what is poorly known, and the cautions that go with it.

use crate::adhesives::set_time::times;
use crate::adhesives::untested::{Untested, untested};
use crate::adhesives::{Air, Bead, Liquid};
use crate::artists::Technique;
use crate::base::number::DecimalMark;

use super::judge::{Judgement, Outcome, Question, ShelfBottle, Subject, Tested, Verdict};
use super::options::{COOLEST_C, DAMPEST_PCT, Options};
use super::words::{self, Basis};

/// Everything there is to say, the most important first: why, what would be better, what was left out.
#[must_use]
pub fn reasons(q: &Question<'_>, judged: &Judgement, options: &Options) -> Vec<String> {
    with_options(&why(q, judged), options)
}

/// As [`reasons`], what [`why`] says already said.
pub(super) fn with_options(why: &[String], options: &Options) -> Vec<String> {
    why.iter().cloned().chain(offered(options)).chain(left_out(options)).collect()
}

/// Why it was judged so, the most important first.
#[must_use]
pub fn why(q: &Question<'_>, judged: &Judgement) -> Vec<String> {
    why_with(q, judged, None, |bottle| untested_air(q, bottle))
}

/// As [`why`], where nobody has read the air and the question's is assumed: says so, and of no bottle that it was or
/// was not tested in it.
#[must_use]
pub fn why_in_assumed_air(q: &Question<'_>, judged: &Judgement) -> Vec<String> {
    why_with(q, judged, Some(not_read(&q.room.air)), |_| Vec::new())
}

fn why_with(
    q: &Question<'_>,
    judged: &Judgement,
    missing: Option<String>,
    of_air: impl Fn(&ShelfBottle) -> Vec<String>,
) -> Vec<String> {
    let mut said = Vec::new();
    said.push(recommendation(q, judged));
    said.extend(over_the_limit(q, judged));
    said.extend(in_the_class(q, judged));
    said.extend(first_on_the_shelf(q, judged));
    said.extend(starting_guess(q, judged));
    said.extend(far_from_daily(q, judged));
    said.extend(missing);
    said.push(air(q));
    said.push(hands(q, judged));
    for (i, bottle) in q.bottles.iter().enumerate() {
        said.extend(shelf(judged, bottle, i));
        said.extend(of_air(bottle));
    }
    said
}

/// A sentence for each change that would be better.
fn offered(options: &Options) -> impl Iterator<Item = String> {
    options.offers.iter().map(|offer| {
        format!(
            "{}: disturbed {} → {}, extra holding {} → {} a set; {}; works {}.",
            offer.words(),
            words::share(offer.before.disturbed.mean),
            words::share(offer.after.disturbed.mean),
            words::minutes(offer.before.extra_hold_min_per_set),
            words::minutes(offer.after.extra_hold_min_per_set),
            offer.verdict_after.words(),
            offer.takes.words()
        )
    })
}

/// A sentence for each change that was considered and refused.
pub(super) fn left_out(options: &Options) -> impl Iterator<Item = String> {
    options.left_out.iter().map(|left| format!("Left out: {}: {}.", lower(&left.change), left.why))
}

/// Whether the advice rests on nobody's measurements: no timings, or nothing tested about the base.
#[must_use]
pub fn is_starting_guess(q: &Question<'_>, judged: &Judgement) -> bool {
    let untested = match judged.base {
        Subject::Bottle(b) => q.bottles[b].is_untested(),
        Subject::Class(_) => true,
    };
    q.hands.placements == 0 || untested
}

fn recommendation(q: &Question<'_>, judged: &Judgement) -> String {
    let limit = words::share(q.limits.disturbed_share);
    let basis = if q.hands.placements == 0 { Basis::Assumed } else { Basis::Measured };
    if let Some(c) = judged.recommended {
        let class = &judged.classes[c];
        let d = class.outcome.disturbed;
        let mut text = format!(
            "The {} class is the fastest that keeps disturbed bonds within {limit} for these hands here: {}, likely {} ({}); sure in {}.",
            words::class(class.class),
            words::share(d.mean),
            words::share_range(d.low, d.high),
            words::sureness_of_share(&d, basis),
            words::in_ten(class.outcome.sure),
        );
        if class.verdict != Verdict::Fits {
            text.push_str(&format!(
                " It asks for {} of extra holding a set; the studio accepts up to {}.",
                words::minutes(class.outcome.extra_hold_min_per_set),
                words::minutes(q.limits.extra_hold_min_per_set)
            ));
        }
        return text;
    }
    let Some(c) = judged.least_bad else { return "There is no class to judge.".to_owned() };
    let class = &judged.classes[c];
    let name = words::class(class.class);
    let figures = format!(
        "disturbed {}, extra holding {} a set",
        words::share(class.outcome.disturbed.mean),
        words::minutes(class.outcome.extra_hold_min_per_set)
    );
    if q.hands.placements == 0 {
        format!(
            "A starting guess: the {name} class comes nearest ({figures}); no class is within {limit} on assumed hands."
        )
    } else {
        format!(
            "No class keeps disturbed bonds within {limit} for these hands here; the {name} class is the least bad ({figures})."
        )
    }
}

/// Bottles on the shelf that behave like the recommended class at the reference climate.
fn in_the_class(q: &Question<'_>, judged: &Judgement) -> Option<String> {
    let class = q.classes[judged.recommended?];
    let (low, high) = class.window();
    let of_class: Vec<String> = (0..q.bottles.len())
        .filter(|b| judged.bottles[*b].not_today.is_none())
        .map(|b| (&q.bottles[b], at_reference(&q.bottles[b]).median))
        .filter(|(_, t)| (low..=high).contains(&t.get()))
        .map(|(bottle, t)| format!("{} ({})", bottle.name, words::seconds(t)))
        .collect();
    Some(match of_class.len() {
        0 => format!("Nothing on this shelf is of the {} class.", words::class(class)),
        _ => format!("Of the {} class on this shelf: {}.", words::class(class), of_class.join(", ")),
    })
    .filter(|_| !q.bottles.is_empty())
}

/// Which of several bottles is proposed, and why not one whose figures alone are nearer.
fn first_on_the_shelf(q: &Question<'_>, judged: &Judgement) -> Option<String> {
    let Subject::Bottle(first) = judged.base else { return None };
    let own = &judged.bottles[first];
    let others = || judged.bottles.iter().enumerate().filter(|(b, other)| *b != first && other.not_today.is_none());
    others().next()?;
    let passed_over: Vec<&str> = others()
        .filter(|(_, other)| other.outside_climate && other.outcome.ratio() < own.outcome.ratio())
        .map(|(b, _)| q.bottles[b].name.as_str())
        .collect();
    let name = &q.bottles[first].name;
    let mut said = match own.verdict {
        Verdict::Fits => format!("{name} comes first on this shelf: fits."),
        verdict => format!("No bottle on this shelf fits; {name} comes nearest ({}).", verdict.words()),
    };
    if !passed_over.is_empty() {
        said.push_str(&format!(
            " By seconds alone {} would come before it, but the room is outside the air its maker prints.",
            passed_over.join(" or ")
        ));
    }
    Some(said)
}

/// What fits on the best guess but whose likely range passes a limit.
fn over_the_limit(q: &Question<'_>, judged: &Judgement) -> Vec<String> {
    let may_pass = |outcome: &Outcome| {
        let minutes = outcome.extra_hold_s.high * f64::from(q.work.placements_per_set) / 60.0;
        outcome.disturbed.high > q.limits.disturbed_share || minutes > q.limits.extra_hold_min_per_set
    };
    let said = |name: String| format!("{name} fits on the best guess; it may be over your limit.");
    let class = judged.recommended.map(|c| &judged.classes[c]);
    let class = class
        .filter(|c| c.verdict == Verdict::Fits && may_pass(&c.outcome))
        .map(|c| said(format!("The {} class", words::class(c.class))));
    let bottles = q.bottles.iter().zip(&judged.bottles);
    let bottles = bottles
        .filter(|(_, own)| own.verdict == Verdict::Fits && may_pass(&own.outcome))
        .map(|(bottle, _)| said(bottle.name.clone()));
    class.into_iter().chain(bottles).collect()
}

fn starting_guess(q: &Question<'_>, judged: &Judgement) -> Option<String> {
    if !is_starting_guess(q, judged) {
        return None;
    }
    let why = match (q.hands.placements == 0, judged.base) {
        (true, _) => "these hands have not been timed",
        (false, Subject::Bottle(_)) => "the bottle has not been bench-tested here",
        (false, Subject::Class(_)) => "a class is a label and no bottle was tested",
    };
    Some(format!(
        "This is a starting guess, because {why}. Time three practice placements first, and do not buy on it."
    ))
}

/// Two classes or more between the advice and the bottle in daily use.
fn far_from_daily(q: &Question<'_>, judged: &Judgement) -> Option<String> {
    let (recommended, daily) = (judged.recommended?, &q.bottles[q.daily?]);
    let mut order: Vec<usize> = (0..q.classes.len()).collect();
    order.sort_by(|a, b| q.classes[*a].ln_middle().total_cmp(&q.classes[*b].ln_middle()));
    let reference = daily.set_time.parameter(crate::adhesives::set_time::Parameter::Reference).0;
    let place = |c: usize| order.iter().position(|o| *o == c);
    let own = order.iter().copied().min_by(|a, b| {
        let off = |c: usize| (q.classes[c].ln_middle() - reference).abs();
        off(*a).total_cmp(&off(*b))
    })?;
    let apart = place(recommended)?.abs_diff(place(own)?);
    (apart >= 2).then(|| {
        format!("That is {apart} classes from {}, in daily use: check the timing before changing.", daily.name)
    })
}

/// What is missing where the air is assumed.
fn not_read(assumed: &Air) -> String {
    format!(
        "The air of this room has not been read: {:.0}\u{a0}°C and {:.0}\u{a0}%RH are assumed. Whether the bottles were tested in the air of this room is not known.",
        assumed.temperature.get(),
        assumed.humidity.get()
    )
}

fn air(q: &Question<'_>) -> String {
    let air = q.room.air;
    let at = super::judge::any_adhesive_conditions(q);
    let x = crate::adhesives::set_time::row(&at);
    let factor = q.any_adhesive.mean.dot(&x).exp();
    let here = format!(
        "At {}\u{a0}°C and {:.0}\u{a0}%RH, with a {} bead{}{}",
        DecimalMark::Point.show(air.temperature.get(), 1),
        air.humidity.get(),
        q.work.bead.word(),
        q.work.pick_up.map_or_else(String::new, |p| format!(", {}", p.words())),
        with_liquids(q)
    );
    if (0.95..=1.05).contains(&factor) {
        format!("{here}, adhesives set about as quickly as at 22\u{a0}°C and 50\u{a0}%RH.")
    } else if factor > 1.0 {
        format!("{here}, adhesives take about {factor:.1} times as long as at 22\u{a0}°C and 50\u{a0}%RH.")
    } else {
        format!("{here}, adhesives set in about {factor:.2} of the time they take at 22\u{a0}°C and 50\u{a0}%RH.")
    }
}

fn with_liquids(q: &Question<'_>) -> String {
    let used: Vec<&str> = q.work.liquids.iter().map(Liquid::words).collect();
    if used.is_empty() { String::new() } else { format!(" and {}", used.join(", ")) }
}

fn hands(q: &Question<'_>, judged: &Judgement) -> String {
    let (settle, whole) = (judged.settle, judged.hands_time);
    let needed = format!(
        "{} from contact until the extension lies still, likely {}",
        words::seconds(settle.median),
        words::seconds_range(settle.low, settle.high)
    );
    let beaten = format!(
        "Counting what the travel in the air uses up of the set, the hands time is {}, likely {}: that is what a set time has to beat.",
        words::seconds(whole.median),
        words::seconds_range(whole.low, whole.high)
    );
    if q.hands.placements == 0 {
        return format!("Nobody has timed these hands: {needed}, is assumed. {beaten}");
    }
    format!(
        "These hands need {needed} ({} in {}, {}). {beaten}",
        words::count(q.hands.placements, "placement"),
        words::count(q.hands.sessions, "session"),
        q.work.technique.word()
    )
}

fn shelf(judged: &Judgement, bottle: &ShelfBottle, i: usize) -> Vec<String> {
    let own = &judged.bottles[i];
    let tests = bottle.set_time.tests;
    let basis = if bottle.is_untested() { Basis::Assumed } else { Basis::Measured };
    let learned = match tests {
        0 if bottle.set_time.sibling_tests > 0 => "from other bottles of the product".to_owned(),
        0 => "from its label alone".to_owned(),
        1 => "learned from one test".to_owned(),
        n => format!("learned from {n} tests"),
    };
    let mut said = vec![format!(
        "{}: {}{}; sets here in {}, likely {} ({}, {learned}); disturbed {}, extra holding {} a set.",
        bottle.name,
        own.verdict.words(),
        own.not_today.map_or_else(String::new, |why| format!(": {}", why.words())),
        words::seconds(own.set_time.median),
        words::seconds_range(own.set_time.low, own.set_time.high),
        words::sureness_of_times(&own.set_time, basis),
        words::share(own.outcome.disturbed.mean),
        words::minutes(own.outcome.extra_hold_min_per_set),
    )];
    if own.outside_climate {
        said.push(format!(
            "{}: the room is outside the air its maker prints; the time may suit, the strength is not known.",
            bottle.name
        ));
    }
    said
}

/// What an air has that a bottle was never tested in: "never tested this dry here".
#[must_use]
pub fn never_tested(tested: &Tested, air: &Air) -> Vec<&'static str> {
    untested(tested.humidity_pct, tested.temperature_c, air).into_iter().map(Untested::words).collect()
}

/// What [`never_tested`] says of a bottle, a sentence each: "Heath: never tested this dry here."
fn untested_air(q: &Question<'_>, bottle: &ShelfBottle) -> Vec<String> {
    never_tested(&bottle.tested, &q.room.air).into_iter().map(|what| format!("{}: {what}.", bottle.name)).collect()
}

/// Cautions that go with the advice.
#[must_use]
pub fn cautions(q: &Question<'_>, judged: &Judgement) -> Vec<String> {
    let mut said = vec![
        "A hold, a missing patch test or consent comes before any advice on speed.".to_owned(),
        "Eyes closed throughout, adhesive never on skin, extraction at the work; with pain, swelling or changed vision stop and get medical help."
            .to_owned(),
    ];
    let air = q.room.air;
    if air.humidity.get() > DAMPEST_PCT {
        said.push(
            "Above 60\u{a0}%RH glass gets wet and mould grows, and a bond that sets too fast may be weaker.".to_owned(),
        );
    }
    if air.temperature.get() < COOLEST_C {
        said.push("Below 20\u{a0}°C is too cold for a client lying still.".to_owned());
    }
    if air.humidity.get() < 30.0 {
        said.push("Below 30\u{a0}%RH an unchecked hygrometer cannot tell one class from the next.".to_owned());
    }
    match q.work.bead {
        Bead::Thin => said.push(
            "A thin bead holds less: not for heavy fans or thick classics; check five bonds after the first drop."
                .to_owned(),
        ),
        Bead::Full => said.push("A full bead brings stickies and more vapour.".to_owned()),
        Bead::Medium => {}
    }
    if matches!(q.work.technique, Technique::Volume | Technique::Mega | Technique::Hybrid) {
        said.push("For fans the bead sits on the base only.".to_owned());
    }
    said.extend(q.work.liquids.iter().filter_map(liquid_caution));
    if judged.bottles.iter().any(|b| b.outside_climate) {
        said.push("Outside the maker's climate window strength is not known.".to_owned());
    }
    for (bottle, own) in q.bottles.iter().zip(&judged.bottles) {
        if let Some(why) = own.not_today {
            said.push(format!("{} is not for today: {}.", bottle.name, why.words()));
        }
    }
    said.push("Bench tests are made on a practice lash, not on this client. The maker's instructions and data sheet go first.".to_owned());
    said
}

fn liquid_caution(liquid: Liquid) -> Option<String> {
    let text = match liquid {
        Liquid::Cleanser => return None,
        Liquid::AlcoholPrimer => "Alcohol primer: fully dry before the first placement; much of it dries lashes out.",
        Liquid::PhPrimer => "pH primer: fully dry before the first placement.",
        Liquid::Accelerator => {
            "Accelerator: on the strip only, never on natural lashes unless the adhesive's maker says so; it then sets like a class of 0.5–1\u{a0}s."
        }
        Liquid::Mist => "Mist: on finished bonds only, eyes closed, never to speed placing.",
    };
    Some(text.to_owned())
}

fn lower(text: &str) -> String {
    // "pH" keeps its capital; every change begins with a plain word.
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

/// Set time of a bottle as old as it is, at the reference climate with a medium bead and no liquid.
#[must_use]
pub fn at_reference(bottle: &ShelfBottle) -> crate::adhesives::set_time::Times {
    let reference = crate::adhesives::Conditions {
        air: crate::adhesives::Air {
            temperature: crate::base::units::Celsius::clamped(22.0),
            humidity: crate::base::units::RelHumidity::clamped(50.0),
        },
        bead: Bead::Medium,
        liquids: crate::adhesives::Liquids::NONE,
        days_open: bottle.days_open,
    };
    times(&bottle.set_time.placement(&reference, crate::adhesives::AirDoubt::NONE))
}
