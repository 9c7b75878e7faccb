//! What stands on a complaint, for a form to carry and for words: of two people who decide at once the second is asked.

use super::amount;
use super::doctor_store::{Complaint, DECISIONS, complaint};
use super::reaction::words_of;
use super::seen::still_here;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::Tx;
use crate::store::keys::Keys;
use crate::web::stood;
use crate::web::studio::Studio;

/// Everything that the form of the decision writes; empty while nothing is decided and no card named.
fn standing(complaint: &Complaint) -> String {
    let Complaint { decision, card, fix_until, fixed, refund_minor, .. } = complaint;
    if decision == "open" && card.is_empty() {
        return String::new();
    }
    let number = |value: Option<i64>| value.map(|value| value.to_string()).unwrap_or_default();
    let instant = |at: &Option<Instant>| number(at.map(|at| at.0));
    format!("{decision} {card} {} {} {}", instant(fix_until), instant(fixed), number(*refund_minor))
}

/// A mark of what stands there, for a form to carry.
pub(super) fn mark_of(complaint: &Complaint) -> String {
    stood::mark_of(&standing(complaint))
}

/// Whether what was sent may be written: what stands there is what the form was opened over, or the same as is sent.
fn is_still(seen: &str, stands: &Complaint, sent: &Complaint) -> bool {
    stood::is_still(seen, &standing(stands), &standing(sent))
}

/// Looks once more inside the write, and gives what stands there.
///
/// # Errors
/// [`Problem::NotHere`] where she or her complaint is gone, [`Problem::Clash`] where somebody else decided meanwhile.
pub(super) async fn still_stands(tx: &mut Tx, keys: &Keys, seen: &str, sent: &Complaint) -> Result<Complaint, Problem> {
    still_here(tx, sent.client, false).await?;
    let stands = complaint(tx.db(), keys, sent.id).await?.filter(|stands| stands.client == sent.client);
    let stands = stands.ok_or(Problem::NotHere("complaint"))?;
    if is_still(seen, &stands, sent) {
        return Ok(stands);
    }
    Err(Problem::Clash(
        "Somebody else decided on this since you opened it.".to_owned(),
        "Open it again, look at what stands there now, and send yours in its place or leave it.".to_owned(),
    ))
}

/// Looks inside the write whether the studio still counts in the currency in which an amount was typed.
///
/// # Errors
/// A mistake beside the amount where the currency is another now.
pub(super) async fn still_counted_in(tx: &mut Tx, currency: &str) -> Result<(), Problem> {
    let now = Studio::load(tx.db()).await?.currency;
    if now == currency {
        return Ok(());
    }
    Err(Problem::mistake(
        "refund",
        format!(
            "This was typed in {currency}, and the studio’s currency is {now} now. Look at the amount and send it again."
        ),
    ))
}

/// An amount as this studio writes it, without its currency.
pub(super) fn shown(minor: i64, studio: &Studio) -> String {
    amount::shown(minor, &studio.currency, studio.decimal)
}

/// A decision in words; of a refund also how much.
pub(super) fn decided_words(decision: &str, refund_minor: Option<i64>, studio: &Studio) -> String {
    let words = words_of(&DECISIONS, decision);
    match refund_minor {
        Some(minor) => format!("{words} of {} {}", shown(minor, studio), studio.currency),
        None => words.to_owned(),
    }
}

/// The same as lines before the form that comes back; `card` is the card it is about, in words.
pub(super) fn moved_lines(stands: &Complaint, card: &str, studio: &Studio, now: Instant) -> Vec<String> {
    let mut words = decided_words(&stands.decision, stands.refund_minor, studio);
    if let Some(until) = stands.fix_until {
        let done = if stands.fixed.is_some() { "done" } else { "not done yet" };
        words = format!("{words} until the end of {}, {done}", studio.zone.date(until, now));
    }
    vec![
        "Somebody else changed this since you opened it. Nothing was saved; what you typed is still here.".to_owned(),
        format!("Stands there now: {words}. Treatment card: {card}."),
        "Send yours in its place, or go back to her clearance and leave what stands there.".to_owned(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::ids::{ClientId, ComplaintId};

    #[test]
    fn whatever_the_form_writes_moves_its_mark() {
        let open = Complaint {
            id: ComplaintId::new(),
            client: ClientId::new(),
            at: Instant(1),
            what: "Sore rims.".to_owned(),
            product: None,
            lot: String::new(),
            card: String::new(),
            decision: "open".to_owned(),
            fix_until: None,
            fixed: None,
            refund_minor: None,
        };
        let fix = Complaint { decision: "fix".to_owned(), fix_until: Some(Instant(9)), ..open.clone() };
        let others = [
            Complaint { card: "a card".to_owned(), ..open.clone() },
            Complaint { decision: "refused".to_owned(), ..open.clone() },
            Complaint { decision: "refund".to_owned(), refund_minor: Some(9), ..open.clone() },
            Complaint { fix_until: Some(Instant(8)), ..fix.clone() },
            Complaint { fixed: Some(Instant(9)), ..fix.clone() },
            Complaint { fix_until: None, fixed: Some(Instant(9)), ..fix.clone() },
            open,
        ];
        for other in &others {
            assert!(!is_still(&mark_of(other), &fix, other), "{other:?}");
            assert!(!is_still("", &fix, other), "{other:?}");
            assert!(is_still(&mark_of(&fix), &fix, other), "{other:?}");
        }
        assert!(is_still("", &fix, &fix), "the same as stands there is nobody's loss");
        assert!(is_still("", &others[6], &fix), "nothing stood there, and nothing does");
        assert!(!is_still("", &others[0], &fix), "a card stands there");
    }
}
