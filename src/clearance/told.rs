//! Who was told of a reaction or a stop, as the pages of both show it and ask for it.

use super::lot_page::choose;
use super::reaction::{WHOM, words_of};
use super::reaction_store::told;
use super::typed::Typed;
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::Instant;
use crate::base::zone::Zone;
use crate::store::Db;
use crate::web::checks::choice_field;
use crate::web::form::FieldView;

/// Whom and when, in words.
pub(super) async fn told_rows(
    db: &mut Db,
    zone: &Zone,
    about: &str,
    now: Instant,
) -> Result<Vec<(String, String)>, Problem> {
    let told = told(db, about).await?;
    Ok(told.iter().map(|(whom, at)| (words_of(&WHOM, whom).to_owned(), zone.date_and_clock(*at, now))).collect())
}

/// The field that asks whom.
pub(super) fn whom_field() -> FieldView {
    let own = |(key, words): (&str, &str)| (key.to_owned(), words.to_owned());
    choice_field("select", "whom", "Whom", "", choose().chain(WHOM.map(own)))
}

/// Who was chosen in it; [`nobody_chosen`] is said beside it otherwise.
pub(super) fn chosen_whom(typed: &Typed) -> Option<String> {
    let whom = typed.get("whom");
    WHOM.iter().any(|(key, _)| *key == whom).then(|| whom.to_owned())
}

/// What stands beside the field then.
pub(super) fn nobody_chosen() -> FieldNote {
    FieldNote::new("whom", "Choose one of these.")
}
