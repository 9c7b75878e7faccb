//! A question as it is kept with an advice that was taken: everything the computation took, so that it can be worked out
//! again. Pure: texts and values, no storage.
//!
//! What is known of hands and bottles is long and changes only with timings and tests. It stands beside the question, each
//! piece under the digest of its text; the question names the digests.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::for_work::for_work;
use super::judge::{CureClass, Limits, NotToday, Question, RoomNow, ShelfBottle, Tested, Work};
use crate::adhesives::set_time::{Climate, Openness, Posterior, Scatter};
use crate::adhesives::{Air, AirDoubt, Bead, Liquids, PickUp};
use crate::artists::Technique;
use crate::artists::hands::Hands;
use crate::base::units::{Celsius, HumidityDoubt, RelHumidity, Seconds, TemperatureDoubt};

/// Steps in which the doubt of the air tells questions apart, %RH and kelvins.
const DOUBT_STEPS: (f64, f64) = (0.5, 0.2);

/// The doubt of the air, %RH and kelvins, up to the next of its steps.
fn settled_doubt(humidity: f64, temperature: f64) -> (f64, f64) {
    let up_to = |value: f64, step: f64| (value / step).ceil() * step;
    (up_to(humidity, DOUBT_STEPS.0), up_to(temperature, DOUBT_STEPS.1))
}

/// Texts by their digest.
pub type States = BTreeMap<String, String>;

/// The question as kept. Field names are kept for good.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KeptQuestion {
    /// When it was asked, ISO 8601.
    pub asked_at: String,
    /// Whose hands.
    pub artist: String,
    /// Her style's key.
    pub style: String,
    /// Its technique.
    pub technique: Technique,
    /// Placements of a set.
    pub placements_per_set: u32,
    /// The bead.
    pub bead: String,
    /// How it is picked up, when stated.
    pub pick_up: Option<String>,
    /// Keys of the liquids, with commas between.
    pub liquids: String,
    /// The room.
    pub room: KeptRoom,
    /// What the studio accepts.
    pub limits: KeptLimits,
    /// Windows of the studio's classes, seconds.
    pub classes_s: Vec<[f64; 2]>,
    /// The hands.
    pub hands: KeptHands,
    /// Digest of what was known of any adhesive here.
    pub any_adhesive: String,
    /// What was at hand.
    pub bottles: Vec<KeptBottle>,
    /// The bottle in daily use, by its place.
    pub daily: Option<usize>,
    /// The bottle that was asked about, by its place; `None`: the one that came nearest.
    pub wanted: Option<usize>,
    /// How many of the first bottles stood in the room.
    pub near: usize,
}

/// The room as kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KeptRoom {
    /// Its id.
    pub id: String,
    /// Its name then.
    pub name: String,
    /// °C.
    pub temperature_c: f64,
    /// %RH.
    pub humidity_pct: f64,
    /// Standard uncertainty, K.
    pub u_temperature_k: f64,
    /// Standard uncertainty, %RH.
    pub u_humidity_pct: f64,
    /// When it was read, ISO 8601; `None` where the air was assumed.
    pub read_at: Option<String>,
}

/// What the studio accepted then.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct KeptLimits {
    /// Largest share disturbed.
    pub disturbed: f64,
    /// Most extra holding, minutes a set.
    pub extra_hold_min: f64,
}

/// The hands as kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KeptHands {
    /// Placements timed.
    pub placements: u32,
    /// Sittings they came in.
    pub sessions: u32,
    /// Digest of their summary.
    pub state: String,
}

/// A bottle as kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KeptBottle {
    /// Its id.
    pub id: String,
    /// Its name then.
    pub name: String,
    /// Days open.
    pub days_open: f64,
    /// Own set-time tests.
    pub tests: u32,
    /// Tests of its sisters.
    pub tests_of_sisters: u32,
    /// Best guess of its openness, for people.
    pub openness: f64,
    /// The maker's climate window.
    pub climate: Option<Climate>,
    /// What its tests covered.
    pub tested: Tested,
    /// Whether its maker allows an accelerator.
    pub accelerator_allowed: Option<bool>,
    /// Why it must not be used, by its key.
    pub not_today: Option<String>,
    /// Digest of what was known of its set time and open time.
    pub state: String,
}

/// What is known of a bottle's times.
#[derive(Serialize, Deserialize)]
struct BottleState {
    set_time: Posterior,
    openness: Openness,
}

/// What a question is about, beside the question itself.
#[derive(Debug, Clone, PartialEq)]
pub struct About {
    /// When it was asked, ISO 8601.
    pub asked_at: String,
    /// Whose hands.
    pub artist: String,
    /// Her style's key.
    pub style: String,
    /// The room's id and name.
    pub room: (String, String),
    /// When its air was read, ISO 8601; `None` where it was assumed.
    pub read_at: Option<String>,
    /// Ids of the bottles, in the question's order.
    pub bottles: Vec<String>,
    /// The bottle that was asked about, by its place.
    pub wanted: Option<usize>,
    /// How many of the first bottles stand in the room.
    pub near: usize,
}

/// A question with everything it borrows from.
#[derive(Debug, Clone)]
pub struct Whole {
    hands: Hands,
    room: RoomNow,
    work: Work,
    classes: Vec<CureClass>,
    any_adhesive: Scatter,
    bottles: Vec<ShelfBottle>,
    not_today: Vec<(usize, NotToday)>,
    daily: Option<usize>,
    limits: Limits,
}

impl KeptQuestion {
    /// Writes a question down; gives also the states it names.
    ///
    /// # Errors
    /// When a number in it cannot be written.
    pub fn of(q: &Question<'_>, about: About) -> Result<(Self, States), serde_json::Error> {
        let mut states = States::new();
        let mut state = |text: String| {
            let digest = digest(&text);
            states.insert(digest.clone(), text);
            digest
        };
        let bottles = q
            .bottles
            .iter()
            .zip(about.bottles)
            .enumerate()
            .map(|(at, (bottle, id))| {
                let known = BottleState { set_time: bottle.set_time.clone(), openness: bottle.openness.clone() };
                Ok(KeptBottle {
                    id,
                    name: bottle.name.clone(),
                    days_open: bottle.days_open,
                    tests: bottle.set_time.tests,
                    tests_of_sisters: bottle.set_time.sibling_tests,
                    openness: bottle.openness.median(),
                    climate: bottle.climate,
                    tested: bottle.tested,
                    accelerator_allowed: bottle.accelerator_allowed,
                    not_today: q.not_today(at).map(|why| why.key().to_owned()),
                    state: state(serde_json::to_string(&known)?),
                })
            })
            .collect::<Result<_, serde_json::Error>>()?;
        let (air, doubt) = (q.room.air, q.room.doubt);
        let kept = Self {
            asked_at: about.asked_at,
            artist: about.artist,
            style: about.style,
            technique: q.work.technique,
            placements_per_set: q.work.placements_per_set,
            bead: q.work.bead.word().to_owned(),
            pick_up: q.work.pick_up.map(|pick_up| pick_up.key().to_owned()),
            liquids: q.work.liquids.keys(),
            room: KeptRoom {
                id: about.room.0,
                name: about.room.1,
                temperature_c: air.temperature.get(),
                humidity_pct: air.humidity.get(),
                u_temperature_k: doubt.temperature.get(),
                u_humidity_pct: doubt.humidity.get(),
                read_at: about.read_at,
            },
            limits: KeptLimits { disturbed: q.limits.disturbed_share, extra_hold_min: q.limits.extra_hold_min_per_set },
            classes_s: q.classes.iter().map(|class| <[f64; 2]>::from(class.window())).collect(),
            hands: KeptHands {
                placements: q.hands.placements,
                sessions: q.hands.sessions,
                state: state(serde_json::to_string(q.hands)?),
            },
            any_adhesive: state(serde_json::to_string(q.any_adhesive)?),
            bottles,
            daily: q.daily,
            wanted: about.wanted,
            near: about.near,
        };
        Ok((kept, states))
    }

    /// Tells one question from another: the digest of everything the answer depends on, and of the model's version. Left out is what
    /// creeps on with the minutes while nothing new is known: when it was asked, when its air was read, parts of a day that a bottle is
    /// open, and less than half a %RH or a fifth of a kelvin by which a stale reading is doubted more.
    ///
    /// # Errors
    /// When a number in it cannot be written.
    pub fn fingerprint(&self, model: &str) -> Result<String, serde_json::Error> {
        let mut settled = Self { asked_at: String::new(), ..self.clone() };
        settled.room.read_at = settled.room.read_at.map(|_| String::new());
        let room = &mut settled.room;
        (room.u_humidity_pct, room.u_temperature_k) = settled_doubt(room.u_humidity_pct, room.u_temperature_k);
        for bottle in &mut settled.bottles {
            bottle.days_open = bottle.days_open.floor();
        }
        Ok(digest(&format!("{model} {}", serde_json::to_string(&settled)?)))
    }

    /// The digests it names.
    pub fn digests(&self) -> impl Iterator<Item = &str> {
        let own = [self.hands.state.as_str(), self.any_adhesive.as_str()];
        own.into_iter().chain(self.bottles.iter().map(|bottle| bottle.state.as_str()))
    }

    /// The question again; `None` where a state is missing or a value is none of ours any more.
    #[must_use]
    pub fn whole(&self, states: &States) -> Option<Whole> {
        let known = |digest: &str| states.get(digest);
        let bottles = self
            .bottles
            .iter()
            .map(|kept| {
                let state: BottleState = serde_json::from_str(known(&kept.state)?).ok()?;
                Some(ShelfBottle {
                    name: kept.name.clone(),
                    set_time: state.set_time,
                    openness: state.openness,
                    days_open: kept.days_open,
                    climate: kept.climate,
                    tested: kept.tested,
                    accelerator_allowed: kept.accelerator_allowed,
                })
            })
            .collect::<Option<Vec<_>>>()?;
        let not_today = self.bottles.iter().enumerate().filter_map(|(at, kept)| Some((at, kept.not_today.as_deref()?)));
        let window = |[low, high]: &[f64; 2]| CureClass::new(Seconds::new(*low).ok()?, Seconds::new(*high).ok()?);
        Some(Whole {
            hands: serde_json::from_str(known(&self.hands.state)?).ok()?,
            room: RoomNow {
                air: Air {
                    temperature: Celsius::new(self.room.temperature_c).ok()?,
                    humidity: RelHumidity::new(self.room.humidity_pct).ok()?,
                },
                doubt: AirDoubt {
                    temperature: TemperatureDoubt::new(self.room.u_temperature_k).ok()?,
                    humidity: HumidityDoubt::new(self.room.u_humidity_pct).ok()?,
                },
            },
            work: Work {
                technique: self.technique,
                placements_per_set: self.placements_per_set,
                bead: Bead::from_word(&self.bead)?,
                pick_up: match &self.pick_up {
                    None => None,
                    Some(key) => Some(PickUp::from_key(key)?),
                },
                liquids: Liquids::from_keys(&self.liquids),
            },
            classes: self.classes_s.iter().map(window).collect::<Option<_>>()?,
            any_adhesive: serde_json::from_str(known(&self.any_adhesive)?).ok()?,
            not_today: not_today.map(|(at, key)| Some((at, NotToday::from_key(key)?))).collect::<Option<_>>()?,
            daily: self.daily.filter(|at| *at < bottles.len()),
            limits: Limits {
                disturbed_share: self.limits.disturbed,
                extra_hold_min_per_set: self.limits.extra_hold_min,
            },
            bottles,
        })
    }

    /// The answer worked out again from what was kept, as it is kept; `None` as for [`KeptQuestion::whole`].
    #[must_use]
    pub fn answer_again(&self, states: &States) -> Option<String> {
        let whole = self.whole(states)?;
        let work = for_work(&whole.question(), self.wanted, self.near, self.room.read_at.is_some());
        serde_json::to_string(&work.answer).ok()
    }
}

/// SHA-256 in hexadecimal digits.
fn digest(text: &str) -> String {
    Sha256::digest(text.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect()
}

impl About {
    /// The same without what tells no question from another.
    fn settled(&self) -> Self {
        Self { asked_at: String::new(), read_at: self.read_at.as_ref().map(|_| String::new()), ..self.clone() }
    }

    /// True where two are about the same; with [`Whole::asks_as`], where their questions have one fingerprint.
    pub(super) fn is_as(&self, other: &Self) -> bool {
        self.settled() == other.settled()
    }
}

impl Whole {
    /// True where a question asks what another does, without writing either down.
    pub(super) fn asks_as(&self, other: &Self) -> bool {
        let room = |whole: &Self| {
            let RoomNow { air, doubt } = whole.room;
            (air, settled_doubt(doubt.humidity.get(), doubt.temperature.get()))
        };
        let bottle = |bottle: &ShelfBottle| ShelfBottle { days_open: bottle.days_open.floor(), ..bottle.clone() };
        room(self) == room(other)
            && (self.work, self.limits, self.daily) == (other.work, other.limits, other.daily)
            && self.classes == other.classes
            && self.not_today == other.not_today
            && self.bottles.len() == other.bottles.len()
            && self.bottles.iter().zip(&other.bottles).all(|(own, others)| bottle(own) == bottle(others))
            && self.any_adhesive == other.any_adhesive
            && self.hands == other.hands
    }

    /// A question with everything it borrows from, to outlive whoever asked.
    #[must_use]
    pub fn of(q: &Question<'_>) -> Self {
        Self {
            hands: q.hands.clone(),
            room: q.room,
            work: q.work,
            classes: q.classes.to_vec(),
            any_adhesive: q.any_adhesive.clone(),
            bottles: q.bottles.to_vec(),
            not_today: q.not_today.to_vec(),
            daily: q.daily,
            limits: q.limits,
        }
    }

    /// The question.
    #[must_use]
    pub fn question(&self) -> Question<'_> {
        Question {
            hands: &self.hands,
            room: self.room,
            work: self.work,
            classes: &self.classes,
            any_adhesive: &self.any_adhesive,
            bottles: &self.bottles,
            not_today: &self.not_today,
            daily: self.daily,
            limits: self.limits,
        }
    }
}
