//! The advice page's words and pictures, from what was read and judged. Everything that tells seconds of somebody's
//! hands is made only for those who may see them.

mod band;
mod numbers;
mod options;
mod shelf;
mod sure;

pub(super) use shelf::ShelfRow;

use self::band::BandView;
use self::numbers::{ClassRow, Number};
use self::options::OptionRow;
use super::advice_asked::{Asked, Read};
use crate::advice::draw::strip_chart;
use crate::advice::for_work::{ForWork, asks_first, for_work, lead};
use crate::advice::judge::{Question, Subject, Verdict};
use crate::advice::kept::{About, KeptQuestion, States};
use crate::advice::words;
use crate::artists::chart::Chart;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::units::{Celsius, RelHumidity};
use crate::web::House;
use crate::web::studio::Studio;

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
        let bottles = shelf::on_rule(&q, &work);
        strip_chart::draw(&shelf::rule(&work, &bottles, around.studio))
    });
    let names: Vec<&str> =
        q.bottles.iter().map(|bottle| bottle.name.as_str()).chain([read.room.name.as_str()]).collect();
    let judged = Judged {
        lead: lead(&q, &work, &read.room.name, around.full),
        poor: work.poor.map(|poor| asks_first(poor).to_owned()),
        take,
        filled: fits && work.poor.is_none() && known.is_some_and(|air| !air.stale),
        shelf: shelf::shelf(&q, &work, asked, read, around, drawn.as_ref()),
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
    let when = options::when(work, read, around.studio);
    let (options, left_out) = options::options(work, &when, asked, read, around);
    Full {
        numbers: numbers::numbers(q, work, chosen_row),
        shelf_head: drawn.head,
        shelf_caption: drawn.caption,
        classes: numbers::classes(work),
        options,
        left_out,
        band: band::band(q, work, &when, read, around),
        against: numbers::against(q, work, asked, around),
        sure: sure::sure(work, read),
        next: sure::next(work),
        next_link: sure::next_link(work, read, around),
        why: work.reasons.clone(),
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
