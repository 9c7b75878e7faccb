//! STAND-IN, seals nothing: the part of clients brings the real one.
#![allow(missing_docs, unused, clippy::all)]
use super::*; use super::keys::Keys; use crate::base::ids::ClientId;
pub async fn seal(db: &mut Db, keys: &Keys, client: ClientId, place: &str, plain: &[u8]) -> Result<Vec<u8>, Problem> { Ok(plain.iter().map(|b| b ^ 0x5a).collect()) }
pub async fn open(db: &mut Db, keys: &Keys, client: ClientId, place: &str, sealed: &[u8]) -> Result<Option<Vec<u8>>, Problem> { Ok(Some(sealed.iter().map(|b| b ^ 0x5a).collect())) }
