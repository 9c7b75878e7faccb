//! This part's own settings: ages, how long answers hold, how long records are kept.

use super::minors::AgeRule;
use crate::base::problem::Problem;
use crate::store::{Db, Tx, settings};

/// The studio's choices about clients. All are the insurer's and the law's before they are the studio's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ClientSettings {
    /// Who is refused, who comes with a guardian.
    pub ages: AgeRule,
    /// Days after which the consultation is asked anew, 1…1095.
    pub answers_days: u32,
    /// Keeping time of consents and consultations after the last treatment, years, 1…30.
    pub keep_years: u32,
    /// For who was a minor at the time: kept at least until this age, years, 18…30.
    pub keep_minor_until: u32,
}

impl Default for ClientSettings {
    fn default() -> Self {
        Self {
            ages: AgeRule::default(),
            // Half a year: common practice for house rules; a shorter one only asks more often.
            answers_days: 180,
            // Three, six to seven and fifteen years are all advised; the insurer's wording decides.
            keep_years: 7,
            keep_minor_until: 25,
        }
    }
}

impl ClientSettings {
    /// The settings, or the defaults of a new house.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn load(db: &mut Db) -> Result<Self, Problem> {
        let kept = settings::all(db).await?;
        let number = |name: &str| kept.get(name).and_then(|text| text.parse::<u32>().ok());
        let age = |name: &str| kept.get(name).and_then(|text| text.parse::<i16>().ok());
        let fresh = Self::default();
        Ok(Self {
            ages: AgeRule {
                refused_below: age("clients.refused_below").unwrap_or(fresh.ages.refused_below),
                guardian_below: age("clients.guardian_below").unwrap_or(fresh.ages.guardian_below),
            },
            answers_days: number("clients.answers_days").unwrap_or(fresh.answers_days),
            keep_years: number("clients.keep_years").unwrap_or(fresh.keep_years),
            keep_minor_until: number("clients.keep_minor_until").unwrap_or(fresh.keep_minor_until),
        })
    }

    /// Keeps the settings.
    ///
    /// # Errors
    /// When the database refuses it.
    pub async fn keep(&self, tx: &mut Tx) -> Result<(), Problem> {
        for (name, value) in [
            ("clients.refused_below", i64::from(self.ages.refused_below)),
            ("clients.guardian_below", i64::from(self.ages.guardian_below)),
            ("clients.answers_days", i64::from(self.answers_days)),
            ("clients.keep_years", i64::from(self.keep_years)),
            ("clients.keep_minor_until", i64::from(self.keep_minor_until)),
        ] {
            settings::set(tx, name, &value.to_string()).await?;
        }
        Ok(())
    }
}
