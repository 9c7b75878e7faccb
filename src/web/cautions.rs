//! The words that stand where work can hurt someone: cautions, and the first-aid card.
//!
//! Only texts and their sources. The owner may replace the card's words; these are what a new house starts with.
//! They defer to the emergency service, to medical advice, to the maker's instructions and data sheet, to local rules.
//!
//! Sources, named at each text:
//! - ICSC 1272: International Chemical Safety Card 1272, methyl 2-cyanoacrylate (ILO/WHO).
//! - P305+P351+P338: the precautionary phrases for eyes of the Globally Harmonised System (United Nations).
//! - REACH dossier: first-aid section of an industry registration dossier for a cyanoacrylate, published by ECHA.
//! - Common practice: what trainers, insurers and makers' sheets usually say; no standard behind it.

/// The line at the foot of every page, in short sentences.
///
/// Extraction and gloves: ICSC 1272. Maker's instructions first: 16 TAC 83.115 (Texas) asks the same of licensees.
/// Eyes closed, stop and refer: common practice.
pub const FOOT: &[&str] = &[
    "Eyes closed throughout, extraction on at the bed, nitrile gloves on.",
    "Adhesive never on skin, except a patch test done as its maker allows.",
    "The maker’s instructions and data sheet come first; keep the sheet at hand.",
    "Pain, swelling or changed vision: stop, give first aid, refer.",
    "Stillroom keeps records and calculates. A speed recommendation never overrides a hold.",
];

/// One caution for the work at the bed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Caution {
    /// What it is about, in a word or two.
    pub heading: &'static str,
    /// What to do.
    pub sentence: &'static str,
}

/// The cautions in full, in the order of a treatment.
pub const WORK: &[Caution] = &[
    // Common practice; the studio's own rule sets the ages.
    Caution {
        heading: "Who",
        sentence: "No treatment of minors outside the studio’s own rule, and none while a client is held.",
    },
    // ICSC 1272 asks for ventilation or local exhaust. At source: common practice.
    Caution {
        heading: "Extraction",
        sentence: "Run it before the bottle is opened, with its mouth beside the bead, drawing the vapour away from both faces.",
    },
    // ICSC 1272 asks for protective gloves. Nitrile, and the heat on cotton: common practice and makers' sheets, from
    // memory.
    Caution { heading: "Gloves", sentence: "Nitrile, fresh for each client. Cotton soaks adhesive up and grows hot." },
    // Common practice.
    Caution {
        heading: "Eyes",
        sentence: "Closed from the first pick-up to the last drying. If a lid opens, stop until it is shut again.",
    },
    // Makers' sheets and 16 TAC 83.115 (used according to the manufacturer's instructions).
    Caution {
        heading: "Skin",
        sentence: "Adhesive touches the lash and nothing else. A patch test is the only exception, done the way the maker of that adhesive allows.",
    },
    // 16 TAC 83.115; common practice.
    Caution {
        heading: "Maker first",
        sentence: "What the maker’s instructions and data sheet say goes before anything on these pages. The sheet lies where the work is done.",
    },
    // Common practice.
    Caution {
        heading: "Stop and refer",
        sentence: "Pain, burning, swelling, tears that do not end, changed vision: stop at once, give first aid, send the client to medical care. Going on is never the answer.",
    },
];

/// The first-aid card as a page shows it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FirstAidCard {
    /// Who to call here. An empty number is shown as one to fill in.
    pub numbers: Vec<LocalNumber>,
    /// What to do, a section for each thing that may happen.
    pub sections: Vec<Care>,
    /// What to do once the client is looked after.
    pub after: Vec<String>,
    /// Where the data sheets lie in this house; empty until the owner says so.
    pub sheets_at: String,
    /// Who went through the card; empty until somebody has.
    pub checked_by: String,
    /// On which day, as shown; empty until somebody has.
    pub checked_on: String,
}

/// A number to call in this town.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LocalNumber {
    /// Who answers.
    pub who: String,
    /// The number, as one would dial it; empty until filled in.
    pub number: String,
}

/// First aid for one thing that may happen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Care {
    /// What has happened, as somebody would say it.
    pub heading: String,
    /// What to do, in order.
    pub steps: Vec<String>,
    /// What not to do.
    pub never: Vec<String>,
}

/// What the card gives way to.
pub const CARD_DEFERS: &str = "This card does not stand above the emergency service, a doctor, or the data sheet of the product in use. \
     Where one of them says otherwise, do what they say.";

/// Where the words of a new house's card come from, as the card itself says. What trainers, insurers and makers' sheets usually say
/// has no standard behind it, and the card says that too.
pub const CARD_SOURCES: &[&str] = &[
    "Rinsing, lenses, fresh air, soap and water: International Chemical Safety Card 1272 (ILO/WHO) and the eye phrases P305+P351+P338 of the United Nations’ GHS.",
    "Warm water, gauze, an eye never forced open: first-aid section of a REACH registration dossier for a cyanoacrylate, published by ECHA.",
    "No solvent near the eye, lashes trimmed by the doctor alone: texts of emergency medicine. The rest is common practice.",
];

/// What a line costs on paper besides its signs: it ends somewhere in its last row.
const SIGNS_OF_A_LINE: usize = 40;

impl FirstAidCard {
    /// How many sheets of A4 the wall print takes, by how much there is to read against the card of a new house, which fills one as it
    /// is. Letters are never smaller than eleven points: a card that cannot be read from where one stands helps nobody.
    #[must_use]
    pub fn sheets(&self) -> usize {
        let (own, fresh) = (self.signs(), Self::unchecked().signs());
        // In hundredths of the new card; from the second sheet on the letters are a little larger.
        if own * 100 <= fresh * 104 { 1 } else { (own * 100).div_ceil(fresh * 90).max(2) }
    }

    fn signs(&self) -> usize {
        let steps = self.sections.iter().flat_map(|care| care.steps.iter().chain(&care.never));
        let calls = self.numbers.iter().map(|local| &local.who);
        let lines = steps.chain(&self.after).chain(calls).map(|line| line.chars().count() + SIGNS_OF_A_LINE);
        // Where nobody has said yet where the sheets lie, a line says so.
        lines.sum::<usize>() + self.sheets_at.chars().count().max(SIGNS_OF_A_LINE)
    }

    /// The card of a new house: texts as below, no numbers yet, checked by nobody.
    #[must_use]
    pub fn unchecked() -> Self {
        let numbers = NUMBERS.iter().map(|who| LocalNumber { who: (*who).into(), number: String::new() }).collect();
        let sections = FIRST_AID
            .iter()
            .map(|care| Care { heading: care.heading.into(), steps: owned(care.steps), never: owned(care.never) })
            .collect();
        Self {
            numbers,
            sections,
            after: owned(AFTERWARDS),
            sheets_at: String::new(),
            checked_by: String::new(),
            checked_on: String::new(),
        }
    }

    /// True while a number still has to be filled in, or none is there at all.
    #[must_use]
    pub fn lacks_numbers(&self) -> bool {
        self.numbers.is_empty() || self.numbers.iter().any(|local| local.number.trim().is_empty())
    }

    /// True once somebody has put a name and a day to it.
    #[must_use]
    pub fn is_checked(&self) -> bool {
        !self.checked_by.trim().is_empty() && !self.checked_on.trim().is_empty()
    }
}

fn owned(lines: &[&str]) -> Vec<String> {
    lines.iter().map(|line| (*line).to_owned()).collect()
}

/// Who a studio needs the numbers of.
const NUMBERS: &[&str] = &["Emergency service", "Emergency eye care", "Poison information", "Doctor nearby"];

/// The words of a section before an owner has touched them.
struct CareText {
    heading: &'static str,
    steps: &'static [&'static str],
    never: &'static [&'static str],
}

/// What threatens life comes first, then the eyes, then skin.
const FIRST_AID: &[CareText] = &[
    // Fresh air: ICSC 1272. Emergency call first, sitting up, own medicine, not left alone: general first-aid
    // teaching, from memory.
    CareText {
        heading: "Breathing trouble, or swelling that comes fast",
        steps: &[
            "Call the emergency service now and do what they say.",
            "Fresh air: close the bottle, open the window or leave the room. Let the person sit up.",
            "Whoever carries their own emergency medicine takes it.",
            "Stay with them. Note the time, the product and the lot for the crew.",
        ],
        never: &["Do not wait to see whether it passes.", "Do not leave them alone or send them home by themselves."],
    },
    // Rinsing for several minutes, lenses out, on with rinsing: P305+P351+P338 and ICSC 1272. How many minutes, no
    // solvent, no rubbing: common practice; emergency-medicine texts avoid solvents too. Gauze, eye not forced,
    // loosening with tears: REACH dossier.
    CareText {
        heading: "Adhesive in an open eye",
        steps: &[
            "Stop, put the tweezers and the bottle out of reach, say calmly what you are doing.",
            "Rinse at once with plenty of clean, lukewarm water, gently, from the nose outwards. Go on for 15 to 20 minutes.",
            "Contact lenses come out if they come easily. Then go on rinsing.",
            "Let a second person call emergency eye care while you rinse, with the data sheet in hand.",
            "For the way there: clean damp gauze, laid on loosely. The client does not drive.",
        ],
        never: &[
            "No remover, acetone or other solvent near an open eye.",
            "No rubbing, no pulling at hardened adhesive, no forcing of the lids. Tears loosen it in time.",
        ],
    },
    // REACH dossier: warm water, gauze, do not force the eye open, medical attention, loosens by itself. Leaving lashes
    // to be trimmed by the doctor: from emergency-medicine texts, which name it as the doctor's step.
    CareText {
        heading: "Lids stuck together",
        steps: &[
            "Leave the eye shut. Wash lids and lashes gently and thoroughly with warm water.",
            "Lay clean damp gauze over the eye and keep it damp.",
            "Get medical care today. At once if it hurts, or if adhesive may have reached the eye.",
        ],
        never: &[
            "Never force the lids apart, and cut nothing: that is the doctor’s step.",
            "No remover while you cannot be sure that the eye beneath stays closed and dry.",
        ],
    },
    // P305+P351+P338. Removers differ in what they are made of, so their own sheet decides. Length: common practice.
    CareText {
        heading: "Remover in the eye",
        steps: &[
            "Rinse at once with plenty of clean, lukewarm water, lids held open by the client, for 15 to 20 minutes.",
            "Contact lenses come out if they come easily. Then go on rinsing.",
            "Call emergency eye care and read out what the remover’s data sheet says is in it.",
        ],
        never: &["No drops, creams or neutralising liquids unless the doctor asks for them."],
    },
    // Soap and water: ICSC 1272. Not tearing off: common practice. Heat of larger amounts, above all on dry cotton:
    // makers' sheets, from memory.
    CareText {
        heading: "Adhesive on skin",
        steps: &[
            "Wash with soap and warm water. What has set comes off by itself over some days.",
            "A larger drop grows hot while it sets: cool it with plenty of water.",
            "Close to the eye: do as for stuck lids.",
            "Redness, blisters or itching that stays, spreads or comes back: medical care, and no further treatment.",
        ],
        never: &["Do not tear skin apart or scrape.", "Do not dab with dry cotton: adhesive on it can burn."],
    },
];

/// Common practice.
const AFTERWARDS: &[&str] = &[
    "Write down what happened, when, with which product and lot, and what was done.",
    "Put the bottle aside and stop its lot until the cause is known.",
    "Tell the owner today; the owner tells the insurer and, where a serious reaction has to be reported, the authority.",
    "No further treatment of this client before medical advice says that there may be one.",
];

#[cfg(test)]
mod tests {
    use super::*;

    /// Words that promise what nobody can promise.
    const NEVER_SAID: &[&str] = &["safe", "not allergic", "best adhesive", "harmless", "risk-free"];

    #[test]
    fn a_new_card_asks_for_its_numbers_and_is_checked_by_nobody() {
        let mut card = FirstAidCard::unchecked();
        assert!(card.lacks_numbers());
        assert!(!card.is_checked());
        assert!(FirstAidCard { numbers: Vec::new(), ..card.clone() }.lacks_numbers(), "no line at all is no number");
        for local in &mut card.numbers {
            local.number = "000".into();
        }
        card.checked_by = "Oona Pell".into();
        assert!(!card.lacks_numbers());
        assert!(!card.is_checked(), "a name without a day is no check");
        card.checked_on = "18 Feb".into();
        assert!(card.is_checked());
    }

    #[test]
    fn the_card_speaks_of_the_five_things_that_may_happen_and_what_not_to_do() {
        let card = FirstAidCard::unchecked();
        let headings: Vec<&str> = card.sections.iter().map(|care| care.heading.as_str()).collect();
        for block in ["Breathing trouble", "open eye", "Lids stuck", "Remover in the eye", "on skin"] {
            assert!(headings.iter().any(|heading| heading.contains(block)), "{block}");
        }
        assert_eq!(card.sections.len(), 5);
        assert!(card.sections.iter().all(|care| !care.steps.is_empty() && !care.never.is_empty()));
    }

    #[test]
    fn no_text_promises_what_nobody_can_promise() {
        let card = FirstAidCard::unchecked();
        let mut said: Vec<String> = owned(FOOT);
        said.extend(WORK.iter().map(|caution| caution.sentence.to_owned()));
        said.extend(card.sections.iter().flat_map(|care| care.steps.iter().chain(&care.never)).cloned());
        said.extend(card.after.iter().cloned());
        for line in said {
            for word in NEVER_SAID {
                assert!(!line.to_lowercase().contains(word), "“{line}” says “{word}”");
            }
        }
    }
}
