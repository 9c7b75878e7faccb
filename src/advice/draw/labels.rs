//! Words inside a picture that must not lie over each other: each takes the first place that is free and right for it.

/// A box in pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) right: f64,
    pub(super) foot: f64,
}

/// Height of a line of 13 px text with its air, and how far below its top the base line stands.
pub(super) const LINE: f64 = 17.0;
pub(super) const BASE: f64 = 13.0;
/// Widest a letter of 13 px is on average, in the system fonts tried; a label measured by it is rather too wide.
const LETTER: f64 = 7.3;

/// How wide a word is drawn, with a little air on both sides.
pub(super) fn width(words: &str) -> f64 {
    words.chars().count() as f64 * LETTER + 4.0
}

impl Place {
    /// The box of a word whose left end and top are here.
    pub(super) fn of(words: &str, left: f64, top: f64) -> Self {
        Self { left, top, right: left + width(words), foot: top + LINE }
    }

    fn meets(&self, other: &Self) -> bool {
        self.left < other.right && other.left < self.right && self.top < other.foot && other.top < self.foot
    }

    fn inside(&self, frame: &Self) -> bool {
        self.left >= frame.left && self.right <= frame.right && self.top >= frame.top && self.foot <= frame.foot
    }
}

/// What is taken already.
#[derive(Debug, Default)]
pub(super) struct Taken(Vec<Place>);

impl Taken {
    /// Nothing may stand here.
    pub(super) fn keep_off(&mut self, place: Place) {
        self.0.push(place);
    }

    /// A place for these words inside the frame: the wished ones first, then, nearest to the first wish, any on a grid
    /// that is `right`. `None` when there is none; then the words stand in caption and table only.
    pub(super) fn find(
        &mut self,
        words: &str,
        frame: &Place,
        wishes: &[(f64, f64)],
        right: impl Fn(&Place) -> bool,
    ) -> Option<Place> {
        let free = |place: &Place| place.inside(frame) && !self.0.iter().any(|taken| taken.meets(place));
        let wish = |(left, top): &(f64, f64)| Place::of(words, *left, *top);
        let wished = wishes.iter().map(wish).find(|place| free(place) && right(place));
        let found = wished.or_else(|| {
            let (x, y) = wishes.first().copied().unwrap_or((frame.left, frame.top));
            let steps = |from: f64, to: f64, by: f64| {
                (0..).map(move |n| from + by * f64::from(n)).take_while(move |at| *at <= to)
            };
            let mut grid: Vec<Place> = steps(frame.top, frame.foot - LINE, 8.0)
                .flat_map(|top| steps(frame.left, frame.right, 10.0).map(move |left| Place::of(words, left, top)))
                .filter(|place| free(place) && right(place))
                .collect();
            let far = |place: &Place| (place.left - x).powi(2) + (place.top - y).powi(2);
            grid.sort_by(|a, b| far(a).total_cmp(&far(b)));
            grid.first().copied()
        })?;
        self.0.push(found);
        Some(found)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FRAME: Place = Place { left: 0.0, top: 0.0, right: 200.0, foot: 60.0 };

    #[test]
    fn words_that_wish_the_same_place_stand_beside_each_other() {
        let mut taken = Taken::default();
        let first = taken.find("too slow", &FRAME, &[(10.0, 10.0)], |_| true).unwrap();
        let second = taken.find("too quick", &FRAME, &[(10.0, 10.0)], |_| true).unwrap();
        assert!((first.left - 10.0).abs() < 1e-9 && !first.meets(&second) && second.inside(&FRAME));
    }

    #[test]
    fn words_without_room_are_left_out() {
        let mut taken = Taken::default();
        taken.keep_off(FRAME);
        assert_eq!(taken.find("suits", &FRAME, &[(0.0, 0.0)], |_| true), None);
        assert_eq!(Taken::default().find("suits", &FRAME, &[(190.0, 0.0)], |_| false), None);
    }
}
