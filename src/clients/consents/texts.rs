//! The wordings a new studio begins with, in our own words: what is done, what can go wrong, what she may do. None of them is a waiver:
//! nobody signs away a right here. Common practice, not confirmed by a lawyer; the owner changes them and has them looked at.

use super::Purpose;

/// Stands on every page where a wording is changed or printed from the start.
pub(super) const NOT_CONFIRMED: &str = "This wording is common practice in our words. Nobody has confirmed it for your country: check it with your insurer and a lawyer.";

/// Stands where the questions are changed.
pub(in crate::clients) const NOT_CONFIRMED_QUESTIONS: &str = "The questions and what their answers lead to are common practice in our words, not confirmed from a standard: check them with your insurer. The adhesive maker’s instructions, local codes and medical practice come before them.";

/// The wording the program comes with, version 0.
pub(in crate::clients) fn starting(purpose: Purpose) -> String {
    match purpose {
        Purpose::Treatment => TREATMENT,
        Purpose::HealthData => HEALTH_DATA,
        Purpose::PatchTest => PATCH_TEST,
        Purpose::RecordPhotos => RECORD_PHOTOS,
        Purpose::PublicityPhotos => PUBLICITY_PHOTOS,
        Purpose::Marketing => MARKETING,
    }
    .to_owned()
}

const TREATMENT: &str = "\
What is done: single fibres or fans of fibres are bonded to my own lashes with a cyanoacrylate adhesive, one to each. My eyes stay closed throughout, pads or tape hold the lower lashes, and I lie still for one to three hours. It was explained to me, and I could ask.

What can go wrong, also when everything is done with care: redness, tears and a feeling of something in the eye for some hours; irritation or allergy of lids and eyes, on the first day or weeks later, also when a test showed nothing and also after sets that went well; infection; lashes of my own broken or lost; adhesive or remover in the eye.

What else there is: no extensions, fewer or lighter ones, mascara, or asking a doctor first.

What I said about my health is true as far as I know. I say so when it changes. A patch test was offered to me; whether and when it was made, and what was seen, stands in my record. I take contact lenses out before I lie down.

I may stop at any moment, by word or by raising a hand. If my eyes burn, hurt or see less, I say so at once.

Afterwards: I was told how to care for the lashes, that some are shed with my own, whom I call, and that pain, light that hurts, changed sight, swelling or discharge is for a doctor at once. I was told what the studio does when something has to be mended, when money goes back, and what a visit that I miss costs.

Signing this takes none of my rights away. I may withdraw it at any time for whatever has not been done yet.";

const HEALTH_DATA: &str = "\
The studio asks about my eyes, skin, allergies and health, so that nobody treats me who should not, and so that whoever treats me knows what to look out for.

My answers are kept locked. Those who treat me and the owner read them; each reading is written down. They are not passed on, except to a doctor or an emergency service when my health asks for it, or when a law demands it.

They are kept as long as the studio’s keeping time says, which I was told. I may see them, have them corrected, have a copy, and ask for them to be erased. What must stay because of insurance or law stays with its reason until its date.

I may withdraw this at any time. Without these answers the studio cannot treat me.";

const PATCH_TEST: &str = "\
What is done: a little of each product that is meant for me is put on my skin, or a few extensions are bonded as they would be later. The test is itself a meeting with the adhesive.

What it tells: whether a reaction was seen up to the moment somebody looked. It does not tell that none will come: an allergy can begin later, at the second or the tenth set, also after a test that showed nothing.

I look at the place on each of the following days. If it itches, reddens, swells or blisters I say so at once, and nothing is bonded. With swelling of the face, trouble breathing, pain or changed sight I go for medical help first.

I may stop the test at any time, and it is taken off.";

const RECORD_PHOTOS: &str = "\
Photos of my eyes and lashes may be taken and kept in my record, to compare before and after, to count what has lasted, and to show a reaction should there be one.

They stay in the record, locked, seen by those who treat me and by the owner. They are not shown to others. Place and device are taken out of the files.

I may have a copy, and I may withdraw this at any time: then no more are taken, and those that nothing obliges the studio to keep are erased.";

const PUBLICITY_PHOTOS: &str = "\
Photos of my lashes and eyes may be shown to others: on the studio’s pages, in its window, in teaching. My name is not given with them unless I agree to that apart.

What was once on the internet can be copied by others and cannot be called back. I do not get paid for it, and my treatment does not depend on it.

I may withdraw this at any time: then the studio takes the photos down from its own pages and shows them no more.";

const MARKETING: &str = "\
The studio may write to me with news and offers, by the ways I gave it.

My treatment does not depend on it. I may withdraw this at any time, with one word or one tap, and then no more is sent. Messages about my own appointments and tests are not meant here and come either way.";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_wording_asks_anybody_to_give_up_a_right_or_promises_what_nobody_can() {
        for purpose in Purpose::ALL {
            let text = starting(purpose).to_lowercase();
            for word in [
                "waive",
                "waiver",
                "liab",
                "disclaim",
                "hold harmless",
                "own risk",
                "indemnif",
                "release the studio",
                " safe",
                "not allergic",
                "guarantee",
            ] {
                assert!(!text.contains(word), "{purpose:?} says “{word}”");
            }
        }
    }

    #[test]
    fn every_wording_says_that_it_may_be_withdrawn_or_stopped() {
        for purpose in Purpose::ALL {
            let text = starting(purpose);
            assert!(text.contains("withdraw") || text.contains("may stop"), "{purpose:?}");
        }
    }
}
