//! Phrases long enough for a passphrase and known to everybody: opening lines, proverbs, songs, films, what people write when they
//! are told to think of something long. Whoever guesses tries them before any chance. Written down here so that nothing is asked
//! elsewhere; each has at least fifteen characters, written in lower case with single spaces.
//!
//! Keyboard walks, repeats, rows of digits and single words with a year are left to `zxcvbn`, whose dictionaries know them.

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

const PHRASES: [&str; 135] = [
    // Told to think of something long.
    "correct horse battery staple",
    "this is my password",
    "this is a password",
    "this is my passphrase",
    "this is a passphrase",
    "my secret password",
    "my secret passphrase",
    "password password",
    "password123password",
    "passphrase passphrase",
    "i forgot my password",
    "i hate passwords",
    "i hate long passwords",
    "one two three four five",
    "four five six seven eight",
    "open sesame open sesame",
    "let me in let me in",
    "please let me in now",
    "change me change me",
    "welcome to my world",
    "welcome to the jungle",
    "enter password here",
    "fifteen characters",
    "at least fifteen characters",
    "use at least 15 characters",
    "four or five words",
    "words that do not belong together",
    "nobody will guess this",
    "you will never guess",
    "none of your business",
    "administrator password",
    "the owner of the studio",
    // Of the trade.
    "eyelash extensions",
    "lash extension studio",
    "eyelash extension studio",
    "beautiful lashes every day",
    "lashes for days and days",
    "life is short make your lashes long",
    "wake up with makeup",
    "beauty is in the eye of the beholder",
    "eyes are the windows to the soul",
    "lash artist for life",
    "i love my clients",
    "i love my studio",
    // Love and family.
    "i love you so much",
    "i love you forever",
    "i love you to the moon and back",
    "to the moon and back",
    "i love my children",
    "i love my husband and kids",
    "i love my mum and dad",
    "happily ever after",
    "live laugh love",
    "live laugh love dream",
    "happy birthday to you",
    "family is everything",
    "home is where the heart is",
    "god bless this house",
    "in god we trust forever",
    "jesus loves me this i know",
    "our father who art in heaven",
    "the lord is my shepherd",
    "in the beginning was the word",
    // Proverbs and sayings.
    "an apple a day keeps the doctor away",
    "better late than never",
    "practice makes perfect",
    "where there is a will there is a way",
    "the early bird catches the worm",
    "actions speak louder than words",
    "a penny saved is a penny earned",
    "all that glitters is not gold",
    "keep calm and carry on",
    "good things come to those who wait",
    "time heals all wounds",
    "what goes around comes around",
    "everything happens for a reason",
    "it is what it is and that is that",
    "easy come easy go",
    "no pain no gain no pain no gain",
    "carpe diem carpe diem",
    "veni vidi vici veni vidi vici",
    "lorem ipsum dolor sit amet",
    "cogito ergo sum cogito ergo sum",
    // Typed to try a keyboard.
    "the quick brown fox",
    "the quick brown fox jumps over the lazy dog",
    "pack my box with five dozen liquor jugs",
    "now is the time for all good men",
    "abcdefghijklmnopqrstuvwxyz",
    "alpha bravo charlie delta",
    "hello world hello world",
    "testing one two three",
    "the rain in spain stays mainly in the plain",
    "she sells sea shells by the sea shore",
    "peter piper picked a peck of pickled peppers",
    // Rhymes and songs.
    "mary had a little lamb",
    "twinkle twinkle little star",
    "humpty dumpty sat on a wall",
    "jack and jill went up the hill",
    "row row row your boat",
    "old macdonald had a farm",
    "incy wincy spider climbed up the spout",
    "baa baa black sheep",
    "silent night holy night",
    "we wish you a merry christmas",
    "jingle bells jingle bells",
    "somewhere over the rainbow",
    "god save the king",
    "alle meine entchen schwimmen auf dem see",
    "frere jacques frere jacques",
    "sur le pont d avignon",
    "dona nobis pacem",
    "se den lille katekilling",
    "atirei o pau ao gato",
    "feliz navidad prospero ano y felicidad",
    // Books, plays, films.
    "to be or not to be",
    "to be or not to be that is the question",
    "romeo romeo wherefore art thou romeo",
    "once upon a time",
    "once upon a time in a land far away",
    "it was a dark and stormy night",
    "it was the best of times it was the worst of times",
    "call me ishmael some years ago",
    "may the force be with you",
    "live long and prosper",
    "luke i am your father",
    "there is no place like home",
    "one ring to rule them all",
    "you shall not pass",
    "winter is coming winter is coming",
    "houston we have a problem",
    "i have a dream that one day",
    "one small step for man",
    "elementary my dear watson",
    "mirror mirror on the wall",
    "ali baba and the forty thieves",
];

/// How many letters and digits of a phrase are left once every phrase of the list is taken out; `None` when it holds none of them.
/// Capitals, accents, spaces and signs do not count, and the usual digits and signs stand for letters.
pub(super) fn left_without_known(phrase: &str) -> Option<usize> {
    let folded = fold(phrase);
    let mut rest = folded.clone();
    // The longest first, so that a short one does not break up a longer one it stands in.
    let mut known: Vec<String> = PHRASES.iter().map(|known| fold(known)).collect();
    known.sort_by_key(|known| std::cmp::Reverse(known.len()));
    for known in known {
        rest = rest.replace(&known, " ");
    }
    (rest != folded).then(|| rest.chars().filter(|c| *c != ' ').count())
}

/// Letters and digits alone, as a guesser would write them.
fn fold(text: &str) -> String {
    text.nfkd()
        .filter(|c| !is_combining_mark(*c))
        .flat_map(char::to_lowercase)
        .filter_map(|c| match c {
            '0' => Some('o'),
            // One sign for three letters that stand for each other.
            '1' | '!' | '|' | 'l' => Some('i'),
            '3' => Some('e'),
            '4' | '@' => Some('a'),
            '5' | '$' => Some('s'),
            '7' => Some('t'),
            c => c.is_alphanumeric().then_some(c),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::people::passphrase::{MIN_LENGTH, acceptable};

    /// The ways in which somebody makes a known phrase her own.
    fn dressed(phrase: &str) -> [String; 7] {
        let capitals: String =
            phrase.split(' ').map(|word| word[..1].to_uppercase() + &word[1..]).collect::<Vec<_>>().join(" ");
        [
            phrase.to_owned(),
            phrase.replace(' ', ""),
            phrase.replace(' ', "-"),
            phrase.to_uppercase(),
            format!("{capitals}!"),
            format!("{phrase} 2026"),
            phrase.replace('e', "3").replace('o', "0").replace('a', "@").replace('i', "1"),
        ]
    }

    #[test]
    fn every_phrase_of_the_list_is_refused_however_it_is_dressed() {
        for phrase in PHRASES {
            for typed in dressed(phrase).into_iter().filter(|typed| typed.chars().count() >= MIN_LENGTH) {
                assert!(acceptable(&typed, &[]).is_err(), "{typed}");
            }
        }
    }

    #[test]
    fn the_list_holds_only_phrases_long_enough_and_none_twice() {
        let mut seen = std::collections::BTreeSet::new();
        for phrase in PHRASES {
            assert!(phrase.chars().count() >= MIN_LENGTH, "{phrase} is refused for its length");
            assert!(seen.insert(fold(phrase)), "{phrase} stands twice");
        }
    }

    #[test]
    fn a_known_phrase_with_enough_of_her_own_beside_it_is_hers() {
        for (phrase, left) in [
            ("once upon a time", Some(0)),
            ("Once upon a time: 12", Some(2)),
            ("once upon a time the kettle sang", Some(13)),
            ("kestrel umbrella forty onions", None),
        ] {
            assert_eq!(left_without_known(phrase), left, "{phrase}");
        }
        assert!(acceptable("once upon a time the kettle sang", &[]).is_ok());
    }

    /// What is not on the list, because the library's own dictionaries and patterns refuse it: a sample of each kind.
    #[test]
    fn walks_repeats_rows_and_dressed_words_are_refused_without_standing_in_the_list() {
        let mut taken = Vec::new();
        for phrase in [
            "qwertyuiopasdfg",
            "1qaz2wsx3edc4rfv",
            "zxcvbnmasdfghjkl",
            "qazwsxedcrfvtgb",
            "!qaz@wsx#edc$rfv",
            "asdfasdfasdfasdf",
            "abcabcabcabcabc",
            "lashlashlashlash",
            "haha haha haha haha",
            "aaaaaaaaaaaaaaaa",
            "...............",
            "123456789012345",
            "987654321098765",
            "112233445566778899",
            "abcdefghijklmnop",
            "password1234567",
            "Passw0rd2026!!!!",
            "iloveyou1234567",
            "sunshine20252026",
            "football12345678",
            "studiostudiostudio",
            "stillroom stillroom",
            "eyelash studio 2026",
            "0123456789abcdef",
            "monkeymonkeymonkey",
        ] {
            assert_eq!(left_without_known(phrase), None, "{phrase} stands in the list");
            if acceptable(phrase, &[]).is_ok() {
                taken.push(phrase);
            }
        }
        assert!(taken.is_empty(), "{taken:?}");
    }
}
