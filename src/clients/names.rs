//! Names of those who work here, for pages that say who did what.

use crate::base::actor::Role;
use crate::base::ids::PersonId;
use crate::base::problem::Problem;
use crate::people;
use crate::store::Db;

/// Everybody who works here, or did.
pub(crate) struct Names(Vec<people::Person>);

impl Names {
    /// Reads them.
    pub(crate) async fn load(db: &mut Db) -> Result<Self, Problem> {
        people::everyone(db).await.map(Self)
    }

    /// The name of a person.
    pub(crate) fn of(&self, id: PersonId) -> String {
        self.0
            .iter()
            .find(|person| person.id == id)
            .map_or_else(|| "somebody who left".to_owned(), |person| person.name.clone())
    }

    /// True while this person works here.
    pub(crate) fn works_here(&self, id: PersonId) -> bool {
        self.0.iter().any(|person| person.id == id && person.left.is_none())
    }

    /// The artists who work here, as choices.
    pub(crate) fn artists(&self) -> impl Iterator<Item = (PersonId, String)> {
        let works = |person: &&people::Person| person.left.is_none() && person.role == Role::Artist;
        self.0.iter().filter(works).map(|person| (person.id, person.name.clone()))
    }
}
