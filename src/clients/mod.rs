//! STUB until the branch is merged.
#![allow(missing_docs, unused, clippy::all)]
use crate::base::actor::*; use crate::base::ids::*; use crate::base::problem::Problem; use crate::base::time::Instant; use crate::store::*; use crate::store::keys::Keys;
use jiff::civil::Date;
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Keeper { Studio, Artist(PersonId) }
#[derive(Debug, Clone)]
pub struct Client { pub id: ClientId, pub name: String, pub short: String, pub phone: String, pub email: String, pub born: Option<Date>, pub keeper: Keeper, pub notes: String, pub restricted: Option<Instant>, pub merged_into: Option<ClientId> }
pub async fn client(db: &mut Db, id: ClientId) -> Result<Option<Client>, Problem> { unimplemented!() }
pub async fn find(db: &mut Db, typed: &str, most: usize) -> Result<Vec<Client>, Problem> { unimplemented!() }
pub fn may_see(client: &Client, who: &Who) -> bool { unimplemented!() }
