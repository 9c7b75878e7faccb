//! The photos of one record of another part, and the form for a further one: a piece of that record's page.

use super::{Moment, store};
use crate::base::ids::ClientId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::Instant;
use crate::clients::Client;
use crate::clients::consents;
use crate::clients::typed::noted;
use crate::store::Db;
use crate::web::House;
use crate::web::form::{FieldView, Mistake};
use crate::web::incoming::new_form_key;
use crate::web::studio::Studio;

/// One photo of it.
pub(crate) struct Shown {
    pub(crate) title: String,
    pub(crate) href: String,
    pub(crate) width: i64,
    pub(crate) height: i64,
}

/// What the page of a record shows of its photos; see `templates/clients/photo_block.html`.
#[derive(Default)]
pub(crate) struct PhotoBlock {
    pub(crate) key: String,
    pub(crate) action: String,
    /// Her page, where she signs the consent; empty where it is in force.
    pub(crate) sign: String,
    /// What is said where that consent is missing, where there is no photo yet, and above the field.
    pub(crate) words: [&'static str; 3],
    /// Whether a photo may be kept now.
    pub(crate) may_add: bool,
    pub(crate) fields: Vec<FieldView>,
    pub(crate) mistakes: Vec<Mistake>,
    pub(crate) photos: Vec<Shown>,
}

impl PhotoBlock {
    /// The photos of a record of hers by its id and the kind of photo it has; `action` is where a further one is sent.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub(crate) async fn load(
        db: &mut Db,
        house: &House,
        studio: &Studio,
        client: &Client,
        (about, moment): (&str, Moment),
        action: String,
        now: Instant,
    ) -> Result<Self, Problem> {
        let id: ClientId = client.id;
        let under = moment.under();
        let consent = consents::store::newest(db, id, under).await?;
        let in_force = consent.is_some_and(|consent| consent.withdrawn.is_none());
        let path = house.url(&format!("/door/clients/{id}"));
        let all = store::of_client(db, id).await?;
        let hers = all.into_iter().filter(|photo| photo.about.as_deref() == Some(about) && photo.withdrawn.is_none());
        let photos = hers.map(|photo| Shown {
            title: format!("{}, {}", photo.moment.words(), studio.zone.date_and_clock(photo.at, now)),
            href: format!("{path}/photos/{}", photo.id),
            width: photo.width,
            height: photo.height,
        });
        let words = match moment {
            Moment::Sheet => [
                "no consent to keep what is said of her health: no sheet may be kept",
                "No photo of the sheet yet.",
                "A photo of the sheet",
            ],
            _ => ["no consent to photos of record: none may be kept", "No photo of it.", "A photo"],
        };
        let file = FieldView {
            name: "file",
            label: words[2].to_owned(),
            hint: Some(
                "JPEG, PNG or WebP up to 10 MB. Only the picture is kept, sealed, for those who treat.".to_owned(),
            ),
            kind: "file",
            ..FieldView::default()
        };
        Ok(Self {
            key: new_form_key(),
            action,
            sign: if in_force { String::new() } else { format!("{path}/sign/{}", under.word()) },
            words,
            may_add: in_force && client.restricted.is_none(),
            fields: vec![file],
            mistakes: Vec::new(),
            photos: photos.collect(),
        })
    }

    /// The same with a word beside the file that was not kept.
    pub(crate) fn refused(self, sentence: &str, key: Option<String>) -> Self {
        self.again(&[FieldNote::new("file", sentence)], key)
    }

    /// The same with the mistakes beside their fields, under the key it came with.
    pub(crate) fn again(mut self, notes: &[FieldNote], key: Option<String>) -> Self {
        (self.fields, self.mistakes) = noted(self.fields, notes);
        self.key = key.unwrap_or(self.key);
        self
    }
}
