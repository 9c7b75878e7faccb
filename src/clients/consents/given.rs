//! A consent as it is given: what is kept in the clear, what is sealed, and the digest over both. Pure.

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::Purpose;
use super::signature::Strokes;
use crate::base::ids::{ClientId, ConsentId, PersonId};
use crate::base::time::Instant;
use crate::clients::questions::Answered;

/// How somebody signed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(in crate::clients) enum Mark {
    /// With a finger or a pen.
    Drawn(Strokes),
    /// By typing her name, having agreed to sign so.
    Typed(String),
}

/// The guardian of a minor.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(in crate::clients) struct Guardian {
    pub(in crate::clients) name: String,
    pub(in crate::clients) relation: String,
    /// Who of the studio saw the guardian's identity.
    pub(in crate::clients) identity_seen_by: String,
    pub(in crate::clients) mark: Mark,
}

/// Sealed: everything a consent holds that is hers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(in crate::clients) struct Signed {
    pub(in crate::clients) printed_name: String,
    pub(in crate::clients) mark: Mark,
    pub(in crate::clients) guardian: Option<Guardian>,
    /// Who of the studio saw her sign.
    pub(in crate::clients) witness: String,
    /// Who read the text to her or put it into her language; empty for nobody.
    pub(in crate::clients) reader: String,
    /// What she had said of her health at that moment.
    pub(in crate::clients) answers: Vec<Answered>,
}

/// A consent, its sealed part aside.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::clients) struct Consent {
    pub(in crate::clients) id: ConsentId,
    pub(in crate::clients) client: ClientId,
    pub(in crate::clients) given_as: ClientId,
    pub(in crate::clients) purpose: Purpose,
    pub(in crate::clients) version: i64,
    pub(in crate::clients) language: String,
    pub(in crate::clients) body: String,
    pub(in crate::clients) text_hash: String,
    pub(in crate::clients) by_guardian: bool,
    pub(in crate::clients) at: Instant,
    pub(in crate::clients) taken_by: PersonId,
    pub(in crate::clients) digest: String,
    pub(in crate::clients) withdrawn: Option<Instant>,
}

/// SHA-256 of a text, as 64 hexadecimal digits.
pub(in crate::clients) fn hash(text: &[u8]) -> String {
    Sha256::digest(text).iter().map(|byte| format!("{byte:02x}")).collect()
}

impl Consent {
    /// The digest over everything that was agreed to: SHA-256 over the parts, each with its length before it, so that no two consents
    /// read alike. `signed` is the sealed part as it was before sealing.
    pub(in crate::clients) fn digest_with(&self, signed: &[u8]) -> String {
        let (id, given_as, taken_by) = (self.id.to_string(), self.given_as.to_string(), self.taken_by.to_string());
        let (version, at) = (self.version.to_string(), self.at.0.to_string());
        let parts = [
            id.as_bytes(),
            given_as.as_bytes(),
            self.purpose.word().as_bytes(),
            version.as_bytes(),
            self.language.as_bytes(),
            self.body.as_bytes(),
            self.text_hash.as_bytes(),
            if self.by_guardian { b"guardian".as_slice() } else { b"" },
            at.as_bytes(),
            taken_by.as_bytes(),
            signed,
        ];
        let mut digest = Sha256::new();
        for part in parts {
            digest.update((part.len() as u64).to_be_bytes());
            digest.update(part);
        }
        digest.finalize().iter().map(|byte| format!("{byte:02x}")).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn consent() -> Consent {
        let client = ClientId::new();
        Consent {
            id: ConsentId::new(),
            client,
            given_as: client,
            purpose: Purpose::Treatment,
            version: 3,
            language: "en".into(),
            body: "I have read this.".into(),
            text_hash: hash(b"I have read this."),
            by_guardian: false,
            at: Instant(1_771_409_520_000_000),
            taken_by: PersonId::new(),
            digest: String::new(),
            withdrawn: None,
        }
    }

    #[test]
    fn every_part_of_a_consent_changes_its_digest() {
        let kept = consent();
        let digest = kept.digest_with(b"signed");
        let changes: [fn(&mut Consent); 9] = [
            |c| c.id = ConsentId::new(),
            |c| c.given_as = ClientId::new(),
            |c| c.purpose = Purpose::PatchTest,
            |c| c.version = 4,
            |c| c.language = "da".into(),
            |c| c.body.push(' '),
            |c| c.by_guardian = true,
            |c| c.at = c.at.plus(1),
            |c| c.taken_by = PersonId::new(),
        ];
        for (at, change) in changes.iter().enumerate() {
            let mut other = kept.clone();
            change(&mut other);
            assert_ne!(other.digest_with(b"signed"), digest, "change {at}");
        }
        assert_ne!(kept.digest_with(b"signee"), digest);
        assert_eq!(kept.digest_with(b"signed"), digest);
    }

    #[test]
    fn a_record_that_was_put_together_with_another_keeps_its_digest() {
        let kept = consent();
        let moved = Consent { client: ClientId::new(), ..kept.clone() };
        assert_eq!(kept.digest_with(b"s"), moved.digest_with(b"s"));
    }

    // FIPS 180-4, the example "abc".
    #[test]
    fn a_hash_is_the_published_one() {
        assert_eq!(hash(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }
}
