//! The plain page that most forms of this part are: one entry, fields, one act.

use askama::Template;

use crate::base::problem::FieldNote;
use crate::web::checks::note_fields;
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::stood::stand_beside;

/// A page with one form.
#[derive(Template)]
#[template(path = "shell/form.html")]
pub(crate) struct FormPage {
    pub(crate) frame: Frame,
    pub(crate) key: String,
    pub(crate) action: String,
    pub(crate) word: &'static str,
    pub(crate) small: &'static str,
    pub(crate) lead: String,
    pub(crate) fields: Vec<FieldView>,
    pub(crate) mistakes: Vec<Mistake>,
    pub(crate) button: &'static str,
    pub(crate) back: Option<(String, String)>,
}

impl FormPage {
    /// With what stands there now beside each field where that is not what was typed.
    pub(crate) fn beside(mut self, now: &Self) -> Self {
        stand_beside(&mut self.fields, &now.fields);
        self.mistakes = mistakes(&self.fields);
        self
    }
}

/// Puts the notes beside their fields; the fields, and the summary for the top of the page.
pub(crate) fn noted(mut fields: Vec<FieldView>, notes: &[FieldNote]) -> (Vec<FieldView>, Vec<Mistake>) {
    note_fields(&mut fields, notes);
    let summary = mistakes(&fields);
    (fields, summary)
}
