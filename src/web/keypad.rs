//! The keypad: what each key does to the numbers being typed. Pure; `static/js/keypad.js` does the same on the page,
//! so that a page with and without scripts behaves alike.
//!
//! Built for few taps: a number that has all its whole digits passes the turn to the next one, so 21 °C and 38 %RH
//! are four keys and *Keep*. The point goes back for a decimal: 2 1 . 4 3 8 writes 21.4 and 38.

/// A keypad and the numbers it writes into.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pad {
    /// The numbers, in the order in which they are typed. Never empty.
    pub rows: Vec<PadRow>,
    /// Whose turn it is, an index into `rows`.
    pub at: usize,
    /// The studio's decimal sign, shown on the key and written into the value: '.' or ','.
    pub point: char,
}

/// One number being typed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PadRow {
    /// Name in the form's body.
    pub name: &'static str,
    /// The label: "Temperature".
    pub label: String,
    /// The unit: "°C".
    pub unit: String,
    /// A small line under it: what it is compared with, or the last reading.
    pub hint: Option<String>,
    /// What has been typed so far.
    pub value: String,
    /// What is wrong with it, in a sentence.
    pub error: Option<String>,
    /// Whole digits after which the turn passes on.
    pub whole: usize,
    /// Digits allowed after the point; 0 for none.
    pub decimals: usize,
}

/// A key of the pad.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Key {
    /// 0 to 9.
    Digit(u8),
    /// The decimal point, whichever sign it shows.
    Point,
    /// Empties the number whose turn it is, or the one before if that is empty already.
    Wipe,
}

impl Key {
    /// Reads the value a key of the form sends: "0" to "9", "point", "wipe".
    #[must_use]
    pub fn parse(sent: &str) -> Option<Self> {
        match sent {
            "point" => Some(Self::Point),
            "wipe" => Some(Self::Wipe),
            _ => match sent.as_bytes() {
                [digit @ b'0'..=b'9'] => Some(Self::Digit(digit - b'0')),
                _ => None,
            },
        }
    }
}

impl Pad {
    /// False where every number is whole: then there is no key for a point.
    #[must_use]
    pub fn has_decimals(&self) -> bool {
        self.rows.iter().any(|row| row.decimals > 0)
    }

    /// Does what one key does.
    pub fn press(&mut self, key: Key) {
        self.at = self.at.min(self.rows.len().saturating_sub(1));
        match key {
            Key::Digit(digit) => self.digit(char::from(b'0' + digit.min(9))),
            Key::Point => self.point(),
            Key::Wipe => self.wipe(),
        }
    }

    fn digit(&mut self, digit: char) {
        if self.full(self.at) && !self.pass_on() {
            return;
        }
        let Some(row) = self.rows.get_mut(self.at) else { return };
        row.value.push(digit);
        if self.full(self.at) {
            self.pass_on();
        }
    }

    fn point(&mut self) {
        let takes = |pad: &Self, at: usize| {
            pad.rows.get(at).is_some_and(|row| row.decimals > 0 && !row.value.is_empty() && !has_point(&row.value))
        };
        let came_too_far = self.at > 0 && self.rows.get(self.at).is_some_and(|row| row.value.is_empty());
        if came_too_far && takes(self, self.at - 1) {
            self.at -= 1;
        }
        if takes(self, self.at) {
            let sign = self.point;
            self.rows[self.at].value.push(sign);
        }
    }

    fn wipe(&mut self) {
        if self.at > 0 && self.rows.get(self.at).is_some_and(|row| row.value.is_empty()) {
            self.at -= 1;
        }
        if let Some(row) = self.rows.get_mut(self.at) {
            row.value.clear();
        }
    }

    /// True where the number at `at` takes no further digit: its whole digits are there, or its decimals.
    fn full(&self, at: usize) -> bool {
        let Some(row) = self.rows.get(at) else { return true };
        match row.value.split_once(['.', ',']) {
            Some((_, decimals)) => decimals.chars().count() >= row.decimals,
            None => row.value.chars().count() >= row.whole,
        }
    }

    /// Gives the turn to the next number; false where this was the last, or where the next is already there.
    fn pass_on(&mut self) -> bool {
        let next = self.at + 1;
        if next < self.rows.len() && !self.full(next) {
            self.at = next;
            return true;
        }
        false
    }
}

fn has_point(value: &str) -> bool {
    value.contains(['.', ','])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading() -> Pad {
        let temperature = PadRow { name: "temperature", whole: 2, decimals: 1, ..PadRow::default() };
        let humidity = PadRow { name: "humidity", whole: 2, decimals: 1, ..PadRow::default() };
        Pad { rows: vec![temperature, humidity], at: 0, point: '.' }
    }

    fn check(keys: &str, temperature: &str, humidity: &str) {
        let mut pad = reading();
        for key in keys.split(' ') {
            let key = match key {
                "." => Key::Point,
                "w" => Key::Wipe,
                other => Key::parse(other).expect("a key of the pad"),
            };
            pad.press(key);
        }
        let typed: Vec<&str> = pad.rows.iter().map(|row| row.value.as_str()).collect();
        assert_eq!(typed, [temperature, humidity], "after {keys}");
    }

    #[test]
    fn a_reading_in_whole_numbers_is_four_keys() {
        check("2 1 3 8", "21", "38");
    }

    #[test]
    fn the_point_goes_back_for_a_decimal_and_the_turn_passes_on_after_it() {
        check("2 1 . 4 3 8", "21.4", "38");
        check("2 1 . 4 3 8 . 5", "21.4", "38.5");
    }

    #[test]
    fn keys_that_would_make_no_number_do_nothing() {
        check(". 2 1", "21", "");
        check("2 1 . . 4", "21.4", "");
        check("2 1 3 8 9", "21", "38");
        check("2 1 3 8 . 5 . 5 7", "21", "38.5");
    }

    #[test]
    fn whole_numbers_need_no_point() {
        let mut pad = Pad { rows: vec![PadRow { name: "placed", whole: 3, ..PadRow::default() }], at: 0, point: '.' };
        assert!(reading().has_decimals() && !pad.has_decimals());
        for key in [Key::Digit(4), Key::Point, Key::Digit(2)] {
            pad.press(key);
        }
        assert_eq!(pad.rows[0].value, "42");
    }

    #[test]
    fn wipe_empties_this_number_then_the_one_before() {
        check("2 1 3 8 w", "21", "");
        check("2 1 3 8 w w", "", "");
        check("2 1 3 8 w w 1 9 4 0", "19", "40");
        check("w w 2", "2", "");
    }

    #[test]
    fn a_corrected_first_number_does_not_run_into_a_finished_second() {
        let mut pad = reading();
        pad.rows[1].value = "38".into();
        for key in [Key::Digit(2), Key::Digit(2), Key::Digit(5)] {
            pad.press(key);
        }
        assert_eq!(pad.rows[0].value, "22");
        assert_eq!(pad.rows[1].value, "38");
    }

    #[test]
    fn the_comma_is_written_where_the_studio_writes_commas() {
        let mut pad = Pad { point: ',', ..reading() };
        for key in [Key::Digit(2), Key::Digit(1), Key::Point, Key::Digit(4)] {
            pad.press(key);
        }
        assert_eq!(pad.rows[0].value, "21,4");
    }

    #[test]
    fn only_the_keys_of_the_pad_are_keys() {
        assert_eq!(Key::parse("7"), Some(Key::Digit(7)));
        assert_eq!(Key::parse("point"), Some(Key::Point));
        assert_eq!(Key::parse("wipe"), Some(Key::Wipe));
        for other in ["", "10", "-", "keep", "٣"] {
            assert_eq!(Key::parse(other), None, "{other}");
        }
    }

    #[test]
    fn a_turn_beyond_the_last_number_is_brought_back() {
        let mut pad = Pad { at: 9, ..reading() };
        pad.press(Key::Digit(4));
        assert_eq!(pad.rows[1].value, "4");
    }
}
