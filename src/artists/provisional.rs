//! Holds the place of artists and their kept hands until that part is there.
#![allow(missing_docs, clippy::all, reason = "goes away")]

use super::Technique;
use super::hands::Hands;
use crate::base::ids::{ArtistId, PersonId};
use crate::base::problem::Problem;
use crate::store::Db;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Employment { Employed, SelfEmployed }
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Style { pub technique: Technique, pub fan: Option<u8> }
impl Style {
    pub fn words(&self) -> String { self.technique.word().to_owned() }
    pub fn key(&self) -> String { self.technique.word().to_owned() }
    pub fn parse(text: &str) -> Option<Self> {
        [Technique::Classic, Technique::Hybrid, Technique::Volume, Technique::Mega].into_iter().find(|t| t.word() == text).map(|technique| Self { technique, fan: None })
    }
}
#[derive(Debug, Clone)]
pub struct Artist { pub id: ArtistId, pub person: PersonId, pub name: String, pub employment: Employment, pub trainee: bool, pub styles: Vec<Style>, pub usual: Option<Style>, pub placements_per_set: u32 }
pub async fn all(db: &mut Db) -> Result<Vec<Artist>, Problem> {
    let people = crate::people::everyone(db).await?;
    Ok(people
        .into_iter()
        .filter(|p| p.left.is_none() && p.role == crate::base::actor::Role::Artist)
        .map(|p| Artist {
            id: p.id.to_string().parse().unwrap_or_else(|_| ArtistId::new()),
            person: p.id,
            name: p.name,
            employment: Employment::Employed,
            trainee: false,
            styles: vec![CLASSIC, VOLUME],
            usual: Some(VOLUME),
            placements_per_set: 180,
        })
        .collect())
}
const CLASSIC: Style = Style { technique: Technique::Classic, fan: None };
const VOLUME: Style = Style { technique: Technique::Volume, fan: None };
pub async fn of_person(db: &mut Db, person: PersonId) -> Result<Option<Artist>, Problem> {
    Ok(all(db).await?.into_iter().find(|a| a.person == person))
}
pub async fn hands(db: &mut Db, artist: ArtistId, style: Style) -> Result<Hands, Problem> {
    Ok(all_hands(db).await?.into_iter().find(|(a, s, _)| *a == artist && *s == style).map_or_else(Hands::untimed, |(_, _, h)| h))
}
pub async fn all_hands(db: &mut Db) -> Result<Vec<(ArtistId, Style, Hands)>, Problem> {
    use crate::base::units::Seconds;
    let timings: Vec<super::hands::Timing> = (0..60)
        .map(|i| super::hands::Timing {
            session: 1 + i / 20,
            travel: Seconds::clamped(1.3 + 0.03 * f64::from(i % 17)),
            settle: Seconds::clamped(0.55 + 0.03 * f64::from(i % 11)),
        })
        .collect();
    Ok(all(db).await?.into_iter().filter(|a| a.name.starts_with("Ines")).map(|a| (a.id, VOLUME, Hands::from_timings(&timings))).collect())
}
