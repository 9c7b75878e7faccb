//! What can go wrong, with its words: what happened, what is kept, what to do.
//!
//! Use [`Problem::Mistakes`] for what a person can correct in the form before her, [`Problem::Clash`] when the world
//! moved meanwhile, [`Problem::Broken`] for everything she cannot help: its cause goes to the log once, never to a page.

use std::borrow::Cow;
use std::fmt;

/// A mistake in one field of a form.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FieldNote {
    /// The field's name in the form.
    pub field: Cow<'static, str>,
    /// A sentence that says what would help.
    pub sentence: String,
}

impl FieldNote {
    /// A note beside a field.
    pub fn new(field: &'static str, sentence: impl Into<String>) -> Self {
        Self { field: Cow::Borrowed(field), sentence: sentence.into() }
    }
}

/// The three sentences every problem is told in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Words {
    /// What happened.
    pub happened: String,
    /// What is kept.
    pub kept: String,
    /// What to do.
    pub next: String,
}

/// What went wrong.
#[derive(Debug)]
pub enum Problem {
    /// There is no such thing, or it belongs to somebody else: both answer alike.
    NotHere(&'static str),
    /// Nobody is signed in, or the sign-in ended.
    SignIn,
    /// Signed in on a shared tablet, for something that asks for a passphrase typed a moment ago.
    Prove,
    /// Signed in, but not for this.
    NotYours(&'static str),
    /// The device is in a client's hands: nothing but her form opens on it.
    HandedOver,
    /// The form did not come from a page of ours in this session.
    Forged,
    /// What was sent cannot be read.
    Unreadable(String),
    /// The address is right, the method is not; the router itself lists those it takes.
    NotThatWay,
    /// Fields to correct.
    Mistakes(Vec<FieldNote>),
    /// The world moved meanwhile: happened, what to do.
    Clash(String, String),
    /// The same form was already kept with other content; where the first result is.
    AlreadyKept(String),
    /// Too often, too fast: seconds to wait.
    TooMany(u64),
    /// More than the house takes at once.
    TooLarge(String),
    /// What was sent did not arrive in time, so that nothing was begun.
    TooSlow,
    /// The database could not take the write now; nothing was written.
    Busy,
    /// The commit was sent and its answer lost: never "not saved".
    Unsure,
    /// Everything nobody at a page can help.
    Broken(String),
}

impl Problem {
    /// The HTTP status.
    #[must_use]
    pub const fn status(&self) -> u16 {
        match self {
            Self::NotHere(_) => 404,
            Self::SignIn | Self::Prove => 401,
            Self::NotYours(_) | Self::HandedOver | Self::Forged => 403,
            Self::Unreadable(_) => 400,
            Self::NotThatWay => 405,
            Self::Mistakes(_) | Self::AlreadyKept(_) => 422,
            Self::Clash(..) => 409,
            Self::TooMany(_) => 429,
            Self::TooLarge(_) => 413,
            // Not 408, after which a browser may send by itself what already came too slowly (RFC 9110, section 15.5.9).
            Self::TooSlow | Self::Busy | Self::Unsure => 503,
            Self::Broken(_) => 500,
        }
    }

    /// The sentences for a page.
    #[must_use]
    pub fn words(&self) -> Words {
        let (happened, kept, next): (String, &str, String) = match self {
            Self::NotHere(what) => (
                format!("There is no such {what} here, or it is not yours to see."),
                "Nothing was changed.",
                "Go back, or begin at Today.".into(),
            ),
            Self::SignIn => (
                "You are not signed in, or your sign-in has ended.".into(),
                "Nothing was sent or changed.",
                "Sign in and go on where you were.".into(),
            ),
            Self::Prove => (
                "On a shared tablet this asks for your passphrase, typed within the last five minutes.".into(),
                "Nothing was sent or changed.",
                "Sign in with your passphrase and go on where you were.".into(),
            ),
            Self::NotYours(why) => {
                ((*why).into(), "Nothing was changed.", "Ask the owner if you need it for your work.".into())
            }
            Self::HandedOver => (
                "This page is not part of the form.".into(),
                "What was answered so far is kept.",
                "Go back to the form, or give the device back to whoever handed it to you.".into(),
            ),
            Self::Forged => (
                "This form did not come from a page you opened in this session.".into(),
                "Nothing was changed.",
                "Open the page again and send it from there.".into(),
            ),
            Self::Unreadable(what) => (what.clone(), "Nothing was changed.", "Send it again from its page.".into()),
            Self::NotThatWay => (
                "This address does not take that.".into(),
                "Nothing was changed.",
                "Go back and begin again from the page.".into(),
            ),
            Self::Mistakes(notes) => (
                match notes.as_slice() {
                    [one] => one.sentence.clone(),
                    _ => "Some fields need another look.".into(),
                },
                "What you typed is kept in the form.",
                "Correct the marked fields and send again.".into(),
            ),
            Self::Clash(what, next) => {
                (what.clone(), "Nothing was changed; what you typed is still there.", next.clone())
            }
            Self::AlreadyKept(_) => (
                "This form was already kept once, with other content.".into(),
                "The first entry is kept as it was sent.",
                "Open the first entry, or open the page anew to keep this as another.".into(),
            ),
            Self::TooMany(seconds) => (
                "That was tried too often in a short time.".into(),
                "Nothing was changed.",
                format!("Wait {seconds} seconds, then try again."),
            ),
            Self::TooLarge(what) => (what.clone(), "Nothing was changed.", "Send less at once.".into()),
            Self::TooSlow => (
                "What was sent arrived too slowly and was not waited for any longer.".into(),
                "Nothing was written; what you typed is still in the form.",
                "Go back and send it again, nearer to the studio's network if you can. The same form counts only once."
                    .into(),
            ),
            Self::Busy => (
                "The database is busy with other work and did not take this in time.".into(),
                "Nothing was written; what you typed is still in the form.",
                "Send it again in a few seconds. The same form counts only once.".into(),
            ),
            Self::Unsure => (
                "The answer of the database was lost on its way.".into(),
                "It is not known yet whether your entry was kept.",
                "Send the same form again: it counts only once, and then you will know.".into(),
            ),
            Self::Broken(_) => (
                "Something in the house did not work.".into(),
                "What was saved before is kept. This last step was not finished.",
                "Try again; if it happens again, tell whoever runs this installation the time it happened.".into(),
            ),
        };
        Words { happened, kept: kept.to_owned(), next }
    }

    /// A cause for the log.
    pub fn broken(cause: impl fmt::Display) -> Self {
        Self::Broken(cause.to_string())
    }

    /// One mistake in one field.
    pub fn mistake(field: &'static str, sentence: impl Into<String>) -> Self {
        Self::Mistakes(vec![FieldNote::new(field, sentence)])
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Broken(cause) => f.write_str(cause),
            other => f.write_str(&other.words().happened),
        }
    }
}

impl std::error::Error for Problem {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_kind_keeps_its_status_and_tells_three_sentences() {
        let kinds = [
            (Problem::NotHere("room"), 404),
            (Problem::SignIn, 401),
            (Problem::NotYours("Only the owner opens this."), 403),
            (Problem::Forged, 403),
            (Problem::Unreadable("The form could not be read.".into()), 400),
            (Problem::NotThatWay, 405),
            (Problem::mistake("name", "Fill this in."), 422),
            (Problem::Clash("It was changed.".into(), "Open it again.".into()), 409),
            (Problem::AlreadyKept("/rooms".into()), 422),
            (Problem::TooMany(8), 429),
            (Problem::TooLarge("The file is larger than 8 MB.".into()), 413),
            (Problem::TooSlow, 503),
            (Problem::Busy, 503),
            (Problem::Unsure, 503),
            (Problem::broken("disk on fire"), 500),
        ];
        for (problem, status) in kinds {
            assert_eq!(problem.status(), status, "{problem:?}");
            let words = problem.words();
            for sentence in [&words.happened, &words.kept, &words.next] {
                assert!(sentence.ends_with('.'), "{sentence}");
            }
        }
    }

    #[test]
    fn an_inner_cause_never_reaches_the_page() {
        let words = Problem::broken("password=hunter2 at /home").words();
        assert!(!format!("{words:?}").contains("hunter2"));
    }

    #[test]
    fn an_answer_lost_after_the_commit_is_never_told_as_not_saved() {
        let words = Problem::Unsure.words();
        assert!(words.kept.contains("not known yet") && !words.kept.to_lowercase().contains("not saved"));
    }
}
