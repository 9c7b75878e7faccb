//! Many readings as one short line.

use super::Point;
use crate::base::chart::PathData;

/// The readings as path data, broken where two are further apart than `joined_within`.
///
/// Where one pixel column holds several readings of a run, their lowest and highest are drawn in the order in which
/// they came: no peak is lost, and the picture stays small however many readings there are.
pub(super) fn path(kept: &[Point], joined_within: i64, x_of: impl Fn(i64) -> f64, y_of: impl Fn(f64) -> f64) -> String {
    let mut path = PathData::default();
    let mut column: Option<Column> = None;
    let mut before: Option<i64> = None;
    let mut joined = false;
    for &(at, value) in kept {
        let point = (x_of(at), y_of(value));
        let gap = before.is_none_or(|before| at - before > joined_within);
        before = Some(at);
        column = match column {
            Some(same) if !gap && same.holds(point.0) => Some(same.with(point)),
            full => {
                if let Some(full) = full {
                    full.draw(&mut path, joined);
                }
                joined = !gap;
                Some(Column { first: point, second: None, px: point.0.floor() })
            }
        };
    }
    if let Some(full) = column {
        full.draw(&mut path, joined);
    }
    path.finish()
}

/// One or two points of a pixel column, in the order of time.
struct Column {
    px: f64,
    first: (f64, f64),
    second: Option<(f64, f64)>,
}

impl Column {
    fn holds(&self, x: f64) -> bool {
        (self.px..self.px + 1.0).contains(&x)
    }

    /// Keeps the lowest and the highest of three points, the later one second.
    fn with(self, point: (f64, f64)) -> Column {
        let Some(second) = self.second else { return Column { second: Some(point), ..self } };
        let three = [self.first, second, point];
        let index = |better: fn(f64, f64) -> bool| {
            (1..3).fold(0, |best, next| if better(three[next].1, three[best].1) { next } else { best })
        };
        let (top, foot) = (index(|a, b| a < b), index(|a, b| a > b));
        if top == foot {
            Column { second: None, ..self }
        } else {
            Column { first: three[top.min(foot)], second: Some(three[top.max(foot)]), ..self }
        }
    }

    fn draw(&self, path: &mut PathData, joined: bool) {
        if joined {
            path.line_to(self.first.0, self.first.1);
        } else {
            path.begin(self.first.0, self.first.1);
        }
        if let Some(second) = self.second {
            path.line_to(second.0, second.1);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(points: &[Point]) -> String {
        path(points, 10, |at| at as f64 / 10.0, |value| value)
    }

    #[test]
    fn a_line_breaks_where_readings_are_missing() {
        assert_eq!(drawn(&[(0, 1.0), (10, 2.0), (30, 3.0), (40, 3.0)]), "M0 1l1 1M3 3l1 0");
        assert_eq!(drawn(&[(0, 1.0), (30, 2.0)]), "M0 1h1M3 2h1");
        assert_eq!(drawn(&[]), "");
    }

    #[test]
    fn a_crowded_pixel_keeps_its_lowest_and_highest_in_their_order() {
        assert_eq!(drawn(&[(0, 5.0), (2, 9.0), (4, 6.0), (6, 1.0), (8, 4.0), (10, 5.0)]), "M.2 9l.4-8 .4 4");
    }

    #[test]
    fn a_flat_crowd_is_one_point() {
        assert_eq!(drawn(&[(0, 5.0), (2, 5.0), (4, 5.0), (10, 5.0)]), "M0 5l1 0");
    }
}
