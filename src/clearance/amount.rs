//! An amount given back: typed and shown with the decimals of the studio's currency, kept as whole minor units.

use iso_currency::Currency;

use crate::base::number::DecimalMark;

/// The largest amount that is taken, minor units: more is a slip of the hand in any currency.
const MOST: i64 = 100_000_000_000;

/// Digits behind the decimal mark, after ISO 4217; two where it knows no such currency, as a studio may have typed before it was asked for one.
fn places(currency: &str) -> usize {
    Currency::from_code(currency).and_then(Currency::exponent).map_or(2, usize::from)
}

/// Whether amounts kept in one currency are read the same in another. A currency that ISO 4217 does not know says nothing of them but
/// how many decimals they have.
#[must_use]
pub fn reads_alike(before: &str, after: &str) -> bool {
    before == after || (Currency::from_code(before).is_none() && places(before) == places(after))
}

/// Minor units as a page shows them, with the currency's decimals and the studio's mark: 1250 is "12.50" in EUR, "1250" in JPY.
pub(super) fn shown(minor: i64, currency: &str, mark: DecimalMark) -> String {
    let places = places(currency);
    if places == 0 {
        return minor.to_string();
    }
    let one = 10_i64.pow(places as u32);
    let mark = if mark == DecimalMark::Comma { ',' } else { '.' };
    format!("{}{mark}{:0places$}", minor / one, minor % one)
}

/// What was typed, as minor units: digits with at most one comma or point and no more decimals than the currency has. A sign of thousands
/// is never guessed at.
///
/// # Errors
/// The sentence beside the field, where it is empty, no amount, nothing at all or too much.
pub(super) fn typed(text: &str, currency: &str, mark: DecimalMark) -> Result<i64, String> {
    let (text, places) = (text.trim(), places(currency));
    if text.is_empty() {
        return Err("Fill this in.".to_owned());
    }
    let (whole, part) = text.split_once([',', '.']).unwrap_or((text, ""));
    let digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
    if whole.len() + part.len() == 0 || !digits(whole) || !digits(part) || part.len() > places || whole.len() > 12 {
        let like = shown(12_345, currency, mark);
        return Err(match places {
            0 => format!("Type the amount in whole {currency}, like {like}."),
            _ => format!(
                "Type the amount in {currency} with at most {places} decimals and no sign of thousands, like {like}."
            ),
        });
    }
    match format!("{whole}{part:0<places$}").parse() {
        Ok(minor) if (1..=MOST).contains(&minor) => Ok(minor),
        _ => Err(format!(
            "Type an amount from {} to {} {currency}.",
            shown(1, currency, mark),
            shown(MOST, currency, mark)
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_amount_is_read_with_either_mark_and_the_decimals_of_its_currency() {
        for (text, currency, minor) in [
            ("12.50", "EUR", Some(1250)),
            ("12,50", "EUR", Some(1250)),
            (" 12,5 ", "EUR", Some(1250)),
            ("12", "EUR", Some(1200)),
            ("12.", "EUR", Some(1200)),
            (",05", "EUR", Some(5)),
            ("0.01", "EUR", Some(1)),
            // As inexact halves they would be a unit off.
            ("1.15", "EUR", Some(115)),
            ("90071992.55", "EUR", Some(9_007_199_255)),
            ("1250", "JPY", Some(1250)),
            ("1.250", "KWD", Some(1250)),
            ("1.25", "KWD", Some(1250)),
            ("1,2345", "CLF", Some(12_345)),
            ("12,50", "XYZ", Some(1250)),
            // Thousands or decimals: asked, not guessed.
            ("1.250", "EUR", None),
            ("1,250.00", "EUR", None),
            ("12.50", "JPY", None),
            ("", "EUR", None),
            (".", "EUR", None),
            ("0", "EUR", None),
            ("0,00", "EUR", None),
            ("-5", "EUR", None),
            ("12 50", "EUR", None),
            ("12.50 EUR", "EUR", None),
            ("1e3", "EUR", None),
            ("٣", "EUR", None),
            ("1000000000.01", "EUR", None),
            ("99999999999999999999", "EUR", None),
        ] {
            let read = typed(text, currency, DecimalMark::Point);
            assert_eq!(read.clone().ok(), minor, "{text} {currency}: {read:?}");
        }
    }

    #[test]
    fn currencies_without_the_usual_two_decimals_have_those_of_the_standard() {
        let with = |decimals: usize, codes: &str| {
            for code in codes.split(' ') {
                assert_eq!(places(code), decimals, "{code}");
            }
        };
        with(0, "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF");
        with(2, "AUD CHF CZK DKK EUR GBP HUF MGA NOK PLN SEK TRY TWD USD XCG ZAR");
        with(3, "BHD IQD JOD KWD LYD OMR TND");
        with(4, "CLF UYW");
    }

    #[test]
    fn an_amount_in_one_currency_is_none_in_another() {
        for (before, after, alike) in [
            ("EUR", "EUR", true),
            ("EUR", "JPY", false),
            ("EUR", "USD", false),
            ("JPY", "KRW", false),
            ("XYZ", "EUR", true),
            ("XYZ", "JPY", false),
        ] {
            assert_eq!(reads_alike(before, after), alike, "{before} {after}");
        }
    }

    #[test]
    fn what_is_shown_reads_back_as_the_same_minor_units() {
        for (minor, currency, mark, text) in [
            (1250, "EUR", DecimalMark::Point, "12.50"),
            (1250, "EUR", DecimalMark::Comma, "12,50"),
            (5, "EUR", DecimalMark::Comma, "0,05"),
            (1250, "JPY", DecimalMark::Comma, "1250"),
            (1250, "KWD", DecimalMark::Point, "1.250"),
            (5, "CLF", DecimalMark::Point, "0.0005"),
            (MOST, "EUR", DecimalMark::Point, "1000000000.00"),
        ] {
            assert_eq!(shown(minor, currency, mark), text);
            assert_eq!(typed(text, currency, mark).ok(), Some(minor), "{text} {currency}");
        }
    }
}
