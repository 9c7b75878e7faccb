//! STUB
#![allow(missing_docs, unused, clippy::all)]
use super::*; use super::keys::Keys; use crate::base::ids::ClientId;
pub async fn seal(db: &mut Db, keys: &Keys, client: ClientId, place: &str, plain: &[u8]) -> Result<Vec<u8>, Problem> { unimplemented!() }
pub async fn open(db: &mut Db, keys: &Keys, client: ClientId, place: &str, sealed: &[u8]) -> Result<Option<Vec<u8>>, Problem> { unimplemented!() }
