//! Hands and adhesive together: which cure-speed class, which bottle on the shelf, what to change. Knows no client:
//! what must not be used now comes from the caller, and no advice here lifts a hold.
//!
//! # What counts as shown for work
//!
//! An advice counts as shown for work when the artist whose hands it is about reads it herself, about the room she works in today:
//! that of her open card, or the one she has said or last took a bottle in today, or that of her appointment of now or her next of today,
//! or the only one of the house (`src/places/whereabouts.rs`). That is her advice page, whatever bead, pick-up, liquids, style or client
//! she has chosen on it, and her own tile of the day sheet there. It is kept with its inputs and the model's version, one row for each
//! question (`shown.rs`); taking a bottle on it is kept besides, for good (`store.rs`).
//!
//! What is only tried does not count: another artist's hands, another room, a bottle that was picked to look at, a value that was not
//! ours and fell back, what an option would lead to, the plan of a room, a question file. Nor does a page that fetched itself anew: nobody
//! need be looking at it. Nor does a treatment card: it shows no advice of its own, but names the one that was taken before it.
//!
//! A question is what the answer depends on. The same air read again is the same question.

pub mod api;
pub mod band;
pub mod board;
pub(crate) mod cores;
pub mod draw;
pub mod file;
pub mod for_work;
pub mod forecast;
mod forecast_page;
pub mod judge;
pub mod kept;
mod kept_page;
pub mod options;
pub mod page;
pub mod reasons;
pub mod settings;
pub mod shown;
mod shown_store;
pub mod store;
pub mod strip;
pub mod surest;
pub mod words;

pub use shown::forget_shown;

/// Every door of this part.
#[must_use]
pub fn routes() -> crate::web::routes::Routes {
    api::routes().join(forecast_page::routes()).join(kept_page::routes())
}

/// The command: reads the text of a question file and gives what goes to standard output, as a page to read or, with
/// `json`, in the machine form.
///
/// # Errors
/// One sentence for standard error, naming the field or the line, when the text is no question.
pub fn command(text: &str, json: bool) -> Result<String, String> {
    let advised = file::advise(text).map_err(|refusal| refusal.to_string())?;
    if json {
        serde_json::to_string_pretty(&advised.answer)
            .map_err(|cause| format!("the answer could not be written: {cause}"))
    } else {
        Ok(page::page(&advised.answer, &advised.picture))
    }
}
