//! From a file as written to a question: every value in its range, or the field that is not.

use crate::adhesives::set_time::{Climate, Label, OpenTest, SetTest, TestPiece};
use crate::adhesives::{Air, AirDoubt, Bead, Conditions, Liquid, Liquids};
use crate::artists::hands::Timing;
use crate::base::number::DecimalMark;
use crate::base::units::{Celsius, HumidityDoubt, OutOfRange, RelHumidity, Seconds, TemperatureDoubt};

use super::input::{
    Asked, BottleAsked, ClimateAsked, LimitsAsked, NotTodayAsked, OpenTestAsked, RoomAsked, SetTestAsked,
};
use super::refusal::Refusal;
use crate::advice::judge::{CureClass, Limits, NotToday, RoomNow, ShelfBottle, Work};

/// Longest file read, in bytes.
pub const LARGEST_FILE: usize = 2 * 1024 * 1024;
/// Most timings in a file.
pub const MOST_TIMINGS: usize = 10_000;
/// Most classes.
pub const MOST_CLASSES: usize = 30;
/// Most bottles.
pub const MOST_BOTTLES: usize = 60;
/// Most set-time tests, and most open-time tests, of one bottle.
pub const MOST_TESTS: usize = 1_000;
/// Longest name of a bottle, in characters.
pub const LONGEST_NAME: usize = 80;

/// A file that passed.
#[derive(Debug, Clone)]
pub(super) struct Checked {
    pub(super) room: RoomNow,
    pub(super) work: Work,
    pub(super) timings: Vec<Timing>,
    pub(super) classes: Vec<CureClass>,
    pub(super) bottles: Vec<ShelfBottle>,
    pub(super) not_today: Vec<(usize, NotToday)>,
    pub(super) limits: Limits,
}

pub(super) fn check(asked: &Asked) -> Result<Checked, Refusal> {
    let room = room(&asked.room)?;
    at_most(asked.timings.len(), MOST_TIMINGS, "timings", "timings")?;
    let placements_per_set = asked.placements_per_set;
    if !(1..=2000).contains(&placements_per_set) {
        return Err(Refusal::field("placements_per_set", format!("{placements_per_set} is outside 1 to 2000")));
    }
    let work = Work {
        technique: asked.technique,
        placements_per_set,
        bead: asked.bead,
        pick_up: asked.pick_up,
        liquids: liquids("liquids", &asked.liquids)?,
    };
    let mut timings = Vec::with_capacity(asked.timings.len());
    for (i, t) in asked.timings.iter().enumerate() {
        let path = |name: &str| format!("timings[{i}].{name}");
        timings.push(Timing {
            session: t.session,
            travel: time(&path("travel_s"), t.travel_s, 0.01, 600.0)?,
            settle: time(&path("settle_s"), t.settle_s, 0.01, 600.0)?,
        });
    }
    let classes = classes(&asked.classes_s)?;
    let (bottles, not_today) = shelf(&asked.bottles)?;
    Ok(Checked { room, work, timings, classes, bottles, not_today, limits: limits(&asked.limits)? })
}

fn room(asked: &RoomAsked) -> Result<RoomNow, Refusal> {
    let air = air("room", asked.temperature_c, asked.relative_humidity_pct)?;
    let doubt = AirDoubt {
        temperature: TemperatureDoubt::clamped(within("room.temperature_u_c", asked.temperature_u_c, 0.0, 10.0, "K")?),
        humidity: HumidityDoubt::clamped(within("room.humidity_u_pct", asked.humidity_u_pct, 0.0, 30.0, "%RH")?),
    };
    Ok(RoomNow { air, doubt })
}

fn classes(asked: &[Vec<f64>]) -> Result<Vec<CureClass>, Refusal> {
    if asked.is_empty() {
        return Err(Refusal::field("classes_s", "at least one class is needed"));
    }
    at_most(asked.len(), MOST_CLASSES, "classes_s", "classes")?;
    let mut classes = Vec::with_capacity(asked.len());
    for (i, window) in asked.iter().enumerate() {
        let path = format!("classes_s[{i}]");
        let (low, high) = pair(&path, window, "s")?;
        let (low, high) = (time(&path, low, 0.05, 600.0)?, time(&path, high, 0.05, 600.0)?);
        let class = CureClass::new(low, high)
            .ok_or_else(|| Refusal::field(&path, "the lower edge is not below the upper one"))?;
        if classes.contains(&class) {
            return Err(Refusal::field(path, "this class is there twice"));
        }
        classes.push(class);
    }
    Ok(classes)
}

/// The shelf, and which of it must not be used now.
type Shelf = (Vec<ShelfBottle>, Vec<(usize, NotToday)>);

fn shelf(asked: &[BottleAsked]) -> Result<Shelf, Refusal> {
    at_most(asked.len(), MOST_BOTTLES, "bottles", "bottles")?;
    let mut bottles: Vec<ShelfBottle> = Vec::with_capacity(asked.len());
    let mut not_today = Vec::new();
    for (i, bottle) in asked.iter().enumerate() {
        let path = format!("bottles[{i}]");
        let name = bottle.name.trim();
        let length = name.chars().count();
        if length == 0 || length > LONGEST_NAME || name.chars().any(char::is_control) {
            return Err(Refusal::field(
                format!("{path}.name"),
                format!("a name of 1 to {LONGEST_NAME} printable characters is needed"),
            ));
        }
        if bottles.iter().any(|b| b.name == name) {
            return Err(Refusal::field(format!("{path}.name"), format!("another bottle is called {name}")));
        }
        bottles.push(shelf_bottle(&path, name, bottle)?);
        if let Some(why) = bottle.not_today {
            not_today.push((i, reason(why)));
        }
    }
    Ok((bottles, not_today))
}

fn shelf_bottle(path: &str, name: &str, asked: &BottleAsked) -> Result<ShelfBottle, Refusal> {
    let climate = asked.label_climate.as_ref().map(|c| climate(&format!("{path}.label_climate"), c)).transpose()?;
    let label = asked.label_s.as_ref().map(|l| label(&format!("{path}.label_s"), l, climate)).transpose()?;
    at_most(asked.set_tests.len(), MOST_TESTS, &format!("{path}.set_tests"), "tests")?;
    at_most(asked.open_tests.len(), MOST_TESTS, &format!("{path}.open_tests"), "tests")?;
    let days_open = days(&format!("{path}.days_open"), asked.days_open)?;
    let mut set = Vec::with_capacity(asked.set_tests.len());
    for (i, test) in asked.set_tests.iter().enumerate() {
        set.push(set_test(&format!("{path}.set_tests[{i}]"), test)?);
    }
    let mut open = Vec::with_capacity(asked.open_tests.len());
    for (i, test) in asked.open_tests.iter().enumerate() {
        open.push(open_test(&format!("{path}.open_tests[{i}]"), test)?);
    }
    let mut bottle = ShelfBottle::from_tests(name.to_owned(), label.as_ref(), &set, &open, days_open);
    // A climate window binds even when no time is printed with it.
    bottle.climate = climate;
    Ok(bottle)
}

fn label(path: &str, asked: &[f64], climate: Option<Climate>) -> Result<Label, Refusal> {
    let edge = |x: f64| time(path, x, 0.05, 600.0);
    match asked {
        [x] => Label::figure(edge(*x)?, climate),
        [low, high] => {
            let (low, high) = (edge(*low)?, edge(*high)?);
            if low >= high {
                return Err(Refusal::field(path, "the lower edge is not below the upper one"));
            }
            Label::window(low, high, climate)
        }
        _ => None,
    }
    .ok_or_else(|| Refusal::field(path, "one figure or a lower and an upper one are needed"))
}

fn climate(path: &str, asked: &ClimateAsked) -> Result<Climate, Refusal> {
    let at = format!("{path}.temperature_c");
    let (low, high) = pair(&at, &asked.temperature_c, "°C")?;
    let temperature = (celsius(&at, low)?, celsius(&at, high)?);
    let at = format!("{path}.relative_humidity_pct");
    let (low, high) = pair(&at, &asked.relative_humidity_pct, "%RH")?;
    let humidity = (humidity(&at, low)?, humidity(&at, high)?);
    Ok(Climate { temperature, humidity })
}

fn set_test(path: &str, asked: &SetTestAsked) -> Result<SetTest, Refusal> {
    let nudge_every = match asked.nudge_every_s {
        Some(every) => Some(time(&format!("{path}.nudge_every_s"), every, 1e-3, 600.0)?),
        None => None,
    };
    Ok(SetTest {
        session: asked.session,
        set: time(&format!("{path}.set_s"), asked.set_s, 0.02, 3600.0)?,
        nudge_every,
        piece: TestPiece::PracticeLash,
        conditions: conditions(
            path,
            (asked.temperature_c, asked.relative_humidity_pct),
            asked.bead,
            &asked.liquids,
            asked.days_open,
        )?,
    })
}

fn open_test(path: &str, asked: &OpenTestAsked) -> Result<OpenTest, Refusal> {
    Ok(OpenTest {
        delay: time(&format!("{path}.delay_s"), asked.delay_s, 0.02, 3600.0)?,
        held: asked.held,
        pick_up: asked.pick_up,
        conditions: conditions(
            path,
            (asked.temperature_c, asked.relative_humidity_pct),
            asked.bead,
            &asked.liquids,
            asked.days_open,
        )?,
    })
}

fn conditions(
    path: &str,
    (t, h): (f64, f64),
    bead: Bead,
    used: &[Liquid],
    days_open: f64,
) -> Result<Conditions, Refusal> {
    Ok(Conditions {
        air: air(path, t, h)?,
        bead,
        liquids: liquids(&format!("{path}.liquids"), used)?,
        days_open: days(&format!("{path}.days_open"), days_open)?,
    })
}

fn limits(asked: &LimitsAsked) -> Result<Limits, Refusal> {
    Ok(Limits {
        disturbed_share: within("limits.disturbed_share", asked.disturbed_share, 0.001, 0.9, "")?,
        extra_hold_min_per_set: within(
            "limits.extra_hold_min_per_set",
            asked.extra_hold_min_per_set,
            0.1,
            600.0,
            "min",
        )?,
    })
}

const fn reason(asked: NotTodayAsked) -> NotToday {
    match asked {
        NotTodayAsked::Expired => NotToday::Expired,
        NotTodayAsked::Lapsed => NotToday::Lapsed,
        NotTodayAsked::LiquidRule => NotToday::LiquidRule,
        NotTodayAsked::Blocked => NotToday::Blocked,
    }
}

fn air(path: &str, t: f64, h: f64) -> Result<Air, Refusal> {
    Ok(Air {
        temperature: celsius(&format!("{path}.temperature_c"), t)?,
        humidity: humidity(&format!("{path}.relative_humidity_pct"), h)?,
    })
}

fn celsius(path: &str, t: f64) -> Result<Celsius, Refusal> {
    Celsius::new(t).map_err(|e| outside(path, &e))
}

fn humidity(path: &str, h: f64) -> Result<RelHumidity, Refusal> {
    RelHumidity::new(h).map_err(|e| outside(path, &e))
}

fn outside(path: &str, range: &OutOfRange) -> Refusal {
    Refusal::field(path, range.to_string())
}

fn time(path: &str, t: f64, least: f64, most: f64) -> Result<Seconds, Refusal> {
    let t = within(path, t, least, most, "s")?;
    Seconds::new(t).map_err(|e| outside(path, &e))
}

fn days(path: &str, days: f64) -> Result<f64, Refusal> {
    within(path, days, 0.0, 1000.0, "days")
}

fn within(path: &str, x: f64, least: f64, most: f64, unit: &str) -> Result<f64, Refusal> {
    if x.is_finite() && (least..=most).contains(&x) {
        return Ok(x);
    }
    let space = if unit.is_empty() { "" } else { " " };
    let [x, least, most] = [x, least, most].map(|value| DecimalMark::Point.exact(value));
    Err(Refusal::field(path, format!("{x}{space}{unit} is outside {least} to {most}{space}{unit}")))
}

fn pair(path: &str, asked: &[f64], unit: &str) -> Result<(f64, f64), Refusal> {
    match asked {
        [low, high] if low < high => Ok((*low, *high)),
        [low, high] => {
            Err(Refusal::field(path, format!("the lower edge {low} {unit} is not below the upper one {high} {unit}")))
        }
        _ => Err(Refusal::field(path, format!("a lower and an upper edge are needed, {} given", asked.len()))),
    }
}

fn liquids(path: &str, asked: &[Liquid]) -> Result<Liquids, Refusal> {
    let mut used = Liquids::NONE;
    for (i, liquid) in asked.iter().enumerate() {
        if used.has(*liquid) {
            return Err(Refusal::field(format!("{path}[{i}]"), format!("{} is there twice", liquid.words())));
        }
        used = used.with(*liquid);
    }
    Ok(used)
}

fn at_most(count: usize, most: usize, path: &str, what: &str) -> Result<(), Refusal> {
    if count <= most {
        return Ok(());
    }
    Err(Refusal::field(path, format!("{count} {what} are more than the {most} accepted")))
}
