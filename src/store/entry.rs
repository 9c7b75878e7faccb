//! What a device sealed to this house because it could not send it: opened here and nowhere else, so that nobody who holds the device
//! reads in it what was typed. ECDH on P-256 with a key pair of the moment (NIST SP 800-56A, section 5.7.1.2), HKDF-SHA-256 (RFC 5869),
//! AES-256-GCM (NIST SP 800-38D): what every browser has built in.

use std::path::Path;

use aes_gcm::aead::{Aead, KeyInit, Payload};
use aes_gcm::{Aes256Gcm, Nonce};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use p256::elliptic_curve::sec1::ToSec1Point as _;
use p256::{PublicKey, SecretKey};
use sha2::Sha256;

use super::keys::{make_key, name_of, read_key};

/// The key that devices seal to now, beside the others. To begin a new one, give this file another name of the kind below and start
/// the house again: what waits on a device for the old one still opens.
const FILE: &str = "outbox.key";
/// How the names of older ones begin and end.
const OLDER: (&str, &str) = ("outbox-", ".key");
/// Names product, purpose and version of the way of sealing; the key's id follows.
const INFO: &str = "stillroom outbox 1 ";
/// Bytes of a point of the curve as browsers write it: one byte that says so, and two coordinates of 32.
const POINT: usize = 65;

/// One key pair of the house.
struct Pair {
    secret: SecretKey,
    id: String,
    point: Vec<u8>,
}

/// The key pairs that devices seal to: the present one first, older ones after it.
pub(super) struct EntryKeys(Vec<Pair>);

/// An entry as a device keeps it.
#[derive(Debug, Clone)]
pub struct SealedEntry {
    /// The id of the key it was sealed to.
    pub key_id: String,
    /// The public point of the device's key pair of the moment: 65 bytes.
    pub point: Vec<u8>,
    /// The nonce: 12 bytes.
    pub iv: Vec<u8>,
    /// Cipher text and tag.
    pub sealed: Vec<u8>,
    /// What stands beside it in the clear and is bound to it.
    pub beside: String,
}

/// Why an entry stays closed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Closed {
    /// The house holds no key of that id.
    NoSuchKey,
    /// It is no sealed entry, or was changed, or something else stands beside it now.
    Changed,
}

impl EntryKeys {
    /// Reads the pairs in the keys folder; makes the present one where it is missing and may be made.
    pub(super) fn load(folder: &Path, may_make: bool) -> Result<Self, String> {
        let file = folder.join(FILE);
        let mut pairs = Vec::new();
        match read_key(&file)? {
            Some(key) => pairs.push(Pair::of(&key).ok_or_else(|| not_ours(&file))?),
            None if may_make => {
                let key = make_key(&file, |key| Pair::of(key).is_some())?;
                pairs.push(Pair::of(&key).ok_or_else(|| not_ours(&file))?);
            }
            None => {}
        }
        let named = |name: &str| name.starts_with(OLDER.0) && name.ends_with(OLDER.1);
        let found = std::fs::read_dir(folder).into_iter().flatten().filter_map(Result::ok);
        let mut older: Vec<_> = found
            .map(|entry| entry.path())
            .filter(|path| path.file_name().and_then(|n| n.to_str()).is_some_and(named))
            .collect();
        older.sort();
        for file in older {
            let key = read_key(&file)?.and_then(|key| Pair::of(&key));
            pairs.push(key.ok_or_else(|| not_ours(&file))?);
        }
        Ok(Self(pairs))
    }

    /// Id and public point (base64url) of the present pair; empty where the house does not serve.
    pub(super) fn public(&self) -> (String, String) {
        self.0.first().map(|pair| (pair.id.clone(), URL_SAFE_NO_PAD.encode(&pair.point))).unwrap_or_default()
    }

    pub(super) fn open(&self, entry: &SealedEntry) -> Result<Vec<u8>, Closed> {
        let pair = self.0.iter().find(|pair| pair.id == entry.key_id).ok_or(Closed::NoSuchKey)?;
        pair.open(entry).ok_or(Closed::Changed)
    }
}

impl Pair {
    fn of(key: &[u8; 32]) -> Option<Self> {
        let secret = SecretKey::from_slice(key).ok()?;
        // With both coordinates, as browsers take and give it.
        let point = secret.public_key().to_sec1_point(false).as_bytes().to_vec();
        Some(Self { secret, id: name_of(&point), point })
    }

    fn open(&self, entry: &SealedEntry) -> Option<Vec<u8>> {
        if entry.point.len() != POINT {
            return None;
        }
        let device = PublicKey::from_sec1_bytes(&entry.point).ok()?;
        let shared = self.secret.diffie_hellman(&device);
        let mut key = [0_u8; 32];
        shared.extract::<Sha256>(Some(&entry.point)).expand(format!("{INFO}{}", self.id).as_bytes(), &mut key).ok()?;
        let nonce = Nonce::from(<[u8; 12]>::try_from(entry.iv.as_slice()).ok()?);
        let payload = Payload { msg: &entry.sealed, aad: entry.beside.as_bytes() };
        Aes256Gcm::new(&key.into()).decrypt(&nonce, payload).ok()
    }
}

fn not_ours(file: &Path) -> String {
    format!(
        "this is not a key of ours: {}: 32 bytes in base64url that name a point of the curve were expected",
        file.display()
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sealed by the script that devices run: `tests/fixtures/sealed_entry.mjs`.
    const SEALED: &str = include_str!("../../tests/fixtures/sealed_entry.json");

    fn sealed() -> (tempfile::TempDir, SealedEntry, String) {
        let fixture: serde_json::Value = serde_json::from_str(SEALED).unwrap();
        let text = |name: &str| fixture[name].as_str().unwrap().to_owned();
        let bytes = |name: &str| URL_SAFE_NO_PAD.decode(text(name)).unwrap();
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join(FILE), text("private")).unwrap();
        let entry = SealedEntry {
            key_id: text("key_id"),
            point: bytes("point"),
            iv: bytes("iv"),
            sealed: bytes("sealed"),
            beside: text("beside"),
        };
        (folder, entry, text("plain"))
    }

    #[test]
    fn what_a_browser_sealed_opens_with_the_key_it_was_sealed_to() {
        let (folder, entry, plain) = sealed();
        let keys = EntryKeys::load(folder.path(), true).unwrap();
        assert_eq!(keys.public().0, entry.key_id);
        assert_eq!(String::from_utf8(keys.open(&entry).unwrap()).unwrap(), plain);
        assert!(!String::from_utf8_lossy(&entry.sealed).contains("itchy"), "what was typed does not stand in it");
    }

    #[test]
    fn with_another_key_a_changed_byte_or_something_else_beside_it_it_stays_closed() {
        let (folder, entry, _) = sealed();
        let keys = EntryKeys::load(folder.path(), true).unwrap();
        let mut tried = 0;
        let mut shut = |changed: SealedEntry| {
            tried += 1;
            assert_eq!(keys.open(&changed).unwrap_err(), Closed::Changed, "change {tried}");
        };
        for at in [0, entry.sealed.len() / 2, entry.sealed.len() - 1] {
            let mut changed = entry.clone();
            changed.sealed[at] ^= 1;
            shut(changed);
        }
        let mut changed = entry.clone();
        changed.iv[0] ^= 1;
        shut(changed);
        // The last digit of its time, and its form key.
        let mut changed = entry.clone();
        let last = changed.beside.pop().unwrap();
        changed.beside.push(if last == '1' { '2' } else { '1' });
        shut(changed);
        shut(SealedEntry { beside: format!("x{}", entry.beside), ..entry.clone() });
        // Another point of the curve, a point that lies on none, and no point at all.
        let other = EntryKeys::load(tempfile::tempdir().unwrap().path(), true).unwrap();
        shut(SealedEntry { point: URL_SAFE_NO_PAD.decode(other.public().1).unwrap(), ..entry.clone() });
        let mut off = entry.clone();
        off.point[64] ^= 1;
        shut(off);
        shut(SealedEntry { point: vec![4; 12], ..entry.clone() });
        shut(SealedEntry { sealed: Vec::new(), iv: Vec::new(), ..entry.clone() });
        assert_eq!(other.open(&entry).unwrap_err(), Closed::NoSuchKey);
        // Another key under the same id.
        let foreign = EntryKeys(other.0.into_iter().map(|pair| Pair { id: entry.key_id.clone(), ..pair }).collect());
        assert_eq!(foreign.open(&entry).unwrap_err(), Closed::Changed);
    }

    #[test]
    fn a_key_that_was_replaced_still_opens_and_the_new_one_is_shown() {
        let (folder, entry, _) = sealed();
        std::fs::rename(folder.path().join(FILE), folder.path().join("outbox-2026.key")).unwrap();
        let keys = EntryKeys::load(folder.path(), true).unwrap();
        assert_ne!(keys.public().0, entry.key_id);
        assert!(keys.open(&entry).is_ok());
        let again = EntryKeys::load(folder.path(), true).unwrap();
        assert_eq!(again.public(), keys.public(), "made once");
    }

    #[test]
    fn none_is_made_where_the_house_does_not_serve_and_a_broken_one_is_named() {
        let folder = tempfile::tempdir().unwrap();
        assert_eq!(EntryKeys::load(folder.path(), false).unwrap().public(), (String::new(), String::new()));
        assert!(!folder.path().join(FILE).exists());
        std::fs::write(folder.path().join(FILE), URL_SAFE_NO_PAD.encode([0_u8; 32])).unwrap();
        let told = EntryKeys::load(folder.path(), true).err().unwrap();
        assert!(told.contains(FILE) && told.contains("not a key of ours"), "{told}");
    }
}
