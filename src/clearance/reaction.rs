//! Reactions in words: what may be noticed, how bad, when it is looked at again. Pure.
//!
//! Symptoms after Amano et al., Cornea 2012 (kinds of harm), Han et al., Contact Lens & Anterior Eye 2024, doi
//! 10.1016/j.clae.2023.102109, and Idu et al., Cureus 2024, doi 10.7759/cureus.53047 (what wearers tell).

use serde::{Deserialize, Serialize};

use crate::base::time::{DAY, HOUR, Instant};

/// A symptom of the list: its key, its words, and whether it asks for medical help before anything else.
pub const SYMPTOMS: [(&str, &str, bool); 14] = [
    ("pain", "pain", true),
    ("swelling", "swelling of lids or face", true),
    ("vision", "changed or blurred vision", true),
    ("breathing", "trouble breathing", true),
    ("light", "light hurts", true),
    ("itching", "itching", false),
    ("redness", "redness of lids or skin", false),
    ("red_eye", "red eye", false),
    ("burning", "burning", false),
    ("tears", "tears that do not end", false),
    ("grit", "feeling of something in the eye", false),
    ("rash", "rash, blisters or dry patches", false),
    ("discharge", "discharge", false),
    ("lashes_out", "own lashes lost", false),
];

/// True when one of these asks for medical help before anything else, a removal included.
#[must_use]
pub fn is_acute(symptoms: &[String]) -> bool {
    SYMPTOMS.iter().any(|(key, _, acute)| *acute && symptoms.iter().any(|chosen| chosen == key))
}

/// Keys chosen that are of the list, in its order.
#[must_use]
pub fn known_symptoms(chosen: &[&str]) -> Vec<String> {
    SYMPTOMS.iter().filter(|(key, ..)| chosen.contains(key)).map(|(key, ..)| (*key).to_owned()).collect()
}

/// Which eye.
pub const EYES: [(&str, &str); 4] =
    [("left", "left eye"), ("right", "right eye"), ("both", "both eyes"), ("none", "not at the eyes")];

/// How bad.
pub const SEVERITIES: [(&str, &str); 4] = [
    ("mild", "mild: noticed, no help needed"),
    ("moderate", "moderate: daily life disturbed"),
    ("doctor", "seen by a doctor"),
    ("serious", "serious: hospital, or lasting harm"),
];

/// Who may have to be told.
pub const WHOM: [(&str, &str); 5] = [
    ("owner", "the owner"),
    ("supplier", "the supplier or maker"),
    ("insurer", "the insurer"),
    ("authority", "the authority"),
    ("doctor", "a doctor"),
];

/// How far back products and lots are looked for: first reactions came 27 to 44 days after a first meeting (Asai et al., Contact
/// Dermatitis 2021, doi 10.1111/cod.13700), so eight weeks.
pub const LOOK_BACK: i64 = 56 * DAY;

/// When a reaction is looked at again, after it was noticed.
pub const FOLLOW_UPS: [(i64, &str); 4] =
    [(24 * HOUR, "24 h"), (48 * HOUR, "48 h"), (7 * DAY, "7 days"), (30 * DAY, "30 days")];

/// The instants of the follow-ups of a reaction noticed then.
#[must_use]
pub fn follow_ups(noticed: Instant) -> [Instant; 4] {
    FOLLOW_UPS.map(|(after, _)| noticed.plus(after))
}

/// The sealed part of a reaction.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Details {
    /// Keys of [`SYMPTOMS`].
    pub symptoms: Vec<String>,
    /// A key of [`EYES`].
    pub eyes: String,
    /// A key of [`SEVERITIES`].
    pub severity: String,
    /// What was seen and told, in facts.
    pub words: String,
    /// First aid given.
    pub first_aid: String,
    /// Liquids and removers used before.
    pub liquids: String,
}

/// The words of a key in a list.
#[must_use]
pub fn words_of<'l>(list: &[(&'l str, &'l str)], key: &str) -> &'l str {
    list.iter().find(|(own, _)| *own == key).map_or("not known", |(_, words)| words)
}

/// The grades of the International Contact Dermatitis Research Group as tabled in Environmental Health 2003;2:3, Table 1; IR and NT,
/// which complete the scale, are not in that table and stand here from memory. Typed in from a doctor's letter, never derived from a
/// studio's result.
pub const GRADES: [(&str, &str); 7] = [
    ("-", "no reaction"),
    ("?+", "doubtful: faint erythema only"),
    ("+", "erythema, infiltration, possibly papules"),
    ("++", "erythema, infiltration, papules, vesicles"),
    ("+++", "intense erythema and infiltration, coalescing vesicles"),
    ("IR", "irritant reaction"),
    ("NT", "not tested"),
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clearance::facts::TestResult;

    #[test]
    fn pain_swelling_and_changed_vision_ask_for_medical_help_first() {
        let chosen = |keys: &[&str]| known_symptoms(keys);
        for key in ["pain", "swelling", "vision", "breathing"] {
            assert!(is_acute(&chosen(&["itching", key])), "{key}");
        }
        assert!(!is_acute(&chosen(&["itching", "redness"])));
        assert!(chosen(&["nonsense"]).is_empty());
    }

    #[test]
    fn a_reaction_is_looked_at_four_times_in_elapsed_hours() {
        let at = Instant(0);
        assert_eq!(follow_ups(at).map(|due| due.since(at) / HOUR), [24, 48, 168, 720]);
    }

    #[test]
    fn the_doctors_scale_is_the_published_one_and_shares_no_word_with_the_studios() {
        let signs: Vec<_> = GRADES.iter().map(|(sign, _)| *sign).collect();
        assert_eq!(signs, ["-", "?+", "+", "++", "+++", "IR", "NT"]);
        for result in TestResult::ALL {
            assert!(!signs.contains(&result.word()));
        }
        // Of the published table: each grade adds to the one before it.
        for (sign, has) in
            [("?+", "faint erythema only"), ("+", "papules"), ("++", "vesicles"), ("+++", "coalescing vesicles")]
        {
            assert!(words_of(&GRADES, sign).contains(has), "{sign}");
        }
        assert!(!words_of(&GRADES, "+").contains("vesicles"));
    }
}
