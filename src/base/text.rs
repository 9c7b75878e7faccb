//! Text from outside: one normal form, nothing invisible, and a folded key for finding and sorting.

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

/// Why a text was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BadText {
    /// Nothing but spaces.
    Empty,
    /// More characters than the field keeps.
    TooLong {
        /// The most it keeps.
        most: usize,
    },
    /// A control character (NUL among them), which the two databases keep differently, or one that shows nothing.
    Control,
}

impl std::fmt::Display for BadText {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Empty => f.write_str("Fill this in."),
            Self::TooLong { most } => write!(f, "Use at most {most} characters."),
            Self::Control => f.write_str("This holds a character that cannot be shown. Type it again."),
        }
    }
}

/// One line of text in NFC, trimmed, at most `most` characters, without control, direction-changing or zero-width
/// characters, and with at least one that can be seen.
///
/// # Errors
/// [`BadText`] says what is wrong.
pub fn line(text: &str, most: usize) -> Result<String, BadText> {
    let line: String = text.trim().nfc().collect();
    if line.is_empty() {
        Err(BadText::Empty)
    } else if line.chars().count() > most {
        Err(BadText::TooLong { most })
    } else if line.chars().any(|c| c.is_control() || is_direction_override(c) || is_zero_width(c)) {
        Err(BadText::Control)
    } else if line.chars().all(|c| c.is_whitespace() || is_invisible(c)) {
        Err(BadText::Empty)
    } else {
        Ok(line)
    }
}

/// Text of several lines: as [`line()`], but line breaks and tabs are kept and an empty text is accepted.
///
/// # Errors
/// [`BadText`] says what is wrong.
pub fn paragraphs(text: &str, most: usize) -> Result<String, BadText> {
    let text: String = text.trim().replace("\r\n", "\n").nfc().collect();
    if text.chars().count() > most {
        Err(BadText::TooLong { most })
    } else if text
        .chars()
        .any(|c| (c.is_control() && c != '\n' && c != '\t') || is_direction_override(c) || is_zero_width(c))
    {
        Err(BadText::Control)
    } else {
        Ok(text)
    }
}

/// The key a name is found and sorted by: lower case, without accents or what cannot be seen, one form of sigma.
#[must_use]
pub fn fold(text: &str) -> String {
    let seen = text.nfkd().filter(|c| !is_combining_mark(*c) && !is_invisible(*c));
    // A sigma that ends a word is written ς; typed in capitals it has lost that.
    seen.flat_map(char::to_lowercase).map(|c| if c == 'ς' { 'σ' } else { c }).nfc().collect()
}

/// A lot as it is kept and asked for: in capitals, with single spaces, without what cannot be seen. "b-12" and "B-12" are one lot, and a
/// stop of one must find the other.
#[must_use]
pub fn lot(typed: &str) -> String {
    let is_seen = |c: &char| c.is_whitespace() || !(c.is_control() || is_zero_width(*c) || is_direction_override(*c));
    let seen: String = typed.nfc().filter(is_seen).collect();
    seen.split_whitespace().collect::<Vec<_>>().join(" ").to_uppercase()
}

/// The text with its first letter in upper case, to begin a sentence or a line with.
#[must_use]
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map(|first| first.to_uppercase().chain(chars).collect()).unwrap_or_default()
}

// Unicode's embedding, override and isolate controls can make a name read as another one.
fn is_direction_override(c: char) -> bool {
    matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

// No script needs these, and with them two names look like one. Joiners (U+200C, U+200D) are needed: Persian words and
// many emoji hold them.
fn is_zero_width(c: char) -> bool {
    matches!(c, '\u{200b}' | '\u{2060}' | '\u{feff}')
}

// Shows nothing by itself: soft hyphen, joiners and marks of direction, fillers, selectors of variants, tags.
fn is_invisible(c: char) -> bool {
    is_zero_width(c)
        || matches!(
            c,
            '\u{ad}' | '\u{34f}' | '\u{61c}' | '\u{115f}' | '\u{1160}' | '\u{17b4}' | '\u{17b5}' | '\u{180b}'..='\u{180f}'
                | '\u{200c}'..='\u{200f}' | '\u{2061}'..='\u{2064}' | '\u{206a}'..='\u{206f}' | '\u{2800}' | '\u{3164}'
                | '\u{fe00}'..='\u{fe0f}' | '\u{ffa0}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e0fff}'
        )
}

/// "1 placement", "12 placements", "no placement".
#[must_use]
pub fn count(n: usize, one: &str) -> String {
    match n {
        0 => format!("no {one}"),
        n => format!("{n} {}", things(n, one)),
    }
}

/// "placement" beside a 1, "placements" beside any other number.
#[must_use]
pub fn things(n: usize, one: &str) -> String {
    if n == 1 { one.to_owned() } else { format!("{one}s") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_kept_in_one_form_and_found_without_its_accents() {
        assert_eq!(line("  A\u{308}nne ", 40), Ok("Änne".to_owned()));
        assert_eq!(fold("Änne ØRSTED"), "anne ørsted");
    }

    #[test]
    fn a_lot_is_one_however_it_is_typed_or_pasted() {
        for typed in ["b-12 a", " B-12\u{a0}\u{a0}A ", "\u{feff}B-12\tA", "b-1\u{200b}2 a", "b-12\0 a"] {
            assert_eq!(lot(typed), "B-12 A", "{}", typed.escape_unicode());
        }
        assert_eq!(lot("e\u{301}7"), lot("É7"));
        assert_ne!(lot("B 12"), lot("B12"), "a space that was printed stays one");
    }

    #[test]
    fn nul_and_direction_overrides_are_refused() {
        assert_eq!(line("a\0b", 40), Err(BadText::Control));
        assert_eq!(line("a\u{202e}b", 40), Err(BadText::Control));
        assert_eq!(line("   ", 40), Err(BadText::Empty));
        assert_eq!(line("abc", 2), Err(BadText::TooLong { most: 2 }));
    }

    #[test]
    fn what_cannot_be_seen_is_refused_and_joiners_are_kept_where_a_script_needs_them() {
        for hidden in ["\u{200b}", "\u{2060}", "\u{feff}"] {
            assert_eq!(line(&format!("In{hidden}es"), 40), Err(BadText::Control), "{}", hidden.escape_unicode());
            assert_eq!(paragraphs(&format!("In{hidden}es"), 40), Err(BadText::Control), "{}", hidden.escape_unicode());
        }
        for joined in ["می\u{200c}نا", "👩\u{200d}🎨"] {
            assert_eq!(line(joined, 40), Ok(joined.to_owned()));
        }
        for nothing in ["\u{200d}", "\u{200c} \u{200d}", "\u{ad}\u{3164}", "\u{2800}", "\u{e0041}"] {
            assert_eq!(line(nothing, 40), Err(BadText::Empty), "{}", nothing.escape_unicode());
        }
    }

    #[test]
    fn names_that_look_alike_have_one_key() {
        assert_eq!(fold("Νίκος"), fold("ΝΙΚΟΣ"));
        assert_eq!(fold("Ines\u{200d}"), fold("Ines"));
    }

    #[test]
    fn a_sentence_begins_with_a_capital() {
        assert_eq!((capital("öl").as_str(), capital("")), ("Öl", String::new()));
    }
}
