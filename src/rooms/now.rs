//! A room's air as it is now: the newest believed reading, corrected, with its doubt, its age and what follows from it.

use super::air::Derived;
use super::band::{self, BandState, Off};
use super::instrument::{Correction, Known, Measured};
use super::plausible::{hours_beyond_limit, is_stale};
use super::readings::{self, KeptReading};
use super::settings::RoomSettings;
use super::{Check, Instrument, store};
use crate::base::ids::RoomId;
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
use crate::base::units::{Celsius, RelHumidity};
use crate::store::Db;

/// A room's air now.
#[derive(Debug, Clone)]
pub struct AirNow {
    /// When it was read.
    pub at: Instant,
    /// By which instrument.
    pub instrument: Instrument,
    /// Corrected values with their doubt, widened when stale.
    pub measured: Measured,
    /// As the instrument showed the humidity.
    pub shown_humidity: RelHumidity,
    /// What is known of the instrument.
    pub known: Known,
    /// Older than the studio's limit.
    pub stale: bool,
    /// Dew point, vapour density and the rest.
    pub derived: Derived,
}

/// The air of a room now; `None` before its first believed reading.
///
/// # Errors
/// When the database cannot be read.
pub async fn air_now(
    db: &mut Db,
    room: RoomId,
    settings: &RoomSettings,
    now: Instant,
) -> Result<Option<AirNow>, Problem> {
    let Some(reading) = readings::newest_believed(db, room).await? else { return Ok(None) };
    let instrument = store::instrument(db, room, reading.instrument)
        .await?
        .ok_or_else(|| Problem::broken("a reading without its instrument"))?;
    let checks = store::checks(db, instrument.id).await?;
    Ok(judge(&reading, instrument, &checks, settings, now))
}

pub(super) fn judge(
    reading: &KeptReading,
    instrument: Instrument,
    checks: &[Check],
    settings: &RoomSettings,
    now: Instant,
) -> Option<AirNow> {
    let temperature = Celsius::new(reading.temperature?).ok()?;
    let shown_humidity = RelHumidity::new(reading.humidity?).ok()?;
    let known = known(&instrument, checks, now);
    let correction = Corrections::of(checks, reading.at);
    let beyond = hours_beyond_limit(reading.at.0, now.0, settings.stale_minutes);
    let measured = known.measured(temperature, shown_humidity, &correction.humidity, correction.kelvins, beyond);
    Some(AirNow {
        at: reading.at,
        derived: Derived::of(measured.temperature, measured.humidity.humidity),
        stale: is_stale(reading.at.0, now.0, settings.stale_minutes),
        instrument,
        measured,
        shown_humidity,
        known,
    })
}

/// What is known of an instrument at an instant.
#[must_use]
pub fn known(instrument: &Instrument, checks: &[Check], now: Instant) -> Known {
    #[expect(clippy::cast_precision_loss, reason = "days of an instrument's life are small numbers")]
    let days = |at: Instant| now.since(at) as f64 / DAY as f64;
    let good = |of_humidity: bool| {
        checks.iter().filter(move |check| !check.struck && check.humidity().is_some() == of_humidity)
    };
    Known {
        humidity_checked_days_ago: good(true).map(|check| days(check.at)).reduce(f64::min),
        temperature_checked: good(false).next().is_some(),
        age_days: days(instrument.bought).max(0.0),
        place: instrument.place,
        own_humidity: instrument.own_humidity,
        own_temperature: instrument.own_temperature,
    }
}

/// The corrections that hold for readings of an instant: from the checks made up to then.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Corrections {
    /// Of the humidity.
    pub humidity: Correction,
    /// Kelvins to add to the temperature.
    pub kelvins: f64,
}

/// Two checks belong together when they were made within this span.
pub(super) const TOGETHER: i64 = 30 * DAY;
/// Two points nearer than this, %RH, give no slope worth having.
pub(super) const APART: f64 = 15.0;

impl Corrections {
    /// The newest check up to `at` counts; with a second one at another humidity within 30 days of it, both do.
    #[must_use]
    pub fn of(checks: &[Check], at: Instant) -> Self {
        let mut good: Vec<&Check> = checks.iter().filter(|check| !check.struck && check.at <= at).collect();
        good.sort_by_key(|check| std::cmp::Reverse(check.at));
        let kelvins = good.iter().find_map(|check| check.kelvins()).unwrap_or(0.0);
        let mut humidity = good.iter().filter_map(|check| Some((check.at, check.humidity()?)));
        let Some((at, first)) = humidity.next() else { return Self { humidity: Correction::None, kelvins } };
        let second = humidity.find(|(other, point)| at.since(*other) <= TOGETHER && first.apart_from(*point) >= APART);
        let both = second.and_then(|(_, second)| Correction::two_points(first, second).ok());
        Self { humidity: both.unwrap_or_else(|| Correction::one_point(first)), kelvins }
    }
}

impl AirNow {
    /// How the air differs from the studio's band.
    #[must_use]
    pub fn off(&self, settings: &RoomSettings) -> Vec<Off> {
        let (humidity, temperature) = (self.measured.humidity.humidity.get(), self.measured.temperature.get());
        band::off(Some(humidity), Some(temperature), &self.measured.doubt, settings)
    }

    /// The state of the air in mark and words; stale says so first.
    #[must_use]
    pub fn band_state(&self, settings: &RoomSettings) -> BandState {
        let BandState { mark, words } = band::state(&self.off(settings));
        if self.stale {
            return BandState { mark: if mark == "fit" { "near" } else { mark }, words: format!("stale; was {words}") };
        }
        BandState { mark, words }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::ids::CheckId;
    use crate::rooms::Compared;
    use crate::rooms::instrument::CheckPoint;

    fn check(day: i64, reference: f64, shown: f64) -> Check {
        Check {
            id: CheckId::new(),
            at: Instant(day * DAY),
            against: "nacl".to_owned(),
            compared: Compared::Humidity(CheckPoint {
                reference: RelHumidity::clamped(reference),
                shown: RelHumidity::clamped(shown),
            }),
            struck: false,
        }
    }

    fn corrected(checks: &[Check], day: i64, shown: f64) -> f64 {
        Corrections::of(checks, Instant(day * DAY)).humidity.apply(RelHumidity::clamped(shown)).humidity.get()
    }

    #[test]
    fn a_check_counts_from_its_instant_on_and_two_together_give_a_line() {
        let checks = [check(10, 75.5, 72.5), check(11, 33.0, 32.0)];
        assert!((corrected(&checks, 9, 50.0) - 50.0).abs() < 1e-9, "before the first check nothing is corrected");
        assert!((corrected(&checks, 10, 50.0) - 53.0).abs() < 1e-9, "one point moves by its difference");
        let between = corrected(&checks, 11, 52.25);
        assert!((between - 54.25).abs() < 1e-9, "half way between the points the correction is half way: {between}");
    }

    #[test]
    fn a_struck_check_counts_no_more() {
        let mut checks = [check(10, 75.5, 72.5)];
        checks[0].struck = true;
        assert!((corrected(&checks, 12, 50.0) - 50.0).abs() < 1e-9);
    }
}
