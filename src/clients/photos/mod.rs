//! Photos of a client, each taken under her consent to them. What is kept is a picture this program wrote itself, sealed with her key;
//! it opens only to those who treat, each time with an audit row, and no more once the consent is withdrawn.

pub mod clean;
mod block;
mod page;
pub(super) mod store;
mod taking;

pub(crate) use block::PhotoBlock;
pub(crate) use page::shown;
pub(crate) use taking::{LARGEST_FORM, Shows, arrive, keep};

use super::consents::Purpose;
use crate::web::routes::Routes;

/// When of a visit a photo was taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Moment {
    /// Before the set.
    Before,
    /// After it.
    After,
    /// At another time.
    Other,
    /// Of a patch test.
    Test,
    /// Of what she complains of.
    Complaint,
    /// Of a sheet of paper that was entered afterwards; it shows writing and no face.
    Sheet,
}

impl Moment {
    /// Every moment.
    pub const ALL: [Self; 6] = [Self::Before, Self::After, Self::Other, Self::Test, Self::Complaint, Self::Sheet];
    /// Those chosen on her own page of photos; the others come with their record.
    pub const CHOSEN: [Self; 3] = [Self::Before, Self::After, Self::Other];

    /// The word kept in the database.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Before => "before",
            Self::After => "after",
            Self::Other => "another",
            Self::Test => "test",
            Self::Complaint => "complaint",
            Self::Sheet => "sheet",
        }
    }

    /// The words on a page.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Before => "Before the set",
            Self::After => "After the set",
            Self::Other => "At another time",
            Self::Test => "Of a patch test",
            Self::Complaint => "Of a complaint",
            Self::Sheet => "Of a sheet of paper",
        }
    }

    /// The consent it is kept under. A sheet is no picture of her: it says what her record says, and rests on what that rests on.
    #[must_use]
    pub const fn under(self) -> Purpose {
        match self {
            Self::Sheet => Purpose::HealthData,
            _ => Purpose::RecordPhotos,
        }
    }

    /// The moment with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|moment| moment.word() == word)
    }
}

/// Every door of this room.
pub(super) fn routes() -> Routes {
    page::routes()
}
