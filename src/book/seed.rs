//! Services, hours, beds and appointments of the invented studio, and of tests that need many.

use super::appointment::Appointment;
use super::hours::Week;
use super::plan::Off;
use super::{Service, plan_store, store};
use crate::base::ids::{ArtistId, BedId, RoomId};
use crate::base::problem::Problem;
use crate::store::{FormKey, Kept};
use crate::web::House;

/// What the invented studio's book begins with.
#[derive(Debug, Clone, Default)]
pub(crate) struct Beginning {
    /// What can be booked.
    pub(crate) services: Vec<Service>,
    /// Beds with their rooms and names.
    pub(crate) beds: Vec<(BedId, RoomId, String)>,
    /// Weeks of artists who have their own.
    pub(crate) weeks: Vec<(ArtistId, Week)>,
    /// Days off, and the zone they were said in.
    pub(crate) off: Vec<(Off, String)>,
}

/// Adds them.
pub(crate) async fn seed_beginning(house: &House, beginning: Beginning) -> Result<(), Problem> {
    house
        .store
        .write(&FormKey::house(), move |tx| {
            let beginning = beginning.clone();
            Box::pin(async move {
                for service in &beginning.services {
                    plan_store::add_service(tx, service).await?;
                }
                for (id, room, name) in &beginning.beds {
                    plan_store::add_bed(tx, *id, *room, name).await?;
                }
                for (artist, week) in &beginning.weeks {
                    plan_store::set_week(tx, Some(*artist), Some(week)).await?;
                }
                for (off, zone) in &beginning.off {
                    plan_store::add_off(tx, off, zone).await?;
                }
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}

/// Adds appointments as they are, in one write. Each is put in only where nothing is in its way.
pub(crate) async fn seed_appointments(house: &House, appointments: Vec<Appointment>) -> Result<(), Problem> {
    house
        .store
        .write(&FormKey::house(), move |tx| {
            let appointments = appointments.clone();
            Box::pin(async move {
                for appointment in &appointments {
                    let taken = store::in_the_way(tx, appointment.artist, appointment.when.busy, appointment.id).await?;
                    let clashes = taken.iter().any(|other| {
                        other.artist == appointment.artist || (other.bed.is_some() && other.bed == appointment.bed)
                    });
                    if !clashes {
                        store::keep(tx, appointment, "").await?;
                    }
                }
                tx.audit("seed the book", "house", &appointments.len().to_string()).await?;
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}
