//! What of clearance is bound to the audit chain, kind by kind, and the line the chain has of each record: ids and keyed digests, and no
//! word about health.

use std::collections::BTreeMap;

use sqlx::Row;
use sqlx::any::AnyRow;

use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::keys::Keys;
use crate::store::{Db, Tx, among, sealed};

/// The next five hundred rows after an id, and the one row with this id.
macro_rules! rows {
    ($head:literal, $id:literal) => {
        rows!($head, $id, "")
    };
    ($head:literal, $id:literal, $only:literal) => {
        (
            concat!($head, " where ", $only, $id, " > $1 order by ", $id, " limit 500"),
            concat!($head, " where ", $id, " = $1"),
        )
    };
}

/// One kind of record that is bound to the chain.
pub(super) struct Kind {
    /// The actions that the chain may have of it.
    pub(super) actions: &'static [&'static str],
    /// Table and column of its sealed words; empty for what has none.
    place: &'static str,
    /// Id, client (the word "house" where it is about none), sealed words, and then as text every field that never changes.
    pub(super) rows: (&'static str, &'static str),
    /// What else belongs to several of them: the id of each, and a text.
    beside: &'static [&'static str],
}

/// A decision to go on over validity or gap.
pub(super) const DECISION: Kind = Kind {
    actions: &["override clearance"],
    place: "clearance_override.reason",
    rows: rows!(
        "select o.id, o.client, o.reason, o.of_rule, cast(o.from_at as text), cast(o.until as text), o.by_person, cast(o.at as text)
         from clearance_override o",
        "o.id"
    ),
    beside: &[],
};

/// A doctor's statement.
pub(super) const STATEMENT: Kind = Kind {
    actions: &["record doctor statement"],
    place: "doctor_statement.words",
    rows: rows!(
        "select s.id, s.client, s.words, s.family, cast(s.written as text), s.entered_by, cast(s.entered as text)
         from doctor_statement s",
        "s.id"
    ),
    beside: &[],
};

/// A doctor's finding.
pub(super) const FINDING: Kind = Kind {
    actions: &["record doctor finding"],
    place: "doctor_finding.words",
    rows: rows!(
        "select f.id, f.client, f.words, f.grade, cast(f.at as text), coalesce(cast(f.day as text), ''), f.entered_by,
           cast(f.entered as text)
         from doctor_finding f",
        "f.id"
    ),
    beside: &[],
};

/// A patch test as it was placed or declined. What it says now follows from the looks at it.
pub(super) const PATCH_TEST: Kind = Kind {
    actions: &[PLACED, DECLINED],
    place: "patch_test.site",
    rows: rows!(
        "select t.id, t.client, t.site, t.method, cast(t.number_placed as text), cast(t.placed as text), t.placed_by,
           cast(t.created as text)
         from patch_test t",
        "t.id"
    ),
    beside: &[
        among!("select p.test, p.product || ' ' || p.lot from patch_test_product p", "p.test", ""),
        among!("select l.test, l.liquid from patch_test_liquid l", "l.test", ""),
    ],
};
/// What the chain calls a test that was placed.
pub(super) const PLACED: &str = "place patch test";
/// And one that she did not want.
pub(super) const DECLINED: &str = "record declined patch test";

/// A look at a patch test.
pub(super) const LOOK: Kind = Kind {
    actions: &["read patch test"],
    place: "patch_test_look.words",
    rows: rows!(
        "select l.id, l.client, l.words, l.test, cast(l.at as text), l.result, l.by_person from patch_test_look l",
        "l.id"
    ),
    beside: &[],
};

/// A reaction, with what was met before it and when somebody is to look again.
pub(super) const REACTION: Kind = Kind {
    actions: &["record reaction"],
    place: "reaction.details",
    rows: rows!(
        "select r.id, r.client, r.details, cast(r.noticed as text), coalesce(cast(r.exposed as text), ''), cast(r.acute as text),
           coalesce(r.artist, ''), cast(r.entered as text), r.entered_by
         from reaction r",
        "r.id"
    ),
    beside: &[
        among!("select p.reaction, p.product || ' ' || p.lot from reaction_product p", "p.reaction", ""),
        among!("select l.reaction, l.liquid from reaction_liquid l", "l.reaction", ""),
        among!("select u.reaction, u.id || ' ' || cast(u.due as text) from follow_up u", "u.reaction", ""),
    ],
};

/// What a follow-up of a reaction found. One that is only due stands with its reaction.
pub(super) const FOLLOW_UP: Kind = Kind {
    actions: &["follow up reaction"],
    place: "follow_up.words",
    rows: rows!(
        "select u.id, u.client, u.words, u.reaction, cast(u.due as text), coalesce(cast(u.done as text), ''), u.done_by
         from follow_up u",
        "u.id",
        "u.done is not null and "
    ),
    beside: &[],
};

/// That somebody was told: about a reaction, a stop or an incident of somebody who works here.
pub(super) const TOLD: Kind = Kind {
    actions: &["note who was told"],
    place: "",
    rows: rows!(
        "select t.id, coalesce((select r.client from reaction r where r.id = t.about), 'house'), cast(null as bytea), t.about, t.whom,
           cast(t.at as text), t.by_person
         from told t",
        "t.id"
    ),
    beside: &[],
};

/// That a client was told of a stop.
pub(super) const TOLD_CLIENT: Kind = Kind {
    actions: &["note that client was told"],
    place: "",
    rows: rows!(
        "select t.id, t.client, cast(null as bytea), t.stop, cast(t.at as text), t.by_person from told_client t",
        "t.id"
    ),
    beside: &[],
};

/// A complaint as it was taken in. What was decided and which card it is about are told to the chain each time: [`decision`].
pub(super) const COMPLAINT: Kind = Kind {
    actions: &["record complaint"],
    place: "complaint.what",
    rows: rows!(
        "select c.id, c.client, c.what, cast(c.at as text), coalesce(c.product, ''), c.lot, cast(c.entered as text), c.entered_by
         from complaint c",
        "c.id"
    ),
    beside: &[],
};
/// What the chain calls a decision on a complaint.
pub(super) const DECIDED: &str = "decide complaint";
/// And the naming of the card it is about.
pub(super) const TIED: &str = "tie complaint to card";

/// That somebody met a product and lot.
pub(super) const EXPOSURE: Kind = Kind {
    actions: &["record exposure"],
    place: "",
    rows: rows!(
        "select e.id, e.client, cast(null as bytea), e.product, e.lot, cast(e.at as text), e.kind, e.source from exposure e",
        "e.id"
    ),
    beside: &[],
};
/// What the chain calls a meeting that was recorded by mistake.
pub(super) const FORGOTTEN: &str = "forget exposure";
/// What the chain calls a record that was erased while others of hers stay.
pub(super) const ERASED: &str = "erase clearance record";

/// A stop of a lot or of a product. That the shelf has it as well is looked at beside it.
pub(super) const STOP: Kind = Kind {
    actions: &[LOT_STOPPED, PRODUCT_STOPPED],
    place: "",
    rows: rows!(
        "select s.id, 'house', cast(null as bytea), s.product, case when s.lot is null then 'every lot' else 'lot ' || s.lot end,
           cast(s.at as text), s.by_person, s.why
         from stop s",
        "s.id"
    ),
    beside: &[],
};
/// What the chain calls the stop of a lot.
pub(super) const LOT_STOPPED: &str = "stop lot";
/// And that of a product.
pub(super) const PRODUCT_STOPPED: &str = "stop product";

/// An incident of somebody who works here.
pub(super) const STAFF_INCIDENT: Kind = Kind {
    actions: &["record staff incident"],
    place: "",
    rows: rows!(
        "select i.id, 'house', cast(null as bytea), i.person, cast(i.at as text), i.what, coalesce(i.product, ''), i.lot, i.first_aid,
           cast(i.entered as text), i.entered_by
         from staff_incident i",
        "i.id"
    ),
    beside: &[],
};

/// Every kind.
pub(super) const KINDS: [&Kind; 13] = [
    &DECISION,
    &STATEMENT,
    &FINDING,
    &PATCH_TEST,
    &LOOK,
    &REACTION,
    &FOLLOW_UP,
    &TOLD,
    &TOLD_CLIENT,
    &COMPLAINT,
    &EXPOSURE,
    &STOP,
    &STAFF_INCIDENT,
];

/// Binds a record that stands in the database to the chain, by its first action, in the write that keeps it.
pub(super) async fn bind(tx: &mut Tx, keys: &Keys, kind: &Kind, id: impl std::fmt::Display) -> Result<(), Problem> {
    bind_as(tx, keys, kind, kind.actions[0], id).await
}

/// Binds a record by one of its actions.
pub(super) async fn bind_as(
    tx: &mut Tx,
    keys: &Keys,
    kind: &Kind,
    action: &str,
    id: impl std::fmt::Display,
) -> Result<(), Problem> {
    let id = id.to_string();
    let row = sqlx::query(kind.rows.1).bind(&id).fetch_one(tx.db()).await?;
    let beside = beside(tx.db(), kind, &id).await?;
    let client: String = row.get(1);
    let words = words(tx.db(), keys, kind, &row).await?;
    let words = words.ok_or_else(|| Problem::broken("what was sealed a moment ago does not open"))?;
    let told = line(keys, &client, &id, &fields(&row, &beside), &words);
    tx.audit(action, &id, &told).await
}

/// What the chain is told of a decision on a complaint: a keyed digest of all that it says.
pub(super) fn decision(
    keys: &Keys,
    complaint: &str,
    decided: &str,
    instants: [Option<Instant>; 2],
    refund_minor: Option<i64>,
) -> String {
    let [fix_until, fixed] = instants.map(|at| at.map(|at| at.0.to_string()).unwrap_or_default());
    let refund = refund_minor.map(|minor| minor.to_string()).unwrap_or_default();
    keys.digest("complaint decision", &[complaint, decided, &fix_until, &fixed, &refund].map(str::as_bytes))
}

/// What the chain is told of a record: whose it was then, and a keyed digest over every field and its words before sealing.
pub(super) fn line(keys: &Keys, client: &str, id: &str, fields: &[String], words: &str) -> String {
    let parts: Vec<&[u8]> =
        [id].into_iter().chain(fields.iter().map(String::as_str)).chain([words]).map(str::as_bytes).collect();
    format!("{client} {}", keys.digest("clearance paper", &parts))
}

/// What belongs to records of a kind, a list each, by their ids.
pub(super) type Beside = Vec<BTreeMap<String, Vec<String>>>;

/// `ids` as one text by `many`.
pub(super) async fn beside(db: &mut Db, kind: &Kind, ids: &str) -> Result<Beside, Problem> {
    let mut all = Beside::new();
    for text in kind.beside {
        let mut of = BTreeMap::<String, Vec<String>>::new();
        for row in sqlx::query(*text).bind(ids).fetch_all(&mut *db).await? {
            of.entry(row.get(0)).or_default().push(row.get(1));
        }
        // Sorted here: the databases order texts each in its own way.
        of.values_mut().for_each(|lines| lines.sort_unstable());
        all.push(of);
    }
    Ok(all)
}

/// Every field of a record as text; of each list first how long it is, so that no line can be read as two.
pub(super) fn fields(row: &AnyRow, beside: &Beside) -> Vec<String> {
    let id: String = row.get(0);
    let mut fields: Vec<String> = (3..row.len()).map(|place| row.get(place)).collect();
    for of in beside {
        let lines = of.get(&id).map(Vec::as_slice).unwrap_or_default();
        fields.push(lines.len().to_string());
        fields.extend_from_slice(lines);
    }
    fields
}

/// A record's words, opened; `None` for what does not open. Records go before the key does, so that none is merely dark.
pub(super) async fn words(db: &mut Db, keys: &Keys, kind: &Kind, row: &AnyRow) -> Result<Option<String>, Problem> {
    let Some(kept) = row.get::<Option<Vec<u8>>, _>(2) else { return Ok(Some(String::new())) };
    let Ok(client) = row.get::<String, _>(1).parse::<ClientId>() else { return Ok(None) };
    let place = format!("{}.{}", kind.place, row.get::<String, _>(0));
    match sealed::open(db, keys, client, &place, &kept).await {
        Ok(opened) => Ok(opened.map(|plain| String::from_utf8_lossy(&plain).into_owned())),
        Err(Problem::Broken(_)) => Ok(None),
        Err(other) => Err(other),
    }
}
