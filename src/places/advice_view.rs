//! The advice page's words and pictures, from what was read and judged. Everything that tells seconds of somebody's
//! hands is made only for those who may see them.

use super::advice_asked::{Asked, Read};
use super::advice_links::{self, Address};
use super::air_options::{self, When};
use crate::adhesives::set_time::Times;
use crate::advice::board::{mark, word};
use crate::advice::draw::band_chart::{self, GuardLine, Map, Reading, Spot};
use crate::advice::draw::strip_chart::{self, OnRule, Rule};
use crate::advice::for_work::{ForWork, asks_first, for_work, how_sure, lead};
use crate::advice::judge::{Question, Subject, Verdict};
use crate::advice::kept::{About, KeptQuestion, States};
use crate::advice::options::{Change, Offer, Takes};
use crate::advice::reasons::{never_tested, untested_air};
use crate::advice::words::{self, Basis};
use crate::artists::chart::{self, Chart, Wording, dots_of, hands_against};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::units::{Celsius, RelHumidity};
use crate::rooms::asked::wet_line;
use crate::web::House;
use crate::web::studio::Studio;

/// A number with what it is compared with, and perhaps its rule.
pub(super) struct Number {
    pub(super) label: String,
    pub(super) value: String,
    pub(super) unit: &'static str,
    pub(super) against: String,
    pub(super) rule: String,
}

/// A bottle on the shelf.
pub(super) struct ShelfRow {
    pub(super) name: String,
    pub(super) href: String,
    pub(super) about: String,
    pub(super) svg: String,
    pub(super) mark: &'static str,
    pub(super) word: &'static str,
    pub(super) clause: String,
    pub(super) here: bool,
}

/// A class in the table.
pub(super) struct ClassRow {
    pub(super) name: String,
    pub(super) state: (&'static str, String),
    pub(super) here: String,
    pub(super) disturbed: String,
    pub(super) holding: String,
}

/// A change that would be better.
pub(super) struct OptionRow {
    pub(super) when: String,
    pub(super) until: String,
    pub(super) change: String,
    pub(super) side_effect: String,
    pub(super) state: (&'static str, &'static str, &'static str),
    pub(super) disturbed: String,
    pub(super) holding: String,
    pub(super) link: (String, String),
    /// The soonest that fits, on good data: its act is the filled one.
    pub(super) filled: bool,
}

/// The working band.
pub(super) struct BandView {
    pub(super) bottle: String,
    pub(super) drawn: band_chart::Drawn,
    pub(super) guarded: bool,
}

/// What the judgement gives the page.
pub(super) struct Judged {
    pub(super) lead: String,
    pub(super) poor: Option<String>,
    /// The bottle that could be taken: its id, name, verdict.
    pub(super) take: Option<(usize, Verdict)>,
    pub(super) filled: bool,
    pub(super) shelf: Vec<ShelfRow>,
    pub(super) cautions: Vec<String>,
    /// Only for those who may see seconds.
    pub(super) full: Option<Full>,
    pub(super) answer: String,
}

/// What holds seconds.
pub(super) struct Full {
    pub(super) numbers: Vec<Number>,
    pub(super) shelf_head: String,
    pub(super) shelf_caption: String,
    pub(super) classes: Vec<ClassRow>,
    pub(super) options: Vec<OptionRow>,
    pub(super) left_out: Vec<(String, String)>,
    pub(super) band: Option<BandView>,
    /// The hands against the bottle, as dots.
    pub(super) against: Option<Chart>,
    pub(super) sure: String,
    pub(super) next: String,
    pub(super) next_link: Option<(String, &'static str)>,
    pub(super) why: Vec<String>,
}

/// What the pictures need besides what was asked and read.
pub(super) struct Around<'a> {
    pub(super) house: &'a House,
    pub(super) studio: &'a Studio,
    pub(super) trail: &'a [(Celsius, RelHumidity)],
    /// May these seconds be shown?
    pub(super) full: bool,
}

/// Judges and words it.
pub(super) fn judged(asked: &Asked, read: &Read, around: &Around<'_>) -> Judged {
    let q = read.matter.question(asked);
    let known = read.air.as_ref();
    let work = for_work(&q, asked.bottle, read.near(), known.is_some());
    let take = match work.judged.base {
        Subject::Bottle(b) if work.judged.bottles[b].not_today.is_none() => Some((b, work.judged.bottles[b].verdict)),
        _ => None,
    };
    let fits = take.is_some_and(|(_, verdict)| verdict == Verdict::Fits);
    let drawn = around.full.then(|| {
        let bottles = on_rule(&q, &work);
        strip_chart::draw(&rule(&work, &bottles, around.studio))
    });
    let names: Vec<&str> =
        q.bottles.iter().map(|bottle| bottle.name.as_str()).chain([read.room.name.as_str()]).collect();
    let judged = Judged {
        lead: lead(&q, &work, &read.room.name, around.full),
        poor: work.poor.map(|poor| asks_first(poor).to_owned()),
        take,
        filled: fits && work.poor.is_none() && known.is_some_and(|air| !air.stale),
        shelf: shelf(&q, &work, asked, read, around, drawn.as_ref()),
        cautions: work.cautions.clone(),
        full: drawn.map(|drawn| full(&q, &work, asked, read, around, drawn)),
        answer: serde_json::to_string(&work.answer).unwrap_or_default(),
    };
    judged.spoken(|text| words::spoken(text, around.studio, &names))
}

impl Judged {
    /// Every sentence and figure in the studio's signs; what is kept of it stays as it was.
    fn spoken(mut self, say: impl Fn(&str) -> String) -> Self {
        let sentences = [&mut self.lead].into_iter().chain(&mut self.poor).chain(&mut self.cautions);
        for text in sentences.chain(self.shelf.iter_mut().map(|row| &mut row.clause)) {
            *text = say(text);
        }
        for text in self.full.iter_mut().flat_map(Full::said) {
            *text = say(text);
        }
        self
    }
}

impl Full {
    /// What holds figures and is not drawn.
    fn said(&mut self) -> impl Iterator<Item = &mut String> {
        let numbers = self.numbers.iter_mut().flat_map(|n| [&mut n.label, &mut n.value, &mut n.against]);
        let classes = self.classes.iter_mut().flat_map(|class| [&mut class.name, &mut class.here]);
        let options = self.options.iter_mut().flat_map(|option| [&mut option.change, &mut option.side_effect]);
        let left_out = self.left_out.iter_mut().flat_map(|(change, why)| [change, why]);
        let rest = [&mut self.sure, &mut self.next].into_iter().chain(&mut self.why);
        numbers.chain(classes).chain(options).chain(left_out).chain(rest)
    }
}

fn shelf(
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
    let row = |(b, bottle): (usize, &crate::advice::judge::ShelfBottle)| {
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

fn bottle_is_untested(bottle: &crate::advice::judge::ShelfBottle) -> bool {
    bottle.set_time.tests + bottle.set_time.sibling_tests == 0
}

fn on_rule<'a>(q: &Question<'a>, work: &ForWork) -> Vec<OnRule<'a>> {
    q.bottles
        .iter()
        .zip(&work.judged.bottles)
        .map(|(bottle, own)| OnRule { name: &bottle.name, set_time: own.set_time, guess: bottle_is_untested(bottle) })
        .collect()
}

fn rule<'a>(work: &ForWork, bottles: &'a [OnRule<'a>], studio: &Studio) -> Rule<'a> {
    Rule { hands_time: work.judged.hands_time, suits: work.suits, bottles, mark: studio.decimal }
}

fn full(
    q: &Question<'_>,
    work: &ForWork,
    asked: &Asked,
    read: &Read,
    around: &Around<'_>,
    drawn: strip_chart::Drawn,
) -> Full {
    let chosen_row = match work.judged.base {
        Subject::Bottle(b) => drawn.rows[b].clone(),
        Subject::Class(_) => String::new(),
    };
    let when = when(work, read, around.studio);
    let (options, left_out) = options(work, &when, asked, read, around);
    // Of air that is only assumed nobody can say that nothing was tested in it.
    let of_assumed = q.bottles.iter().filter(|_| read.air.is_none()).flat_map(|bottle| untested_air(q, bottle));
    let of_assumed: Vec<String> = of_assumed.collect();
    Full {
        numbers: numbers(q, work, chosen_row),
        shelf_head: drawn.head,
        shelf_caption: drawn.caption,
        classes: classes(work),
        options,
        left_out,
        band: band(q, work, &when, read, around),
        against: against(q, work, asked, around),
        sure: sure(work, read),
        next: next(work),
        next_link: next_link(work, read, around),
        why: work.reasons.iter().filter(|said| !of_assumed.contains(said)).cloned().collect(),
    }
}

fn numbers(q: &Question<'_>, work: &ForWork, rule: String) -> Vec<Number> {
    let outcome = work.judged.outcome(work.judged.base);
    let basis = if work.poor.is_some() { Basis::Assumed } else { Basis::Measured };
    let placements = f64::from(q.work.placements_per_set);
    let (set_label, set) = match work.judged.base {
        Subject::Bottle(b) => (
            format!("Set time, {}, {} bead", q.bottles[b].name, q.work.bead.word()),
            Some(work.judged.bottles[b].set_time),
        ),
        Subject::Class(_) => (String::new(), None),
    };
    let mut numbers = Vec::new();
    if let Some(Times { median, low, high }) = set {
        let times = Times { median, low, high };
        numbers.push(Number {
            label: set_label,
            value: words::bare_seconds(median),
            unit: "s",
            against: format!("likely {}; {}", words::seconds_range(low, high), words::sureness_of_times(&times, basis)),
            rule,
        });
    }
    let share = |label: &str, of: &crate::advice::judge::Spread, against: String| Number {
        label: label.to_owned(),
        value: words::in_hundred(of.mean),
        unit: "in 100",
        against,
        rule: String::new(),
    };
    let d = outcome.disturbed;
    numbers.push(share(
        "Disturbed",
        &d,
        format!(
            "likely {}; the studio accepts up to {}",
            words::share_range(d.low, d.high),
            words::share(q.limits.disturbed_share)
        ),
    ));
    let minutes = |seconds: f64| clock(seconds * placements);
    numbers.push(Number {
        label: "Extra holding".to_owned(),
        value: clock(outcome.extra_hold_min_per_set * 60.0),
        unit: "min a set",
        against: format!(
            "likely {}–{}; up to {} accepted",
            minutes(outcome.extra_hold_s.low),
            minutes(outcome.extra_hold_s.high),
            clock(q.limits.extra_hold_min_per_set * 60.0)
        ),
        rule: String::new(),
    });
    let c = outcome.cured_in_air;
    let wait = match work.judged.base {
        Subject::Bottle(b) => {
            format!("; its bead stays open {}", words::seconds(work.judged.bottles[b].open_time.median))
        }
        Subject::Class(_) => String::new(),
    };
    numbers.push(share("Cured in the air", &c, format!("likely {}{wait}", words::share_range(c.low, c.high))));
    numbers
}

/// Minutes and seconds as on a rule: "2:50".
fn clock(seconds: f64) -> String {
    let whole = seconds.round().max(0.0);
    format!("{:.0}:{:02.0}", (whole / 60.0).floor(), whole % 60.0)
}

fn classes(work: &ForWork) -> Vec<ClassRow> {
    let judged = &work.judged;
    judged
        .classes
        .iter()
        .enumerate()
        .map(|(c, class)| {
            let (word, wrong) = word(class.verdict);
            let mut state = if wrong.is_empty() { word.to_owned() } else { format!("{word}, {wrong}") };
            if judged.recommended == Some(c) {
                state.push_str("; recommended");
            } else if judged.least_bad == Some(c) {
                state.push_str("; comes nearest");
            }
            ClassRow {
                name: words::class(class.class),
                state: (mark(class.verdict), state),
                here: words::seconds_range(class.here.0, class.here.1),
                disturbed: words::share(class.outcome.disturbed.mean),
                holding: clock(class.outcome.extra_hold_min_per_set * 60.0),
            }
        })
        .collect()
}

/// Why an offer is not for the client: it adds a liquid that is not for her today.
fn not_for_her(offer: &Offer, asked: &Asked) -> Option<String> {
    let her = asked.her.as_ref()?;
    let Change::With(liquid) = offer.what else { return None };
    let why = super::advice_asked::refuses(her, liquid)?;
    Some(format!("not for today: {}", why.words()))
}

/// When each offer works in this room; `None` for one that changes no air. A plan of hours by the minute: asked once each.
fn when(work: &ForWork, read: &Read, studio: &Studio) -> Vec<Option<When>> {
    let of = |offer: &Offer| air_options::when(offer, read.plan.as_ref(), read.room.surface, studio);
    work.options.offers.iter().map(of).collect()
}

/// Options with the time they take in this room, soonest first; a change of air that cannot be had goes to what was
/// left out.
fn options(
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
            Some(When::In(best, when, until)) => (0.2 + best, crate::base::text::capital(&when), until),
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

/// The air to aim at: that of the soonest change of air that can be had.
fn aim(work: &ForWork, when: &[Option<When>]) -> Option<Spot> {
    let (offer, _) = work.options.offers.iter().zip(when).find(|(_, when)| matches!(when, Some(When::In(..))))?;
    let air = offer.air()?;
    Some(Spot { temperature: air.temperature, humidity: air.humidity })
}

/// Side effect and cost as sentences.
fn brings(offer: &Offer) -> String {
    let cost = if offer.cost.is_empty() { String::new() } else { format!("costs {}", offer.cost) };
    let said: Vec<String> = [offer.side_effect, &cost]
        .into_iter()
        .filter(|clause| !clause.is_empty())
        .map(crate::base::text::capital)
        .collect();
    said.join(". ")
}

fn band(q: &Question<'_>, work: &ForWork, when: &[Option<When>], read: &Read, around: &Around<'_>) -> Option<BandView> {
    let (Subject::Bottle(b), Some(band)) = (work.judged.base, work.band.as_ref()) else { return None };
    let spot = |(temperature, humidity): (Celsius, RelHumidity)| Spot { temperature, humidity };
    let wet: Vec<Spot> = wet(read).into_iter().map(spot).collect();
    let words = format!("{} wet past here", read.room.coldest_surface);
    let words = if words.chars().count() > 26 { "wet past here".to_owned() } else { words };
    let guards: Vec<GuardLine<'_>> =
        if wet.is_empty() { Vec::new() } else { vec![GuardLine { words: &words, points: &wet }] };
    let trail: Vec<Spot> = around.trail.iter().copied().map(spot).collect();
    let drawn = band_chart::draw(&Map {
        id: "band-map",
        bottle: &q.bottles[b].name,
        band,
        reading: read.air.as_ref().map(|air| Reading {
            spot: Spot { temperature: air.measured.temperature, humidity: air.measured.humidity.humidity },
            doubt: air.measured.doubt,
        }),
        trail: &trail,
        guards: &guards,
        aim: aim(work, when),
        fahrenheit: around.studio.fahrenheit,
        mark: around.studio.decimal,
    });
    Some(BandView { bottle: q.bottles[b].name.clone(), drawn, guarded: !wet.is_empty() })
}

/// When the hands are done against when the bond sets; `None` for hands nobody has timed, or without a bottle.
fn against(q: &Question<'_>, work: &ForWork, asked: &Asked, around: &Around<'_>) -> Option<Chart> {
    let Subject::Bottle(b) = work.judged.base else { return None };
    if q.hands.placements == 0 {
        return None;
    }
    let bottle = &q.bottles[b];
    let fit = q.hands.hands_time_at(bottle.openness.median().ln());
    let hands = dots_of(|p| fit.new_placement(p).exp());
    let times = work.judged.bottles[b].set_time;
    let bond = chart::dots_between(times.low, times.median, times.high);
    let whose = format!("{}, {}", asked.artist.name, asked.style.words());
    let wording = Wording { id: "hands-against", whose: &whose, decimal: around.studio.decimal };
    Some(hands_against(&hands, Some(chart::Times { name: &bottle.name, seconds: &bond }), &wording))
}

/// Where the coldest surface gets wet: by the room's plan, or by the surface's own temperature where the plan lacks the
/// air outside.
fn wet(read: &Read) -> Vec<(Celsius, RelHumidity)> {
    if let Some(plan) = &read.plan {
        return wet_line(|room| plan.surface.celsius(room, plan.outside.temperature));
    }
    read.room.surface.map(|surface| wet_line(|_| surface.get())).unwrap_or_default()
}

fn sure(work: &ForWork, read: &Read) -> String {
    let word = crate::base::text::capital(how_sure(work));
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

fn next(work: &ForWork) -> String {
    let (now, without) = (100.0 * work.next.width_now, 100.0 * work.next.width_without);
    let words = crate::base::text::capital(&work.next.words);
    if work.next.doubt.is_none() || now - without < 1.0 {
        return format!("{words}.");
    }
    format!(
        "{words}. At most, it would narrow the likely range of disturbed bonds from {now:.0} to {without:.0} in 100 wide."
    )
}

fn next_link(work: &ForWork, read: &Read, around: &Around<'_>) -> Option<(String, &'static str)> {
    use crate::advice::judge::Doubt;
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

/// What was asked, as kept with an advice that is taken: everything the answer depends on.
pub(super) fn question(asked: &Asked, read: &Read, now: Instant) -> Result<(KeptQuestion, States), Problem> {
    KeptQuestion::of(&read.matter.question(asked), about(asked, read, now)).map_err(Problem::broken)
}

/// What the question is about.
pub(super) fn about(asked: &Asked, read: &Read, now: Instant) -> About {
    About {
        asked_at: now.iso(),
        artist: asked.artist.id.to_string(),
        style: asked.style.key(),
        room: (read.room.id.to_string(), read.room.name.clone()),
        read_at: read.air.as_ref().map(|air| air.at.iso()),
        bottles: read.shelf.iter().map(|bottle| bottle.bottle.to_string()).collect(),
        wanted: asked.bottle,
        near: read.near(),
    }
}
