//! What nearly every page shows: marks, fields, the frame around the matter. Each piece is a template of its own, compiled once; written
//! out in every page that shows it, the pieces were half of what the compiler had to check.
//!
//! Pages reach them through the macros of `templates/shell/pieces.html`, and the frame through [`Frame`].

use askama::Template;

use super::form::{FieldView, Mistake};
use super::frame::Frame;

/// A mark by its kind: fit, near, stop, unknown, draft, waiting, saved.
#[derive(Template)]
#[template(path = "shell/pieces/mark.html")]
pub struct Mark<'a> {
    kind: &'a str,
}

/// The mark alone; always beside its word.
pub fn mark<K: AsRef<str> + ?Sized>(kind: &K) -> Mark<'_> {
    Mark { kind: kind.as_ref() }
}

/// Mark and word, inseparable.
#[derive(Template)]
#[template(path = "shell/pieces/status.html")]
pub struct Status<'a> {
    mark: Mark<'a>,
    first: &'a str,
    /// What follows the first word, with the space before it.
    rest: &'a str,
}

/// A mark with its word.
pub fn status<'a, K: AsRef<str> + ?Sized, W: AsRef<str> + ?Sized>(kind: &'a K, word: &'a W) -> Status<'a> {
    let word = word.as_ref();
    let (first, rest) = word.split_at(word.find(' ').unwrap_or(word.len()));
    Status { mark: mark(kind), first, rest }
}

/// An entry of the sheet, to where its matter begins.
#[derive(Template)]
#[template(path = "shell/pieces/entry.html")]
pub struct Entry<'a> {
    id: &'a str,
    word: &'a str,
    small: &'a str,
}

/// The margin word of an entry, with a small line under it or "".
pub fn entry<'a, I, W, S>(id: &'a I, word: &'a W, small: &'a S) -> Entry<'a>
where
    I: AsRef<str> + ?Sized,
    W: AsRef<str> + ?Sized,
    S: AsRef<str> + ?Sized,
{
    Entry { id: id.as_ref(), word: word.as_ref(), small: small.as_ref() }
}

/// On top of a form that came back: what happened, what is kept, where to look. Nothing where all is right.
#[derive(Template)]
#[template(path = "shell/pieces/mistakes.html")]
pub struct Mistakes<'a> {
    mistakes: &'a [Mistake],
    kept: &'a str,
}

/// The mistakes of a form by [`super::form::mistakes`], and a sentence on what is kept.
pub fn mistakes<'a, M: AsRef<[Mistake]> + ?Sized, K: AsRef<str> + ?Sized>(
    mistakes: &'a M,
    kept: &'a K,
) -> Mistakes<'a> {
    Mistakes { mistakes: mistakes.as_ref(), kept: kept.as_ref() }
}

/// Marks of what is kept on the device, each with room for its words; outbox.js shows the one that holds.
#[derive(Template)]
#[template(path = "shell/pieces/kept.html")]
pub struct KeptMarks;

/// See [`KeptMarks`].
#[must_use]
pub fn kept() -> KeptMarks {
    KeptMarks
}

/// A field with its label, its hint and what is wrong with it.
#[derive(Template)]
#[template(path = "shell/pieces/field.html")]
pub struct Field<'a> {
    f: &'a FieldView,
}

impl FieldView {
    /// The field as pages show it.
    #[must_use]
    pub fn shown(&self) -> Field<'_> {
        Field { f: self }
    }
}

/// In every form that writes: the session's token and the form's own key.
#[derive(Template)]
#[template(path = "shell/pieces/hidden.html")]
pub struct Hidden<'a> {
    csrf: &'a str,
    key: &'a str,
}

/// A part of the frame that no page changes.
macro_rules! part_of_frame {
    ($name:ident, $path:literal, $what:literal) => {
        #[doc = $what]
        #[derive(Template)]
        #[template(path = $path)]
        pub struct $name<'a> {
            frame: &'a Frame,
        }
    };
}

part_of_frame!(Head, "shell/frame/head.html", "The head of the document, but for the scripts of one page.");
part_of_frame!(Above, "shell/frame/above.html", "What stands above the matter, to the words of the h1.");
part_of_frame!(UnderTitle, "shell/frame/moments.html", "The moments of the day, under the h1.");
part_of_frame!(Below, "shell/frame/below.html", "The foot, to the end of the cautions that stand everywhere.");
part_of_frame!(Foot, "shell/frame/foot.html", "The foot after the cautions.");

impl Frame {
    /// The hidden fields of a form with this key.
    pub fn hidden<'a, K: AsRef<str> + ?Sized>(&'a self, key: &'a K) -> Hidden<'a> {
        Hidden { csrf: &self.csrf, key: key.as_ref() }
    }

    /// See [`Head`].
    #[must_use]
    pub fn head(&self) -> Head<'_> {
        Head { frame: self }
    }

    /// See [`Above`].
    #[must_use]
    pub fn above(&self) -> Above<'_> {
        Above { frame: self }
    }

    /// See [`UnderTitle`].
    #[must_use]
    pub fn under_title(&self) -> UnderTitle<'_> {
        UnderTitle { frame: self }
    }

    /// See [`Below`].
    #[must_use]
    pub fn below(&self) -> Below<'_> {
        Below { frame: self }
    }

    /// See [`Foot`].
    #[must_use]
    pub fn foot(&self) -> Foot<'_> {
        Foot { frame: self }
    }
}
