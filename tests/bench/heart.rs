//! Speed of the heart on one core: `cargo bench --bench heart`.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use stillroom::adhesives::set_time::{Label, Posterior, Prior, Scatter, SetTest, Sums, TestPiece};
use stillroom::adhesives::{Air, AirDoubt, Bead, Conditions, Liquids, PickUp};
use stillroom::advice::band::working_band;
use stillroom::advice::judge::{CureClass, Limits, Question, RoomDraws, RoomNow, ShelfBottle, Verdict, Work, judge};
use stillroom::advice::options::options;
use stillroom::advice::surest::surest_next_step;
use stillroom::artists::Technique;
use stillroom::artists::hands::{Hands, Timing};
use stillroom::base::units::{Celsius, RelHumidity, Seconds};

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

fn heart(c: &mut Criterion) {
    let (shelf, hands, any_adhesive) = (shelf(), hands(), Scatter::of_any_adhesive());
    let classes: Vec<CureClass> = [(0.5, 1.0), (1.0, 2.0), (2.0, 3.0), (3.0, 5.0), (5.0, 8.0)]
        .iter()
        .filter_map(|(low, high)| CureClass::new(s(*low), s(*high)))
        .collect();
    let question = Question {
        hands: &hands,
        room: RoomNow { air: air(21.0, 38.0), doubt: AirDoubt { temperature_k: 0.5, humidity_pct: 2.5 } },
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
    let judged = judge(&question);
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
    c.bench_function("options and next step of that judgement", |b| {
        b.iter(|| (options(black_box(&question), &judged), surest_next_step(&question, &judged)));
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

criterion_group!(benches, heart);
criterion_main!(benches);
