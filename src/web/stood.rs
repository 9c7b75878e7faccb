//! What stood there when a form was opened: of two who change one thing, the second is asked. An entry may have waited on a tablet for a
//! day.

use super::checks::text_field;
use super::form::FieldView;
use crate::base::problem::Problem;
use crate::store::keys::digest_of_secret;

/// The hidden field in which a form of the house's own texts and rules carries that mark.
pub const STOOD: &str = "stood";

/// That field.
#[must_use]
pub fn stood_field(mark: &str) -> FieldView {
    FieldView { kind: "hidden", ..text_field(STOOD, "", mark) }
}

/// A mark of what stands there, for a form to carry: where something else stands by the time it is sent, nothing is written.
#[must_use]
pub fn mark_of(standing: &str) -> String {
    digest_of_secret(standing).chars().take(16).collect()
}

/// Whether what was sent may be written: what stands there is what the form was opened over, or the same as is sent.
#[must_use]
pub fn is_still(seen: &str, standing: &str, sent: &str) -> bool {
    standing == sent || mark_of(standing) == seen || (seen.is_empty() && standing.is_empty())
}

/// Looks once more inside the write.
///
/// # Errors
/// [`Problem::Clash`] where [`is_still`] does not hold.
pub fn still_stands(seen: &str, standing: &str, sent: &str) -> Result<(), Problem> {
    if is_still(seen, standing, sent) {
        return Ok(());
    }
    Err(Problem::Clash(
        "Somebody else changed this since you opened it.".to_owned(),
        "Open it again, look at what stands there now, and send yours in its place or leave it.".to_owned(),
    ))
}

/// Puts beside each field of a form that came back what stands there now, where that is not what was typed. `now` are the same fields,
/// filled in with what stands there.
pub fn stand_beside(typed: &mut [FieldView], now: &[FieldView]) {
    for (field, now) in typed.iter_mut().zip(now).filter(|(field, _)| field.kind != "hidden") {
        let stands = in_words(now);
        if in_words(field) != stands {
            field.stands = Some(if stands.is_empty() { "nothing".to_owned() } else { stands });
            field.error.get_or_insert_with(|| {
                "Somebody else changed this since you opened it. Send yours in its place, or keep what stands there now."
                    .to_owned()
            });
        }
    }
}

/// What a field says, as a person reads it. A list of which nothing is chosen shows its first choice.
fn in_words(field: &FieldView) -> String {
    let chosen = field.options.iter().find(|choice| choice.chosen).map(|choice| choice.label.clone());
    match field.kind {
        "select" => chosen.or_else(|| field.options.first().map(|choice| choice.label.clone())).unwrap_or_default(),
        "radio" => chosen.unwrap_or_default(),
        "check" => if field.value == "yes" { "ticked" } else { "not ticked" }.to_owned(),
        _ => field.value.trim().replace("\r\n", "\n"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::checks::choice_field;

    #[test]
    fn what_changed_meanwhile_is_written_over_by_nobody_who_did_not_see_it() {
        let seen = mark_of("a");
        assert!(is_still(&seen, "a", "b"), "it stands as it was seen");
        assert!(!is_still(&seen, "c", "b"), "something else stands there");
        assert!(is_still(&seen, "b", "b"), "the same as is sent");
        assert!(is_still("", "", "b") && !is_still("", "a", "b"), "opened over nothing");
    }
    #[test]
    fn what_stands_there_now_is_said_in_words_beside_the_fields_that_differ() {
        let choices = || [("no", "not at all"), ("yes", "always")].map(|(a, b)| (a.to_owned(), b.to_owned()));
        let form = |text: &str, chosen: &str, tick: &str| {
            vec![
                FieldView { kind: "textarea", ..text_field("steps", "Steps", text) },
                text_field("lot", "Lot", ""),
                choice_field("select", "often", "How often", chosen, choices()),
                choice_field("radio", "who", "Who", chosen, choices()),
                FieldView { kind: "check", ..text_field("needed", "Needed", tick) },
                stood_field(chosen),
            ]
        };
        let beside = |mut typed: Vec<FieldView>, now: &[FieldView]| {
            stand_beside(&mut typed, now);
            assert!(typed.iter().all(|field| field.stands.is_some() == field.error.is_some()));
            typed.into_iter().map(|field| field.stands.unwrap_or_default()).collect::<Vec<_>>()
        };
        // A list shows its first choice where none is chosen; browsers end a line with two characters.
        assert_eq!(beside(form("Rinse\r\nWait ", "no", ""), &form("Rinse\nWait", "no", "")), [""; 6]);
        let now = form("", "yes", "yes");
        assert_eq!(beside(form("Rinse", "", ""), &now), ["nothing", "", "always", "always", "ticked", ""]);
        assert_eq!(beside(form("", "yes", ""), &now), ["", "", "", "", "ticked", ""]);
    }
}
