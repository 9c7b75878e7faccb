//! What the signing page sends, checked. Pure.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::given::{Guardian, Mark};
use super::signature::Strokes;
use crate::base::problem::{FieldNote, Problem};
use crate::web::checks::{Notes, note_fields, text_field};
use crate::web::form::FieldView;

// Ticks that are not set are not sent, and the guardian's block only where it is needed.
#[derive(Deserialize, Default, Clone)]
#[serde(default)]
pub(in crate::clients) struct TypedConsent {
    /// Of the wording that was read.
    pub(super) version: String,
    pub(super) printed_name: String,
    pub(super) language: String,
    pub(super) reader: String,
    pub(super) strokes: String,
    pub(super) typed_name: String,
    pub(super) agree: String,
    pub(super) witness: String,
    pub(super) guardian_name: String,
    pub(super) guardian_relation: String,
    pub(super) guardian_identity: String,
    pub(super) guardian_strokes: String,
    pub(super) guardian_typed: String,
}

/// Checked: everything of a consent that a person gave at the page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::clients) struct Given {
    pub(in crate::clients) printed_name: String,
    pub(in crate::clients) language: String,
    pub(in crate::clients) reader: String,
    pub(in crate::clients) mark: Mark,
    pub(in crate::clients) witness: String,
    pub(in crate::clients) guardian: Option<Guardian>,
}

impl TypedConsent {
    /// Out of fields kept by name.
    pub(in crate::clients) fn of(typed: &BTreeMap<String, String>) -> Self {
        let get = |name: &str| typed.get(name).cloned().unwrap_or_default();
        Self {
            version: get("version"),
            printed_name: get("printed_name"),
            language: get("language"),
            reader: get("reader"),
            strokes: get("strokes"),
            typed_name: get("typed_name"),
            agree: get("agree"),
            witness: get("witness"),
            guardian_name: get("guardian_name"),
            guardian_relation: get("guardian_relation"),
            guardian_identity: get("guardian_identity"),
            guardian_strokes: get("guardian_strokes"),
            guardian_typed: get("guardian_typed"),
        }
    }

    pub(in crate::clients) fn check(&self, with_guardian: bool) -> Result<Given, Problem> {
        let mut notes = Notes::default();
        let printed_name = notes.line("printed_name", &self.printed_name, 120);
        let language = notes.line("language", &self.language, 40);
        let reader =
            if self.reader.trim().is_empty() { Some(String::new()) } else { notes.line("reader", &self.reader, 120) };
        let mark = mark(&mut notes, "typed_name", &self.strokes, &self.typed_name);
        if self.agree != "yes" {
            notes.add("agree", "Ask whether she agrees to sign on a screen; without that, print it and sign on paper.");
        }
        let witness = notes.line("witness", &self.witness, 120);
        let guardian = if with_guardian { self.guardian(&mut notes).map(Some) } else { Some(None) };
        let given = (|| {
            Some(Given {
                printed_name: printed_name?,
                language: language?,
                reader: reader?,
                mark: mark?,
                witness: witness?,
                guardian: guardian?,
            })
        })();
        notes.settle(given)
    }

    fn guardian(&self, notes: &mut Notes) -> Option<Guardian> {
        let name = notes.line("guardian_name", &self.guardian_name, 120);
        let relation = notes.line("guardian_relation", &self.guardian_relation, 60);
        let seen_by = notes.line("guardian_identity", &self.guardian_identity, 120);
        let mark = mark(notes, "guardian_typed", &self.guardian_strokes, &self.guardian_typed);
        Some(Guardian { name: name?, relation: relation?, identity_seen_by: seen_by?, mark: mark? })
    }

    /// Before the signature.
    pub(super) fn who(&self, notes: &[FieldNote]) -> Vec<FieldView> {
        let mut fields = vec![
            text_field("printed_name", "Her name, printed", &self.printed_name),
            text_field("language", "Language it was read in", &self.language).short(),
            text_field("reader", "Read or translated by", &self.reader)
                .hinted("Where somebody read it to her or put it into her language.")
                .or_empty(),
        ];
        note_fields(&mut fields, notes);
        fields
    }

    /// The name typed instead of a signature.
    pub(super) fn typed_field(&self, notes: &[FieldNote]) -> FieldView {
        one(typed_instead("typed_name", &self.typed_name), notes)
    }

    /// After the signature.
    pub(super) fn after(&self, notes: &[FieldNote]) -> Vec<FieldView> {
        let mut fields = vec![
            FieldView {
                name: "agree",
                label: "She agrees to sign on a screen".to_owned(),
                kind: "check",
                value: self.agree.clone(),
                ..FieldView::default()
            },
            text_field("witness", "Seen by (witness)", &self.witness).hinted("Who of the studio saw her sign."),
        ];
        note_fields(&mut fields, notes);
        fields
    }

    /// The guardian's block, without the signature.
    pub(super) fn guardian_fields(&self, notes: &[FieldNote]) -> Vec<FieldView> {
        let mut fields = vec![
            text_field("guardian_name", "Guardian’s name, printed", &self.guardian_name),
            text_field("guardian_relation", "Relation", &self.guardian_relation)
                .hinted("Mother, father, legal guardian."),
            text_field("guardian_identity", "Identity seen by", &self.guardian_identity)
                .hinted("Who of the studio looked at the guardian’s identity card."),
        ];
        note_fields(&mut fields, notes);
        fields
    }

    /// The guardian's name typed instead of a signature.
    pub(super) fn guardian_typed_field(&self, notes: &[FieldNote]) -> FieldView {
        one(typed_instead("guardian_typed", &self.guardian_typed), notes)
    }
}

fn typed_instead(name: &'static str, value: &str) -> FieldView {
    text_field(name, "Or type the name instead", value).or_empty()
}

fn one(field: FieldView, notes: &[FieldNote]) -> FieldView {
    let mut fields = [field];
    note_fields(&mut fields, notes);
    let [field] = fields;
    field
}

/// Strokes where there are any, else the typed name. What is wrong is told beside the typed name, which every device shows.
pub(in crate::clients) fn mark(notes: &mut Notes, field: &'static str, strokes: &str, typed: &str) -> Option<Mark> {
    let drawn = !strokes.trim().is_empty() && strokes.trim() != "[]";
    if drawn {
        return Strokes::read(strokes).map_err(|why| notes.add(field, why)).ok().map(Mark::Drawn);
    }
    if typed.trim().is_empty() {
        notes.add(field, "Sign in the field, or type the name instead.");
        return None;
    }
    notes.line(field, typed, 120).map(Mark::Typed)
}

#[cfg(test)]
mod tests {
    use super::*;

    const DRAWN: &str = "[[0,0,0,1500,500,40,3000,900,90]]";

    fn typed() -> TypedConsent {
        TypedConsent {
            printed_name: "Ada Lovell".into(),
            language: "English".into(),
            strokes: DRAWN.into(),
            agree: "yes".into(),
            witness: "Ines Okafor".into(),
            ..TypedConsent::default()
        }
    }

    fn wrong(typed: &TypedConsent, with_guardian: bool) -> Vec<String> {
        match typed.check(with_guardian) {
            Err(Problem::Mistakes(notes)) => notes.iter().map(|note| note.field.to_string()).collect(),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_drawn_or_a_typed_name_is_a_signature_and_nothing_is_none() {
        assert!(matches!(typed().check(false).unwrap().mark, Mark::Drawn(_)));
        let by_name = TypedConsent { strokes: "[]".into(), typed_name: "Ada Lovell".into(), ..typed() };
        assert_eq!(by_name.check(false).unwrap().mark, Mark::Typed("Ada Lovell".into()));
        assert_eq!(wrong(&TypedConsent { strokes: String::new(), ..typed() }, false), ["typed_name"]);
        assert_eq!(wrong(&TypedConsent { strokes: "[[1,2,3]]".into(), ..typed() }, false), ["typed_name"]);
    }

    #[test]
    fn nobody_signs_on_a_screen_without_agreeing_to_it_or_without_a_witness() {
        let typed = TypedConsent { agree: String::new(), witness: " ".into(), ..typed() };
        assert_eq!(wrong(&typed, false), ["agree", "witness"]);
    }

    #[test]
    fn for_a_minor_every_line_of_the_guardian_is_needed_and_for_others_none() {
        let all = ["guardian_name", "guardian_relation", "guardian_identity", "guardian_typed"];
        assert_eq!(wrong(&typed(), true), all);
        let with = TypedConsent {
            guardian_name: "Bea Lovell".into(),
            guardian_relation: "mother".into(),
            guardian_identity: "Sanna Reve".into(),
            guardian_strokes: DRAWN.into(),
            ..typed()
        };
        assert_eq!(with.check(true).unwrap().guardian.unwrap().name, "Bea Lovell");
        assert_eq!(with.check(false).unwrap().guardian, None);
    }
}
