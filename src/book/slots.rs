//! Free time: where an appointment of so many minutes still has room. Pure; spans are half-open, so that one appointment may
//! begin in the instant in which another ends.

use crate::base::time::{Instant, MINUTE};

/// A span of time, from its first instant up to and without its last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Span {
    /// Its first instant.
    pub from: Instant,
    /// The first instant after it.
    pub to: Instant,
}

impl Span {
    /// A span; an end before its beginning makes it empty.
    #[must_use]
    pub fn new(from: Instant, to: Instant) -> Self {
        Self { from, to: to.max(from) }
    }

    /// Whether two spans share an instant.
    #[must_use]
    pub fn overlaps(&self, other: &Self) -> bool {
        self.from < other.to && other.from < self.to && !self.is_empty() && !other.is_empty()
    }

    /// Whether it holds no instant.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.from >= self.to
    }

    /// Whether the other lies wholly inside.
    #[must_use]
    pub fn holds(&self, other: &Self) -> bool {
        self.from <= other.from && other.to <= self.to
    }
}

/// Spans in order that neither overlap nor touch.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Spans(Vec<Span>);

impl Spans {
    /// Puts spans in order and joins those that overlap or touch.
    #[must_use]
    pub fn of(spans: impl IntoIterator<Item = Span>) -> Self {
        let mut sorted: Vec<Span> = spans.into_iter().filter(|span| !span.is_empty()).collect();
        sorted.sort();
        let mut joined: Vec<Span> = Vec::with_capacity(sorted.len());
        for span in sorted {
            match joined.last_mut() {
                Some(last) if span.from <= last.to => last.to = last.to.max(span.to),
                _ => joined.push(span),
            }
        }
        Self(joined)
    }

    /// The spans, in order.
    #[must_use]
    pub fn as_slice(&self) -> &[Span] {
        &self.0
    }

    /// What of these is not taken.
    #[must_use]
    pub fn without(&self, taken: &Self) -> Self {
        let mut left = Vec::with_capacity(self.0.len() + taken.0.len());
        let mut next = 0;
        for whole in &self.0 {
            // What ended before this span ended before all that follow.
            while taken.0.get(next).is_some_and(|busy| busy.to <= whole.from) {
                next += 1;
            }
            let mut from = whole.from;
            for busy in taken.0[next..].iter().take_while(|busy| busy.from < whole.to) {
                left.push(Span::new(from, busy.from));
                from = from.max(busy.to);
            }
            left.push(Span::new(from, whole.to));
        }
        Self::of(left)
    }

    /// What both hold.
    #[must_use]
    pub fn and(&self, other: &Self) -> Self {
        let mut shared = Vec::new();
        let (mut a, mut b) = (0, 0);
        while let (Some(x), Some(y)) = (self.0.get(a), other.0.get(b)) {
            shared.push(Span::new(x.from.max(y.from), x.to.min(y.to)));
            if x.to < y.to { a += 1 } else { b += 1 }
        }
        Self::of(shared)
    }

    /// Whether a span lies wholly inside one of these.
    #[must_use]
    pub fn hold(&self, span: &Span) -> bool {
        let at = self.0.partition_point(|own| own.to < span.to);
        self.0.get(at).is_some_and(|own| own.holds(span))
    }
}

/// How long something takes: the work itself, and the time kept free before and after it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Length {
    /// Minutes of the visit.
    pub minutes: i64,
    /// Minutes kept free before it.
    pub before: i64,
    /// Minutes kept free after it.
    pub after: i64,
}

impl Length {
    /// The visit itself when it begins at an instant.
    #[must_use]
    pub fn visit(&self, from: Instant) -> Span {
        Span::new(from, from.plus(self.minutes * MINUTE))
    }

    /// What it takes of artist and bed, buffers included.
    #[must_use]
    pub fn busy(&self, from: Instant) -> Span {
        Span::new(from.plus(-self.before * MINUTE), from.plus((self.minutes + self.after) * MINUTE))
    }
}

/// Beginnings that fit: every `step` minutes of the clock (counted from `origin`, the start of a civil day), at most `most`.
/// `open` holds the visit itself - hours of the house and of the artist - and `free` the whole of it with its buffers.
#[must_use]
pub fn beginnings(
    open: &Spans,
    free: &Spans,
    length: &Length,
    step: i64,
    origin: Instant,
    most: usize,
) -> Vec<Instant> {
    let step = step.max(1) * MINUTE;
    let mut found = Vec::new();
    for whole in &open.0 {
        let first =
            whole.from.since(origin).div_euclid(step) + i64::from(whole.from.since(origin).rem_euclid(step) != 0);
        let mut at = origin.plus(first * step);
        while length.visit(at).to <= whole.to {
            if found.len() >= most {
                return found;
            }
            if free.hold(&length.busy(at)) {
                found.push(at);
            }
            at = at.plus(step);
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn at(minutes: i64) -> Instant {
        Instant(minutes * MINUTE)
    }

    fn span(from: i64, to: i64) -> Span {
        Span::new(at(from), at(to))
    }

    const SET: Length = Length { minutes: 120, before: 10, after: 15 };

    #[test]
    fn one_appointment_may_begin_when_another_ends() {
        assert!(!span(0, 60).overlaps(&span(60, 120)));
        assert!(span(0, 61).overlaps(&span(60, 120)));
        assert!(!span(5, 5).overlaps(&span(0, 10)), "an empty span meets nothing");
    }

    #[test]
    fn spans_that_touch_are_one_and_what_is_taken_is_cut_out() {
        let day = Spans::of([span(600, 720), span(540, 600), span(780, 1080)]);
        assert_eq!(day.as_slice(), [span(540, 720), span(780, 1080)]);
        let left = day.without(&Spans::of([span(560, 580), span(700, 800), span(1000, 2000)]));
        assert_eq!(left.as_slice(), [span(540, 560), span(580, 700), span(800, 1000)]);
        assert_eq!(day.and(&Spans::of([span(700, 790)])).as_slice(), [span(700, 720), span(780, 790)]);
    }

    #[test]
    fn buffers_may_lie_outside_the_hours_but_never_in_another_appointment() {
        let hours = Spans::of([span(540, 720)]);
        let found = beginnings(&hours, &Spans::of([span(0, 1440)]), &SET, 15, at(0), 100);
        assert_eq!(found, [540, 555, 570, 585, 600].map(at));
        let free = Spans::of([span(0, 1440)]).without(&Spans::of([span(700, 760)]));
        assert_eq!(beginnings(&hours, &free, &SET, 15, at(0), 100), [540, 555].map(at));
        assert_eq!(beginnings(&hours, &free, &SET, 15, at(0), 1), [at(540)]);
    }

    proptest! {
        #[test]
        fn whatever_is_found_fits_and_nothing_that_fits_is_missed(
            hours in proptest::collection::vec((0i64..1440, 1i64..400), 1..5),
            taken in proptest::collection::vec((0i64..1440, 1i64..200), 0..12),
            minutes in 10i64..240, before in 0i64..30, after in 0i64..30, step in prop::sample::select(vec![5i64, 10, 15, 30]),
        ) {
            let open = Spans::of(hours.iter().map(|(from, long)| span(*from, from + long)));
            let busy: Vec<Span> = taken.iter().map(|(from, long)| span(*from, from + long)).collect();
            let free = Spans::of([span(-1000, 4000)]).without(&Spans::of(busy.clone()));
            let length = Length { minutes, before, after };
            let found = beginnings(&open, &free, &length, step, at(0), 10_000);
            for start in (-120..2000).filter(|start| start % step == 0).map(at) {
                let inside = open.as_slice().iter().any(|own| own.holds(&length.visit(start)));
                let clear = busy.iter().all(|other| !other.overlaps(&length.busy(start)));
                prop_assert_eq!(found.contains(&start), inside && clear, "{:?}", start);
            }
        }
    }
}
