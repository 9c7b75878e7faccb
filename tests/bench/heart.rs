//! Speed of the heart on one core: `cargo bench --bench heart`.
//!
//! Measured is processor time, not the clock on the wall: the figures then mean the same on a machine that is busy
//! with something else.

use std::hint::black_box;
use std::time::Duration;

use criterion::measurement::{Measurement, ValueFormatter, WallTime};
use criterion::{Criterion, criterion_group, criterion_main};
use stillroom::adhesives::set_time::{Label, Posterior, Prior, Scatter, SetTest, Sums, TestPiece};
use stillroom::adhesives::{Air, AirDoubt, Bead, Conditions, Liquids, PickUp};
use stillroom::advice::band::working_band;
use stillroom::advice::judge::{CureClass, Limits, Question, RoomDraws, RoomNow, ShelfBottle, Verdict, Work, judge};
use stillroom::advice::options::options;
use stillroom::advice::surest::surest_next_step;
use stillroom::artists::Technique;
use stillroom::artists::hands::{Hands, Timing};
use stillroom::base::units::{Celsius, HumidityDoubt, RelHumidity, Seconds, TemperatureDoubt};

/// Time this thread has spent on a processor, as Linux counts it.
struct ProcessorTime;

impl ProcessorTime {
    fn now() -> Duration {
        let text = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
        let nanoseconds = text.split(' ').next().and_then(|n| n.parse().ok());
        Duration::from_nanos(nanoseconds.expect("this bench reads Linux's /proc/thread-self/schedstat"))
    }
}

impl Measurement for ProcessorTime {
    type Intermediate = Duration;
    type Value = Duration;

    fn start(&self) -> Duration {
        Self::now()
    }
    fn end(&self, start: Duration) -> Duration {
        // At least a nanosecond: the kernel counts in steps, and the statistics divide by this.
        (Self::now() - start).max(Duration::from_nanos(1))
    }
    fn add(&self, a: &Duration, b: &Duration) -> Duration {
        *a + *b
    }
    fn zero(&self) -> Duration {
        Duration::ZERO
    }
    fn to_f64(&self, value: &Duration) -> f64 {
        WallTime.to_f64(value)
    }
    fn formatter(&self) -> &dyn ValueFormatter {
        WallTime.formatter()
    }
}

fn s(x: f64) -> Seconds {
    Seconds::clamped(x)
}

fn air(t: f64, h: f64) -> Air {
    Air { temperature: Celsius::clamped(t), humidity: RelHumidity::clamped(h) }
}

/// Deterministic wobble around 1.
fn wobble(i: u32) -> f64 {
    1.0 + 0.3 * (f64::from(i) * 2.399).sin()
}

fn tests(count: u32, base: f64) -> Vec<SetTest> {
    (0..count)
        .map(|i| SetTest {
            session: i / 5,
            set: s(base * wobble(i)),
            nudge_every: Some(s(0.2)),
            piece: TestPiece::PracticeLash,
            conditions: Conditions {
                air: air(19.0 + f64::from(i % 6), 30.0 + f64::from(i % 9) * 4.0),
                bead: Bead::ALL[(i % 3) as usize],
                liquids: Liquids::NONE,
                days_open: f64::from(i % 30),
            },
        })
        .collect()
}

fn shelf() -> Vec<ShelfBottle> {
    (0..12)
        .map(|i| {
            let low = 0.5 + 0.4 * f64::from(i);
            let label = Label::window(s(low), s(low * 1.7), None);
            ShelfBottle::from_tests(format!("Bottle {i}"), label.as_ref(), &tests(6, low * 1.3), &[], 5.0)
        })
        .collect()
}

fn hands() -> Hands {
    let timings: Vec<Timing> = (0..60)
        .map(|i| Timing { session: i / 20, travel: s(2.4 * wobble(i)), settle: s(1.1 * wobble(i + 7)) })
        .collect();
    Hands::from_timings(&timings)
}

fn heart(c: &mut Criterion<ProcessorTime>) {
    let (shelf, hands, any_adhesive) = (shelf(), hands(), Scatter::of_any_adhesive());
    let classes: Vec<CureClass> = [(0.5, 1.0), (1.0, 2.0), (2.0, 3.0), (3.0, 5.0), (5.0, 8.0)]
        .iter()
        .filter_map(|(low, high)| CureClass::new(s(*low), s(*high)))
        .collect();
    let question = Question {
        hands: &hands,
        room: RoomNow {
            air: air(21.0, 38.0),
            doubt: AirDoubt { temperature: TemperatureDoubt::clamped(0.5), humidity: HumidityDoubt::clamped(2.5) },
        },
        work: Work {
            technique: Technique::Classic,
            placements_per_set: 180,
            bead: Bead::Medium,
            pick_up: Some(PickUp::Ball),
            liquids: Liquids::NONE,
        },
        classes: &classes,
        any_adhesive: &any_adhesive,
        bottles: &shelf,
        not_today: &[],
        daily: None,
        limits: Limits::default(),
    };
    c.bench_function("judge one artist, 12 bottles, 5 classes", |b| b.iter(|| judge(black_box(&question))));
    c.bench_function("day sheet: 12 artists in 4 rooms, 12 bottles, 5 classes", |b| {
        b.iter(|| {
            for room in 0..4 {
                let room = RoomNow { air: air(20.0 + f64::from(room), 34.0), ..question.room };
                let drawn = RoomDraws::of(&Question { room, ..question });
                for _ in 0..12 {
                    black_box(drawn.judge(black_box(&Question { room, ..question })));
                }
            }
        });
    });
    // One quick bottle for slow hands: nothing fits, so every option is looked for.
    let misfit = Question { bottles: &shelf[..1], ..question };
    let judged = judge(&misfit);
    assert!(!options(&misfit, &judged).offers.is_empty(), "this bench is about options that are offered");
    c.bench_function("options and next step where nothing fits", |b| {
        b.iter(|| (options(black_box(&misfit), &judged), surest_next_step(&misfit, &judged)));
    });
    c.bench_function("working band of one bottle", |b| b.iter(|| working_band(black_box(&question), 3, Verdict::Fits)));
    let (prior, many) = (Prior::from_label(None), tests(200, 2.0));
    c.bench_function("posterior of 200 bench tests", |b| b.iter(|| Posterior::of(&prior, &Sums::of(black_box(&many)))));
    c.bench_function("hands from 60 timings", |b| {
        let timings: Vec<Timing> = (0..60)
            .map(|i| Timing { session: i / 20, travel: s(2.4 * wobble(i)), settle: s(1.1 * wobble(i + 7)) })
            .collect();
        b.iter(|| Hands::from_timings(black_box(&timings)));
    });
}

criterion_group! {
    name = benches;
    config = Criterion::default().with_measurement(ProcessorTime).sample_size(40);
    targets = heart
}
criterion_main!(benches);
