//! An artist as the studio keeps her: how she works, what in, how many placements a set.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::{Deserialize, Serialize};

use super::{Artist, Employment, Style, Technique, is_at_the_bed, one, store};
use crate::base::actor::Role;
use crate::base::ids::{ArtistId, PersonId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::text::capital;
use crate::people;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, merged, note_fields, number_field, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::{Owner, Staff};
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};
use crate::web::visitor::Visitor;

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/hands/new", new_page)
        .post("/hands", add)
        .get("/hands/{artist}/edit", edit_page)
        .post("/hands/{artist}/edit", change)
}

#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[serde(default)]
struct TypedArtist {
    person: String,
    employment: String,
    trainee: String,
    classic: String,
    hybrid: String,
    volume: String,
    mega: String,
    usual: String,
    placements_per_set: String,
    /// The fields as the page showed them, as JSON: what this person did not touch is not written.
    #[serde(skip_serializing)]
    shown: String,
}

impl TypedArtist {
    fn of(artist: &Artist) -> Self {
        let has = |technique: Technique| {
            let plain = artist.styles.contains(&Style::plain(technique));
            if plain { "yes".to_owned() } else { String::new() }
        };
        let fans = |technique: Technique| {
            let fans = artist.styles.iter().filter(|style| style.technique == technique).filter_map(|style| style.fan);
            fans.map(|fan| fan.to_string()).collect::<Vec<_>>().join(", ")
        };
        Self {
            person: artist.person.to_string(),
            employment: artist.employment.word().to_owned(),
            trainee: if artist.trainee { "yes".to_owned() } else { String::new() },
            classic: has(Technique::Classic),
            hybrid: has(Technique::Hybrid),
            volume: fans(Technique::Volume),
            mega: fans(Technique::Mega),
            usual: artist.usual.map(|style| style.key()).unwrap_or_default(),
            placements_per_set: artist.placements_per_set.to_string(),
            shown: String::new(),
        }
    }

    /// As a page shows an artist to be changed.
    fn to_change(artist: &Artist) -> Self {
        let typed = Self::of(artist);
        Self { shown: typed.as_shown(), ..typed }
    }

    fn as_shown(&self) -> String {
        serde_json::to_string(self).unwrap_or_default()
    }

    /// What was typed, laid over the artist as she is kept now: fields this person did not touch stay as they are. Fields
    /// that both changed get a note. The result shows what is kept now, so that the page can come back with it.
    fn over(&self, artist: &Artist, owner: bool) -> (Self, Notes) {
        let now = Self::of(artist);
        let shown: Self = serde_json::from_str(&self.shown).unwrap_or_else(|_| now.clone());
        let mut notes = Notes::default();
        let mut field = |name, of: fn(&Self) -> &String| merged(&mut notes, name, of(&shown), of(&now), of(self));
        let over = Self {
            person: now.person.clone(),
            // Only the owner's page has these two.
            employment: if owner { field("employment", |t| &t.employment) } else { now.employment.clone() },
            trainee: if owner { field("trainee", |t| &t.trainee) } else { now.trainee.clone() },
            classic: field("classic", |t| &t.classic),
            hybrid: field("hybrid", |t| &t.hybrid),
            volume: field("volume", |t| &t.volume),
            mega: field("mega", |t| &t.mega),
            usual: field("usual", |t| &t.usual),
            placements_per_set: field("placements_per_set", |t| &t.placements_per_set),
            shown: now.as_shown(),
        };
        (over, notes)
    }

    /// The artist as changed, and the form to come back with where she is not.
    fn change(&self, artist: &Artist, owner: bool) -> (Self, Result<Artist, Problem>) {
        let (over, notes) = self.over(artist, owner);
        let checked = match notes.all() {
            [] => over.check(owner, &[], Some(artist)),
            all => Err(Problem::Mistakes(all.to_vec())),
        };
        (over, checked)
    }

    /// Checks the fields; those that are the owner's to say come from `kept` when she is not the one who types.
    fn check(&self, owner: bool, people: &[people::Person], kept: Option<&Artist>) -> Result<Artist, Problem> {
        let mut notes = Notes::default();
        let person = match kept {
            Some(artist) => Some((artist.person, artist.name.clone())),
            None => {
                let chosen = people.iter().find(|person| person.id.to_string() == self.person);
                notes.choice("person", chosen.map(|person| (person.id, person.name.clone())))
            }
        };
        let (employment, trainee) = match kept.filter(|_| !owner) {
            Some(artist) => (Some(artist.employment), artist.trainee),
            None => (notes.choice("employment", Employment::from_word(&self.employment)), self.trainee == "yes"),
        };
        let styles = self.styles(&mut notes);
        let usual = match (self.usual.as_str(), &styles) {
            ("", _) | (_, None) => Some(None),
            (key, Some(styles)) => match Style::parse(key).filter(|style| styles.contains(style)) {
                Some(style) => Some(Some(style)),
                None => {
                    notes.add("usual", "Choose one of the techniques named above.");
                    None
                }
            },
        };
        let placements = notes.number("placements_per_set", &self.placements_per_set, (1.0, 2000.0), "placements");
        let artist = || {
            let (person, name) = person?;
            Some(Artist {
                id: kept.map_or_else(ArtistId::new, |artist| artist.id),
                person,
                name,
                employment: employment?,
                trainee,
                styles: styles?,
                usual: usual?,
                placements_per_set: placements? as u32,
            })
        };
        notes.settle(artist())
    }

    fn styles(&self, notes: &mut Notes) -> Option<Vec<Style>> {
        let mut styles = Vec::new();
        for (technique, ticked) in [(Technique::Classic, &self.classic), (Technique::Hybrid, &self.hybrid)] {
            if ticked == "yes" {
                styles.push(Style::plain(technique));
            }
        }
        let volume = fans(notes, "volume", Technique::Volume, &self.volume);
        let mega = fans(notes, "mega", Technique::Mega, &self.mega);
        styles.extend(volume?);
        styles.extend(mega?);
        styles.sort();
        styles.dedup();
        if styles.is_empty() {
            notes.add("classic", "Name at least one technique she works in.");
            return None;
        }
        Some(styles)
    }

    fn fields(&self, owner: bool, people: Option<&[people::Person]>, notes: &[FieldNote]) -> Vec<FieldView> {
        let mut fields = Vec::new();
        if let Some(people) = people {
            let choices = people.iter().map(|person| (person.id.to_string(), person.name.clone()));
            fields.push(
                choice_field("select", "person", "Person", &self.person, choices)
                    .hinted("An owner or artist of this studio. Others are invited in Office, under people."),
            );
        }
        if owner {
            let models = Employment::ALL.map(|model| (model.word().to_owned(), capital(model.word())));
            fields.push(choice_field("radio", "employment", "How she works here", &self.employment, models));
            fields.push(tick("trainee", "A trainee, working under somebody’s eyes", &self.trainee));
        }
        fields.extend([
            tick("classic", "Classic", &self.classic),
            tick("hybrid", "Hybrid", &self.hybrid),
            text_field("volume", "Volume fans", &self.volume)
                .hinted("Extensions a fan, 2 to 16, apart by commas: 3, 4, 5.")
                .or_empty(),
            text_field("mega", "Mega fans", &self.mega).hinted("The same for mega volume: 8, 10.").or_empty(),
            choice_field("select", "usual", "Usual technique", &self.usual, every_style())
                .hinted("Pages open on it.")
                .or_empty(),
            number_field("placements_per_set", "Placements a set, usually", &self.placements_per_set)
                .hinted("Seconds a placement become minutes a set with it."),
        ]);
        if !self.shown.is_empty() {
            fields.push(FieldView { kind: "hidden", ..text_field("shown", "", &self.shown) });
        }
        note_fields(&mut fields, notes);
        fields
    }
}

fn tick(name: &'static str, label: &str, value: &str) -> FieldView {
    FieldView { kind: "check", ..text_field(name, label, value) }
}

fn fans(notes: &mut Notes, field: &'static str, technique: Technique, typed: &str) -> Option<Vec<Style>> {
    let numbers = typed
        .split([',', ';', ' ', '+'])
        .map(|part| part.trim().trim_end_matches(['d', 'D']))
        .filter(|part| !part.is_empty());
    let styles: Option<Vec<Style>> =
        numbers.map(|number| number.parse().ok().and_then(|fan| Style::fans(technique, fan))).collect();
    if styles.is_none() {
        notes.add(
            field,
            format!("Type whole numbers from {} to {}, apart by commas.", Style::FAN_LEAST, Style::FAN_MOST),
        );
    }
    styles
}

fn every_style() -> Vec<(String, String)> {
    let fans = |technique| (Style::FAN_LEAST..=Style::FAN_MOST).filter_map(move |fan| Style::fans(technique, fan));
    let plain = [Technique::Classic, Technique::Hybrid].map(Style::plain).into_iter();
    let all = plain.chain(fans(Technique::Volume)).chain(fans(Technique::Mega));
    std::iter::once((String::new(), "None in particular".to_owned()))
        .chain(all.map(|style| (style.key(), capital(&style.words()))))
        .collect()
}

#[derive(Template)]
#[template(path = "shell/form.html")]
struct ArtistForm {
    frame: Frame,
    key: String,
    action: String,
    word: &'static str,
    small: &'static str,
    lead: &'static str,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    button: &'static str,
    back: Option<(String, String)>,
}

/// Owners and artists who are no artist of this part yet.
async fn addable(db: &mut crate::store::Db) -> Result<Vec<people::Person>, Problem> {
    let taken: Vec<PersonId> = store::artists(db).await?.into_iter().map(|artist| artist.person).collect();
    let everyone = people::everyone(db).await?;
    Ok(everyone.into_iter().filter(|person| is_at_the_bed(person) && !taken.contains(&person.id)).collect())
}

async fn new_page(owner: Owner, State(house): State<House>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let people = addable(&mut db).await?;
    let typed = TypedArtist {
        employment: Employment::Employed.word().to_owned(),
        classic: "yes".to_owned(),
        placements_per_set: "120".to_owned(),
        ..TypedArtist::default()
    };
    page(&new_view(&house, &owner.visitor, &studio, &people, &typed, &[], new_form_key()))
}

fn new_view(
    house: &House,
    visitor: &Visitor,
    studio: &Studio,
    people: &[people::Person],
    typed: &TypedArtist,
    notes: &[FieldNote],
    key: String,
) -> ArtistForm {
    let fields = typed.fields(true, Some(people), notes);
    ArtistForm {
        frame: house.frame(studio, visitor, Place::Hands, "A new artist"),
        key,
        action: house.url("/hands"),
        word: "Artist",
        small: "",
        lead: if people.is_empty() { "Every owner and artist of the studio is here already." } else { "" },
        mistakes: mistakes(&fields),
        fields,
        button: "Add the artist",
        back: Some((house.url("/hands"), "Back to Hands".to_owned())),
    }
}

async fn add(owner: Owner, State(house): State<House>, form: Form<TypedArtist>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let people = addable(&mut db).await?;
    drop(db);
    let result = match form.typed.check(true, &people, None) {
        Ok(artist) => {
            house
                .store
                .write(&form.key, move |tx| {
                    let artist = artist.clone();
                    Box::pin(async move {
                        store::add_artist(tx, &artist).await?;
                        Ok(Kept::see(format!("/hands/{}", artist.id)))
                    })
                })
                .await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let view = new_view(&house, &owner.visitor, &studio, &people, &form.typed, &notes, key);
            page_again(&view)
        }
        other => Ok(answer(&house, &other?)),
    }
}

/// The artist, for her and the owner.
async fn hers(house: &House, staff: &Staff, id: ArtistId) -> Result<(Studio, Artist), Problem> {
    let mut db = house.store.read().await?;
    let artist = one(&mut db, id).await?.filter(|artist| artist.seconds_seen_by(&staff.who));
    Ok((Studio::load(&mut db).await?, artist.ok_or(Problem::NotHere("artist"))?))
}

async fn edit_page(staff: Staff, State(house): State<House>, At(id): At<ArtistId>) -> Result<Response, Problem> {
    let (studio, artist) = hers(&house, &staff, id).await?;
    page(&edit_view(&house, &staff, &studio, &artist, &TypedArtist::to_change(&artist), &[], new_form_key()))
}

fn edit_view(
    house: &House,
    staff: &Staff,
    studio: &Studio,
    artist: &Artist,
    typed: &TypedArtist,
    notes: &[FieldNote],
    key: String,
) -> ArtistForm {
    let fields = typed.fields(staff.who.role == Role::Owner, None, notes);
    ArtistForm {
        frame: house.frame(studio, &staff.visitor, Place::Hands, artist.name.clone()),
        key,
        action: house.url(&format!("/hands/{}/edit", artist.id)),
        word: "Work",
        small: "",
        lead: "",
        mistakes: mistakes(&fields),
        fields,
        button: "Keep the changes",
        back: Some((house.url(&format!("/hands/{}", artist.id)), "Back to her hands".to_owned())),
    }
}

async fn change(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ArtistId>,
    form: Form<TypedArtist>,
) -> Result<Response, Problem> {
    let owner = staff.who.role == Role::Owner;
    let (studio, artist) = hers(&house, &staff, id).await?;
    let again = |artist: &Artist, typed: &TypedArtist, problem: Problem| match problem {
        Problem::Mistakes(notes) => {
            let key = form.key.again();
            let view = edit_view(&house, &staff, &studio, artist, typed, &notes, key);
            page_again(&view)
        }
        other => Err(other),
    };
    if let (over, Err(problem)) = form.typed.change(&artist, owner) {
        return again(&artist, &over, problem);
    }
    let (typed, who) = (form.typed.clone(), staff.who.clone());
    let kept = house.store.write(&form.key, move |tx| {
        let (typed, who) = (typed.clone(), who.clone());
        Box::pin(async move {
            // As she is at this moment: another form may have come in since the page was put together.
            let now = one(tx.db(), id).await?.filter(|artist| artist.seconds_seen_by(&who));
            let now = now.ok_or(Problem::NotHere("artist"))?;
            let changed = typed.change(&now, owner).1?;
            store::change_artist(tx, &changed).await?;
            Ok(Kept::see(format!("/hands/{id}")))
        })
    });
    match kept.await {
        Err(Problem::Mistakes(notes)) => {
            let (_, artist) = hers(&house, &staff, id).await?;
            let (typed, _) = form.typed.over(&artist, owner);
            again(&artist, &typed, Problem::Mistakes(notes))
        }
        other => Ok(answer(&house, &other?)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(typed: &str) -> Result<Vec<String>, Problem> {
        let mut notes = Notes::default();
        let styles = fans(&mut notes, "volume", Technique::Volume, typed);
        notes.settle(styles).map(|styles| styles.iter().map(Style::key).collect())
    }

    #[test]
    fn fans_are_typed_as_numbers_with_or_without_their_letter() {
        assert_eq!(read("3, 4;5D").unwrap(), ["volume-3", "volume-4", "volume-5"]);
        assert!(read("").unwrap().is_empty());
        for wrong in ["1", "17", "three", "3.5", "-4"] {
            assert!(read(wrong).is_err(), "{wrong}");
        }
    }
}
