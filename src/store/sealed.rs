//! Sealed columns: what clients said of their health, signatures, photos. Each client has a random key of her own, wrapped by the
//! sealing key that stands in the keys folder, outside the database and its backups (XChaCha20-Poly1305, draft-irtf-cfrg-xchacha-03).
//! Table, column and row are bound in as associated data, so that nothing sealed can be moved to another place. Destroying the
//! client's key makes all of it dark.

use std::collections::BTreeMap;

use chacha20poly1305::aead::{Aead, KeyInit, Payload};
use chacha20poly1305::{XChaCha20Poly1305, XNonce};
use sqlx::Row;

use super::keys::Keys;
use super::{Db, Tx, among, many};
use crate::base::ids::ClientId;
use crate::base::problem::Problem;

/// The first byte of everything sealed: which way of sealing.
const WAY: u8 = 1;
/// Bytes of a nonce.
const NONCE: usize = 24;

/// Seals bytes with a key for one place. A fresh random nonce of 192 bits each time.
pub(super) fn seal_with(key: &[u8; 32], place: &str, plain: &[u8]) -> Result<Vec<u8>, Problem> {
    let mut nonce = [0_u8; NONCE];
    getrandom::fill(&mut nonce).map_err(Problem::broken)?;
    let payload = Payload { msg: plain, aad: place.as_bytes() };
    let sealed = XChaCha20Poly1305::new(key.into())
        .encrypt(&XNonce::from(nonce), payload)
        .map_err(|_| Problem::broken("something could not be sealed"))?;
    Ok([&[WAY], nonce.as_slice(), &sealed].concat())
}

/// Opens what [`seal_with`] sealed for the same place with the same key; `None` for anything else.
pub(super) fn open_with(key: &[u8; 32], place: &str, sealed: &[u8]) -> Option<Vec<u8>> {
    let (way, rest) = sealed.split_first()?;
    let (nonce, sealed) = rest.split_at_checked(NONCE)?;
    if *way != WAY {
        return None;
    }
    let nonce = XNonce::from(<[u8; NONCE]>::try_from(nonce).ok()?);
    XChaCha20Poly1305::new(key.into()).decrypt(&nonce, Payload { msg: sealed, aad: place.as_bytes() }).ok()
}

/// A client's own key, unwrapped for the length of one piece of work.
pub struct ClientKey([u8; 32]);

impl ClientKey {
    /// Opens what was sealed for this place (table, column and row with dots between).
    ///
    /// # Errors
    /// [`Problem::Broken`] when it was changed, moved, or sealed for somebody else.
    pub fn open(&self, place: &str, sealed: &[u8]) -> Result<Vec<u8>, Problem> {
        open_with(&self.0, place, sealed)
            .ok_or_else(|| Problem::broken(format!("{place} does not open: changed, moved or not hers")))
    }
}

fn key_place(client: ClientId) -> String {
    format!("client_key.wrapped.{client}")
}

/// Seals for one place, with the client's key; makes that key at her first sealed record. `place` is table, column and row with dots
/// between.
///
/// # Errors
/// When the database cannot be used, or the key does not open.
pub async fn seal(db: &mut Db, keys: &Keys, client: ClientId, place: &str, plain: &[u8]) -> Result<Vec<u8>, Problem> {
    let key = match key_of(db, keys, client).await? {
        Some(key) => key,
        None => make_key(db, keys, client).await?,
    };
    seal_with(&key.0, place, plain)
}

/// Opens what was sealed for this client and place; `None` when her key was destroyed.
///
/// # Errors
/// When the database cannot be read, or it was changed, moved or sealed for somebody else.
pub async fn open(
    db: &mut Db,
    keys: &Keys,
    client: ClientId,
    place: &str,
    sealed: &[u8],
) -> Result<Option<Vec<u8>>, Problem> {
    key_of(db, keys, client).await?.map(|key| key.open(place, sealed)).transpose()
}

/// A client's key, if she has one.
///
/// # Errors
/// When the database cannot be read or the key was wrapped by another sealing key.
pub async fn key_of(db: &mut Db, keys: &Keys, client: ClientId) -> Result<Option<ClientKey>, Problem> {
    let row = sqlx::query("select wrapped from client_key where client = $1")
        .bind(client.to_string())
        .fetch_optional(db)
        .await?;
    row.map(|row| unwrap(keys, client, &row.get::<Vec<u8>, _>(0))).transpose()
}

/// The keys of several clients; who has none is left out.
///
/// # Errors
/// As [`key_of`].
pub async fn keys_of(db: &mut Db, keys: &Keys, clients: &[ClientId]) -> Result<BTreeMap<ClientId, ClientKey>, Problem> {
    let rows = sqlx::query(among!("select k.client, k.wrapped from client_key k", "k.client", ""))
        .bind(many(clients))
        .fetch_all(db)
        .await?;
    let mut found = BTreeMap::new();
    for row in rows {
        let client: ClientId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
        found.insert(client, unwrap(keys, client, &row.get::<Vec<u8>, _>(1))?);
    }
    Ok(found)
}

/// Destroys a client's key: whatever is sealed for her is dark from then on.
///
/// # Errors
/// When the database refuses it.
pub async fn destroy(tx: &mut Tx, client: ClientId) -> Result<(), Problem> {
    let done =
        sqlx::query("delete from client_key where client = $1").bind(client.to_string()).execute(tx.db()).await?;
    if done.rows_affected() > 0 {
        tx.audit("destroy client key", client, "").await?;
    }
    Ok(())
}

fn unwrap(keys: &Keys, client: ClientId, wrapped: &[u8]) -> Result<ClientKey, Problem> {
    open_with(keys.sealing()?, &key_place(client), wrapped)
        .and_then(|plain| <[u8; 32]>::try_from(plain).ok())
        .map(ClientKey)
        .ok_or_else(|| Problem::broken("a client's key does not open with the sealing key"))
}

async fn make_key(db: &mut Db, keys: &Keys, client: ClientId) -> Result<ClientKey, Problem> {
    let mut key = [0_u8; 32];
    getrandom::fill(&mut key).map_err(Problem::broken)?;
    let wrapped = seal_with(keys.sealing()?, &key_place(client), &key)?;
    sqlx::query("insert into client_key (client, wrapped, sealing) values ($1, $2, $3)")
        .bind(client.to_string())
        .bind(wrapped)
        .bind(keys.sealing_id())
        .execute(db)
        .await?;
    Ok(ClientKey(key))
}

#[cfg(test)]
mod tests {
    use super::*;

    const KEY: [u8; 32] = [7; 32];

    #[test]
    fn what_is_sealed_opens_only_in_its_own_place_with_its_own_key() {
        let sealed = seal_with(&KEY, "consultation.answers.a", b"hay fever").unwrap();
        assert_eq!(open_with(&KEY, "consultation.answers.a", &sealed).unwrap(), b"hay fever");
        assert!(open_with(&KEY, "consultation.answers.b", &sealed).is_none());
        assert!(open_with(&[8; 32], "consultation.answers.a", &sealed).is_none());
    }

    #[test]
    fn one_changed_bit_anywhere_is_noticed() {
        let sealed = seal_with(&KEY, "p", b"hay fever").unwrap();
        for at in 0..sealed.len() {
            let mut changed = sealed.clone();
            changed[at] ^= 1;
            assert!(open_with(&KEY, "p", &changed).is_none(), "byte {at}");
        }
        for cut in 0..sealed.len() {
            assert!(open_with(&KEY, "p", &sealed[..cut]).is_none(), "cut to {cut}");
        }
    }

    #[test]
    fn the_same_words_never_look_alike_and_never_stand_in_the_clear() {
        let words = b"sensitive to tape";
        let (one, other) = (seal_with(&KEY, "p", words).unwrap(), seal_with(&KEY, "p", words).unwrap());
        assert_ne!(one, other);
        assert!(!one.windows(words.len()).any(|window| window == words));
    }

    // Section A.3.1 of draft-irtf-cfrg-xchacha-03: key 80…9f, nonce 40…57, its associated data and plain text.
    #[test]
    fn it_is_the_published_cipher() {
        let key: [u8; 32] = std::array::from_fn(|at| 0x80 + u8::try_from(at).unwrap());
        let nonce: [u8; NONCE] = std::array::from_fn(|at| 0x40 + u8::try_from(at).unwrap());
        let aad = [0x50, 0x51, 0x52, 0x53, 0xc0, 0xc1, 0xc2, 0xc3, 0xc4, 0xc5, 0xc6, 0xc7];
        let plain = b"Ladies and Gentlemen of the class of '99: If I could offer you only one tip for the future, sunscreen would be it.";
        let sealed = XChaCha20Poly1305::new(&key.into())
            .encrypt(&XNonce::from(nonce), Payload { msg: plain, aad: &aad })
            .unwrap();
        let tag = [0xc0, 0x87, 0x59, 0x24, 0xc1, 0xc7, 0x98, 0x79, 0x47, 0xde, 0xaf, 0xd8, 0x78, 0x0a, 0xcf, 0x49];
        assert_eq!(&sealed[..4], &[0xbd, 0x6d, 0x17, 0x9d]);
        assert_eq!(&sealed[sealed.len() - 16..], &tag);
    }
}
