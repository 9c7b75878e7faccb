//! Hands and adhesive together: which cure-speed class, which bottle on the shelf, what to change. Knows no client:
//! what must not be used now comes from the caller, and no advice here lifts a hold.

pub mod api;
pub mod band;
pub mod board;
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
pub mod store;
pub mod strip;
pub mod surest;
pub mod words;

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
