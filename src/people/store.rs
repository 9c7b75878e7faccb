//! SQL of people, invitations, the claim and the counting of failures.

use sqlx::Row;
use sqlx::any::AnyRow;

use super::rules::wait_after;
use super::tablet;
use crate::base::actor::{Role, mark_of};
use crate::base::ids::PersonId;
use crate::base::problem::Problem;
use crate::base::text::fold;
use crate::base::time::{DAY, Instant, MINUTE, Now};
use crate::store::keys::{Keys, digest_of_secret};
use crate::store::{Db, Tx};
use crate::web::secret::Shown;
use crate::web::session;

/// A person of the studio.
#[derive(Debug, Clone)]
pub struct Person {
    /// Her id.
    pub id: PersonId,
    /// Her name, by which she also signs in.
    pub name: String,
    /// What she is here.
    pub role: Role,
    /// argon2id in PHC form; empty until she has chosen a passphrase.
    pub(super) passphrase: String,
    /// When she was invited or claimed the house.
    pub created: Instant,
    /// When she left.
    pub left: Option<Instant>,
}

impl Person {
    /// True once she has a passphrase and has not left.
    #[must_use]
    pub fn can_sign_in(&self) -> bool {
        !self.passphrase.is_empty() && self.left.is_none()
    }
}

/// How long an invitation stands open.
pub(super) const INVITED_FOR: i64 = 7 * DAY;
/// In place of the instant an invitation was opened at, once its link is shown no more.
const HIDDEN: Instant = Instant(0);
/// How long a link made on the box stands open.
const RESET_FOR: i64 = 15 * MINUTE;

/// The token of the claim link, the same at every start until the house is claimed; it lives in no table.
#[must_use]
pub fn claim_token(keys: &Keys) -> String {
    keys.digest("claim", &[])
}

/// Whether the house has its first owner.
///
/// # Errors
/// When the database cannot be read.
pub async fn is_claimed(db: &mut Db) -> Result<bool, Problem> {
    let row = sqlx::query("select id from claim").fetch_optional(db).await?;
    Ok(row.is_some())
}

/// Makes the first owner. A second claim, however close, is a clash.
pub(super) async fn claim(tx: &mut Tx, name: &str, passphrase: &str) -> Result<PersonId, Problem> {
    if is_claimed(tx.db()).await? {
        return Err(Problem::Clash(
            "This house was claimed already.".into(),
            "Sign in, or ask its owner to invite you.".into(),
        ));
    }
    let id = add(tx, name, Role::Owner, passphrase).await?;
    let now = tx.now.0;
    sqlx::query("insert into claim (id, person, at) values (1, $1, $2)")
        .bind(id.to_string())
        .bind(now.0)
        .execute(tx.db())
        .await?;
    tx.audit("claim house", id, "").await?;
    Ok(id)
}

/// Adds a person; the name must be free among all who were ever here, so that records stay clear.
pub(super) async fn add(tx: &mut Tx, name: &str, role: Role, passphrase: &str) -> Result<PersonId, Problem> {
    let id = PersonId::new();
    let now = tx.now.0;
    if by_name(tx.db(), name).await?.is_some() {
        return Err(Problem::mistake("name", "Somebody here has this name already. Add an initial."));
    }
    sqlx::query(
        "insert into person (id, name, name_key, role, passphrase, created, left_at) values ($1, $2, $3, $4, $5, $6, null)",
    )
    .bind(id.to_string())
    .bind(name)
    .bind(fold(name))
    .bind(role.word())
    .bind(passphrase)
    .bind(now.0)
    .execute(tx.db())
    .await?;
    tx.audit("add person", id, role.word()).await?;
    Ok(id)
}

/// Everyone, those who left last; sorted by name in the program, the same on both databases.
///
/// # Errors
/// When the database cannot be read.
pub async fn everyone(db: &mut Db) -> Result<Vec<Person>, Problem> {
    let rows = sqlx::query("select id, name, role, passphrase, created, left_at from person").fetch_all(db).await?;
    let mut people = rows.iter().map(read_person).collect::<Result<Vec<_>, _>>()?;
    people.sort_by_key(|person| (person.left.is_some(), fold(&person.name)));
    Ok(people)
}

/// The person with this name, however it is written.
pub(super) async fn by_name(db: &mut Db, name: &str) -> Result<Option<Person>, Problem> {
    let row = sqlx::query("select id, name, role, passphrase, created, left_at from person where name_key = $1")
        .bind(fold(name))
        .fetch_optional(db)
        .await?;
    row.as_ref().map(read_person).transpose()
}

/// The person with this id.
pub(super) async fn by_id(db: &mut Db, id: PersonId) -> Result<Option<Person>, Problem> {
    let row = sqlx::query("select id, name, role, passphrase, created, left_at from person where id = $1")
        .bind(id.to_string())
        .fetch_optional(db)
        .await?;
    row.as_ref().map(read_person).transpose()
}

/// Sets a passphrase's hash.
pub(super) async fn set_passphrase(tx: &mut Tx, id: PersonId, hash: &str) -> Result<(), Problem> {
    sqlx::query("update person set passphrase = $1 where id = $2")
        .bind(hash)
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    tx.audit("set passphrase", id, "").await
}

/// Changes a role; it counts at once, since every session of hers ends.
pub(super) async fn set_role(tx: &mut Tx, id: PersonId, role: Role) -> Result<(), Problem> {
    keep_an_owner(tx, id).await?;
    sqlx::query("update person set role = $1 where id = $2")
        .bind(role.word())
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    session::end_all_of(tx, id).await?;
    tx.audit("change role", id, role.word()).await
}

/// Lets somebody go: she can no longer sign in, her sessions and open invitations end, her records stay under her name.
///
/// # Errors
/// [`Problem::Clash`] for the only owner who can sign in; when the database refuses it.
pub async fn leave(tx: &mut Tx, id: PersonId) -> Result<(), Problem> {
    keep_an_owner(tx, id).await?;
    let now = tx.now.0;
    sqlx::query("update person set left_at = $1, passphrase = '' where id = $2 and left_at is null")
        .bind(now.0)
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    close_invitations(tx, id).await?;
    tablet::forget_code(tx, id).await?;
    session::end_all_of(tx, id).await?;
    tx.audit("person leaves", id, "").await
}

async fn keep_an_owner(tx: &mut Tx, leaving: PersonId) -> Result<(), Problem> {
    let row = sqlx::query(
        "select count(*) from person where role = 'owner' and left_at is null and passphrase <> '' and id <> $1",
    )
    .bind(leaving.to_string())
    .fetch_one(tx.db())
    .await?;
    let person = by_id(tx.db(), leaving).await?.ok_or(Problem::NotHere("person"))?;
    if person.role == Role::Owner && row.get::<i64, _>(0) == 0 {
        return Err(Problem::Clash(
            "She is the only owner who can sign in; the house would have nobody to answer for it.".into(),
            "Make somebody else an owner first.".into(),
        ));
    }
    Ok(())
}

/// Opens an invitation and closes older ones of the same person. The link can be shown again until it is used, runs out or is hidden.
pub(super) async fn invite(tx: &mut Tx, keys: &Keys, id: PersonId, lasts: i64) -> Result<String, Problem> {
    close_invitations(tx, id).await?;
    let now = tx.now.0;
    let token = invitation_token(keys, id, now, &tx.actor.mark());
    sqlx::query("insert into invitation (token, person, created, expires, used) values ($1, $2, $3, $4, null)")
        .bind(digest_of_secret(&token))
        .bind(id.to_string())
        .bind(now.0)
        .bind(now.plus(lasts).0)
        .execute(tx.db())
        .await?;
    tx.audit("open invitation", id, "").await?;
    Ok(token)
}

/// The open invitation of a person: when it ends, and its token while it may be shown. Whoever made it is `among` these people; the
/// link of a reset on the box, which was printed there, is shown to nobody.
pub(super) async fn open_invitation(
    db: &mut Db,
    keys: &Keys,
    among: &[Person],
    id: PersonId,
    now: Now,
) -> Result<Option<(Instant, Option<Shown>)>, Problem> {
    let row = sqlx::query(
        "select token, created, expires from invitation where person = $1 and used is null and expires > $2",
    )
    .bind(id.to_string())
    .bind(now.0.0)
    .fetch_optional(db)
    .await?;
    Ok(row.map(|row| {
        let (digest, created, until) = (row.get::<String, _>(0), Instant(row.get(1)), Instant(row.get(2)));
        let shown = among.iter().find_map(|maker| {
            let secret = invitation_token(keys, id, created, &mark_of(maker.id));
            (digest_of_secret(&secret) == digest).then_some(Shown { secret, until, made_by: maker.id })
        });
        (until, shown)
    }))
}

/// The link of an open invitation is shown no more: its token is made of the instant it was opened at, and the row forgets that.
/// The link itself opens as before.
pub(super) async fn hide_invitation(tx: &mut Tx, id: PersonId) -> Result<(), Problem> {
    sqlx::query("update invitation set created = $1 where person = $2 and used is null")
        .bind(HIDDEN.0)
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    tx.audit("hide invitation", id, "").await
}

/// Who may come in with this link.
pub(super) async fn invited(db: &mut Db, token: &str, now: Now) -> Result<Option<Person>, Problem> {
    let row = sqlx::query("select person from invitation where token = $1 and used is null and expires > $2")
        .bind(digest_of_secret(token))
        .bind(now.0.0)
        .fetch_optional(&mut *db)
        .await?;
    let Some(row) = row else { return Ok(None) };
    let id = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
    Ok(by_id(db, id).await?.filter(|person| person.left.is_none()))
}

/// Takes up an invitation: sets the passphrase, ends older sessions, uses the link up.
pub(super) async fn take_up(tx: &mut Tx, token: &str, hash: &str) -> Result<Person, Problem> {
    let now = tx.now;
    let person = invited(tx.db(), token, now).await?.ok_or(Problem::NotHere("invitation"))?;
    close_invitations(tx, person.id).await?;
    set_passphrase(tx, person.id, hash).await?;
    tablet::forget_code(tx, person.id).await?;
    session::end_all_of(tx, person.id).await?;
    Ok(person)
}

async fn close_invitations(tx: &mut Tx, id: PersonId) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query("update invitation set used = $1 where person = $2 and used is null")
        .bind(now.0)
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    Ok(())
}

/// A link for somebody who lost her passphrase, made on the box: fifteen minutes, and her sessions end at once.
///
/// # Errors
/// [`Problem::NotHere`] when nobody has this name.
pub async fn reset_link(tx: &mut Tx, keys: &Keys, name: &str) -> Result<String, Problem> {
    let person =
        by_name(tx.db(), name).await?.filter(|person| person.left.is_none()).ok_or(Problem::NotHere("person"))?;
    session::end_all_of(tx, person.id).await?;
    tablet::forget_code(tx, person.id).await?;
    let token = invite(tx, keys, person.id, RESET_FOR).await?;
    tx.audit("reset passphrase on the box", person.id, "").await?;
    Ok(format!("/invited/{token}"))
}

// Made of who makes it, too: the row needs no word of her, and only with her mark does the token come out again.
fn invitation_token(keys: &Keys, id: PersonId, created: Instant, maker: &str) -> String {
    keys.digest("invitation", &[id.to_string().as_bytes(), &created.0.to_be_bytes(), maker.as_bytes()])
}

/// Counts a try of an account from a browser. Gives the microseconds still to wait, then the try does not count; else 0.
pub(super) async fn count_try(tx: &mut Tx, account: &str, browser: &str) -> Result<i64, Problem> {
    tx.record_tells_itself();
    let now = tx.now.0;
    let row = sqlx::query("select failures, not_before from sign_in_delay where account = $1 and browser = $2")
        .bind(account)
        .bind(browser)
        .fetch_optional(tx.db())
        .await?;
    let (failures, not_before) = row.map_or((0, Instant(0)), |row| (row.get::<i64, _>(0), Instant(row.get(1))));
    let wait = not_before.since(now);
    if wait > 0 {
        return Ok(wait);
    }
    sqlx::query(
        "insert into sign_in_delay (account, browser, failures, not_before) values ($1, $2, $3, $4)
         on conflict (account, browser) do update set failures = excluded.failures, not_before = excluded.not_before",
    )
    .bind(account)
    .bind(browser)
    .bind(failures + 1)
    .bind(now.plus(wait_after(failures + 1)).0)
    .execute(tx.db())
    .await?;
    Ok(0)
}

/// Forgets the tries of an account from a browser: one of them was right.
pub(super) async fn forget_tries(tx: &mut Tx, account: &str, browser: &str) -> Result<(), Problem> {
    sqlx::query("delete from sign_in_delay where account = $1 and browser = $2")
        .bind(account)
        .bind(browser)
        .execute(tx.db())
        .await?;
    Ok(())
}

/// Forgets tries that nobody waits for any more. Run by the clock.
///
/// # Errors
/// When the database refuses it.
pub async fn forget_old_tries(tx: &mut Tx) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query("delete from sign_in_delay where not_before < $1").bind(now.plus(-DAY).0).execute(tx.db()).await?;
    tx.record_tells_itself();
    Ok(())
}

fn read_person(row: &AnyRow) -> Result<Person, Problem> {
    Ok(Person {
        id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        name: row.get(1),
        role: Role::from_word(&row.get::<String, _>(2))
            .ok_or_else(|| Problem::broken("a person without a role of ours"))?,
        passphrase: row.get(3),
        created: Instant(row.get(4)),
        left: row.get::<Option<i64>, _>(5).map(Instant),
    })
}
