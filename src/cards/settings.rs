//! This part's own settings: how long a drop lasts, curls, aftercare, hygiene.

use super::card::Step;
use crate::base::problem::Problem;
use crate::store::{Db, Tx, settings};

/// The studio's choices about cards.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CardSettings {
    /// Minutes after which a fresh drop is due, 5…60.
    pub drop_minutes: u32,
    /// Curls from the flattest to the strongest; makers' angles differ.
    pub curls: Vec<String>,
    /// Zones of each lid on a lash map, 3…9.
    pub zones: u32,
    /// Extensions on a full strip.
    pub per_strip: u32,
    /// Aftercare steps before she leaves: minutes and words.
    pub steps: Vec<(u32, String)>,
    /// What she is told or handed: a sentence a line.
    pub aftercare: Vec<String>,
    /// What is ticked at closing; empty for no list.
    pub hygiene: Vec<String>,
}

impl Default for CardSettings {
    fn default() -> Self {
        let lines = |lines: &[&str]| lines.iter().map(|line| (*line).to_owned()).collect();
        Self {
            drop_minutes: 20,
            curls: lines(&["J", "B", "C", "CC", "D", "L", "M"]),
            zones: 5,
            per_strip: 30,
            steps: vec![
                (2, "Air the lashes, eyes still closed".to_owned()),
                (0, "Pads and tape off; look for stickies once more".to_owned()),
                (1, "Let her open her eyes slowly and ask how they feel".to_owned()),
            ],
            aftercare: lines(&[
                "Keep the lashes dry as long as the adhesive’s maker says.",
                "Wash them gently every day, and brush them when they are dry.",
                "Nothing with oil near them. Never pull at one.",
                "Pain, swelling or changed vision: see a doctor at once, then tell us.",
            ]),
            hygiene: lines(&["Tweezers disinfected", "Bed wiped, linen changed", "Adhesive closed and stored upright"]),
        }
    }
}

impl CardSettings {
    /// The settings, or the defaults of a new house.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn load(db: &mut Db) -> Result<Self, Problem> {
        let kept = settings::all(db).await?;
        let fresh = Self::default();
        let number = |name: &str, usual| kept.get(name).and_then(|text| text.parse().ok()).unwrap_or(usual);
        let list = |name: &str, usual: Vec<String>| kept.get(name).map_or(usual, |text| lines(text));
        Ok(Self {
            drop_minutes: number("cards.drop_minutes", fresh.drop_minutes),
            curls: list("cards.curls", fresh.curls),
            zones: number("cards.zones", fresh.zones),
            per_strip: number("cards.per_strip", fresh.per_strip),
            steps: kept.get("cards.steps").and_then(|text| steps(text).ok()).unwrap_or(fresh.steps),
            aftercare: list("cards.aftercare", fresh.aftercare),
            hygiene: list("cards.hygiene", fresh.hygiene),
        })
    }

    /// Keeps the settings.
    ///
    /// # Errors
    /// When the database refuses it.
    pub async fn keep(&self, tx: &mut Tx) -> Result<(), Problem> {
        for (name, value) in [
            ("cards.drop_minutes", self.drop_minutes.to_string()),
            ("cards.curls", self.curls.join("\n")),
            ("cards.zones", self.zones.to_string()),
            ("cards.per_strip", self.per_strip.to_string()),
            ("cards.steps", self.steps_text()),
            ("cards.aftercare", self.aftercare.join("\n")),
            ("cards.hygiene", self.hygiene.join("\n")),
        ] {
            settings::set(tx, name, &value).await?;
        }
        tx.audit("change card settings", "house", "").await
    }

    /// The steps as they are typed: "2 Air the lashes".
    #[must_use]
    pub fn steps_text(&self) -> String {
        self.steps.iter().map(|(minutes, words)| format!("{minutes} {words}")).collect::<Vec<_>>().join("\n")
    }

    /// The steps as a new card begins with them.
    #[must_use]
    pub fn steps_of_a_card(&self) -> Vec<Step> {
        let step = |(place, (minutes, words)): (u32, &(u32, String))| Step {
            place,
            words: words.clone(),
            minutes: *minutes,
            begun: None,
            done: None,
        };
        (1..).zip(&self.steps).map(step).collect()
    }
}

/// Lines with something on them.
#[must_use]
pub fn lines(text: &str) -> Vec<String> {
    text.lines().map(str::trim).filter(|line| !line.is_empty()).map(str::to_owned).collect()
}

/// The most steps of a list.
pub const MOST_STEPS: usize = 20;

/// Steps as they are typed: minutes, then words.
///
/// # Errors
/// A sentence about the first line that cannot be read.
pub fn steps(text: &str) -> Result<Vec<(u32, String)>, String> {
    let all = lines(text);
    if all.len() > MOST_STEPS {
        return Err(format!("Use at most {MOST_STEPS} steps."));
    }
    let step = |line: &String| {
        let (minutes, words) = line.split_once(' ').unwrap_or((line, ""));
        let minutes = minutes.parse::<u32>().ok().filter(|minutes| *minutes <= 120);
        match (minutes, words.trim()) {
            (Some(minutes), words) if !words.is_empty() => Ok((minutes, words.to_owned())),
            _ => Err(format!("“{line}” is no step: type minutes from 0 to 120, a space, and what to do.")),
        }
    };
    all.iter().map(step).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_is_minutes_and_words() {
        let fresh = CardSettings::default();
        assert_eq!(steps(&fresh.steps_text()), Ok(fresh.steps));
        assert_eq!(steps(" 3  Wait \n\n0 Look"), Ok(vec![(3, "Wait".to_owned()), (0, "Look".to_owned())]));
        for bad in ["Wait", "121 Wait", "3", "-1 Wait"] {
            assert!(steps(bad).unwrap_err().contains(bad), "{bad}");
        }
    }
}
