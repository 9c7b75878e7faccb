//! A technique as an artist names it: classic, or volume with four extensions a fan.

use super::Technique;

/// A technique, and for fans how many extensions they have.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Style {
    /// The technique.
    pub technique: Technique,
    /// Extensions a fan, 2…16; only for volume and mega, and not always named there.
    pub fan: Option<u8>,
}

impl Style {
    /// The smallest fan.
    pub const FAN_LEAST: u8 = 2;
    /// The largest fan kept; larger ones are not told apart by hand.
    pub const FAN_MOST: u8 = 16;

    /// A technique without a fan.
    #[must_use]
    pub const fn plain(technique: Technique) -> Self {
        Self { technique, fan: None }
    }

    /// Fans of `fan` extensions; `None` where the technique has no fans or the number is no fan.
    #[must_use]
    pub fn fans(technique: Technique, fan: u8) -> Option<Self> {
        let fits = technique.has_fans() && (Self::FAN_LEAST..=Self::FAN_MOST).contains(&fan);
        fits.then_some(Self { technique, fan: Some(fan) })
    }

    /// The words shown: "classic", "volume 4D".
    #[must_use]
    pub fn words(&self) -> String {
        match self.fan {
            Some(fan) => format!("{} {fan}D", self.technique.word()),
            None => self.technique.word().to_owned(),
        }
    }

    /// The text kept in the database and in addresses: "classic", "volume-4".
    #[must_use]
    pub fn key(&self) -> String {
        match self.fan {
            Some(fan) => format!("{}-{fan}", self.technique.word()),
            None => self.technique.word().to_owned(),
        }
    }

    /// The style with this key.
    #[must_use]
    pub fn parse(key: &str) -> Option<Self> {
        match key.split_once('-') {
            None => Technique::from_word(key).map(Self::plain),
            // One spelling only: "volume-04" is nobody's key.
            Some((word, fan)) => {
                let style = Self::fans(Technique::from_word(word)?, fan.parse().ok()?)?;
                (style.key() == key).then_some(style)
            }
        }
    }

    /// The number kept in the column `fan`.
    pub(super) fn fan_kept(&self) -> i64 {
        self.fan.map_or(0, i64::from)
    }

    /// Back from the columns.
    pub(super) fn from_columns(word: &str, fan: i64) -> Option<Self> {
        let technique = Technique::from_word(word)?;
        if fan == 0 { Some(Self::plain(technique)) } else { Self::fans(technique, u8::try_from(fan).ok()?) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_style_is_read_back_only_from_its_own_key() {
        for key in ["classic", "hybrid", "volume", "mega", "volume-2", "volume-16", "mega-10"] {
            assert_eq!(Style::parse(key).map(|style| style.key()).as_deref(), Some(key));
        }
        for other in ["", "Classic", "classic-2", "hybrid-3", "volume-1", "volume-17", "volume-04", "volume-", "fan-4"]
        {
            assert_eq!(Style::parse(other), None, "{other}");
        }
    }

    #[test]
    fn a_fan_is_told_by_its_number() {
        let style = Style::fans(Technique::Volume, 4).unwrap();
        assert_eq!((style.words().as_str(), style.key().as_str()), ("volume 4D", "volume-4"));
        assert_eq!(Style::from_columns("volume", 4), Some(style));
        assert_eq!(Style::from_columns("classic", 0), Some(Style::plain(Technique::Classic)));
        assert_eq!(Style::from_columns("classic", 4), None);
    }
}
