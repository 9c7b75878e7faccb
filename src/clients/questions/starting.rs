//! The questions a new studio begins with: common practice in our own words, not confirmed from a standard. The owner changes them and
//! has them looked at by the insurer.

use super::{Effect, Kind, Offered, Question};

const EYES: &str = "Your eyes today";
const REACTED: &str = "What you have reacted to";
const HEALTH: &str = "Your health";
const LASHES: &str = "Lashes and lids";
const LYING: &str = "Lying still";
const MORE: &str = "Anything else";

/// A question answered with yes or no, where yes has the effect.
fn yes(group: &str, key: &str, text: &str, effect: Effect, then: &str) -> Question {
    let offered = |words: &str, effect| Offered { words: words.to_owned(), effect };
    Question {
        key: key.to_owned(),
        group: group.to_owned(),
        text: text.to_owned(),
        kind: Kind::OneOf(vec![offered("no", Effect::Nothing), offered("yes", effect)]),
        then: then.to_owned(),
    }
}

/// The questions the program comes with, version 0.
pub(in crate::clients) fn starting_questions() -> Vec<Question> {
    [eyes(), reacted(), health(), lashes(), lying()].concat()
}

fn eyes() -> Vec<Question> {
    use Effect::{AdviceFirst, DoNotTreat, Precaution};
    vec![
        yes(
            EYES,
            "inflamed",
            "Is an eye red, sore, swollen or running, or does a lid have a stye or lump?",
            DoNotTreat,
            "Wait until it is over; a lump nobody has looked at goes to a doctor.",
        ),
        yes(
            EYES,
            "broken_skin",
            "Is the skin on or near your lids cut, sore, peeling or sunburnt?",
            DoNotTreat,
            "Wait until the skin has healed.",
        ),
        yes(
            EYES,
            "lens",
            "Do you wear contact lenses?",
            Precaution,
            "She reads and signs with her lenses in; they come out before she lies down and stay out until she leaves.",
        ),
        yes(
            EYES,
            "dry",
            "Are your eyes often dry, or do you use drops for them?",
            Precaution,
            "Shorter sitting, breaks, drops only hours apart from the set. Ask which drops: those against glaucoma change lashes.",
        ),
        yes(
            EYES,
            "eye_care",
            "Is a doctor treating your eyes or lids at present?",
            AdviceFirst,
            "Her doctor says first whether extensions may be placed.",
        ),
        Question {
            key: "eye_operation".to_owned(),
            group: EYES.to_owned(),
            text: "Have your eyes or lids been operated on or lasered?".to_owned(),
            kind: Kind::OneOf(vec![
                Offered { words: "never".to_owned(), effect: Effect::Nothing },
                Offered { words: "more than a year ago".to_owned(), effect: Precaution },
                Offered { words: "within the last year".to_owned(), effect: AdviceFirst },
                Offered { words: "within the last three months".to_owned(), effect: DoNotTreat },
            ]),
            then: "The doctor who operated says when. Until then nothing touches the lids.".to_owned(),
        },
    ]
}

fn reacted() -> Vec<Question> {
    use Effect::{AdviceFirst, DoNotTreat, Precaution};
    vec![
        yes(
            REACTED,
            "lash_glue",
            "Have your lids ever itched, swollen or blistered after lashes or lash adhesive, on you or near you?",
            DoNotTreat,
            "No adhesive of any family, whatever a test shows: this answer holds her. Enter the reaction as well, and send her to a doctor.",
        ),
        yes(
            REACTED,
            "glue",
            "Have you reacted to instant glue, wound glue or the glue of a dressing?",
            DoNotTreat,
            "These are the same family of substances as lash adhesive. A doctor first.",
        ),
        yes(
            REACTED,
            "formaldehyde",
            "Has a doctor told you that you are allergic to formaldehyde?",
            DoNotTreat,
            "Lash adhesive can give off traces of it. A doctor first.",
        ),
        yes(
            REACTED,
            "acrylates",
            "Have you reacted to gel or acrylic nails, or to a dental filling?",
            Precaution,
            "A test with every product, read late as well. A nail test that found nothing says nothing about lash adhesive.",
        ),
        yes(
            REACTED,
            "tape",
            "Does tape, a plaster, latex or a gel pad make your skin itch?",
            Precaution,
            "Another pad or tape, tested on her; gloves without latex.",
        ),
        yes(
            REACTED,
            "swollen",
            "Has your face ever swollen, or your breath become short, after something you touched or breathed in?",
            AdviceFirst,
            "Her doctor says first what it was and whether it may meet her again.",
        ),
        yes(
            REACTED,
            "recent",
            "Has a hair dye, a tattoo or new cosmetics made you itch in the last months?",
            Precaution,
            "Patch test again, however long ago the last one was.",
        ),
    ]
}

fn health() -> Vec<Question> {
    use Effect::{AdviceFirst, DoNotTreat, Precaution};
    vec![
        Question {
            key: "cancer_care".to_owned(),
            group: HEALTH.to_owned(),
            text: "Have you had chemotherapy or radiotherapy?".to_owned(),
            kind: Kind::OneOf(vec![
                Offered { words: "no, or long over".to_owned(), effect: Effect::Nothing },
                Offered { words: "it ended within the last year".to_owned(), effect: AdviceFirst },
                Offered { words: "it is going on".to_owned(), effect: DoNotTreat },
            ]),
            then: "Lashes and skin need time; her doctor says when.".to_owned(),
        },
        yes(
            HEALTH,
            "immune",
            "Do you have an illness of the immune system that touches eyes, lids or skin?",
            AdviceFirst,
            "Her doctor first. Medicines that calm the immune system can also hide a reaction to a test.",
        ),
        yes(
            HEALTH,
            "asthma",
            "Do you have asthma, or do strong smells make you cough?",
            Precaution,
            "Extraction at source, air the room, her own spray at hand, stop at the first cough.",
        ),
        yes(
            HEALTH,
            "hay_fever",
            "Do you have hay fever or another allergy that makes your eyes run?",
            Precaution,
            "Not in the worst weeks; rubbing eyes lose lashes. Test again if she takes something new.",
        ),
        yes(
            HEALTH,
            "skin",
            "Is your skin very sensitive, or do you have eczema or psoriasis?",
            Precaution,
            "Patch test with every product; not on days when the lids are inflamed.",
        ),
        yes(
            HEALTH,
            "thyroid",
            "Is your thyroid treated, or do you lose hair for another known reason?",
            Precaution,
            "Lighter sets; look at the lashes each time.",
        ),
        yes(
            HEALTH,
            "blood",
            "Do you have diabetes, or take something that thins the blood?",
            Precaution,
            "Gentle with tape and tools: small wounds bleed longer and heal slower.",
        ),
        yes(
            HEALTH,
            "pregnant",
            "Are you pregnant or breast-feeding?",
            Precaution,
            "Position, breaks and air; the house rule and her midwife decide whether at all.",
        ),
        yes(
            HEALTH,
            "seizures",
            "Do you have epilepsy, or faint easily?",
            Precaution,
            "Somebody knows what to do; no flicker, no long sitting, tools away at once.",
        ),
        yes(
            HEALTH,
            "medicines",
            "Has a medicine of yours changed, or did you begin a new one, since you were last here?",
            Precaution,
            "Write which. Patch test again after a change.",
        ),
    ]
}

fn lashes() -> Vec<Question> {
    use Effect::{AdviceFirst, DoNotTreat, Precaution};
    vec![
        yes(
            LASHES,
            "pulling",
            "Do you pull out lashes or brows at times?",
            DoNotTreat,
            "Extensions make it worse. Kindly, and without an audience.",
        ),
        yes(
            LASHES,
            "no_lashes",
            "Are lashes missing altogether, or in patches?",
            DoNotTreat,
            "There is nothing to bond to; patches nobody has looked at go to a doctor.",
        ),
        yes(
            LASHES,
            "unexplained",
            "Have you lost lashes, or have your lids been red, without knowing why?",
            AdviceFirst,
            "A doctor looks first.",
        ),
        yes(
            LASHES,
            "lift_tint",
            "Were your lashes lifted, permed or tinted in the last weeks?",
            Precaution,
            "Wait the days the house rule asks for; weaker lashes, lighter extensions.",
        ),
        yes(
            LASHES,
            "serum",
            "Do you use a serum that makes lashes grow?",
            Precaution,
            "Oily ones loosen bonds; some irritate. Ask which.",
        ),
        yes(LASHES, "pigment", "Was make-up tattooed on your lids?", Precaution, "Healed for weeks; no tape on it."),
        yes(
            LASHES,
            "other_studio",
            "Are you wearing a set from somewhere else now?",
            Precaution,
            "Adhesive unknown: the clearance of a test here does not cover it.",
        ),
        yes(
            LASHES,
            "oily",
            "Are your lids oily, or do you use oil-based make-up?",
            Precaution,
            "Cleanse twice; tell her what it does to the bonds.",
        ),
    ]
}

fn lying() -> Vec<Question> {
    use Effect::{AdviceFirst, DoNotTreat, Precaution};
    let own_words = |group: &str, key: &str, text: &str, effect, then: &str| Question {
        key: key.to_owned(),
        group: group.to_owned(),
        text: text.to_owned(),
        kind: Kind::OwnWords(effect),
        then: then.to_owned(),
    };
    vec![
        yes(
            LYING,
            "still",
            "Is lying still with closed eyes for one to three hours impossible for you?",
            DoNotTreat,
            "Not without eyes closed throughout. A removal or a few lashes at most, later.",
        ),
        yes(
            LYING,
            "narrow",
            "Do closed eyes or narrow rooms frighten you?",
            Precaution,
            "Shorter sittings, a hand signal to stop, the door ajar.",
        ),
        yes(
            LYING,
            "back",
            "Do your neck or back hurt when you lie on your back?",
            Precaution,
            "Support, breaks, a shorter set.",
        ),
        yes(
            LYING,
            "palsy",
            "Is one side of your face weak, or does an eye not close by itself?",
            AdviceFirst,
            "The eye must close. Her doctor first.",
        ),
        own_words(
            MORE,
            "own_words",
            "What else should we know? Which eye drops, medicines or allergies, by name?",
            Precaution,
            "Read what she wrote.",
        ),
    ]
}
