//! The closed forms against placements played out one by one.

use stillroom::advice::judge::{cured_in_air, disturbed, extra_hold_s};

use crate::chance::Chance;

const PLACEMENTS: u32 = 1_000_000;

#[test]
fn a_million_placements_show_the_shares_the_closed_forms_give() {
    let mut chance = Chance::seeded(17);
    // (ln hands time, its variance, ln travel, its variance, ln κ, ln set time, its variance)
    for (mu, v, mu_x, v_x, ln_kappa, m, s2) in [
        (0.5_f64, 0.09_f64, 0.9_f64, 0.06_f64, 1.4_f64, 0.8_f64, 0.0225_f64),
        (0.2, 0.16, 1.0, 0.1, 1.0, -0.2, 0.09),
        (0.9, 0.04, 1.2, 0.09, 1.9, 1.6, 0.25),
        (0.0, 0.3, 0.7, 0.2, 0.4, 0.1, 0.0025),
    ] {
        let (mut caught, mut dry, mut held) = (0_u32, 0_u32, 0.0);
        for _ in 0..PLACEMENTS {
            let t = chance.around(m, s2.sqrt()).exp();
            let h = chance.around(mu, v.sqrt()).exp();
            let x = chance.around(mu_x, v_x.sqrt()).exp();
            caught += u32::from(t < h);
            dry += u32::from(ln_kappa.exp() * t < x);
            held += (t - h).max(0.0);
        }
        let share = |n: u32| f64::from(n) / f64::from(PLACEMENTS);
        let off = share(caught) - disturbed(mu, v, m, s2);
        assert!(off.abs() < 0.002, "disturbed off by {off}");
        let off = share(dry) - cured_in_air(mu_x, v_x, ln_kappa, m, s2);
        assert!(off.abs() < 0.002, "cured in the air off by {off}");
        // Per second of mean set time, because seconds of holding grow with it.
        let off = (held / f64::from(PLACEMENTS) - extra_hold_s(mu, v, m, s2)) / (m + 0.5 * s2).exp();
        assert!(off.abs() < 0.002, "extra holding off by {off}");
    }
}

#[test]
fn a_bond_cured_in_the_air_is_also_disturbed() {
    let mut chance = Chance::seeded(5);
    for _ in 0..100_000 {
        let (t, s, x) = (chance.log_between(0.2, 5.0), chance.log_between(0.2, 3.0), chance.log_between(1.0, 9.0));
        let kappa = chance.log_between(1.2, 12.0);
        // From one placement all but known to the last digit to hands that scatter.
        let (v, s2) = (chance.log_between(1e-6, 0.3), chance.log_between(1e-6, 0.1));
        let in_air = cured_in_air(x.ln(), v, kappa.ln(), t.ln(), s2);
        let moved = disturbed((s + x / kappa).ln(), v, t.ln(), s2);
        assert!(in_air <= moved, "{in_air} cured in the air, {moved} disturbed: t {t} s {s} x {x} κ {kappa}");
    }
}
