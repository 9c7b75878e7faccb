//! Numbers as people type and read them: comma or point, the studio's decimal sign on pages, a minus and no hyphen.

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

    /// A number with as many places as it needs: "0.05", "60", "−20".
    #[must_use]
    pub fn exact(self, value: f64) -> String {
        self.written(&value.to_string())
    }

    /// A number with this many places and this sign; minus zero is zero.
    #[must_use]
    pub fn show(self, value: f64, places: usize) -> String {
        self.written(&format!("{value:.places$}"))
    }

    /// A number as machines write it, "-4.5", as people read it.
    fn written(self, plain: &str) -> String {
        let marked = |digits: &str| digits.replace('.', self.sign());
        match plain.strip_prefix('-') {
            Some(digits) if digits.bytes().all(|b| b == b'0' || b == b'.') => marked(digits),
            Some(digits) => format!("−{}", marked(digits)),
            None => marked(plain),
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
        assert_eq!(DecimalMark::Point.exact(-0.0), "0");
    }

    #[test]
    fn what_is_shown_below_zero_has_a_minus_and_is_read_again() {
        for (mark, exact, shown) in [(DecimalMark::Point, "−4.5", "−4.50"), (DecimalMark::Comma, "−4,5", "−4,50")]
        {
            assert_eq!((mark.exact(-4.5).as_str(), mark.show(-4.5, 2).as_str()), (exact, shown));
            assert_eq!((typed_decimal(exact), typed_decimal(shown)), (Some(-4.5), Some(-4.5)));
        }
        assert_eq!(DecimalMark::Point.exact(-20.0), "−20");
        assert_eq!(typed_decimal("-20"), typed_decimal("−20"));
    }
}
