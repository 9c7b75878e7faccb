//! What an advice page is asked about: artist, style, room, bead, pick-up, liquids, bottle; and everything read for it.
//! A value that is not one of ours falls back, and the page says so.

use std::collections::BTreeMap;

use super::in_hand::{daily, seen_from, with_place};
use super::whereabouts::Whereabouts;
use crate::adhesives::set_time::Scatter;
use crate::adhesives::{self, Air, AirDoubt, Bead, FromRoom, Liquid, Liquids, OnShelf, PickUp};
use crate::advice::judge::{CureClass, Limits, NotToday, Question, RoomNow, ShelfBottle, Tested, Work};
use crate::advice::settings::AdviceSettings;
use crate::artists::hands::Hands;
use crate::artists::{self, Artist, Style, Technique};
use crate::base::actor::Who;
use crate::base::ids::{BottleId, ClientId, RoomId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::units::{Celsius, HumidityDoubt, RelHumidity, TemperatureDoubt};
use crate::clearance::wet::Wet;
use crate::clearance::{self, ForHer};
use crate::rooms::now::{AirNow, air_now};
use crate::rooms::plan::PlanInputs;
use crate::rooms::{self, Room, RoomSettings};
use crate::store::keys::Keys;
use crate::store::{Db, settings};
use crate::web::studio::Studio;

/// What stands after the question mark, or in the form that takes an advice: names and texts, nothing checked.
pub(super) type Typed = BTreeMap<String, String>;

/// What is asked, every value one of ours.
#[derive(Debug, Clone)]
pub(super) struct Asked {
    pub(super) artist: Artist,
    pub(super) style: Style,
    pub(super) bead: Bead,
    pub(super) pick_up: Option<PickUp>,
    pub(super) liquids: Liquids,
    /// The bottle the figures shall speak of, by its place among those at hand.
    pub(super) bottle: Option<usize>,
    /// Whom it is for, where somebody was chosen.
    pub(super) her: Option<ForHer>,
    /// Sentences on values that were not ours.
    pub(super) fell_back: Vec<String>,
}

/// Everything read for the page.
pub(super) struct Read {
    pub(super) room: Room,
    pub(super) rooms: Vec<Room>,
    pub(super) artists: Vec<Artist>,
    pub(super) whereabouts: Whereabouts,
    pub(super) air: Option<AirNow>,
    pub(super) settings: RoomSettings,
    /// What this room can reach; none while its air or the air outside is not known.
    pub(super) plan: Option<PlanInputs>,
    /// What is at hand here, and a bottle of another room that was named.
    pub(super) shelf: Vec<OnShelf>,
    /// Bottles of other rooms, by id and by what they are called from here: they can be fetched.
    pub(super) elsewhere: Vec<(BottleId, String)>,
    /// Those this artist expects today: id, short name, when.
    pub(super) today: Vec<(ClientId, String, String)>,
    pub(super) matter: Matter,
}

/// The values a question borrows from.
#[derive(Debug, Clone)]
pub(super) struct Matter {
    pub(super) hands: Hands,
    pub(super) room: RoomNow,
    pub(super) classes: Vec<CureClass>,
    pub(super) any_adhesive: Scatter,
    pub(super) bottles: Vec<ShelfBottle>,
    pub(super) not_today: Vec<(usize, NotToday)>,
    pub(super) daily: Option<usize>,
    pub(super) limits: Limits,
}

/// Air taken for granted where nobody has read any, so wide that nothing follows from it.
pub(super) fn assumed() -> RoomNow {
    RoomNow {
        air: Air { temperature: Celsius::clamped(22.0), humidity: RelHumidity::clamped(50.0) },
        doubt: AirDoubt { temperature: TemperatureDoubt::clamped(3.0), humidity: HumidityDoubt::clamped(12.0) },
    }
}

/// What the house has settled that an advice rests on: read once, handed on.
pub(super) struct Settled {
    pub(super) studio: Studio,
    rooms: RoomSettings,
    advice: AdviceSettings,
}

impl Settled {
    pub(super) async fn load(db: &mut Db) -> Result<Self, Problem> {
        let kept = settings::all(db).await?;
        Ok(Self { studio: Studio::of(&kept), rooms: RoomSettings::of(&kept), advice: AdviceSettings::of(&kept) })
    }
}

/// Reads everything; `None` while nobody is an artist here.
pub(super) async fn read(
    db: &mut Db,
    keys: &Keys,
    settled: &Settled,
    room: RoomId,
    who: &Who,
    typed: &Typed,
    now: Instant,
) -> Result<Option<(Asked, Read)>, Problem> {
    let zone = &settled.studio.zone;
    let room = rooms::asked::open(db, room).await?;
    let rooms = rooms::all(db).await?;
    let all = artists::all(db).await?;
    let whereabouts = Whereabouts::load(db, zone, &rooms, now).await?;
    let named = typed.get("bottle").and_then(|id| id.trim().parse().ok());
    let FromRoom { at_hand, elsewhere, any_adhesive } = adhesives::from_room(db, zone, room.id, named, now).await?;
    let shelf = seen_from(room.id, &rooms, at_hand);
    let elsewhere = elsewhere.into_iter().map(|(id, at, name)| (id, with_place(&name, Some(at), &rooms))).collect();
    let Some(mut asked) = choose(&all, &whereabouts, &shelf, who, typed) else { return Ok(None) };
    if let Some(id) = typed.get("client").filter(|id| !id.is_empty()) {
        // Nobody else's client and none that is not there: advice that fell back to nobody would look like a free way.
        let id = id.parse().map_err(|_| Problem::NotHere("client"))?;
        let bottles: Vec<_> = shelf.iter().map(|bottle| bottle.bottle).collect();
        asked.her = Some(clearance::for_advice(db, keys, id, who, &bottles, now, clearance::Known::ByNow).await?);
    }
    let today = clearance::of_today(db, who, asked.artist.person, zone, now).await?;
    let today = today.into_iter().map(|(id, short, at)| (id, short, zone.clock(at))).collect();
    let settings = settled.rooms;
    let air = air_now(db, room.id, &settings, now).await?;
    let plan = rooms::plan_inputs(db, &room, air.as_ref(), now).await?;
    let matter = Matter {
        hands: artists::hands(db, asked.artist.id, asked.style).await?,
        room: air.as_ref().map_or_else(assumed, room_now),
        classes: classes(db).await?,
        any_adhesive,
        bottles: shelf.iter().map(shelf_bottle).collect(),
        not_today: with_her(not_today(&shelf, asked.liquids), &shelf, &asked),
        daily: daily(room.id, &shelf),
        limits: limits(&settled.advice),
    };
    Ok(Some((
        asked,
        Read { room, rooms, artists: all, whereabouts, air, settings, plan, shelf, elsewhere, today, matter },
    )))
}

impl Asked {
    /// Whether it is the asker's own work, and nothing she only tries: see `src/advice/mod.rs`.
    pub(super) fn is_for_work(&self, read: &Read, who: &Who) -> bool {
        let works_here = read.whereabouts.or_only(&self.artist) == Some(read.room.id);
        self.artist.person == who.id && works_here && self.bottle.is_none() && self.fell_back.is_empty()
    }
}

impl Read {
    /// How many of the bottles stand in the room: they come first.
    pub(super) fn near(&self) -> usize {
        self.shelf.iter().filter(|bottle| bottle.room == Some(self.room.id)).count()
    }
}

impl Matter {
    /// The question about this work.
    pub(super) fn question(&self, asked: &Asked) -> Question<'_> {
        Question {
            hands: &self.hands,
            room: self.room,
            work: Work {
                technique: asked.style.technique,
                placements_per_set: asked.artist.placements_per_set.clamp(1, 2000),
                bead: asked.bead,
                pick_up: asked.pick_up,
                liquids: asked.liquids,
            },
            classes: &self.classes,
            any_adhesive: &self.any_adhesive,
            bottles: &self.bottles,
            not_today: &self.not_today,
            daily: self.daily,
            limits: self.limits,
        }
    }
}

/// The studio's classes; never none.
pub(super) async fn classes(db: &mut Db) -> Result<Vec<CureClass>, Problem> {
    let kept = adhesives::classes(db).await?;
    let classes: Vec<CureClass> = kept.iter().filter_map(|class| CureClass::new(class.low, class.high)).collect();
    if classes.is_empty() { Err(Problem::broken("a studio without cure-speed classes")) } else { Ok(classes) }
}

/// The air now as the judgement takes it.
pub(super) fn room_now(air: &AirNow) -> RoomNow {
    let measured = &air.measured;
    RoomNow {
        air: Air { temperature: measured.temperature, humidity: measured.humidity.humidity },
        doubt: AirDoubt::of(&measured.doubt),
    }
}

/// A bottle as the judgement takes it.
pub(super) fn shelf_bottle(on_shelf: &OnShelf) -> ShelfBottle {
    ShelfBottle {
        name: on_shelf.name.clone(),
        set_time: on_shelf.posterior.clone(),
        openness: on_shelf.openness.clone(),
        days_open: on_shelf.days_open.clamp(0.0, 1000.0),
        climate: on_shelf.climate,
        tested: tested(on_shelf),
        accelerator_allowed: on_shelf.accelerator_allowed,
    }
}

/// What its tests covered as the judgement takes it.
pub(super) fn tested(on_shelf: &OnShelf) -> Tested {
    let covered = &on_shelf.tested;
    Tested { beads: covered.beads, humidity_pct: covered.humidity_pct, temperature_c: covered.temperature_c }
}

/// Bottles that must not be used now, and why. An accelerator that a maker refuses bars its bottle: the more careful
/// reading of what makers say about it.
pub(super) fn not_today(shelf: &[OnShelf], liquids: Liquids) -> Vec<(usize, NotToday)> {
    let refused = |bottle: &OnShelf| liquids.has(Liquid::Accelerator) && bottle.accelerator_allowed == Some(false);
    shelf
        .iter()
        .enumerate()
        .filter_map(|(at, bottle)| {
            let why = bottle.out.map(NotToday::from).or(refused(bottle).then_some(NotToday::LiquidRule))?;
            Some((at, why))
        })
        .collect()
}

/// Those and what is not for today for the client: bottles she was not tested with or is held for, and every bottle while a liquid is
/// in use that is not for her.
fn with_her(mut bars: Vec<(usize, NotToday)>, shelf: &[OnShelf], asked: &Asked) -> Vec<(usize, NotToday)> {
    let Some(her) = &asked.her else { return bars };
    let wrong_liquid = asked.liquids.iter().any(|liquid| refuses(her, liquid).is_some());
    for (at, bottle) in
        shelf.iter().enumerate().filter(|(at, _)| bars.iter().all(|(bar, _)| bar != at)).collect::<Vec<_>>()
    {
        let why = her.bottles.iter().find(|(own, _)| *own == bottle.bottle).map(|(_, why)| match why {
            clearance::NotToday::Stopped => NotToday::Blocked,
            clearance::NotToday::NotNow | clearance::NotToday::NotCleared => NotToday::Held,
            clearance::NotToday::NotTested(_) | clearance::NotToday::NotRead => NotToday::Untested,
            clearance::NotToday::NotSaid => NotToday::NotSaid,
        });
        if let Some(why) = why.or(wrong_liquid.then_some(NotToday::LiquidRule)) {
            bars.push((at, why));
        }
    }
    bars.sort_by_key(|(at, _)| *at);
    bars
}

/// Why this liquid is not for her today.
pub(super) fn refuses(her: &ForHer, liquid: Liquid) -> Option<clearance::NotToday> {
    let wet = Wet::of_advice(liquid)?;
    her.liquids.iter().find(|(own, _)| *own == wet).map(|(_, why)| *why)
}

/// The studio's limits.
pub(super) fn limits(settings: &AdviceSettings) -> Limits {
    Limits {
        disturbed_share: (settings.disturbed_in_100 / 100.0).clamp(0.01, 0.5),
        extra_hold_min_per_set: settings.extra_hold_min.clamp(1.0, 120.0),
    }
}

/// The style a page opens on; classic for an artist who has named none.
pub(super) fn usual_style(artist: &Artist) -> Style {
    artist.opens_on().unwrap_or(Style::plain(Technique::Classic))
}

fn choose(artists: &[Artist], whereabouts: &Whereabouts, shelf: &[OnShelf], who: &Who, typed: &Typed) -> Option<Asked> {
    let mut fell_back = Vec::new();
    let get = |name: &str| typed.get(name).map(|text| text.trim()).filter(|text| !text.is_empty());
    let own = artists.iter().find(|artist| artist.person == who.id);
    let named = get("artist").map(|id| artists.iter().find(|artist| artist.id.to_string() == id));
    let artist = named.flatten().or(own).or_else(|| artists.first())?.clone();
    if matches!(named, Some(None)) {
        fell_back.push(format!("There is no such artist here, or not any more; this is {}.", artist.name));
    }
    let style_here = whereabouts.said_today(&artist).and_then(|works| Style::parse(&works.style));
    let wanted = get("style").map(|key| Style::parse(key).filter(|style| artist.styles.contains(style)));
    let style = wanted
        .flatten()
        .or_else(|| style_here.filter(|style| artist.styles.contains(style)))
        .unwrap_or_else(|| usual_style(&artist));
    if wanted == Some(None) {
        fell_back.push(format!("{} does not work in that style; this is {}.", artist.name, style.words()));
    }
    let bead = get("bead").map(|word| Bead::ALL.into_iter().find(|bead| bead.word() == word));
    if bead == Some(None) {
        fell_back.push("There is no such bead; this is a medium one.".to_owned());
    }
    let pick_up = get("pick_up").map(|key| PickUp::ALL.into_iter().find(|pick_up| pick_up.key() == key));
    if pick_up == Some(None) {
        fell_back.push("There is no such pick-up; none is taken as stated.".to_owned());
    }
    let keys = get("liquids").unwrap_or_default();
    let liquids = Liquids::from_keys(keys);
    if keys.split(',').filter(|key| !key.is_empty()).count() != liquids.iter().count() {
        fell_back.push("A liquid was named that is none of ours; it was left out.".to_owned());
    }
    let bottle = get("bottle").map(|id| shelf.iter().position(|bottle| bottle.bottle.to_string() == id));
    if bottle == Some(None) {
        fell_back.push("That bottle is not in the house any more; the one that comes nearest is shown.".to_owned());
    }
    Some(Asked {
        artist,
        style,
        bead: bead.flatten().unwrap_or_default(),
        pick_up: pick_up.flatten(),
        liquids,
        bottle: bottle.flatten(),
        her: None,
        fell_back,
    })
}
