//! Quantiles of a list of numbers.

/// The value at share `p` (0…1) of the list, interpolated between neighbours; not-a-number for an empty list.
/// The list comes back in another order.
#[must_use]
pub fn quantile_of(values: &mut [f64], p: f64) -> f64 {
    if values.is_empty() {
        return f64::NAN;
    }
    let place = p.clamp(0.0, 1.0) * (values.len() - 1) as f64;
    let i = place as usize;
    let (_, &mut at, above) = values.select_nth_unstable_by(i, f64::total_cmp);
    let next = above.iter().copied().fold(f64::INFINITY, f64::min);
    if next.is_finite() { at + (place - i as f64) * (next - at) } else { at }
}

/// The values at two rising shares of the list at once, each the nearest entry: for long lists, where the gap between
/// neighbours does not matter. Not-a-number for an empty list.
#[must_use]
pub fn two_quantiles_of(values: &[f64], low: f64, high: f64) -> (f64, f64) {
    if values.is_empty() {
        return (f64::NAN, f64::NAN);
    }
    let last = (values.len() - 1) as f64;
    let (i, j) = ((low.clamp(0.0, 1.0) * last).round() as usize, (high.clamp(low, 1.0) * last).round() as usize);
    // Whole numbers in the order of the values are selected several times as fast as the values themselves.
    let mut keys: Vec<i64> = values.iter().map(|v| in_order(v.to_bits().cast_signed())).collect();
    let (below, &mut at_high, _) = keys.select_nth_unstable(j);
    let at_low = if i == j { at_high } else { *below.select_nth_unstable(i).1 };
    let value = |key: i64| f64::from_bits(in_order(key).cast_unsigned());
    (value(at_low), value(at_high))
}

/// Bits of a float turned so that they compare like the float, and back: the same turn both ways.
fn in_order(bits: i64) -> i64 {
    bits ^ ((bits >> 63).cast_unsigned() >> 1).cast_signed()
}

/// Plain mean; not-a-number for an empty list.
#[must_use]
pub fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_quantiles_at_once_are_those_of_the_sorted_list() {
        let list: Vec<f64> = (0..1021).map(|i| f64::from(i * 374 % 1021) - 500.0).collect();
        let (low, high) = two_quantiles_of(&list, 0.1, 0.9);
        assert!((low + 398.0).abs() < 1e-12 && (high - 418.0).abs() < 1e-12, "{low} {high}");
        assert!(two_quantiles_of(&[], 0.1, 0.9).0.is_nan());
        assert!((two_quantiles_of(&[3.0], 0.1, 0.9).1 - 3.0).abs() < 1e-12);
    }

    #[test]
    fn quantiles_of_a_short_list_lie_between_its_neighbours() {
        let mut list = [4.0, 1.0, 3.0, 2.0];
        assert!((quantile_of(&mut list, 0.5) - 2.5).abs() < 1e-12);
        assert!((quantile_of(&mut list, 0.0) - 1.0).abs() < 1e-12);
        assert!((quantile_of(&mut list, 1.0) - 4.0).abs() < 1e-12);
        assert!(quantile_of(&mut [], 0.5).is_nan());
    }
}
