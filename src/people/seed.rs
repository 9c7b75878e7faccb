//! People of the invented studio: one passphrase for all of them, printed at the start of the demonstration.

use super::{passphrase, store};
use crate::base::actor::Role;
use crate::base::problem::Problem;
use crate::store::{FormKey, Kept, settings};
use crate::web::House;
use crate::web::studio::Studio;

/// Adds people with one passphrase; the first owner claims the house.
pub(crate) async fn seed(house: &House, people: &[(&str, Role)], phrase: &str, studio: &Studio) -> Result<(), Problem> {
    let hash = passphrase::hash(house.hashing.for_known().await?, phrase.to_owned()).await?;
    let people: Vec<(String, Role)> = people.iter().map(|(name, role)| ((*name).to_owned(), *role)).collect();
    let studio = studio.clone();
    house
        .store
        .write(&FormKey::house(), move |tx| {
            let (people, hash, studio) = (people.clone(), hash.clone(), studio.clone());
            Box::pin(async move {
                for (name, role) in &people {
                    if *role == Role::Owner && !store::is_claimed(tx.db()).await? {
                        store::claim(tx, name, &hash).await?;
                    } else {
                        store::add(tx, name, *role, &hash).await?;
                    }
                }
                studio.keep(tx).await?;
                settings::set(tx, "house.demo", "yes").await?;
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}
