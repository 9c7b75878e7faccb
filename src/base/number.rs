//! Numbers as people type and read them: comma or point, the studio's decimal sign on pages.

/// The sign between whole and part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum DecimalMark {
    /// 21.5
    #[default]
    Point,
    /// 21,5
    Comma,
}

impl DecimalMark {
    /// The word kept in the settings.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Point => "point",
            Self::Comma => "comma",
        }
    }

    /// The mark with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Point, Self::Comma].into_iter().find(|mark| mark.word() == word)
    }

    /// The sign itself.
    #[must_use]
    pub const fn sign(self) -> &'static str {
        match self {
            Self::Point => ".",
            Self::Comma => ",",
        }
    }

    /// A number with as many places as it needs: "0.05", "60".
    #[must_use]
    pub fn exact(self, value: f64) -> String {
        value.to_string().replace('.', self.sign())
    }

    /// A number with this many places and this sign; minus zero is zero.
    #[must_use]
    pub fn show(self, value: f64, places: usize) -> String {
        let text = format!("{value:.places$}");
        let text = match text.strip_prefix('-') {
            Some(rest) if rest.bytes().all(|b| b == b'0' || b == b'.') => rest.to_owned(),
            Some(rest) => format!("−{rest}"),
            None => text,
        };
        match self {
            Self::Point => text,
            Self::Comma => text.replace('.', ","),
        }
    }
}

/// A typed number: comma or point, spaces around, a leading plus or either minus sign. No exponents, no thousands signs.
/// `None` for anything else.
#[must_use]
pub fn typed_decimal(text: &str) -> Option<f64> {
    let text = text.trim().replace(['−', '–'], "-").replace(',', ".");
    let digits = text.strip_prefix(['-', '+']).unwrap_or(&text);
    let plain = !digits.is_empty()
        && digits.len() <= 18
        && digits.bytes().all(|b| b.is_ascii_digit() || b == b'.')
        && digits.bytes().filter(|b| *b == b'.').count() <= 1
        && digits.bytes().any(|b| b.is_ascii_digit());
    if plain { text.parse().ok().filter(|value: &f64| value.is_finite()) } else { None }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn comma_and_point_are_both_read() {
        for (typed, value) in
            [("21,5", Some(21.5)), ("21.5", Some(21.5)), (" +3 ", Some(3.0)), ("−2", Some(-2.0)), (".5", Some(0.5))]
        {
            assert_eq!(typed_decimal(typed), value, "{typed}");
        }
        for nonsense in ["", ".", "1e5", "NaN", "inf", "1.2.3", "1 000", "0x10", "٣", "9999999999999999999"] {
            assert_eq!(typed_decimal(nonsense), None, "{nonsense}");
        }
    }

    #[test]
    fn minus_zero_is_shown_as_zero() {
        assert_eq!(DecimalMark::Comma.show(-0.04, 1), "0,0");
        assert_eq!(DecimalMark::Point.show(-1.25, 1), "−1.2");
    }
}
