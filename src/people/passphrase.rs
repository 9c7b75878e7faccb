//! Passphrases: how long, which are refused, how they are hashed. Parameters after the OWASP Password Storage Cheat Sheet
//! (argon2id, 19 MiB, 2 passes, 1 lane); length after NIST SP 800-63B-4 for a passphrase that stands alone.

use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Algorithm, Argon2, Params, Version};
use unicode_normalization::UnicodeNormalization;

use super::well_known;
use crate::base::problem::Problem;
use crate::web::turns::Turn;

/// The fewest characters of a passphrase that is the only thing asked for.
pub const MIN_LENGTH: usize = 15;
/// The most that is taken; longer ones cost time and add nothing.
const MAX_LENGTH: usize = 256;
const MEMORY_KIB: u32 = 19 * 1024;
const PASSES: u32 = 2;
const LANES: u32 = 1;

/// Guesses an attacker of the offline kind needs at least, as a power of ten: below it the phrase is among the first tried.
const MIN_GUESSES_LOG10: f64 = 10.0;

/// The fewest letters that must be left once the words a guesser knows are taken out.
const MIN_OF_HER_OWN: usize = 8;

/// Why a passphrase is refused, or `Ok`. `own_words` are words a guesser would try first: her name, the studio's.
///
/// # Errors
/// A sentence that says what would help.
pub(crate) fn acceptable(phrase: &str, own_words: &[&str]) -> Result<(), String> {
    let length = phrase.chars().count();
    if length < MIN_LENGTH {
        return Err(format!("Use at least {MIN_LENGTH} characters; four or five words are easiest to keep in mind."));
    }
    if length > MAX_LENGTH {
        return Err(format!("Use at most {MAX_LENGTH} characters."));
    }
    let mut words: Vec<&str> = vec!["stillroom", "studio", "lashes", "eyelash", "extension", "adhesive"];
    words.extend(own_words.iter().flat_map(|text| text.split_whitespace()));
    // The library weighs the first hundred characters; more only makes a phrase better.
    let start: String = phrase.chars().take(100).collect();
    let few = of_her_own(&start, &words) < MIN_OF_HER_OWN
        || well_known::left_without_known(phrase).is_some_and(|left| left < MIN_OF_HER_OWN);
    if few
        || [start.clone(), unshifted(&start)]
            .iter()
            .any(|way| zxcvbn::zxcvbn(way, &words).guesses_log10() < MIN_GUESSES_LOG10)
    {
        return Err(
            "This is one of the first that guessing programs try. Use words that do not belong together.".to_owned()
        );
    }
    Ok(())
}

/// The phrase with the signs over the digits as those digits: a walk over the keyboard is one with the shift key held, too, which the
/// library does not see.
fn unshifted(phrase: &str) -> String {
    let digit = |c| ")!@#$%^&*(".chars().zip('0'..='9').find(|(sign, _)| *sign == c).map_or(c, |(_, digit)| digit);
    phrase.chars().map(digit).collect()
}

/// How many letters of a phrase are left without the known words. The library takes "marlo vance marlo" for three words
/// between two unknown signs, and so for something hard to guess.
fn of_her_own(phrase: &str, known: &[&str]) -> usize {
    let mut rest = phrase.to_lowercase();
    for word in known.iter().filter(|word| word.chars().count() >= 3) {
        rest = rest.replace(&word.to_lowercase(), " ");
    }
    rest.chars().filter(|c| !c.is_whitespace()).count()
}

/// Hashes a passphrase, away from the threads that answer pages. The turn ends with the work, not with the request.
///
/// # Errors
/// [`Problem::Broken`] when the machine gives no random numbers or no memory.
pub(crate) async fn hash(turn: Turn, phrase: String) -> Result<String, Problem> {
    let phrase = one_spelling(&phrase);
    tokio::task::spawn_blocking(move || {
        let _until_done = turn.at_work();
        hash_now(&phrase)
    })
    .await
    .map_err(Problem::broken)?
}

/// Whether the passphrase belongs to the hash; an empty hash belongs to none but costs the same time.
///
/// # Errors
/// [`Problem::Broken`] when the check itself cannot run.
pub(crate) async fn fits(turn: Turn, phrase: String, hash: String) -> Result<bool, Problem> {
    let phrase = one_spelling(&phrase);
    tokio::task::spawn_blocking(move || {
        let _until_done = turn.at_work();
        let hasher = hasher()?;
        if hash.is_empty() {
            // Somebody who does not exist takes as long as somebody who does.
            let _spent = hasher.hash_password_with_salt(phrase.as_bytes(), &[7; 16]).map_err(Problem::broken)?;
            return Ok(false);
        }
        Ok(hasher.verify_password(phrase.as_bytes(), hash.as_str()).is_ok())
    })
    .await
    .map_err(Problem::broken)?
}

/// True when a hash was made with other parameters than today's and should be made anew at the next sign-in.
pub(crate) fn is_outdated(hash: &str) -> bool {
    !hash.starts_with(&format!("$argon2id$v=19$m={MEMORY_KIB},t={PASSES},p={LANES}$"))
}

/// A tablet and a desk keyboard may spell the same letter with different characters.
fn one_spelling(phrase: &str) -> String {
    phrase.nfc().collect()
}

fn hash_now(phrase: &str) -> Result<String, Problem> {
    let mut salt = [0_u8; 16];
    getrandom::fill(&mut salt).map_err(Problem::broken)?;
    Ok(hasher()?.hash_password_with_salt(phrase.as_bytes(), &salt).map_err(Problem::broken)?.to_string())
}

fn hasher() -> Result<Argon2<'static>, Problem> {
    let params = Params::new(MEMORY_KIB, PASSES, LANES, None).map_err(Problem::broken)?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::turns::Hashing;

    #[test]
    fn short_and_guessable_passphrases_are_refused_with_a_sentence() {
        for (phrase, good) in [
            ("short", false),
            ("passwordpassword", false),
            ("qwertyuiopasdfgh", false),
            ("aaaaaaaaaaaaaaaaaaa", false),
            ("marram house marram house", false),
            ("Ines Okafor Ines!", false),
            ("okaforstudiolashes2026", false),
            ("okafor kestrel forty", true),
            ("1234567890123456789", false),
            ("copper lantern walks sideways", true),
            ("kestrel umbrella forty onions", true),
        ] {
            assert_eq!(acceptable(phrase, &["Marram House", "Ines Okafor"]).is_ok(), good, "{phrase}");
        }
    }

    #[tokio::test]
    async fn a_hash_carries_its_parameters_and_fits_only_its_phrase() {
        let turns = Hashing::default();
        let turn = || async { turns.for_known().await.unwrap() };
        let made = hash(turn().await, "copper lantern walks sideways".into()).await.unwrap();
        assert!(made.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{made}");
        assert!(!is_outdated(&made) && is_outdated("$argon2id$v=19$m=4096,t=1,p=1$abc"));
        assert!(fits(turn().await, "copper lantern walks sideways".into(), made.clone()).await.unwrap());
        assert!(!fits(turn().await, "copper lantern walks sideway".into(), made).await.unwrap());
        assert!(!fits(turn().await, "anything at all".into(), String::new()).await.unwrap());
    }
}
