//! A photo arrives, is made a picture of ours, and is kept under her consent: for her own page of photos, and for records of other parts
//! that show one.

use std::sync::Arc;

use axum::extract::Multipart;
use axum::http::HeaderMap;
use tokio::sync::Semaphore;

use super::clean::{self, MOST_BYTES, Picture};
use super::{Moment, store};
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::clients::consents::{self, Purpose};
use crate::clients::{Client, client, not_restricted};
use crate::store::{FormKey, Kept};
use crate::web::House;
use crate::web::guard::Staff;
use crate::web::incoming::{Turned, form_key, unless_kept};
use crate::web::upload::Upload;

/// The most bytes a form with a photo may hold.
pub(crate) const LARGEST_FORM: usize = MOST_BYTES + 64 * 1024;

/// Files that arrive at once: each is held whole.
static ARRIVING: Semaphore = Semaphore::const_new(3);
/// Pictures that are decoded at once: one may take as much as everything else together.
static DECODING: Semaphore = Semaphore::const_new(1);

/// A form with a photo that has arrived.
pub(crate) struct Arrived {
    /// The key it was sent with.
    pub(crate) key: FormKey,
    /// The fields beside the photo.
    pub(crate) moment: String,
    /// The picture, or a sentence for whoever chose the file.
    pub(crate) picture: Result<Picture, &'static str>,
}

/// Takes the form in; one that was kept before is turned to its first result.
///
/// # Errors
/// As [`Upload::receive`]; without a right token or key.
pub(crate) async fn arrive(
    house: &House,
    staff: &Staff,
    headers: &HeaderMap,
    parts: Multipart,
) -> Result<Arrived, Turned> {
    let place = ARRIVING.acquire().await.map_err(Problem::broken)?;
    let most = house.config.max_upload_bytes().min(MOST_BYTES);
    let sent = Upload::receive(parts, most, house.config.request_timeout).await?;
    let key = form_key(house, &staff.visitor, headers, &sent.pairs, &[&sent.file])?;
    unless_kept(house, &key).await?;
    let moment = sent.value("moment").to_owned();
    let picture = if sent.too_large {
        Err("This photo is larger than 10 MB, or than this installation takes.")
    } else {
        cleaned(sent.file).await?
    };
    drop(place);
    Ok(Arrived { key, moment, picture })
}

/// Decoded beside the other requests, one at a time. A decoder that gives up in an unforeseen way has a broken file before it.
async fn cleaned(file: Vec<u8>) -> Result<Result<Picture, &'static str>, Problem> {
    let turn = DECODING.acquire().await.map_err(Problem::broken)?;
    let done = tokio::task::spawn_blocking(move || clean::clean(&file)).await;
    drop(turn);
    Ok(done.unwrap_or_else(|cause| {
        tracing::warn!(%cause, "a photo was not decoded to its end");
        Err("This photo is broken and does not open.")
    }))
}

/// Whose photo it is and what it shows.
#[derive(Debug, Clone)]
pub(crate) struct Shows {
    /// Whose.
    pub(crate) client: ClientId,
    /// When of the visit, or of which kind of record.
    pub(crate) moment: Moment,
    /// The id of that record.
    pub(crate) about: Option<String>,
}

/// Keeps a picture under her consent to such photos and goes to `next`. The caller has looked whether this person may.
///
/// # Errors
/// [`Problem::Clash`] without such a consent in force, or where her record is restricted; [`Problem::NotHere`] where it is gone.
pub(crate) async fn keep(
    house: &House,
    staff: &Staff,
    key: &FormKey,
    shows: Shows,
    picture: Picture,
    next: String,
) -> Result<Kept, Problem> {
    let (by, keeping, picture) = (staff.who.id, house.clone(), Arc::new(picture));
    house
        .store
        .write(key, move |tx| {
            let (house, picture, shows, next) = (keeping.clone(), picture.clone(), shows.clone(), next.clone());
            Box::pin(async move {
                let id = shows.client;
                let her = client(tx.db(), id).await?.filter(Client::is_in_use).ok_or(Problem::NotHere("client"))?;
                not_restricted(&her)?;
                let consent = consents::store::newest(tx.db(), id, shows.moment.under()).await?;
                let consent = consent.filter(|consent| consent.withdrawn.is_none()).ok_or_else(|| {
                    Problem::Clash(
                        match shows.moment.under() {
                            Purpose::HealthData => {
                                "Her consent to keep what is said of her health is not signed, or it was withdrawn."
                            }
                            _ => "Her consent to photos of record is not signed, or it was withdrawn.",
                        }
                        .into(),
                        "Let her sign it first, if she wishes to.".into(),
                    )
                })?;
                let what = (shows.moment, shows.about.as_deref());
                store::add(tx, house.store.keys(), id, consent.id, what, by, &picture).await?;
                Ok(Kept::see(next))
            })
        })
        .await
}
