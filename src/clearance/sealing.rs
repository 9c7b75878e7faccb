//! Words about health, sealed with the client's own key on their way into the database and opened on their way out.

use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::store::keys::Keys;
use crate::store::{Db, sealed};

/// The words sealed; `None` for nothing written. `place` is table, column and row with dots between.
pub(super) async fn seal_words(
    db: &mut Db,
    keys: &Keys,
    client: ClientId,
    place: &str,
    words: &str,
) -> Result<Option<Vec<u8>>, Problem> {
    if words.is_empty() {
        return Ok(None);
    }
    sealed::seal(db, keys, client, place, words.as_bytes()).await.map(Some)
}

/// The words opened; empty where nothing was written, and where the client's key is gone.
pub(super) async fn open_words(
    db: &mut Db,
    keys: &Keys,
    client: ClientId,
    place: &str,
    kept: Option<Vec<u8>>,
) -> Result<String, Problem> {
    let Some(kept) = kept else { return Ok(String::new()) };
    let opened = sealed::open(db, keys, client, place, &kept).await?;
    Ok(opened.map(|plain| String::from_utf8_lossy(&plain).into_owned()).unwrap_or_default())
}
