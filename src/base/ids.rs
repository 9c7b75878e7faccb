//! Ids: UUIDv7 in lower case, one type per thing, so that a room can never be asked for by a person's id.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Text that is not an id of ours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NotAnId;

impl fmt::Display for NotAnId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("not an id")
    }
}

impl std::error::Error for NotAnId {}

macro_rules! id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(try_from = "String", into = "String")]
        pub struct $name(Uuid);

        impl $name {
            /// A new id; ids made later sort later.
            #[must_use]
            #[expect(clippy::new_without_default, reason = "a default id would hide that each one is new")]
            pub fn new() -> Self {
                Self(Uuid::now_v7())
            }
        }

        impl FromStr for $name {
            type Err = NotAnId;
            // Only the one spelling we print is accepted: the text is a key in both databases.
            fn from_str(text: &str) -> Result<Self, NotAnId> {
                let id = Uuid::try_parse(text).map_err(|_| NotAnId)?;
                if id.hyphenated().to_string() == text { Ok(Self(id)) } else { Err(NotAnId) }
            }
        }

        impl TryFrom<String> for $name {
            type Error = NotAnId;
            fn try_from(text: String) -> Result<Self, NotAnId> {
                text.parse()
            }
        }

        impl From<$name> for String {
            fn from(id: $name) -> String {
                id.to_string()
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.hyphenated().fmt(f)
            }
        }
    };
}

id!(
    /// A person who signs in.
    PersonId
);
id!(
    /// A signed-in browser.
    SessionId
);
id!(
    /// A tablet that several people use.
    TabletId
);
id!(
    /// A key that lets a program in.
    TokenId
);
id!(
    /// A room of the studio.
    RoomId
);
id!(
    /// A thermometer and hygrometer: held in the hand, logging, or pushing by itself.
    InstrumentId
);
id!(
    /// One air reading.
    ReadingId
);
id!(
    /// A logger's file on its way in.
    ImportId
);
id!(
    /// A device that moves heat or moisture in a room.
    DeviceId
);
id!(
    /// A check of an instrument against a known humidity.
    CheckId
);
id!(
    /// An artist: a person at the bed, with her hands.
    ArtistId
);
id!(
    /// A sitting in which placements were timed.
    TimingSessionId
);
id!(
    /// One timed placement.
    PlacementId
);
id!(
    /// A cure-speed class of the studio.
    ClassId
);
id!(
    /// An adhesive as it is sold.
    ProductId
);

impl ProductId {
    /// The id under which clearance judges a liquid that is no product of the shelf. No row has it: ids of rows carry their time.
    #[must_use]
    pub(crate) const fn of_liquid(which: u8) -> Self {
        Self(Uuid::from_u128(which as u128))
    }
}
id!(
    /// One bottle of an adhesive.
    BottleId
);
id!(
    /// That a bottle's lot was put right.
    CorrectionId
);
id!(
    /// A sitting of bench tests.
    SittingId
);
id!(
    /// One bench test: a set time, or a bead that waited.
    BenchTestId
);
id!(
    /// An advice that was given for work.
    AdviceId
);
id!(
    /// A client of the studio.
    ClientId
);
id!(
    /// A file of clients on its way in.
    ClientImportId
);
id!(
    /// What a client answered at one time.
    ConsultationId
);
id!(
    /// What a doctor answered about a consultation.
    MedicalAdviceId
);
id!(
    /// A signed consent.
    ConsentId
);
id!(
    /// A copy of a consent that was given to a client.
    CopyId
);
id!(
    /// A form on a device that was handed to a client.
    HandedFormId
);
id!(
    /// A photo of a client.
    PhotoId
);

id!(
    /// A patch test.
    PatchTestId
);
id!(
    /// A reaction or incident of a client.
    ReactionId
);
id!(
    /// What a doctor found or wrote about a client.
    DoctorNoteId
);
id!(
    /// A decision to go on although validity or the largest gap is over.
    OverrideId
);
id!(
    /// Somebody expected for a treatment.
    ExpectedVisitId
);
id!(
    /// A meeting of a client with a product and lot.
    ExposureId
);
id!(
    /// The stop of a lot or of a whole product.
    StopId
);
id!(
    /// A complaint.
    ComplaintId
);
id!(
    /// A look at a reaction some time after it.
    FollowUpId
);
id!(
    /// An incident of somebody who works here.
    StaffIncidentId
);

id!(
    /// Something that can be booked.
    ServiceId
);
id!(
    /// A bed, or chair, that one client at a time lies on.
    BedId
);
id!(
    /// An appointment.
    AppointmentId
);
id!(
    /// Hours in which an artist, or the house, does not work.
    TimeOffId
);
id!(
    /// Somebody who would come if a time came free.
    WaitingId
);
id!(
    /// An artist's calendar for other programs.
    FeedId
);
id!(
    /// A treatment card.
    CardId
);
id!(
    /// Something that was added to a card: a count, a drop, a version.
    CardPartId
);

/// An appointment and the visit that clearance expects for it bear one id: so each is found by the other.
impl From<ExpectedVisitId> for AppointmentId {
    fn from(id: ExpectedVisitId) -> Self {
        Self(id.0)
    }
}

impl From<AppointmentId> for ExpectedVisitId {
    fn from(id: AppointmentId) -> Self {
        Self(id.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_is_read_back_only_in_its_own_spelling() {
        let id = RoomId::new();
        assert_eq!(id.to_string().parse::<RoomId>(), Ok(id));
        assert_eq!(id.to_string().to_uppercase().parse::<RoomId>(), Err(NotAnId));
        for other in ["", "0", "-1", "../etc", "00000000-0000-0000-0000-00000000000g"] {
            assert_eq!(other.parse::<RoomId>(), Err(NotAnId), "{other}");
        }
    }
}
