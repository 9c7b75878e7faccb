//! A secret on its page. Whoever made it can read it until its time is over or she says that she has it; on a shared tablet by a
//! passphrase and not by six digits. Others read who made it.

use super::store;
use crate::base::actor::Actor;
use crate::base::problem::Problem;
use crate::store::Db;
use crate::web::House;
use crate::web::guard::with_passphrase;
use crate::web::problems::way_to_prove;
use crate::web::secret::Shown;
use crate::web::studio::Studio;
use crate::web::visitor::Visitor;

/// What a page says of a secret, worded.
#[derive(Debug)]
pub struct SecretView {
    /// What is to be copied; `None` for whoever did not make it, and where a passphrase is asked for first.
    pub text: Option<String>,
    /// Who made it, where that is somebody else.
    pub maker: Option<String>,
    /// "today 10:12".
    pub until: String,
    /// Where the passphrase is typed, with the way back; "" where it was, and for whoever did not make it.
    pub prove: String,
}

impl SecretView {
    /// What this visitor is shown of a secret, written down as `words` does; `None` where it may no longer be shown.
    ///
    /// # Errors
    /// When the database cannot be read or the way to the passphrase cannot be written.
    pub async fn of(
        db: &mut Db,
        house: &House,
        studio: &Studio,
        visitor: &Visitor,
        shown: Option<Shown>,
        words: impl FnOnce(String) -> String,
    ) -> Result<Option<Self>, Problem> {
        let Some(shown) = shown else { return Ok(None) };
        let until = studio.zone.date_and_clock(shown.until, visitor.now.0);
        let hers = matches!(&visitor.actor, Actor::Person(who) if who.id == shown.made_by);
        let (text, maker, prove) = match with_passphrase(visitor) {
            _ if !hers => {
                let maker = store::by_id(db, shown.made_by).await?.ok_or(Problem::NotHere("person"))?;
                (None, Some(maker.name), String::new())
            }
            Ok(()) => (Some(words(shown.secret)), None, String::new()),
            Err(_) => (None, None, way_to_prove(house, &visitor.path)?),
        };
        Ok(Some(Self { text, maker, until, prove }))
    }
}
