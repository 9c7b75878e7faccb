//! Two records of one person: what speaks for it. Pure. Names are compared folded and by how they sound (Double Metaphone, Lawrence
//! Philips 2000, in the library `rphonetic`), numbers by their last digits. A person decides; nothing is put together by itself.

use rphonetic::DoubleMetaphone;

use crate::base::text::fold;

/// Fewer digits are no number of a person.
const LEAST_DIGITS: usize = 6;
/// Digits that tell two numbers apart, whatever country code stands before them.
const LAST_DIGITS: usize = 8;

/// What is compared of a record.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Keys {
    pub(super) name: String,
    pub(super) sound: String,
    pub(super) phone: String,
    pub(super) email: String,
    pub(super) born: String,
}

impl Keys {
    pub(super) fn of(name: &str, phone: &str, email: &str, born: Option<jiff::civil::Date>) -> Self {
        Self {
            name: name_key(name),
            sound: sound(name),
            phone: phone_key(phone),
            email: fold(email),
            born: born.map(|born| born.to_string()).unwrap_or_default(),
        }
    }
}

/// The folded name with its words in the order of the alphabet: "Lovell, Ada" is "Ada Lovell".
pub(super) fn name_key(name: &str) -> String {
    let folded = fold(name);
    let mut words: Vec<&str> = words_of(&folded).collect();
    words.sort_unstable();
    words.join(" ")
}

/// How the words of a name sound, in the order of the alphabet. The second code of the method: it hears Katharina and Catarina as one,
/// where the first tells th and t apart as English does. Words in another script than Latin stand for themselves.
pub(super) fn sound(name: &str) -> String {
    let metaphone = DoubleMetaphone::new(Some(6));
    let folded = fold(name);
    let mut sounds: Vec<String> = words_of(&folded)
        .map(|word| {
            let plain = in_plain_letters(word);
            let code = if plain.is_ascii() { metaphone.double_metaphone(&plain).alternate() } else { String::new() };
            if code.is_empty() { word.to_owned() } else { code }
        })
        .collect();
    sounds.sort_unstable();
    sounds.join(" ")
}

/// The last digits of a number; empty where there are too few to be one.
pub(super) fn phone_key(phone: &str) -> String {
    let digits: String = phone.chars().filter(char::is_ascii_digit).collect();
    let digits = digits.trim_start_matches('0');
    if digits.len() < LEAST_DIGITS {
        String::new()
    } else {
        digits[digits.len().saturating_sub(LAST_DIGITS)..].to_owned()
    }
}

/// The words of a folded text.
pub(super) fn words_of(folded: &str) -> impl Iterator<Item = &str> {
    folded.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty())
}

/// Latin letters that no accent can be taken from, as they are spelled without them.
pub(super) fn in_plain_letters(word: &str) -> String {
    let spelled = |c: char| match c {
        'ø' => "o".to_owned(),
        'æ' => "ae".to_owned(),
        'œ' => "oe".to_owned(),
        'ß' => "ss".to_owned(),
        'ð' => "d".to_owned(),
        'þ' => "th".to_owned(),
        'ł' => "l".to_owned(),
        'đ' => "d".to_owned(),
        'ı' => "i".to_owned(),
        other => other.to_string(),
    };
    word.chars().map(spelled).collect()
}

/// What speaks for one person behind two records, strongest first; empty where nothing does. A birth date that differs speaks against
/// names that only sound alike, not against one number or one address: those may have been typed wrong.
pub(super) fn reasons(a: &Keys, b: &Keys) -> Vec<&'static str> {
    let same = |of: fn(&Keys) -> &String| !of(a).is_empty() && of(a) == of(b);
    let (name, sound) = (same(|keys| &keys.name), same(|keys| &keys.sound));
    let born = same(|keys| &keys.born);
    let other_day = !born && !a.born.is_empty() && !b.born.is_empty();
    let mut found = Vec::new();
    if born && name {
        found.push("same name and birth date");
    } else if born && sound {
        found.push("names that sound alike and the same birth date");
    }
    if same(|keys| &keys.phone) {
        found.push("same number");
    }
    if same(|keys| &keys.email) {
        found.push("same address");
    }
    if found.is_empty() && name && !other_day {
        found.push("same name");
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::Date;

    const DAY: Date = Date::constant(1994, 3, 7);

    fn keys(name: &str, phone: &str, born: Option<Date>) -> Keys {
        Keys::of(name, phone, "", born)
    }

    #[test]
    fn spellings_of_one_name_sound_alike_and_other_names_do_not() {
        for (one, other) in [
            ("Katharina Meyer", "Catarina Maier"),
            ("Sofie Jensen", "Sophie Jensen"),
            ("Ada Lovell", "LOVELL, Ada"),
            ("Bjørn Østby", "Bjorn Ostby"),
            ("Stephen Thorne", "Steven Thorn"),
        ] {
            assert_eq!(sound(one), sound(other), "{one} {other}");
        }
        for (one, other) in [("Ada Lovell", "Ida Novak"), ("Mia Holm", "Lea Holm"), ("王芳", "李芳")] {
            assert_ne!(sound(one), sound(other), "{one} {other}");
        }
    }

    #[test]
    fn a_number_is_one_with_and_without_its_country() {
        assert_eq!(phone_key("+45 20 30 40 50"), phone_key("20304050"));
        assert_eq!(phone_key("0045 (20) 30-40-50"), "20304050");
        assert_eq!(phone_key("12 34"), "");
    }

    #[test]
    fn what_speaks_for_one_person_is_said() {
        let ada = keys("Katharina Meyer", "+45 20304050", Some(DAY));
        let check = |other: Keys, said: &[&str]| assert_eq!(reasons(&ada, &other), said, "{other:?}");
        check(keys("Meyer Katharina", "", Some(DAY)), &["same name and birth date"]);
        check(keys("Catarina Maier", "", Some(DAY)), &["names that sound alike and the same birth date"]);
        check(keys("Catarina Maier", "", None), &[]);
        check(keys("Katharina Meyer", "", None), &["same name"]);
        check(keys("Katharina Meyer", "", Some(Date::constant(1970, 1, 1))), &[]);
        check(keys("Lars Meyer", "20 30 40 50", None), &["same number"]);
    }
}
