//! Statistics without randomness: distributions, quantiles, a fixed low-discrepancy sequence.
