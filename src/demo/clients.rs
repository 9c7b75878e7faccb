//! Clients of the invented studio, one in every state that clearance knows. Nobody of them lives anywhere.

use jiff::ToSpan;
use jiff::civil::Date;

use crate::adhesives;
use crate::adhesives::Family;
use crate::base::actor::{Role, Who};
use crate::base::ids::{ClientId, ExpectedVisitId, PersonId, ProductId, SessionId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, HOUR, Instant, MINUTE};
use crate::base::zone::Zone;
use crate::clearance::facts::{Overridable, TestResult};
use crate::clearance::reaction::Details;
use crate::clearance::seed::{Seed, seed};
use crate::clearance::wet::Wet;
use crate::clearance::{Expected, Met, VisitKind};
use crate::clients::seed::{SeedClient, seed_client};
use crate::clients::{self, Client, Keeper, Purpose, short_name};
use crate::people::Person;
use crate::privacy;
use crate::web::House;

/// Puts clients into an invented studio that has none yet.
///
/// # Errors
/// When the database refuses it.
pub(super) async fn fill(house: &House, zone: &Zone, people: &[Person]) -> Result<(), Problem> {
    let now = house.store.clock().now().0;
    let shelf = {
        let mut db = house.store.read().await?;
        if !clients::find(&mut db, "alva", 1).await?.is_empty() {
            return Ok(());
        }
        adhesives::shelf(&mut db, None, now).await?
    };
    let product = |name: &str| shelf.iter().find(|bottle| bottle.name.starts_with(name)).map(|bottle| bottle.product);
    let person = |name: &str| people.iter().find(|person| person.name == name).map(|person| person.id);
    let owner = people.iter().find(|person| person.role == Role::Owner);
    let (Some(heath), Some(slate), Some(loam), Some(owner)) =
        (product("Heath"), product("Slate"), product("Loam"), owner)
    else {
        return Ok(());
    };
    let (Some(ines), Some(tilde), Some(oona)) = (person("Ines Okafor"), person("Tilde Brandt"), person("Oona Pell"))
    else {
        return Ok(());
    };
    let by = Who { id: owner.id, session: SessionId::new(), name: owner.name.clone(), role: owner.role };
    let story = Story { now, zone: zone.clone(), heath, slate, loam, ines, tilde, oona };
    for own in ALL {
        let mut own = story.client(&own);
        // Her keeper in law: the rest are the studio's.
        if own.client.name == "Ylva Storm" {
            own.client.keeper = Keeper::Artist(tilde);
        }
        seed_client(house, &by, own).await?;
    }
    let ids = {
        let mut db = house.store.read().await?;
        let mut ids = Vec::new();
        for own in ALL {
            let found = clients::find(&mut db, own.name, 1).await?;
            ids.extend(found.first().map(|client| (own.name, client.id)));
        }
        ids
    };
    seed(house, &by, story.records(&ids)).await?;
    let id = |name: &str| ids.iter().find(|(own, _)| *own == name).map(|(_, id)| *id);
    if let (Some(one), Some(other)) = (id("Frida Aune"), id("Frieda Aune")) {
        privacy::put_together(house, &by, one, other).await?;
    }
    if let Some(gone) = id("Torill Dalsnes") {
        privacy::erase_invented(house, &by, gone).await?;
    }
    Ok(())
}

/// A client of the invented studio.
struct Invented {
    name: &'static str,
    /// Years and days ago that she was born.
    born: (i64, i64),
    phone: &'static str,
    notes: &'static str,
    /// Days ago that she answered; none: never.
    answered: Option<i64>,
    /// Questions answered with more than "no".
    said: &'static [(&'static str, &'static str)],
    guardian: Option<&'static str>,
}

const fn invented(name: &'static str, age: i64, phone: &'static str) -> Invented {
    Invented { name, born: (age, 120), phone, notes: "", answered: Some(40), said: &[], guardian: None }
}

/// Everybody, in the order of the alphabet's first name.
const ALL: [Invented; 34] = [
    Invented {
        notes: "Comes by bicycle; likes the bed by the window.",
        said: &[("lens", "")],
        ..invented("Alva Lindqvist", 34, "+45 20 11 00 01")
    },
    invented("Mira Tovik", 27, "+45 20 11 00 02"),
    invented("Sella Brandvik", 41, "+45 20 11 00 03"),
    invented("Noor Halden", 29, "+45 20 11 00 04"),
    Invented { said: &[("eye_care", "")], ..invented("Petra Oskar", 52, "+45 20 11 00 05") },
    Invented { guardian: Some("Nanna Elmgren"), ..invented("Tuva Elmgren", 17, "+45 20 11 00 06") },
    Invented { answered: Some(2), ..invented("Liv Marensdatter", 16, "+45 20 11 00 07") },
    invented("Dagny Holte", 38, "+45 20 11 00 08"),
    invented("Ebba Sorensdal", 45, "+45 20 11 00 09"),
    invented("Frida Aune", 31, "+45 20 11 00 10"),
    Invented { answered: None, ..invented("Frieda Aune", 31, "+45 20 11 00 10") },
    invented("Karin Stoltz", 57, "+45 20 11 00 11"),
    invented("Hedda Nyrup", 25, "+45 20 11 00 12"),
    Invented { answered: Some(1), said: &[("inflamed", "")], ..invented("Oda Fjellheim", 30, "+45 20 11 00 13") },
    invented("Signe Bechgaard", 48, "+45 20 11 00 14"),
    invented("Ylva Storm", 36, "+45 20 11 00 15"),
    invented("Jorun Askeland", 43, "+45 20 11 00 16"),
    Invented { answered: None, ..invented("Ingrid Valler", 33, "+45 20 11 00 17") },
    Invented { answered: None, ..invented("Ingrit Valler", 33, "+45 20 11 00 17") },
    Invented { answered: Some(400), ..invented("Bodil Krag", 61, "+45 20 11 00 18") },
    invented("Cille Ravn", 23, "+45 20 11 00 19"),
    invented("Gro Tindal", 39, "+45 20 11 00 20"),
    Invented { said: &[("asthma", ""), ("dry", "")], ..invented("Maren Osthus", 44, "+45 20 11 00 21") },
    Invented { answered: None, ..invented("Runa Selvik", 28, "+45 20 11 00 22") },
    // Declined a test; was not read in time; reacted late; has an open reaction that needs medical help; a doctor found something.
    invented("Vilde Ostmoen", 35, "+45 20 11 00 23"),
    invented("Thora Kvalen", 26, "+45 20 11 00 24"),
    invented("Asta Moengaard", 40, "+45 20 11 00 25"),
    invented("Borghild Nessum", 47, "+45 20 11 00 26"),
    invented("Eira Sandnaes", 32, "+45 20 11 00 27"),
    // Gave no birth date; is too young; had her record erased; took a consent back; waits for a doctor's word.
    Invented { answered: Some(3), ..invented("Linnea Vikdal", 0, "+45 20 11 00 28") },
    Invented { answered: None, ..invented("Sunniva Raskov", 15, "+45 20 11 00 29") },
    Invented { answered: None, ..invented("Torill Dalsnes", 42, "+45 20 11 00 30") },
    invented("Una Bjerkeli", 37, "+45 20 11 00 31"),
    Invented { answered: Some(5), said: &[("eye_care", "")], ..invented("Wenche Aasgaard", 50, "+45 20 11 00 32") },
];

/// What the records rest on.
struct Story {
    now: Instant,
    zone: Zone,
    heath: ProductId,
    slate: ProductId,
    loam: ProductId,
    ines: PersonId,
    tilde: PersonId,
    oona: PersonId,
}

impl Story {
    fn client(&self, own: &Invented) -> SeedClient {
        let (years, days) = own.born;
        let today = self.zone.day(self.now);
        let born: Option<Date> = today.checked_sub(years.years().days(days)).ok();
        let artist = if own.name < "J" { self.ines } else { self.oona };
        let mut client = Client {
            id: ClientId::new(),
            name: own.name.to_owned(),
            short: short_name(own.name),
            phone: own.phone.to_owned(),
            email: String::new(),
            born,
            keeper: Keeper::Studio,
            artists: vec![artist],
            notes: own.notes.to_owned(),
            created: self.now.plus(-300 * DAY),
            restricted: None,
            merged_into: None,
            erased: None,
        };
        if own.name == "Karin Stoltz" {
            client.restricted = Some(self.now.plus(-9 * DAY));
        }
        if own.name == "Linnea Vikdal" {
            client.born = None;
        }
        let with_photos = own.name == "Alva Lindqvist";
        let photos = with_photos.then_some(Purpose::RecordPhotos);
        let signs = own.answered.is_some() && own.name != "Liv Marensdatter";
        SeedClient {
            client,
            answered: own.answered.map(|days| (self.now.plus(-days * DAY), own.said.to_vec())),
            changed: own.name == "Signe Bechgaard",
            signed: if signs {
                [Purpose::HealthData, Purpose::PatchTest, Purpose::Treatment].into_iter().chain(photos).collect()
            } else {
                Vec::new()
            },
            guardian: own.guardian,
            withdrew: (own.name == "Una Bjerkeli").then_some(Purpose::Treatment),
            photos: if with_photos { 2 } else { 0 },
        }
    }

    /// So many days from today at a full or half hour of the studio's clock.
    fn at(&self, days: i64, half_hours: i64) -> Instant {
        self.zone.start_of_day_before(self.now, -days).plus(half_hours * 30 * MINUTE)
    }

    /// The quarter hour at or after an instant at which an artist may begin a set.
    fn within_hours(&self, at: Instant) -> Instant {
        let (first, last) = (9 * HOUR + 30 * MINUTE, 14 * HOUR + 30 * MINUTE);
        let day = self.zone.start_of_day_before(at, 0);
        let of_day = (at.since(day) + 15 * MINUTE - 1) / (15 * MINUTE) * (15 * MINUTE);
        if of_day <= last { day.plus(of_day.max(first)) } else { self.zone.start_of_day_before(at, -1).plus(first) }
    }

    fn met(&self, lot: &str) -> Met {
        let product = match lot.chars().next() {
            Some('S') => self.slate,
            Some('L') => self.loam,
            _ => self.heath,
        };
        Met { product, lot: lot.to_owned() }
    }

    fn records(&self, ids: &[(&'static str, ClientId)]) -> Vec<Seed> {
        let her = |name: &str| ids.iter().find(|(own, _)| *own == name).map(|(_, id)| *id);
        let mut all = vec![
            Seed::House(self.heath, self.now.plus(-120 * DAY)),
            Seed::House(self.slate, self.at(6, 0)),
            Seed::Staff {
                person: self.oona,
                at: self.now.plus(-17 * DAY),
                what: "Itching between the fingers after a week without gloves.",
                first_aid: "Hands washed, nitrile gloves from then on; sees her doctor.",
            },
        ];
        all.extend(self.tests(&her));
        all.extend(self.visits(&her));
        all.extend(self.harm(&her));
        all
    }

    fn test(&self, client: ClientId, lot: &str, placed: Instant, looks: &[(i64, TestResult, &'static str)]) -> Seed {
        let looks = looks.iter().map(|(hours, result, words)| (placed.plus(hours * HOUR), *result, *words)).collect();
        Seed::Test { client, met: self.met(lot), liquids: vec![Wet::AlcoholPrimer], placed, looks }
    }

    fn tests(&self, her: &impl Fn(&str) -> Option<ClientId>) -> Vec<Seed> {
        let ago = |days: i64| self.now.plus(-days * DAY);
        let mut all = Vec::new();
        for (name, days) in [
            ("Alva Lindqvist", 36),
            ("Tuva Elmgren", 30),
            ("Oda Fjellheim", 25),
            ("Signe Bechgaard", 60),
            ("Ylva Storm", 44),
            ("Jorun Askeland", 20),
            ("Petra Oskar", 33),
            ("Cille Ravn", 12),
            ("Gro Tindal", 28),
            ("Maren Osthus", 52),
            ("Frida Aune", 41),
            ("Ebba Sorensdal", 201),
            ("Dagny Holte", 70),
            ("Linnea Vikdal", 3),
            ("Una Bjerkeli", 26),
            ("Wenche Aasgaard", 4),
            ("Borghild Nessum", 39),
        ] {
            all.extend(her(name).map(|id| self.test(id, "H-417", ago(days), &[(49, TestResult::NoneSeen, "")])));
        }
        all.extend(her("Sella Brandvik").map(|id| self.test(id, "H-417", self.now.plus(-51 * HOUR), &[])));
        all.extend(her("Noor Halden").map(|id| {
            self.test(
                id,
                "H-417",
                ago(5),
                &[(50, TestResult::Doubtful, "A little red along one lid; gone by the evening.")],
            )
        }));
        all.extend(her("Cille Ravn").map(|id| self.test(id, "S-417", ago(12), &[(49, TestResult::NoneSeen, "")])));
        all.extend(her("Vilde Ostmoen").map(|client| Seed::Declined { client, met: self.met("H-417"), at: ago(2) }));
        all.extend(
            her("Thora Kvalen").map(|id| self.test(id, "H-417", ago(14), &[(24 * 11, TestResult::NotRead, "")])),
        );
        all.extend(her("Asta Moengaard").map(|id| {
            let late = "Both rims red and itching since the morning, thirteen days after.";
            let looks = [(49, TestResult::NoneSeen, ""), (24 * 13, TestResult::Late, late)];
            self.test(id, "H-417", ago(18), &looks)
        }));
        for (name, days, lot) in [
            ("Borghild Nessum", 9, "H-431"),
            ("Alva Lindqvist", 22, "H-417"),
            ("Alva Lindqvist", 61, "L-009"),
            ("Dagny Holte", 19, "H-417"),
            ("Ebba Sorensdal", 35, "H-417"),
            ("Jorun Askeland", 320, "H-417"),
            ("Ylva Storm", 20, "H-431"),
            ("Gro Tindal", 21, "H-431"),
            ("Frida Aune", 24, "H-431"),
        ] {
            all.extend(her(name).map(|client| Seed::Treated { client, met: self.met(lot), at: ago(days) }));
        }
        all
    }

    fn visits(&self, her: &impl Fn(&str) -> Option<ClientId>) -> Vec<Seed> {
        let visit = |name: &str, at: Instant, kind: VisitKind, artist: PersonId| {
            let client = her(name)?;
            Some(Seed::Visit(Expected {
                id: ExpectedVisitId::new(),
                client,
                at,
                kind,
                artist: Some(artist),
                products: Vec::new(),
                liquids: Vec::new(),
            }))
        };
        // A new client whose test can be placed for two hours more; at night until the first hour of the morning after.
        let soon = self.within_hours(self.now.plus(50 * HOUR + 5 * MINUTE));
        [
            visit("Alva Lindqvist", self.at(0, 26), VisitKind::Infill, self.ines),
            visit("Sella Brandvik", self.at(0, 31), VisitKind::Set, self.ines),
            visit("Gro Tindal", self.at(0, 31), VisitKind::Infill, self.oona),
            visit("Hedda Nyrup", self.at(2, 20), VisitKind::Set, self.oona),
            visit("Tuva Elmgren", self.at(1, 22), VisitKind::Set, self.ines),
            visit("Ebba Sorensdal", self.at(1, 28), VisitKind::Infill, self.ines),
            visit("Maren Osthus", self.at(1, 28), VisitKind::Infill, self.oona),
            visit("Mira Tovik", soon, VisitKind::Set, self.tilde),
            visit("Dagny Holte", self.at(2, 24), VisitKind::Removal, self.ines),
            visit("Signe Bechgaard", self.at(2, 27), VisitKind::Infill, self.oona),
            visit("Noor Halden", self.at(3, 30), VisitKind::Set, self.ines),
            visit("Liv Marensdatter", self.at(3, 26), VisitKind::Set, self.oona),
            visit("Oda Fjellheim", self.at(3, 20), VisitKind::Infill, self.oona),
            visit("Jorun Askeland", self.at(4, 21), VisitKind::Set, self.oona),
            visit("Petra Oskar", self.at(2, 31), VisitKind::Set, self.oona),
            visit("Bodil Krag", self.at(4, 30), VisitKind::Set, self.ines),
            visit("Frida Aune", self.at(5, 20), VisitKind::Infill, self.ines),
            visit("Ylva Storm", self.at(5, 22), VisitKind::Infill, self.tilde),
            visit("Cille Ravn", self.at(6, 22), VisitKind::Set, self.ines),
            visit("Gro Tindal", self.at(6, 26), VisitKind::Infill, self.oona),
            visit("Vilde Ostmoen", self.at(5, 22), VisitKind::Set, self.oona),
            visit("Thora Kvalen", self.at(5, 27), VisitKind::Set, self.ines),
            visit("Asta Moengaard", self.at(5, 30), VisitKind::Set, self.oona),
            visit("Borghild Nessum", self.at(1, 26), VisitKind::Removal, self.oona),
            visit("Eira Sandnaes", self.at(5, 36), VisitKind::Set, self.oona),
            visit("Linnea Vikdal", self.at(4, 22), VisitKind::Set, self.ines),
            visit("Sunniva Raskov", self.at(5, 34), VisitKind::Set, self.ines),
            visit("Una Bjerkeli", self.at(4, 32), VisitKind::Infill, self.oona),
            visit("Wenche Aasgaard", self.at(4, 36), VisitKind::Set, self.oona),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    /// Reactions, what followed from them, a complaint, a stop, and one decision to go on.
    fn harm(&self, her: &impl Fn(&str) -> Option<ClientId>) -> Vec<Seed> {
        let ago = |days: i64| self.now.plus(-days * DAY);
        let details = |symptoms: &[&str], words: &str| Details {
            symptoms: symptoms.iter().map(|key| (*key).to_owned()).collect(),
            eyes: "both".to_owned(),
            severity: "moderate".to_owned(),
            words: words.to_owned(),
            first_aid: "Cool pads over closed lids; told to see a doctor if it grew.".to_owned(),
            liquids: String::new(),
        };
        let reaction = |client, noticed: Instant, details, artist, done| Seed::Reaction {
            client,
            met: vec![self.met("H-417")],
            noticed,
            exposed: noticed.plus(-9 * DAY),
            details,
            artist,
            done,
        };
        let mut all = Vec::new();
        all.extend(her("Dagny Holte").map(|id| {
            let words = "Itching and red rims since Sunday, nine days after her second set.";
            reaction(id, ago(8), details(&["itching", "redness"], words), self.ines, 2)
        }));
        all.extend(her("Dagny Holte").map(|client| Seed::Complaint {
            client,
            at: ago(7),
            what: "Half of the left side had come off within six days.",
            met: self.met("H-417"),
            fix_until: self.now.plus(7 * DAY),
            fixed: None,
        }));
        all.extend(her("Jorun Askeland").map(|id| {
            reaction(id, ago(310), details(&["redness"], "Red lids for two days after a set."), self.tilde, 4)
        }));
        all.extend(her("Borghild Nessum").map(|id| {
            let words = "Both lids swollen since last night, a week after her set; sent to the eye clinic.";
            reaction(id, ago(1), details(&["swelling", "redness", "tears"], words), self.oona, 0)
        }));
        all.extend(her("Eira Sandnaes").map(|client| Seed::Finding {
            client,
            at: ago(48),
            grade: "++",
            day: 7,
            words: "Dr. Ivar Hollen, skin clinic: ethyl cyanoacrylate 10 % in petrolatum.",
        }));
        all.extend(her("Jorun Askeland").map(|client| Seed::Statement {
            client,
            family: Family::Ethyl,
            written: ago(32),
            words: "Dr. Asta Lunde, eye practice: tested, may have ethyl cyanoacrylate again.",
        }));
        all.extend(her("Ebba Sorensdal").map(|client| Seed::Decision {
            client,
            of: Overridable::Validity,
            from: self.at(1, 0),
            until: self.at(2, 0),
            reason: "Her last set was five weeks ago with the same bottle; the insurer was asked by telephone and agreed.",
        }));
        all.push(Seed::Stop {
            met: self.met("L-009"),
            at: ago(4),
            why: "The supplier wrote that some bottles of this lot were filled too warm.",
        });
        all
    }
}

#[cfg(test)]
mod tests {
    use std::collections::HashSet;

    use super::*;

    #[test]
    fn every_invented_client_has_a_name_of_her_own() {
        assert_eq!(ALL.iter().map(|own| own.name).collect::<HashSet<_>>().len(), ALL.len());
    }
}
