//! Holds the place of artists and their kept hands until that part is there.

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
pub async fn all(_db: &mut Db) -> Result<Vec<Artist>, Problem> { Ok(Vec::new()) }
pub async fn of_person(_db: &mut Db, _person: PersonId) -> Result<Option<Artist>, Problem> { Ok(None) }
pub async fn hands(_db: &mut Db, _artist: ArtistId, _style: Style) -> Result<Hands, Problem> { Ok(Hands::untimed()) }
pub async fn all_hands(_db: &mut Db) -> Result<Vec<(ArtistId, Style, Hands)>, Problem> { Ok(Vec::new()) }
