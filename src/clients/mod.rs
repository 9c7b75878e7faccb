//! STAND-IN for the part of clients, until it is merged over this file.
#![allow(missing_docs, unused, clippy::all)]
use crate::base::actor::*; use crate::base::ids::*; use crate::base::problem::Problem; use crate::base::time::Instant; use crate::store::*; use crate::store::keys::Keys;
use jiff::civil::Date;
use sqlx::Row;
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Keeper { Studio, Artist(PersonId) }
#[derive(Debug, Clone)]
pub struct Client { pub id: ClientId, pub name: String, pub short: String, pub phone: String, pub email: String, pub born: Option<Date>, pub keeper: Keeper, pub notes: String, pub restricted: Option<Instant>, pub merged_into: Option<ClientId> }
fn read(row: &sqlx::any::AnyRow) -> Result<Client, Problem> {
    let name: String = row.get(1);
    let short = match name.split_once(' ') { Some((a, b)) => format!("{a} {}.", b.chars().next().unwrap_or('-')), None => name.clone() };
    Ok(Client { id: row.get::<String,_>(0).parse().map_err(Problem::broken)?, short, phone: row.get(2), email: row.get(3), born: row.get::<Option<String>,_>(4).and_then(|b| b.parse().ok()),
        keeper: row.get::<Option<String>,_>(5).and_then(|k| k.parse().ok()).map_or(Keeper::Studio, Keeper::Artist), notes: String::new(), restricted: row.get::<Option<i64>,_>(6).map(Instant), merged_into: None, name })
}
pub async fn client(db: &mut Db, id: ClientId) -> Result<Option<Client>, Problem> {
    let row = sqlx::query("select id, name, phone, email, born, keeper, restricted from client where id = $1").bind(id.to_string()).fetch_optional(db).await?;
    row.as_ref().map(read).transpose()
}
pub async fn find(db: &mut Db, typed: &str, most: usize) -> Result<Vec<Client>, Problem> {
    let key = crate::base::text::fold(typed);
    let rows = sqlx::query("select id, name, phone, email, born, keeper, restricted from client where name_key >= $1 and name_key < $2 limit 20").bind(&key).bind(format!("{key}\u{10ffff}")).fetch_all(db).await?;
    rows.iter().map(read).collect()
}
pub fn may_see(client: &Client, who: &Who) -> bool {
    match who.role { Role::Owner | Role::Desk => true, Role::Artist => client.keeper == Keeper::Artist(who.id), Role::Accountant => false }
}
