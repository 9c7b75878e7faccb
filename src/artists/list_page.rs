//! Hands: one's own first, then the others by name; their seconds for the owner alone.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::hands::KeptReport;
use super::words::bare;
use super::{Artist, Session, Style, all, store};
use crate::base::actor::{Role, Who};
use crate::base::ids::ArtistId;
use crate::base::problem::Problem;
use crate::base::text::count;
use crate::base::units::Seconds;
use crate::store::Db;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/hands", list)
}

/// One's own entry.
struct Own {
    lead: String,
    last: String,
    href: String,
    /// Where a timing begins; empty while no technique is named.
    timing: String,
    edit: String,
}

/// Somebody else's row.
struct Other {
    name: String,
    /// Her page; empty for those who may not see it.
    href: String,
    /// Techniques, and for the owner how she works.
    about: String,
    /// Medians, for the owner.
    medians: Vec<String>,
    /// Where a timing of hers begins; empty for those who may not.
    timing: String,
}

#[derive(Template)]
#[template(path = "hands/list.html")]
struct HandsPage {
    frame: Frame,
    own: Option<Own>,
    others: Vec<Other>,
    /// The word over the others.
    others_word: &'static str,
    may_add: bool,
    /// An artist whom the owner has not added yet.
    not_added: bool,
}

type KeptByStyle = BTreeMap<(ArtistId, Style), KeptReport>;

async fn list(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    let who = &staff.who;
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let artists = all(&mut db).await?;
    let own = artists.iter().find(|artist| artist.person == who.id);
    let kept = kept_for(&mut db, who, own).await?;
    let last = match own {
        Some(artist) => store::newest_session(&mut db, artist.id).await?,
        None => None,
    };
    let others: Vec<&Artist> = artists.iter().filter(|artist| artist.person != who.id).collect();
    let view = HandsPage {
        frame: house.frame(&studio, &staff.visitor, Place::Hands, "Hands"),
        own: own.map(|artist| own_entry(&house, &studio, artist, &kept, last.as_ref(), staff.visitor.now.0)),
        others: others.into_iter().map(|artist| other_row(&house, &studio, who, artist, &kept)).collect(),
        others_word: if own.is_some() { "The others" } else { "Artists" },
        may_add: who.role == Role::Owner,
        not_added: who.role == Role::Artist && own.is_none(),
    };
    page(&view)
}

/// What this person may see of what is kept: all for the owner, her own for an artist.
async fn kept_for(db: &mut Db, who: &Who, own: Option<&Artist>) -> Result<KeptByStyle, Problem> {
    let found = match (who.role, own) {
        (Role::Owner, _) => store::all_kept(db, None).await?,
        (_, Some(artist)) => store::all_kept(db, Some(artist.id)).await?,
        _ => Vec::new(),
    };
    Ok(found.into_iter().map(|(artist, style, kept)| ((artist, style), kept)).collect())
}

fn own_entry(
    house: &House,
    studio: &Studio,
    artist: &Artist,
    kept: &KeptByStyle,
    last: Option<&Session>,
    now: crate::base::time::Instant,
) -> Own {
    let style = artist.opens_on();
    let more = style.map(|style| kept.get(&(artist.id, style)).map_or(u32::MAX, |kept| kept.more_placements));
    let lead = match style.zip(more) {
        None => "Name the techniques you work in; then your hands can be timed.".to_owned(),
        Some((style, 0)) => format!("Your hands are known well enough in {}.", style.words()),
        Some((style, u32::MAX)) => {
            format!("Nobody has timed your hands in {} yet. Thirty placements give a first answer.", style.words())
        }
        Some((style, more)) => {
            let some = count(more.min(30) as usize, "more placement");
            format!("Time {some} in {}.", style.words())
        }
    };
    let last = last.map_or_else(String::new, |session| {
        format!("Last timed {}, {}.", studio.zone.date_and_clock(session.at, now), session.style.words())
    });
    let timing = style.map_or_else(String::new, |style| timing_of(house, artist, style));
    let page = house.url(&format!("/hands/{}", artist.id));
    Own { lead, last, timing, edit: format!("{page}/edit"), href: page }
}

fn timing_of(house: &House, artist: &Artist, style: Style) -> String {
    house.url(&format!("/hands/{}/timing?style={}", artist.id, style.key()))
}

fn other_row(house: &House, studio: &Studio, who: &Who, artist: &Artist, kept: &KeptByStyle) -> Other {
    let seen = artist.seconds_seen_by(who);
    let styles = artist.styles.iter().map(Style::words).collect::<Vec<_>>().join(", ");
    let about = match (seen, artist.trainee) {
        (true, true) => format!("{}, trainee; {styles}", artist.employment.word()),
        (true, false) => format!("{}; {styles}", artist.employment.word()),
        (false, _) => styles,
    };
    let of_hers = kept.iter().filter(|((id, _), kept)| seen && *id == artist.id && kept.hands.placements > 0);
    Other {
        name: artist.name.clone(),
        href: if seen { house.url(&format!("/hands/{}", artist.id)) } else { String::new() },
        about,
        medians: of_hers.map(|((_, style), kept)| median_line(*style, kept, studio)).collect(),
        timing: artist.opens_on().filter(|_| seen).map_or_else(String::new, |style| timing_of(house, artist, style)),
    }
}

fn median_line(style: Style, kept: &KeptReport, studio: &Studio) -> String {
    let median = |mean: f64| bare(Seconds::clamped(mean.exp()), studio.decimal);
    format!(
        "{}: travel {}, settle {}\u{a0}s, {}",
        style.words(),
        median(kept.hands.travel.mean),
        median(kept.hands.settle.mean),
        count(kept.hands.placements as usize, "placement")
    )
}
