//! A complaint's page: what was decided, a fix at no charge until a day, a refund; and the ways to the card it is about and to the one
//! that put it right.

use askama::Template;
use axum::extract::{Multipart, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::Response;
use jiff::ToSpan as _;
use jiff::civil::Date;

use super::amount;
use super::complaint_form::{Opened, card_field, chosen_card, open};
use super::decided::{decided_words, mark_of, moved_lines, shown, still_counted_in, still_stands};
use super::doctor_store::{Complaint, DECISIONS, complaint, decide_complaint, tie_complaint};
use super::from_cards::{HerCard, HerCards};
use super::seen::{must_treat, note_look};
use super::test_store::Met;
use super::typed::{MoreNotes, SEEN, Typed, day_field, notes_of, seen_field, tick_field};
use crate::base::ids::ComplaintId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::{DAY, Instant, SECOND};
use crate::base::zone::Zone;
use crate::clients::not_restricted;
use crate::clients::photos::{LARGEST_FORM, Moment, PhotoBlock, Shows, arrive, keep};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, number_field, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, Turned, new_form_key};
use crate::web::problems::{page, page_again, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Place;

pub(super) fn routes(cards: HerCards) -> Routes {
    Routes::new()
        .get("/door/complaints/{complaint}", move |staff: Staff, house: State<House>, id: At<ComplaintId>| {
            show(staff, house, id, cards)
        })
        .post(
            "/door/complaints/{complaint}/decision",
            move |staff: Staff, house: State<House>, id: At<ComplaintId>, form: Form<Typed>| {
                decide(staff, house, id, form, cards)
            },
        )
        .post_file(
            "/door/complaints/{complaint}/photos",
            LARGEST_FORM,
            move |staff: Staff, house: State<House>, id: At<ComplaintId>, headers: HeaderMap, parts: Multipart| {
                photo(staff, house, id, headers, parts, cards)
            },
        )
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
    /// The card it is about and those that mend it: word, address, words.
    cards: Vec<(&'static str, String, String)>,
    /// What changed since the form was opened.
    lead: Vec<String>,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    pictures: PhotoBlock,
}

async fn open_complaint(
    house: &House,
    staff: &Staff,
    id: ComplaintId,
    cards: HerCards,
) -> Result<(Opened, Complaint), Problem> {
    // What was complained of may tell of her health: the desk takes complaints in, those who treat read them.
    must_treat(&staff.who)?;
    let now = staff.visitor.now.0;
    let found = {
        let mut db = house.store.read().await?;
        complaint(&mut db, house.store.keys(), id).await?.ok_or(Problem::NotHere("complaint"))?
    };
    let opened = open(house, &staff.who, found.client, now, cards).await.map_err(|problem| {
        if matches!(problem, Problem::NotHere(_)) { Problem::NotHere("complaint") } else { problem }
    })?;
    Ok((opened, found))
}

async fn show(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ComplaintId>,
    cards: HerCards,
) -> Result<Response, Problem> {
    let (opened, found) = open_complaint(&house, &staff, id, cards).await?;
    note_look(&house, &staff.who, "see complaint", found.client).await?;
    let fresh = typed_as_kept(&found, &opened, staff.visitor.now.0);
    page(&complaint_view(&house, &staff, &opened, &found, &fresh, &[], new_form_key()).await?)
}

/// The form of the decision as it was kept. Where no last day is, the one the house's own days lead to.
fn typed_as_kept(found: &Complaint, opened: &Opened, now: Instant) -> Typed {
    let zone = &opened.studio.zone;
    let last =
        found.fix_until.map_or_else(|| proposed(zone, found.at, opened.bench.rules.fix_days, now), |at| zone.day(at));
    Typed::of([
        ("decision", found.decision.clone()),
        ("card", found.card.clone()),
        ("fix_until", last.to_string()),
        ("refund", found.refund_minor.map(|minor| shown(minor, &opened.studio)).unwrap_or_default()),
        ("fixed", if found.fixed.is_some() { "yes".to_owned() } else { String::new() }),
        (CURRENCY, opened.studio.currency.clone()),
        (SEEN, mark_of(found)),
    ])
}

/// The field for the currency in which the page asked for an amount: the studio's may be another by the time it is sent.
const CURRENCY: &str = "currency";

/// The currency in which an amount was typed; the studio's where the form does not say.
fn currency_of<'t>(typed: &'t Typed, opened: &'t Opened) -> &'t str {
    match typed.get(CURRENCY) {
        "" => &opened.studio.currency,
        shown => shown,
    }
}

/// The last day of a fix: so many days after she complained, and no day that is over.
fn proposed(zone: &Zone, complained: Instant, days: u32, now: Instant) -> Date {
    let day = zone.day(complained);
    day.checked_add(i64::from(days).days()).unwrap_or(day).max(zone.day(now))
}

/// The end of a day, to which a fix is promised.
fn end_of(zone: &Zone, day: Date) -> Instant {
    zone.start_of(day.tomorrow().unwrap_or(day)).plus(-SECOND)
}

/// A photo of what she complains of.
async fn photo(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ComplaintId>,
    headers: HeaderMap,
    parts: Multipart,
    cards: HerCards,
) -> Result<Response, Turned> {
    let (opened, found) = open_complaint(&house, &staff, id, cards).await?;
    not_restricted(&opened.client)?;
    let arrived = arrive(&house, &staff, &headers, parts).await?;
    match arrived.picture {
        Ok(picture) => {
            let shows = Shows { client: found.client, moment: Moment::Complaint, about: Some(id.to_string()) };
            let kept = keep(&house, &staff, &arrived.key, shows, picture, format!("/door/complaints/{id}")).await?;
            Ok(answer(&house, &kept))
        }
        Err(sentence) => {
            let fresh = typed_as_kept(&found, &opened, staff.visitor.now.0);
            let mut view = complaint_view(&house, &staff, &opened, &found, &fresh, &[], new_form_key()).await?;
            view.pictures = view.pictures.refused(sentence, arrived.key.form);
            Ok(page_again(&view)?)
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
    let met = found.product.map(|product| opened.bench.met_words(&Met { product, lot: found.lot.clone() }));
    let own = |(key, words): (&str, &str)| (key.to_owned(), words.to_owned());
    let mended = mended_by(found, &opened.cards);
    let days = opened.bench.rules.fix_days;
    let currency = currency_of(typed, opened);
    let mut fields = vec![choice_field("radio", "decision", "Decided", typed.get("decision"), DECISIONS.map(own))];
    // Of a card this person may not read nothing is chosen here.
    if found.card.is_empty() || opened.cards.iter().any(|card| card.id == found.card) {
        fields.extend(card_field(opened, typed));
    }
    let done = tick_field("fixed", "The fix is done", typed.is_ticked("fixed"));
    fields.extend([
        day_field("fix_until", "A fix at no charge until the end of", typed.get("fix_until"))
            .hinted(format!("Proposed here: {days} days after she complained, as the house’s rules say."))
            .or_empty(),
        match mended.first() {
            Some(card) => done.hinted(format!("A card mends it: {}.", card.words)),
            None => done,
        },
        number_field("refund", &format!("Given back, in {currency}"), typed.get("refund"))
            .hinted(format!("For a refund. Written like {}.", amount::shown(12_345, currency, opened.studio.decimal)))
            .or_empty(),
        FieldView { kind: "hidden", ..text_field(CURRENCY, "", currency) },
        seen_field(typed.get(SEEN)),
    ]);
    note_fields(&mut fields, notes);
    let late = found.decision == "fix" && found.fixed.is_none() && found.fix_until.is_some_and(|until| until < now);
    let (mark, state) = match (found.decision.as_str(), found.fixed) {
        ("open", _) => ("near", "not decided yet".to_owned()),
        ("fix", None) if late => ("stop", "the fix is overdue".to_owned()),
        ("fix", None) => ("near", "a fix is promised".to_owned()),
        (decision, _) => ("fit", decided_words(decision, found.refund_minor, &opened.studio)),
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
        ],
        cards: card_lines(house, found, &opened.cards, &mended),
        lead: Vec::new(),
        mistakes: mistakes(&fields),
        fields,
        pictures,
    })
}

/// Her cards that mend, since she complained, the one it is about; newest first.
fn mended_by<'c>(found: &Complaint, cards: &'c [HerCard]) -> Vec<&'c HerCard> {
    let mends = |card: &&HerCard| !found.card.is_empty() && card.mends.as_ref() == Some(&found.card);
    cards.iter().filter(mends).filter(|card| card.begun >= found.at).collect()
}

/// The card it is about and those that mend it: word, address without one to read, words.
fn card_lines(
    house: &House,
    found: &Complaint,
    cards: &[HerCard],
    mended: &[&HerCard],
) -> Vec<(&'static str, String, String)> {
    let line = |word, card: &HerCard| (word, house.url(&card.path), card.words.clone());
    let about = match cards.iter().find(|card| card.id == found.card) {
        Some(card) => line("Treatment card", card),
        None if found.card.is_empty() => ("Treatment card", String::new(), "none named yet".to_owned()),
        None => ("Treatment card", String::new(), "one that is a colleague’s to read".to_owned()),
    };
    std::iter::once(about).chain(mended.iter().map(|card| line("Mended at no charge", card))).collect()
}

fn check_decision(typed: &Typed, found: &Complaint, opened: &Opened, now: Instant) -> Result<Complaint, Problem> {
    let mut notes = Notes::default();
    let zone = &opened.studio.zone;
    let known = DECISIONS.iter().find(|(key, _)| *key == typed.get("decision")).map(|(key, _)| (*key).to_owned());
    let decision = notes.choice("decision", known);
    let fix_until = if decision.as_deref() == Some("fix") {
        let limits = (zone.day(found.at), zone.day(now.plus(365 * DAY)));
        notes.day("fix_until", typed.get("fix_until"), limits).map(|day| Some(end_of(zone, day)))
    } else {
        Some(None)
    };
    // A page on which no card could be chosen says nothing about it.
    let card =
        if typed.all("card").is_empty() { Some(found.card.clone()) } else { chosen_card(&mut notes, typed, opened) };
    let refund = if decision.as_deref() == Some("refund") {
        match amount::typed(typed.get("refund"), currency_of(typed, opened), opened.studio.decimal) {
            Ok(minor) => Some(Some(minor)),
            Err(sentence) => {
                notes.add("refund", sentence);
                None
            }
        }
    } else {
        Some(None)
    };
    let fixed = typed.is_ticked("fixed").then(|| found.fixed.unwrap_or_else(|| typed.pressed(now)));
    notes.settle((|| {
        let fixed = fixed.filter(|_| decision.as_deref() == Some("fix"));
        Some(Complaint {
            decision: decision?,
            card: card?,
            fix_until: fix_until?,
            refund_minor: refund?,
            fixed,
            ..found.clone()
        })
    })())
}

async fn decide(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ComplaintId>,
    form: Form<Typed>,
    cards: HerCards,
) -> Result<Response, Problem> {
    let (opened, found) = open_complaint(&house, &staff, id, cards).await?;
    let now = staff.visitor.now.0;
    let checked = check_decision(&form.typed, &found, &opened, now);
    let could_be_read = checked.is_ok();
    let kept = match checked {
        Ok(decided) => {
            let (inner, seen) = (house.clone(), form.typed.get(SEEN).to_owned());
            let currency = currency_of(&form.typed, &opened).to_owned();
            house
                .store
                .write(&form.key, move |tx| {
                    let (house, decided, seen) = (inner.clone(), decided.clone(), seen.clone());
                    let currency = currency.clone();
                    Box::pin(async move {
                        if decided.refund_minor.is_some() {
                            still_counted_in(tx, &currency).await?;
                        }
                        let stands = still_stands(tx, house.store.keys(), &seen, &decided).await?;
                        decide_complaint(tx, house.store.keys(), &decided).await?;
                        if decided.card != stands.card {
                            tie_complaint(tx, decided.client, id, &decided.card).await?;
                        }
                        Ok(Kept::see(format!("/door/complaints/{id}")))
                    })
                })
                .await
        }
        Err(problem) => Err(problem),
    };
    let key = form.key.again();
    match kept {
        Ok(kept) => Ok(answer(&house, &kept)),
        Err(Problem::Clash(..)) => {
            let (opened, stands) = open_complaint(&house, &staff, id, cards).await?;
            note_look(&house, &staff.who, "see complaint", stands.client).await?;
            let typed = form.typed.with(SEEN, mark_of(&stands));
            let mut view = complaint_view(&house, &staff, &opened, &stands, &typed, &[], key).await?;
            let card = view.cards.first().map_or("none named yet", |(_, _, words)| words.as_str());
            view.lead = moved_lines(&stands, card, &opened.studio, now);
            page_with(StatusCode::CONFLICT, &view)
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            // What could be read and was refused all the same was typed in another currency: it comes back in that of now.
            let (opened, typed) = if could_be_read {
                let (opened, _) = open_complaint(&house, &staff, id, cards).await?;
                let typed = form.typed.with(CURRENCY, opened.studio.currency.clone());
                (opened, typed)
            } else {
                (opened, form.typed)
            };
            let view = complaint_view(&house, &staff, &opened, &found, &typed, &notes, key).await?;
            page_again(&view)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_day_of_a_fix_is_counted_from_the_complaint_and_never_over_yet() {
        let zone = Zone::named("Europe/Copenhagen").unwrap();
        let at = |text: &str| super::super::typed::wall_instant(text, &zone).unwrap();
        let last = |complained: &str, days, now: &str| proposed(&zone, at(complained), days, at(now)).to_string();
        assert_eq!(last("2026-02-18T10:12", 7, "2026-02-18T10:12"), "2026-02-25");
        // Days of the calendar: over a change of the clocks too, and from a late evening on.
        assert_eq!(last("2026-03-28T23:50", 2, "2026-03-29T09:00"), "2026-03-30");
        assert_eq!(last("2026-02-01T10:00", 7, "2026-02-18T10:12"), "2026-02-18");
        let end = end_of(&zone, "2026-03-29".parse().unwrap());
        assert_eq!(super::super::typed::wall(&zone, end), "2026-03-29T23:59");
    }
}
