//! Checks of the whole model by the directions it must show and by plain arithmetic on small cases.

use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;

use super::prior::PRODUCT_SD;
use super::*;
use crate::adhesives::{Air, AirDoubt, Bead, Conditions, Liquid, Liquids};
use crate::base::units::{Celsius, HumidityDoubt, RelHumidity, Seconds, TemperatureDoubt};

fn s(x: f64) -> Seconds {
    Seconds::new(x).unwrap()
}

fn at(t: f64, h: f64, bead: Bead, liquids: Liquids, days_open: f64) -> Conditions {
    let air = Air { temperature: Celsius::new(t).unwrap(), humidity: RelHumidity::new(h).unwrap() };
    Conditions { air, bead, liquids, days_open }
}

fn plain() -> Conditions {
    at(22.0, 50.0, Bead::Medium, Liquids::NONE, 0.0)
}

fn test(session: u32, set: f64, nudge: Option<f64>, conditions: Conditions) -> SetTest {
    SetTest { session, set: s(set), nudge_every: nudge.map(s), piece: TestPiece::PracticeLash, conditions }
}

fn some_tests() -> Vec<SetTest> {
    let primer = Liquids::NONE.with(Liquid::AlcoholPrimer);
    vec![
        test(1, 1.7, Some(0.2), at(21.0, 40.0, Bead::Medium, Liquids::NONE, 3.0)),
        test(1, 1.9, Some(0.2), at(21.0, 40.0, Bead::Medium, Liquids::NONE, 3.0)),
        test(1, 1.6, None, at(21.0, 40.0, Bead::Full, Liquids::NONE, 3.0)),
        test(2, 1.3, None, at(23.0, 55.0, Bead::Medium, Liquids::NONE, 9.0)),
        test(2, 1.1, None, at(23.0, 55.0, Bead::Thin, primer, 9.0)),
        test(3, 2.6, Some(0.5), at(19.0, 33.0, Bead::Medium, Liquids::NONE, 12.0)),
    ]
}

/// Mean and covariance at one scatter, and the log evidence, from the tests' full covariance matrix: slow and plain.
fn by_full_matrix(prior: &Prior, tests: &[SetTest], sigma: f64) -> (DVector<f64>, DMatrix<f64>, f64) {
    let n = tests.len();
    let x = DMatrix::from_fn(n, PARAMETERS, |i, j| row(&tests[i].conditions)[j]);
    let y = DVector::from_fn(n, |i, _| tests[i].ln_time().0);
    let v = DMatrix::from_fn(n, n, |i, j| {
        let shared = if tests[i].session == tests[j].session { SESSION_SD.powi(2) } else { 0.0 };
        shared + if i == j { sigma * sigma + tests[i].ln_time().1 } else { 0.0 }
    });
    let mean = DVector::from_fn(PARAMETERS, |i, _| prior.mean[i]);
    let mut c = DMatrix::from_diagonal(&DVector::from_fn(PARAMETERS, |i, _| prior.variance[i]));
    c[(0, 0)] += BOTTLE_SD * BOTTLE_SD;
    let of_y = &x * &c * x.transpose() + v;
    let root = of_y.clone().cholesky().unwrap();
    let off = &y - &x * &mean;
    let gain = &c * x.transpose() * root.inverse();
    let evidence = -0.5 * (root.ln_determinant() + off.dot(&root.solve(&off)));
    (mean + &gain * off, &c - gain * x * c.clone(), evidence)
}

#[test]
fn sums_give_what_the_full_matrix_gives_at_every_scatter() {
    let label = Label::window(s(1.0), s(2.0), None);
    let prior = Prior::from_label(label.as_ref());
    let tests = some_tests();
    let bottle = Posterior::of(&prior, &Sums::of(&tests));
    let mut logs = Vec::new();
    for (i, scatter) in bottle.scatters().iter().enumerate() {
        let (mean, covariance, evidence) = by_full_matrix(&prior, &tests, scatter.sigma);
        logs.push(evidence + scatter_prior(i));
        for j in 0..PARAMETERS {
            assert!((scatter.mean[j] - mean[j]).abs() < 1e-9, "mean {j}");
            for k in 0..PARAMETERS {
                assert!((scatter.covariance[(j, k)] - covariance[(j, k)]).abs() < 1e-9, "covariance {j} {k}");
            }
        }
    }
    for (scatter, weight) in bottle.scatters().iter().zip(crate::base::stats::mixture::weights_from_logs(&logs)) {
        assert!((scatter.weight - weight).abs() < 1e-9);
    }
}

#[test]
fn a_sister_bottle_enters_exactly_as_the_full_matrix_says() {
    let prior = Prior::from_label(None);
    let all = some_tests();
    let (own, sister) = all.split_at(3);
    let bottle = Posterior::with_siblings(&prior, &[&Sums::of(sister)], &Sums::of(own));
    let n = all.len();
    let of_own = |i: usize| i < own.len();
    let x = DMatrix::from_fn(n, PARAMETERS, |i, j| row(&all[i].conditions)[j]);
    let y = DVector::from_fn(n, |i, _| all[i].ln_time().0);
    let mean = DVector::from_fn(PARAMETERS, |i, _| prior.mean[i]);
    let c = DMatrix::from_diagonal(&DVector::from_fn(PARAMETERS, |i, _| prior.variance[i]));
    // What is asked for is the product's parameters with this bottle's own deviation in the reference.
    let with_y = DMatrix::from_fn(PARAMETERS, n, |p, i| {
        (&c * x.transpose())[(p, i)] + if p == 0 && of_own(i) { BOTTLE_SD.powi(2) } else { 0.0 }
    });
    let mut own_c = c.clone();
    own_c[(0, 0)] += BOTTLE_SD.powi(2);
    let mut logs = Vec::new();
    for (k, scatter) in bottle.scatters().iter().enumerate() {
        let of_y = &x * &c * x.transpose()
            + DMatrix::from_fn(n, n, |i, j| {
                let bottle = if of_own(i) == of_own(j) { BOTTLE_SD.powi(2) } else { 0.0 };
                let sitting = all[i].session == all[j].session && of_own(i) == of_own(j);
                let noise = if i == j { scatter.sigma.powi(2) + all[i].ln_time().1 } else { 0.0 };
                bottle + noise + if sitting { SESSION_SD.powi(2) } else { 0.0 }
            });
        let root = of_y.cholesky().unwrap();
        let off = &y - &x * &mean;
        logs.push(scatter_prior(k) - 0.5 * (root.ln_determinant() + off.dot(&root.solve(&off))));
        let expected = &mean + &with_y * root.solve(&off);
        let covariance = &own_c - &with_y * root.solve(&with_y.transpose());
        for p in 0..PARAMETERS {
            assert!((scatter.mean[p] - expected[p]).abs() < 1e-9, "mean {p}");
            assert!((scatter.covariance[(p, p)] - covariance[(p, p)]).abs() < 1e-9, "variance {p}");
        }
    }
    for (scatter, weight) in bottle.scatters().iter().zip(crate::base::stats::mixture::weights_from_logs(&logs)) {
        assert!((scatter.weight - weight).abs() < 1e-9);
    }
}

#[test]
fn a_sister_bottle_tells_about_the_product_but_not_about_this_bottles_own_deviation() {
    let prior = Prior::from_label(None);
    let many: Vec<SetTest> = (0..200).map(|i| test(i, 2.0, None, plain())).collect();
    let sister = Sums::of(&many);
    let bottle = Posterior::with_siblings(&prior, &[&sister], &Sums::none());
    let (mean, sd) = bottle.parameter(Parameter::Reference);
    // Two hundred tests of the sister pin her down, so that θ of this one differs by two bottles' deviations:
    // the sister's own, seen through the prior of the product, and this one's.
    assert!((mean - 2.0_f64.ln()).abs() < 0.02, "{mean}");
    let both = (BOTTLE_SD.powi(2) * 2.0).sqrt();
    assert!((sd - both).abs() < 0.01, "{sd} against {both}");
    assert_eq!((bottle.tests, bottle.sibling_tests), (0, 200));
}

#[test]
fn all_products_together_give_what_the_full_matrix_gives_of_air_bead_and_liquids() {
    let prior = Prior::from_label(None);
    let all = some_tests();
    // Product 0: two bottles; product 1: one.
    let bottle_of = [0, 0, 0, 1, 1, 2];
    let product_of = [0, 0, 0, 0, 0, 1];
    let sums = |bottle: usize| {
        Sums::of(&all.iter().zip(bottle_of).filter(|(_, of)| *of == bottle).map(|(t, _)| *t).collect::<Vec<_>>())
    };
    let (mut first, mut second) = (ProductSums::none(), ProductSums::none());
    first.add_bottle(&sums(0));
    first.add_bottle(&sums(1));
    second.add_bottle(&sums(2));
    let pooled = Posterior::pooled([&first, &second]);
    assert_eq!((first.tests(), pooled.sibling_tests), (5, 6));
    let n = all.len();
    let x = DMatrix::from_fn(n, PARAMETERS, |i, j| row(&all[i].conditions)[j]);
    let y = DVector::from_fn(n, |i, _| all[i].ln_time().0);
    let mean = DVector::from_fn(PARAMETERS, |i, _| prior.mean[i]);
    let c = DMatrix::from_diagonal(&DVector::from_fn(PARAMETERS, |i, _| prior.variance[i]));
    for scatter in pooled.scatters() {
        let of_y = &x * &c * x.transpose()
            + DMatrix::from_fn(n, n, |i, j| {
                let shared = |same: bool, sd: f64| if same { sd * sd } else { 0.0 };
                shared(product_of[i] == product_of[j], PRODUCT_SD)
                    + shared(bottle_of[i] == bottle_of[j], BOTTLE_SD)
                    + shared(bottle_of[i] == bottle_of[j] && all[i].session == all[j].session, SESSION_SD)
                    + if i == j { scatter.sigma.powi(2) + all[i].ln_time().1 } else { 0.0 }
            });
        let gain = &c * x.transpose() * of_y.try_inverse().unwrap();
        let (expected, covariance) = (&mean + &gain * (&y - &x * &mean), &c - gain * &x * &c);
        for p in 1..PARAMETERS {
            assert!((scatter.mean[p] - expected[p]).abs() < 1e-9, "mean {p}");
            assert!((scatter.covariance[(p, p)] - covariance[(p, p)]).abs() < 1e-9, "variance {p}");
        }
    }
}

#[test]
fn two_orders_of_learning_give_one_answer() {
    let prior = Prior::from_label(None);
    let tests = some_tests();
    let whole = Sums::of(&tests);
    let mut parts = Sums::of(&tests[3..]);
    parts.add(&Sums::of(&tests[..3]));
    for parameter in Parameter::ALL {
        let (a, b) = (Posterior::of(&prior, &whole), Posterior::of(&prior, &parts));
        assert!((a.parameter(parameter).0 - b.parameter(parameter).0).abs() < 1e-10);
        assert!((a.parameter(parameter).1 - b.parameter(parameter).1).abs() < 1e-10);
    }
}

#[test]
fn kept_sums_survive_being_written_down() {
    let sums = Sums::of(&some_tests());
    let back: Sums = serde_json::from_str(&serde_json::to_string(&sums).unwrap()).unwrap();
    let prior = Prior::from_label(None);
    let (a, b) = (Posterior::of(&prior, &sums), Posterior::of(&prior, &back));
    assert!((a.sigma() - b.sigma()).abs() < 1e-12);
    let cut = r#"{"by_scatter":[],"tests":3,"baselines":3}"#;
    assert!(serde_json::from_str::<Sums>(cut).is_err(), "sums that lost their grid are not sums");
}

#[test]
fn a_nudge_once_a_second_tells_less_than_watching() {
    let watched = test(1, 2.0, None, plain()).ln_time();
    let nudged = test(1, 2.0, Some(1.0), plain()).ln_time();
    assert!((watched.0 - 2.0_f64.ln()).abs() < 1e-12 && watched.1.abs() < 1e-12);
    assert!((nudged.0 - 0.5 * 2.0_f64.ln()).abs() < 1e-12);
    assert!((nudged.1 - 2.0_f64.ln().powi(2) / 12.0).abs() < 1e-12);
    // A nudge longer than the time itself: at least a third of it is taken as known.
    assert!((test(1, 3.0, Some(9.0), plain()).ln_time().0 - 0.5 * 3.0_f64.ln()).abs() < 1e-12);
}

#[test]
fn only_the_test_piece_most_used_enters_a_fit() {
    let mut tests = some_tests();
    tests.push(SetTest { piece: TestPiece::Glass, ..test(4, 9.0, None, plain()) });
    let (piece, kept) = of_one_piece(&tests);
    assert_eq!((piece, kept.len()), (TestPiece::PracticeLash, 6));
}

#[test]
fn an_unchecked_hygrometer_widens_the_prediction_more_in_dry_air() {
    let bottle = Posterior::of(&Prior::from_label(None), &Sums::of(&some_tests()));
    let width = |h: f64, u: f64| {
        let doubt = AirDoubt { temperature: TemperatureDoubt::clamped(0.5), humidity: HumidityDoubt::clamped(u) };
        let m = bottle.placement(&at(21.0, h, Bead::Medium, Liquids::NONE, 3.0), doubt);
        m.quantile(0.9) - m.quantile(0.1)
    };
    let (dry, damp) = (width(25.0, 5.0) - width(25.0, 0.1), width(55.0, 5.0) - width(55.0, 0.1));
    assert!(dry > damp && damp > 0.0, "{dry} {damp}");
}

#[test]
fn a_baseline_comes_first_and_another_factor_after_three() {
    let prior = Prior::from_label(None);
    let here = at(21.0, 38.0, Bead::Full, Liquids::NONE, 3.0);
    let new = test_next(&Posterior::of(&prior, &Sums::none()), &here, Liquids::NONE, &[]);
    assert_eq!(new.test, NextTest::Baseline);
    let known: Vec<SetTest> =
        (0..30).map(|i| test(i, 2.0, None, at(21.0, 38.0, Bead::Medium, Liquids::NONE, 3.0))).collect();
    let next = test_next(&Posterior::of(&prior, &Sums::of(&known)), &here, Liquids::NONE, &[]);
    assert_eq!(next.test, NextTest::Bead(Bead::Full), "the bead in use is now the largest doubt");
    let width = |t: Times| t.high.get() / t.low.get();
    assert!(width(next.then) < width(next.now) && next.words.contains("full bead"), "{}", next.words);
}

#[test]
fn leaving_sittings_out_gives_every_test_a_forecast() {
    let honesty = leave_one_session_out(&Prior::from_label(None), &some_tests()).unwrap();
    assert_eq!(honesty.tests.len(), 6);
    assert!(honesty.tests.iter().all(|t| (0.0..=1.0).contains(&t.place)));
    assert!(leave_one_session_out(&Prior::from_label(None), &some_tests()[..3]).is_none());
}

#[test]
fn a_family_lends_its_slopes_but_not_its_speed() {
    let slow: Vec<SetTest> = (0..12)
        .map(|i| {
            let h = if i % 2 == 0 { 30.0 } else { 60.0 };
            test(i, 4.0 * (50.0_f64 / h).powf(1.4), None, at(22.0, h, Bead::Medium, Liquids::NONE, 0.0))
        })
        .collect();
    let one = Posterior::of(&Prior::from_label(None), &Sums::of(&slow));
    let label = Label::window(s(0.5), s(1.0), None);
    let prior = Prior::from_family(label.as_ref(), &[(&one, 12), (&one, 12)]).unwrap();
    assert!(prior.parameter(Parameter::Humidity).0 > 1.1);
    assert!((prior.parameter(Parameter::Reference).0 - 0.5_f64.sqrt().ln()).abs() < 1e-9);
    assert!(prior.parameter(Parameter::Humidity).1 >= 0.125);
    assert!(Prior::from_family(None, &[(&one, 12)]).is_none());
}

#[test]
fn tests_take_doubt_away_and_a_label_alone_takes_none() {
    let prior = Prior::from_label(None);
    let none = Posterior::of(&prior, &Sums::none()).learned(&prior, &plain());
    let six = Posterior::of(&prior, &Sums::of(&some_tests())).learned(&prior, &plain());
    assert!(none.share.abs() < 1e-9 && none.tests == 0);
    assert!(six.share > 0.5 && six.tests == 6, "{six:?}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn before_any_test_damper_warmer_and_thinner_set_quicker(
        t in 15.0..30.0_f64, h in 20.0..78.0_f64, dt in 0.1..5.0_f64, dh in 0.5..20.0_f64, days in 0.0..60.0_f64,
    ) {
        let bottle = Posterior::of(&Prior::from_label(None), &Sums::none());
        let median = |c: Conditions| bottle.placement(&c, AirDoubt::NONE).quantile(0.5);
        let base = median(at(t, h, Bead::Medium, Liquids::NONE, days));
        prop_assert!(median(at(t, h + dh, Bead::Medium, Liquids::NONE, days)) < base);
        prop_assert!(median(at(t + dt, h, Bead::Medium, Liquids::NONE, days)) < base);
        prop_assert!(median(at(t, h, Bead::Thin, Liquids::NONE, days)) < base);
        prop_assert!(median(at(t, h, Bead::Full, Liquids::NONE, days)) > base);
        prop_assert!(median(at(t, h, Bead::Medium, Liquids::NONE, days + 10.0)) > base);
        for liquid in [Liquid::AlcoholPrimer, Liquid::PhPrimer, Liquid::Accelerator] {
            prop_assert!(median(at(t, h, Bead::Medium, Liquids::NONE.with(liquid), days)) < base);
        }
    }

    #[test]
    fn a_slower_test_never_makes_the_bottle_quicker(set in 0.3..6.0_f64, more in 0.05..3.0_f64, h in 25.0..70.0_f64) {
        let prior = Prior::from_label(None);
        let centre = |set: f64| {
            let tests = [test(1, set, None, at(21.0, h, Bead::Medium, Liquids::NONE, 0.0))];
            Posterior::of(&prior, &Sums::of(&tests)).line(&row(&plain()))
        };
        let (quick, slow) = (centre(set), centre(set + more));
        prop_assert!(slow.0 > quick.0);
        prop_assert!(slow.1 > 0.0 && slow.1 < 1.0);
    }
}
