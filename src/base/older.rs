//! Lists shown a part at a time: where the rows stand that come after the last one shown. Nothing that was kept is out of reach.

use std::fmt::{self, Display};

use super::time::Instant;

/// The last row shown of a list that is sorted by instant and id, newest first: what is older comes after it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Before {
    /// Its instant.
    pub at: Instant,
    /// Its id, as text.
    pub id: String,
}

impl Before {
    /// Before everything: the list begins with its newest row.
    #[must_use]
    pub const fn anything() -> Self {
        Self { at: Instant(i64::MAX), id: String::new() }
    }

    /// After this row.
    pub fn row(at: Instant, id: impl Display) -> Self {
        Self { at, id: id.to_string() }
    }

    /// As it stands in an address; whatever else stands there begins with the newest row.
    #[must_use]
    pub fn asked(text: Option<&str>) -> Self {
        let row = text.and_then(|text| text.split_once('.')).and_then(|(at, id)| Some((at.parse().ok()?, id)));
        row.map_or_else(Self::anything, |(at, id)| Self::row(Instant(at), id))
    }
}

impl Display for Before {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{}", self.at.0, self.id)
    }
}

/// Cuts what was read, one row more than are shown, and says after which row the older ones come; `None` where there are none.
pub fn cut<T>(rows: &mut Vec<T>, shown: usize, place: impl Fn(&T) -> Before) -> Option<Before> {
    let goes_on = rows.len() > shown;
    rows.truncate(shown);
    rows.last().filter(|_| goes_on).map(place)
}

/// The rows of one page of a list that is at hand whole, the first page being 1, and the number of the next where there is one.
#[must_use]
pub fn page_of<T>(rows: Vec<T>, page: usize, shown: usize) -> (Vec<T>, Option<usize>) {
    let page = page.max(1);
    let from = (page - 1).saturating_mul(shown);
    let next = (rows.len() > from.saturating_add(shown)).then(|| page + 1);
    (rows.into_iter().skip(from).take(shown).collect(), next)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_leads_back_to_its_row_and_anything_else_to_the_newest() {
        let row = Before::row(Instant(-5), "0198-a");
        assert_eq!(Before::asked(Some(&row.to_string())), row);
        for odd in [None, Some(""), Some("5"), Some("x.y")] {
            assert_eq!(Before::asked(odd), Before::anything());
        }
    }

    #[test]
    fn the_parts_of_a_list_hold_every_row_once() {
        for many in 0..10_usize {
            let (mut seen, mut page) = (Vec::new(), Some(1));
            while let Some(number) = page {
                let (rows, next) = page_of((0..many).collect(), number, 3);
                assert!(rows.len() <= 3 && (next.is_none() || next == Some(number + 1)));
                seen.extend(rows);
                page = next;
            }
            assert_eq!(seen, (0..many).collect::<Vec<_>>());
        }
        assert_eq!(page_of(vec![1], 0, 3), (vec![1], None));
        assert_eq!(page_of(vec![1], usize::MAX, 3), (vec![], None));
    }

    #[test]
    fn a_list_goes_on_only_where_one_more_was_read() {
        let place = |n: &i64| Before::row(Instant(*n), n);
        let mut three = vec![9, 8, 7];
        assert_eq!(cut(&mut three.clone(), 3, place), None);
        assert_eq!(cut(&mut three, 2, place), Some(Before::row(Instant(8), 8)));
        assert_eq!(three, [9, 8]);
    }
}
