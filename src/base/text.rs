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
    /// A control character (NUL among them), which the two databases keep differently.
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

/// One line of text in NFC, trimmed, at most `most` characters, without control or direction-changing characters.
///
/// # Errors
/// [`BadText`] says what is wrong.
pub fn line(text: &str, most: usize) -> Result<String, BadText> {
    let line: String = text.trim().nfc().collect();
    if line.is_empty() {
        Err(BadText::Empty)
    } else if line.chars().count() > most {
        Err(BadText::TooLong { most })
    } else if line.chars().any(|c| c.is_control() || is_direction_override(c)) {
        Err(BadText::Control)
    } else {
        Ok(line)
    }
}

/// Text of several lines: as [`line`], but line breaks and tabs are kept and an empty text is accepted.
///
/// # Errors
/// [`BadText`] says what is wrong.
pub fn paragraphs(text: &str, most: usize) -> Result<String, BadText> {
    let text: String = text.trim().replace("\r\n", "\n").nfc().collect();
    if text.chars().count() > most {
        Err(BadText::TooLong { most })
    } else if text.chars().any(|c| (c.is_control() && c != '\n' && c != '\t') || is_direction_override(c)) {
        Err(BadText::Control)
    } else {
        Ok(text)
    }
}

/// The key a name is found and sorted by: lower case, without accents.
#[must_use]
pub fn fold(text: &str) -> String {
    text.nfkd().filter(|c| !is_combining_mark(*c)).flat_map(char::to_lowercase).collect::<String>().nfc().collect()
}

// Unicode's embedding, override and isolate controls can make a name read as another one.
fn is_direction_override(c: char) -> bool {
    matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
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
    fn nul_and_direction_overrides_are_refused() {
        assert_eq!(line("a\0b", 40), Err(BadText::Control));
        assert_eq!(line("a\u{202e}b", 40), Err(BadText::Control));
        assert_eq!(line("   ", 40), Err(BadText::Empty));
        assert_eq!(line("abc", 2), Err(BadText::TooLong { most: 2 }));
    }
}
