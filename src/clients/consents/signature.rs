//! A signature as strokes: points with their times, in thousandths of the field, so that it can be drawn anew at any size. Pure.

use serde::{Deserialize, Serialize};

/// The field is as wide as this in its own units.
pub const WIDTH: u32 = 3000;
/// And as high.
pub const HEIGHT: u32 = 1000;
/// More strokes are no signature.
const MOST_STROKES: usize = 300;
/// More points would not fit into a form.
const MOST_POINTS: usize = 3000;
/// A line shorter than this, in units of the field, is a slip of the finger.
const LEAST_LENGTH: u32 = 300;

/// Strokes in order; each is x, y and milliseconds since the first touch, again and again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Strokes(Vec<Vec<u32>>);

impl Strokes {
    /// Reads what the page sent.
    ///
    /// # Errors
    /// A sentence that says what is missing.
    pub fn read(text: &str) -> Result<Self, &'static str> {
        let strokes: Vec<Vec<u32>> =
            serde_json::from_str(text).map_err(|_| "The signature did not arrive as it was drawn. Sign again.")?;
        let points: usize = strokes.iter().map(|stroke| stroke.len() / 3).sum();
        let is_whole = strokes.iter().all(|stroke| !stroke.is_empty() && stroke.len() % 3 == 0);
        let inside = |stroke: &Vec<u32>| stroke.chunks(3).all(|point| point[0] <= WIDTH && point[1] <= HEIGHT);
        if !is_whole || !strokes.iter().all(inside) {
            return Err("The signature did not arrive as it was drawn. Sign again.");
        }
        if strokes.len() > MOST_STROKES || points > MOST_POINTS {
            return Err("That is more than a signature. Wipe it and sign again.");
        }
        let read = Self(strokes);
        if read.length() < LEAST_LENGTH { Err("Sign in the field, or type the name instead.") } else { Ok(read) }
    }

    /// How many strokes.
    #[must_use]
    pub fn count(&self) -> usize {
        self.0.len()
    }

    /// The path for an SVG of [`WIDTH`] by [`HEIGHT`]: a dot is a line of no length.
    #[must_use]
    pub fn path(&self) -> String {
        let mut path = String::new();
        for stroke in &self.0 {
            for (at, point) in stroke.chunks(3).enumerate() {
                let letter = if at == 0 { 'M' } else { 'L' };
                path.push_str(&format!("{letter}{} {}", point[0], point[1]));
            }
            if stroke.len() == 3 {
                path.push_str("h0");
            }
        }
        path
    }

    /// The way the pen went, each step as its longer side.
    fn length(&self) -> u32 {
        let of = |stroke: &Vec<u32>| {
            let points: Vec<&[u32]> = stroke.chunks(3).collect();
            points
                .windows(2)
                .map(|pair| pair[0][0].abs_diff(pair[1][0]).max(pair[0][1].abs_diff(pair[1][1])))
                .sum::<u32>()
        };
        self.0.iter().map(of).fold(0, u32::saturating_add)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strokes_are_kept_as_they_were_drawn() {
        let text = "[[100,200,0,500,300,40,900,250,80],[1200,100,400]]";
        let strokes = Strokes::read(text).unwrap();
        assert_eq!(strokes.count(), 2);
        assert_eq!(strokes.path(), "M100 200L500 300L900 250M1200 100h0");
        assert_eq!(serde_json::to_string(&strokes).unwrap(), text);
    }

    #[test]
    fn what_is_no_signature_is_refused_with_a_sentence() {
        let many = format!("[{}]", vec!["[1,1,0]"; 301].join(","));
        let long = format!("[[{}]]", vec!["1,1,0"; 3001].join(","));
        for text in [
            "",
            "x",
            "[]",
            "[[]]",
            "[[1,2]]",
            "[[1,2,3]]",
            "[[3001,0,0,0,0,1]]",
            "[[0,1001,0]]",
            "[[-1,0,0]]",
            "[[0,0,0,100,0,9]]",
            "[[1.5,0,0]]",
            "{\"a\":1}",
            many.as_str(),
            long.as_str(),
        ] {
            assert!(Strokes::read(text).is_err_and(|why| why.ends_with('.')), "{text:.40}");
        }
    }
}
