//! What a form shows: each field with its label, what was typed, and what is wrong with it.
//!
//! Knows no unit and no range: the parts check, this carries the words to the page.

/// One field of a form as the page shows it. What was typed stays in `value`, right or wrong.
#[derive(Clone, Debug, Default)]
pub struct FieldView {
    /// Name in the form's body; also the root of the ids on the page.
    pub name: &'static str,
    /// The label above the field.
    pub label: String,
    /// A small line under the label.
    pub hint: Option<String>,
    /// What was typed. Never shown again for passphrases.
    pub value: String,
    /// What is wrong and what would be right, in one or two sentences.
    pub error: Option<String>,
    /// What stands there now, where somebody else changed it while this was typed.
    pub stands: Option<String>,
    /// True where the field may stay empty; the label then says so.
    pub optional: bool,
    /// Which keyboard a tablet shows: "decimal", "numeric", "email", or "" for its own choice.
    pub inputmode: &'static str,
    /// What the browser may fill in: "username", "new-password", "off", or "" for its own choice.
    pub autocomplete: &'static str,
    /// text, password, select, textarea, radio (one of several), checks (any of several), check (yes or not),
    /// hidden (sent back as it was shown), or another input type of HTML (date, time, email, file).
    pub kind: &'static str,
    /// The choices of a select, radio or checks.
    pub options: Vec<Choice>,
    /// True for a few letters only: the field is then no wider than a number's.
    pub short: bool,
}

/// One choice of a field with choices.
#[derive(Clone, Debug, Default)]
pub struct Choice {
    /// What the form sends.
    pub value: String,
    /// What the person reads.
    pub label: String,
    /// True where it is chosen.
    pub chosen: bool,
}

impl FieldView {
    /// The ids that describe the field, for `aria-describedby`: its hint, its error, what stands there now, or "".
    #[must_use]
    pub fn described_by(&self) -> String {
        let hint = self.hint.as_ref().map(|_| format!("f-{}-hint", self.name));
        let error = self.error.as_ref().map(|_| format!("f-{}-wrong", self.name));
        let stands = self.stands.as_ref().map(|_| format!("f-{}-stands", self.name));
        [hint, error, stands].into_iter().flatten().collect::<Vec<_>>().join(" ")
    }

    /// True where choices are whole phrases: they then stand one below the other.
    #[must_use]
    pub fn is_long(&self) -> bool {
        self.options.iter().any(|choice| choice.label.chars().count() > 20)
    }

    /// The id a link from the error summary leads to: the field, or its first choice.
    #[must_use]
    pub fn anchor(&self) -> String {
        match self.kind {
            "radio" | "checks" => format!("f-{}-1", self.name),
            _ => format!("f-{}", self.name),
        }
    }
}

/// A line of the summary on top of a form that came back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mistake {
    /// The id of the field it leads to.
    pub anchor: String,
    /// The field's label.
    pub label: String,
    /// What is wrong and what would be right.
    pub sentence: String,
}

/// The summary of a form: its fields with something wrong, in the order given. Takes `&fields` or `[&name, &volume]`.
pub fn mistakes<'f>(fields: impl IntoIterator<Item = &'f FieldView>) -> Vec<Mistake> {
    let line = |field: &FieldView| {
        let sentence = field.error.clone()?;
        Some(Mistake { anchor: field.anchor(), label: field.label.clone(), sentence })
    };
    fields.into_iter().filter_map(line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_field_is_described_by_its_hint_and_its_error() {
        let mut field = FieldView { name: "volume", ..FieldView::default() };
        assert_eq!(field.described_by(), "");
        field.hint = Some("In cubic metres.".into());
        field.error = Some("Give a number above 0.".into());
        assert_eq!(field.described_by(), "f-volume-hint f-volume-wrong");
        field.stands = Some("12".into());
        assert_eq!(field.described_by(), "f-volume-hint f-volume-wrong f-volume-stands");
    }

    #[test]
    fn the_summary_leads_to_the_first_choice_of_a_group() {
        assert_eq!(FieldView { name: "unit", kind: "radio", ..FieldView::default() }.anchor(), "f-unit-1");
        assert_eq!(FieldView { name: "zone", kind: "select", ..FieldView::default() }.anchor(), "f-zone");
    }

    #[test]
    fn the_summary_names_only_what_is_wrong_in_the_order_of_the_page() {
        let good = FieldView { name: "name", label: "Name".into(), ..FieldView::default() };
        let bad = FieldView { name: "volume", label: "Volume".into(), error: Some("Above 0.".into()), ..good.clone() };
        let line = Mistake { anchor: "f-volume".into(), label: "Volume".into(), sentence: "Above 0.".into() };
        let expected = vec![line];
        assert_eq!(mistakes([&good, &bad]), expected);
        assert_eq!(mistakes(&vec![bad, good]), expected);
    }
}
