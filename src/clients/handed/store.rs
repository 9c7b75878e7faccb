//! SQL of forms in clients' hands. What was filled in is sealed with the client's key from the first answer on.

use sqlx::Row;

use super::{Draft, HandedForm, HandedState};
use crate::base::ids::{ClientId, HandedFormId, PersonId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::keys::Keys;
use crate::store::{Db, Tx, sealed};

/// A form in a client's hands, its answers aside.
#[derive(Debug, Clone)]
pub(in crate::clients) struct Handed {
    pub(in crate::clients) id: HandedFormId,
    pub(in crate::clients) client: ClientId,
    pub(in crate::clients) form: HandedForm,
    pub(in crate::clients) by: PersonId,
    pub(in crate::clients) state: HandedState,
}

fn draft_place(id: HandedFormId) -> String {
    format!("handed_form.draft.{id}")
}

async fn seal(db: &mut Db, keys: &Keys, client: ClientId, id: HandedFormId, draft: &Draft) -> Result<Vec<u8>, Problem> {
    let plain = serde_json::to_vec(draft).map_err(Problem::broken)?;
    sealed::seal(db, keys, client, &draft_place(id), &plain).await
}

pub(super) async fn begin(
    tx: &mut Tx,
    keys: &Keys,
    client: ClientId,
    form: HandedForm,
    by: PersonId,
    draft: &Draft,
) -> Result<HandedFormId, Problem> {
    let id = HandedFormId::new();
    let (now, sealed) = (tx.now.0, seal(tx.db(), keys, client, id, draft).await?);
    sqlx::query(
        "insert into handed_form (id, client, form, begun, by_person, state, draft) values ($1, $2, $3, $4, $5, 'open', $6)",
    )
    .bind(id.to_string())
    .bind(client.to_string())
    .bind(form.word())
    .bind(now.0)
    .bind(by.to_string())
    .bind(sealed)
    .execute(tx.db())
    .await?;
    Ok(id)
}

/// The form with this id, and what was filled in so far; nothing of it once it was given.
pub(super) async fn one(db: &mut Db, keys: &Keys, id: HandedFormId) -> Result<(Handed, Draft), Problem> {
    let row = sqlx::query("select client, form, by_person, state, draft from handed_form where id = $1")
        .bind(id.to_string())
        .fetch_optional(&mut *db)
        .await?
        .ok_or(Problem::NotHere("form"))?;
    let text = |place: usize| row.get::<String, _>(place);
    let handed = Handed {
        id,
        client: text(0).parse().map_err(Problem::broken)?,
        form: text(1).parse().map_err(Problem::broken)?,
        by: text(2).parse().map_err(Problem::broken)?,
        state: HandedState::from_word(&text(3)).ok_or_else(|| Problem::broken("a form in no state of ours"))?,
    };
    let kept: Vec<u8> = row.get(4);
    if kept.is_empty() {
        return Ok((handed, Draft::default()));
    }
    let plain = sealed::open(db, keys, handed.client, &draft_place(id), &kept).await?;
    let plain = plain.ok_or(Problem::NotHere("form"))?;
    Ok((handed, serde_json::from_slice(&plain).map_err(Problem::broken)?))
}

/// Keeps more of what she filled in.
pub(super) async fn keep_draft(tx: &mut Tx, keys: &Keys, handed: &Handed, draft: &Draft) -> Result<(), Problem> {
    let sealed = seal(tx.db(), keys, handed.client, handed.id, draft).await?;
    sqlx::query("update handed_form set draft = $2 where id = $1 and state = 'open'")
        .bind(handed.id.to_string())
        .bind(sealed)
        .execute(tx.db())
        .await?;
    tx.record_tells_itself();
    Ok(())
}

/// Ends a form that is still open and empties what was filled in; who comes second finds it closed.
pub(super) async fn end(tx: &mut Tx, id: HandedFormId, state: HandedState) -> Result<(), Problem> {
    let ended = sqlx::query("update handed_form set state = $2, draft = $3 where id = $1 and state = 'open'")
        .bind(id.to_string())
        .bind(state.word())
        .bind(Vec::<u8>::new())
        .execute(tx.db())
        .await?;
    if ended.rows_affected() == 0 {
        return Err(Problem::Clash("This form was given already.".into(), "Give the device back.".into()));
    }
    tx.audit("end form in client's hands", id, state.word()).await
}

/// Forgets forms begun before an instant, given or not; at an erasure and a merge all of one client.
pub(in crate::clients) async fn forget(tx: &mut Tx, before: Instant) -> Result<(), Problem> {
    sqlx::query("delete from handed_form where begun < $1").bind(before.0).execute(tx.db()).await?;
    Ok(())
}

/// Forgets the forms of one client: what was not given goes.
pub(in crate::clients) async fn forget_of(tx: &mut Tx, client: ClientId) -> Result<(), Problem> {
    sqlx::query("delete from handed_form where client = $1").bind(client.to_string()).execute(tx.db()).await?;
    Ok(())
}
