//! Complaints: what, with which adhesive and lot, what was decided, a fix at no charge until a day, a refund.

use askama::Template;
use axum::extract::{Multipart, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::Response;

use super::doctor_store::{Complaint, DECISIONS, add_complaint, complaint, decide_complaint};
use super::lot_store::exposures_of;
use super::reaction::{LOOK_BACK, words_of};
use super::seen::{client_for, must_treat, note_look, treats};
use super::standing::Bench;
use super::test_store::Met;
use super::typed::{FormPage, MoreNotes, Typed, notes_of, tick_field, time_field, wall, words_field};
use crate::base::actor::Who;
use crate::base::ids::{ClientId, ComplaintId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::{DAY, Instant};
use crate::clients::photos::{LARGEST_FORM, Moment, PhotoBlock, Shows, arrive, keep};
use crate::clients::{Client, not_restricted};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, number_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, Turned, new_form_key};
use crate::web::problems::{page, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/door/clients/{client}/complaints/new", complaint_form)
        .post("/door/clients/{client}/complaints", add)
        .get("/door/complaints/{complaint}", show)
        .post("/door/complaints/{complaint}/decision", decide)
        .post_file("/door/complaints/{complaint}/photos", LARGEST_FORM, photo)
}

struct Opened {
    studio: Studio,
    client: Client,
    bench: Bench,
    met: Vec<Met>,
}

async fn open(house: &House, who: &Who, id: ClientId, now: Instant) -> Result<Opened, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let client = client_for(&mut db, id, who, now).await?;
    let mut met: Vec<Met> = Vec::new();
    for exposure in exposures_of(&mut db, id, now.plus(-LOOK_BACK), now).await? {
        if !met.contains(&exposure.met) {
            met.push(exposure.met);
        }
    }
    Ok(Opened { bench: Bench::load(&mut db, &studio.zone).await?, studio, client, met })
}

fn met_words(met: &Met, bench: &Bench) -> String {
    let lot = if met.lot.is_empty() { "no lot printed".to_owned() } else { format!("lot {}", met.lot) };
    format!("{}, {lot}", bench.name(Some(met.product)))
}

async fn complaint_form(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    let opened = open(&house, &staff.who, id, staff.visitor.now.0).await?;
    let fresh = Typed::of([("at", wall(&opened.studio.zone, staff.visitor.now.0))]);
    page(&form_view(&house, &staff, &opened, &fresh))
}

fn form_view(house: &House, staff: &Staff, opened: &Opened, typed: &Typed) -> FormPage {
    let none = std::iter::once((String::new(), "not known".to_owned()));
    let met = opened.met.iter().enumerate().map(|(at, met)| (at.to_string(), met_words(met, &opened.bench)));
    FormPage {
        frame: house.frame(
            &opened.studio,
            &staff.visitor,
            Place::Door,
            format!("A complaint of {}", opened.client.short),
        ),
        key: new_form_key(),
        action: house.url(&format!("/door/clients/{}/complaints", opened.client.id)),
        word: "Complaint",
        small: "facts only",
        lead: vec!["Itching, redness, swelling or pain is a reaction as well: record that first.".to_owned()],
        caution: None,
        fields: vec![
            time_field("at", "When she complained", typed.get("at")),
            words_field("what", "What about", typed.get("what")),
            choice_field(
                "select",
                "met",
                "Adhesive and lot of the last eight weeks",
                typed.get("met"),
                none.chain(met),
            ),
        ],
        mistakes: Vec::new(),
        button: "Keep the complaint",
        back: (house.url(&format!("/door/clients/{}/clearance", opened.client.id)), "Back to her clearance"),
    }
}

async fn add(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let opened = open(&house, &staff.who, id, now).await?;
    let typed = &form.typed;
    let mut notes = Notes::default();
    let at = notes.instant("at", typed.get("at"), &opened.studio.zone, (now.plus(-365 * DAY), now));
    let what = notes.words("what", typed.get("what"), 4000);
    let met = match typed.get("met") {
        "" => Some(None),
        place => notes.choice("met", place.parse().ok().and_then(|at: usize| opened.met.get(at)).cloned()).map(Some),
    };
    let new = (|| {
        let met = met?;
        Some(Complaint {
            id: ComplaintId::new(),
            client: id,
            at: at?,
            what: what?,
            product: met.as_ref().map(|met| met.product),
            lot: met.map(|met| met.lot).unwrap_or_default(),
            card: String::new(),
            decision: "open".to_owned(),
            fix_until: None,
            fixed: None,
            refund_minor: None,
        })
    })();
    match notes.settle(new) {
        Ok(new) => {
            let (inner, reads) = (house.clone(), treats(&staff.who));
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let (house, new) = (inner.clone(), new.clone());
                    Box::pin(async move {
                        add_complaint(tx, house.store.keys(), &new).await?;
                        Ok(Kept::see(if reads {
                            format!("/door/complaints/{}", new.id)
                        } else {
                            format!("/door/clients/{id}/clearance")
                        }))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let view = form_view(&house, &staff, &opened, &form.typed).again(&notes, form.key.form);
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &view)
        }
    }
}

#[derive(Template)]
#[template(path = "clearance/complaint.html")]
struct ComplaintPage {
    frame: Frame,
    key: String,
    action: String,
    back: String,
    mark: &'static str,
    state: String,
    facts: Vec<(&'static str, String)>,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    pictures: PhotoBlock,
}

async fn open_complaint(house: &House, staff: &Staff, id: ComplaintId) -> Result<(Opened, Complaint), Problem> {
    // What was complained of may tell of her health: the desk takes complaints in, those who treat read them.
    must_treat(&staff.who)?;
    let now = staff.visitor.now.0;
    let found = {
        let mut db = house.store.read().await?;
        complaint(&mut db, house.store.keys(), id).await?.ok_or(Problem::NotHere("complaint"))?
    };
    let opened = open(house, &staff.who, found.client, now).await.map_err(|problem| {
        if matches!(problem, Problem::NotHere(_)) { Problem::NotHere("complaint") } else { problem }
    })?;
    Ok((opened, found))
}

async fn show(staff: Staff, State(house): State<House>, At(id): At<ComplaintId>) -> Result<Response, Problem> {
    let (opened, found) = open_complaint(&house, &staff, id).await?;
    note_look(&house, &staff.who, "see complaint", found.client).await?;
    let fresh = typed_as_kept(&found, &opened.studio);
    page(&complaint_view(&house, &staff, &opened, &found, &fresh, &[], new_form_key()).await?)
}

/// The form of the decision as it was kept.
fn typed_as_kept(found: &Complaint, studio: &Studio) -> Typed {
    Typed::of([
        ("decision", found.decision.clone()),
        ("fix_until", found.fix_until.map(|until| wall(&studio.zone, until)).unwrap_or_default()),
        ("refund", found.refund_minor.map(|minor| minor.to_string()).unwrap_or_default()),
        ("fixed", if found.fixed.is_some() { "yes".to_owned() } else { String::new() }),
    ])
}

/// A photo of what she complains of.
async fn photo(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ComplaintId>,
    headers: HeaderMap,
    parts: Multipart,
) -> Result<Response, Turned> {
    let (opened, found) = open_complaint(&house, &staff, id).await?;
    not_restricted(&opened.client)?;
    let arrived = arrive(&house, &staff, &headers, parts).await?;
    match arrived.picture {
        Ok(picture) => {
            let shows = Shows { client: found.client, moment: Moment::Complaint, about: Some(id.to_string()) };
            let kept = keep(&house, &staff, &arrived.key, shows, picture, format!("/door/complaints/{id}")).await?;
            Ok(answer(&house, &kept))
        }
        Err(sentence) => {
            let fresh = typed_as_kept(&found, &opened.studio);
            let mut view = complaint_view(&house, &staff, &opened, &found, &fresh, &[], new_form_key()).await?;
            view.pictures = view.pictures.refused(sentence, arrived.key.form);
            Ok(page_with(StatusCode::UNPROCESSABLE_ENTITY, &view)?)
        }
    }
}

async fn complaint_view(
    house: &House,
    staff: &Staff,
    opened: &Opened,
    found: &Complaint,
    typed: &Typed,
    notes: &[FieldNote],
    key: String,
) -> Result<ComplaintPage, Problem> {
    let (now, zone) = (staff.visitor.now.0, &opened.studio.zone);
    let met = found.product.map(|product| met_words(&Met { product, lot: found.lot.clone() }, &opened.bench));
    let own = |(key, words): (&str, &str)| (key.to_owned(), words.to_owned());
    let mut fields = vec![
        choice_field("radio", "decision", "Decided", typed.get("decision"), DECISIONS.map(own)),
        time_field("fix_until", "A fix at no charge until", typed.get("fix_until")).or_empty(),
        tick_field("fixed", "The fix is done", typed.is_ticked("fixed")),
        number_field(
            "refund",
            &format!("Given back, in the smallest unit of {}", opened.studio.currency),
            typed.get("refund"),
        )
        .hinted("1250 for 12.50.")
        .or_empty(),
    ];
    note_fields(&mut fields, notes);
    let late = found.decision == "fix" && found.fixed.is_none() && found.fix_until.is_some_and(|until| until < now);
    let (mark, state) = match (found.decision.as_str(), found.fixed) {
        ("open", _) => ("near", "not decided yet".to_owned()),
        ("fix", None) if late => ("stop", "the fix is overdue".to_owned()),
        ("fix", None) => ("near", "a fix is promised".to_owned()),
        (decision, _) => ("fit", words_of(&DECISIONS, decision).to_owned()),
    };
    let pictures = {
        let mut db = house.store.read().await?;
        let action = house.url(&format!("/door/complaints/{}/photos", found.id));
        PhotoBlock::load(
            &mut db,
            house,
            &opened.studio,
            &opened.client,
            (&found.id.to_string(), Moment::Complaint),
            action,
            now,
        )
        .await?
    };
    Ok(ComplaintPage {
        frame: house.frame(
            &opened.studio,
            &staff.visitor,
            Place::Door,
            format!("A complaint of {}", opened.client.short),
        ),
        key,
        action: house.url(&format!("/door/complaints/{}/decision", found.id)),
        back: house.url(&format!("/door/clients/{}/clearance", found.client)),
        mark,
        state,
        facts: vec![
            ("Client", opened.client.name.clone()),
            ("When", zone.date_and_clock(found.at, now)),
            ("What", found.what.clone()),
            ("Adhesive and lot", met.unwrap_or_else(|| "not known".to_owned())),
            ("Treatment card", card_words(&found.card).to_owned()),
        ],
        mistakes: mistakes(&fields),
        fields,
        pictures,
    })
}

/// Whether a card is named: which one is said on the card's own page, where a complaint of hers is chosen.
const fn card_words(card: &str) -> &'static str {
    if card.is_empty() { "none named yet; name it on the card" } else { "named on her card" }
}

fn check_decision(typed: &Typed, found: &Complaint, studio: &Studio, now: Instant) -> Result<Complaint, Problem> {
    let mut notes = Notes::default();
    let known = DECISIONS.iter().find(|(key, _)| *key == typed.get("decision")).map(|(key, _)| (*key).to_owned());
    let decision = notes.choice("decision", known);
    let fix_until = if decision.as_deref() == Some("fix") {
        notes.instant("fix_until", typed.get("fix_until"), &studio.zone, (found.at, now.plus(365 * DAY))).map(Some)
    } else {
        Some(None)
    };
    let refund = if decision.as_deref() == Some("refund") {
        notes.whole("refund", typed.get("refund"), (1, 100_000_000), "").map(|minor| Some(i64::from(minor)))
    } else {
        Some(None)
    };
    let fixed = typed.is_ticked("fixed").then(|| found.fixed.unwrap_or(now));
    notes.settle((|| {
        let fixed = fixed.filter(|_| decision.as_deref() == Some("fix"));
        Some(Complaint { decision: decision?, fix_until: fix_until?, refund_minor: refund?, fixed, ..found.clone() })
    })())
}

async fn decide(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ComplaintId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let (opened, found) = open_complaint(&house, &staff, id).await?;
    match check_decision(&form.typed, &found, &opened.studio, staff.visitor.now.0) {
        Ok(decided) => {
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let decided = decided.clone();
                    Box::pin(async move {
                        decide_complaint(tx, &decided).await?;
                        Ok(Kept::see(format!("/door/complaints/{id}")))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let key = form.key.form.unwrap_or_default();
            let view = complaint_view(&house, &staff, &opened, &found, &form.typed, &notes, key).await?;
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &view)
        }
    }
}
