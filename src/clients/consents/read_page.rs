//! A signed consent, on the screen and on at most two sheets of A4. Its answers about health are shown to those who treat; the reading
//! is written down.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::blank_page::paragraphs;
use super::copies::WAYS;
use super::given::{Mark, Signed};
use super::store;
use crate::base::ids::{ClientId, ConsentId};
use crate::base::problem::Problem;
use crate::clients::names::Names;
use crate::clients::questions::Answered;
use crate::clients::{note_reading, reads_health, seen};
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, new_form_key};
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(in crate::clients) fn routes() -> Routes {
    Routes::new().get("/door/clients/{client}/consents/{consent}", read)
}

/// A signature as the page shows it: a path, or a typed name.
struct MarkView {
    path: String,
    typed: String,
}

impl MarkView {
    fn of(mark: &Mark) -> Self {
        match mark {
            Mark::Drawn(strokes) => Self { path: strokes.path(), typed: String::new() },
            Mark::Typed(name) => Self { path: String::new(), typed: name.clone() },
        }
    }
}

struct GuardianView {
    lines: Vec<(&'static str, String)>,
    mark: MarkView,
}

#[derive(Template)]
#[template(path = "clients/consent.html")]
struct ConsentPage {
    frame: Frame,
    key: String,
    path: String,
    back: String,
    state: (&'static str, String),
    whole: bool,
    paragraphs: Vec<String>,
    version: i64,
    lines: Vec<(&'static str, String)>,
    mark: MarkView,
    guardian: Option<GuardianView>,
    /// Shown to those who treat.
    answers: Vec<Answered>,
    hidden_answers: bool,
    copies: Vec<String>,
    ways: [(&'static str, &'static str); 3],
    in_force: bool,
    text_hash: String,
    digest: String,
}

async fn read(
    staff: Staff,
    State(house): State<House>,
    At((client, id)): At<(ClientId, ConsentId)>,
) -> Result<Response, Problem> {
    {
        let mut db = house.store.read().await?;
        seen(&mut db, client, &staff.who).await?;
        store::one(&mut db, client, id).await?;
    }
    note_reading(&house, &staff.who, client, "read consent", &id.to_string()).await?;
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let known = seen(&mut db, client, &staff.who).await?;
    let (studio, names) = (Studio::load(&mut db).await?, Names::load(&mut db).await?);
    let consent = store::one(&mut db, client, id).await?;
    let plain = store::signed(&mut db, house.store.keys(), &consent).await?.ok_or(Problem::NotHere("consent"))?;
    let signed: Signed = serde_json::from_slice(&plain).map_err(Problem::broken)?;
    let when = |at| studio.zone.date_and_clock(at, now);
    let copies = store::copies(&mut db, id).await?;
    let copies = copies.into_iter().map(|(at, by, way)| format!("{way}, {} by {}", when(at), names.of(by)));
    let state = match consent.withdrawn {
        Some(at) => ("stop", format!("withdrawn {}", when(at))),
        None => ("fit", "in force".to_owned()),
    };
    let reads = reads_health(&staff.who);
    let mut lines = vec![
        ("Name, printed", signed.printed_name.clone()),
        ("Signed", format!("{} ({})", when(consent.at), consent.at.iso())),
        ("Seen by (witness)", signed.witness.clone()),
        ("Language", consent.language.clone()),
        ("Taken by", names.of(consent.taken_by)),
    ];
    if !signed.reader.is_empty() {
        lines.insert(4, ("Read or translated by", signed.reader.clone()));
    }
    let path = house.url(&format!("/door/clients/{client}"));
    page(&ConsentPage {
        frame: house.frame(
            &studio,
            &staff.visitor,
            Place::Door,
            format!("{}: consent to {}", known.name, consent.purpose.words()),
        ),
        key: new_form_key(),
        state,
        whole: consent.digest_with(&plain) == consent.digest,
        paragraphs: paragraphs(&consent.body),
        version: consent.version,
        lines,
        mark: MarkView::of(&signed.mark),
        guardian: signed.guardian.as_ref().map(|guardian| GuardianView {
            lines: vec![
                ("Guardian", format!("{}, {}", guardian.name, guardian.relation)),
                ("Identity seen by", guardian.identity_seen_by.clone()),
            ],
            mark: MarkView::of(&guardian.mark),
        }),
        hidden_answers: !reads && !signed.answers.is_empty(),
        answers: if reads { signed.answers } else { Vec::new() },
        copies: copies.collect(),
        ways: WAYS,
        in_force: consent.withdrawn.is_none(),
        text_hash: consent.text_hash.clone(),
        digest: consent.digest.clone(),
        path: format!("{path}/consents/{id}"),
        back: path,
    })
}
