//! Six digits: which are refused, and how they are hashed. A hash of six digits alone is guessed in hours, so what is hashed is a digest
//! of them under a key that lies outside the database.

use crate::base::ids::PersonId;
use crate::base::problem::Problem;
use crate::people::passphrase;
use crate::store::keys::Keys;
use crate::web::turns::Turn;

const LENGTH: usize = 6;

/// Whether this is six digits, and so no passphrase.
#[must_use]
pub(in crate::people) fn looks_like_one(typed: &str) -> bool {
    typed.len() == LENGTH && typed.bytes().all(|byte| byte.is_ascii_digit())
}

/// Why these digits are refused, or `Ok`. Whoever stands beside a tablet tries rows, repeats and dates first.
///
/// # Errors
/// A sentence that says what would help.
pub(super) fn acceptable(typed: &str) -> Result<(), &'static str> {
    if !looks_like_one(typed) {
        return Err("Type six digits.");
    }
    let digits: Vec<i32> = typed.bytes().map(|byte| i32::from(byte - b'0')).collect();
    let mut kinds = digits.clone();
    kinds.sort_unstable();
    kinds.dedup();
    let steps = |by: i32| digits.windows(2).all(|pair| (pair[0] + by).rem_euclid(10) == pair[1]);
    let mirrored = digits.iter().eq(digits.iter().rev());
    if kinds.len() < 4 || mirrored || digits[..3] == digits[3..] || (1..10).any(steps) {
        return Err(
            "These are among the first that are tried. Use at least four different digits, in no row and no pattern.",
        );
    }
    if is_date(&digits) {
        return Err("This can be read as a date, and dates are tried first. Use other digits.");
    }
    Ok(())
}

/// Whether six digits are a day in one of the usual orders: day month year, month day year, year month day.
fn is_date(digits: &[i32]) -> bool {
    let pair = |at: usize| digits[2 * at] * 10 + digits[2 * at + 1];
    let day = |at: usize| (1..=31).contains(&pair(at));
    let month = |at: usize| (1..=12).contains(&pair(at));
    (day(0) && month(1)) || (month(0) && day(1)) || (month(1) && day(2))
}

/// Hashes a person's digits, away from the threads that answer pages.
///
/// # Errors
/// [`Problem::Broken`] when the machine gives no random numbers or no memory.
pub(super) async fn hash(turn: Turn, keys: &Keys, person: PersonId, digits: &str) -> Result<String, Problem> {
    passphrase::hash(turn, peppered(keys, person, digits)).await
}

/// Whether the digits belong to the hash; an empty hash belongs to none but costs the same time.
///
/// # Errors
/// [`Problem::Broken`] when the check itself cannot run.
pub(super) async fn fits(
    turn: Turn,
    keys: &Keys,
    person: PersonId,
    digits: &str,
    hash: String,
) -> Result<bool, Problem> {
    passphrase::fits(turn, peppered(keys, person, digits), hash).await
}

fn peppered(keys: &Keys, person: PersonId, digits: &str) -> String {
    keys.digest("digits of a person", &[person.to_string().as_bytes(), digits.as_bytes()])
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn rows_repeats_mirrors_and_dates_are_refused_with_a_sentence() {
        for weak in [
            "111111", "121212", "123123", "112211", "123456", "654321", "901234", "135791", "246802", "808080",
            "147147", "123321", "310195", "123199", "950131", "000000", "112233",
        ] {
            assert!(acceptable(weak).is_err(), "{weak}");
        }
        for good in ["739158", "860274", "402957"] {
            assert_eq!(acceptable(good), Ok(()), "{good}");
        }
    }

    #[test]
    fn only_six_digits_of_the_usual_kind_are_a_code() {
        for typed in ["", "73915", "7391582", "73915a", "７３９１５８", "٧٣٩١٥٨", "7391 8"] {
            assert!(acceptable(typed).is_err(), "{typed}");
            assert!(!looks_like_one(typed), "{typed}");
        }
    }

    proptest! {
        #[test]
        fn whatever_is_typed_is_judged_without_a_panic(typed in ".{0,12}") {
            let _judged = acceptable(&typed);
        }

        #[test]
        fn what_is_accepted_is_six_digits_of_at_least_four_kinds(number in 0_u32..1_000_000) {
            let typed = format!("{number:06}");
            if acceptable(&typed).is_ok() {
                let kinds: std::collections::BTreeSet<char> = typed.chars().collect();
                prop_assert!(kinds.len() >= 4);
            }
        }
    }
}
