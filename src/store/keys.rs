//! The keys that stand outside the database, so that a copy of the database alone opens nothing: the master key fingerprints form
//! bodies and derives shown-once secrets, the sealing key wraps each client's own key, devices seal to the outbox key.

use std::io::Write;
use std::path::{Path, PathBuf};

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::{Digest, Sha256};

use super::entry::{Closed, EntryKeys, SealedEntry};

/// The keys of this installation.
pub struct Keys {
    master: [u8; 32],
    id: String,
    /// Opened once the database has said which one it needs.
    sealing: Option<[u8; 32]>,
    entries: EntryKeys,
    folder: PathBuf,
}

/// The sealing key's file, beside the master key.
const SEALING_FILE: &str = "sealing.key";

impl Keys {
    /// Opens the keys folder, making it with a fresh key when it is empty.
    ///
    /// # Errors
    /// A sentence naming the file that could not be read or written.
    pub fn open(folder: &Path) -> Result<(Self, bool), String> {
        let file = folder.join("master.key");
        match read_key(&file)? {
            Some(master) => Ok((Self::from_master(master, folder, true)?, false)),
            None => Ok((Self::from_master(make_key(&file, |_| true)?, folder, true)?, true)),
        }
    }

    /// Opens the keys of a house that has served before; never makes new ones.
    ///
    /// # Errors
    /// A sentence naming the file that is missing or could not be read.
    pub fn open_existing(folder: &Path) -> Result<Self, String> {
        let file = folder.join("master.key");
        let master = read_key(&file)?.ok_or_else(|| {
            format!(
                "there is no key at {}: no studio was begun there, or data_dir and keys_dir are not those it is served with",
                file.display()
            )
        })?;
        Self::from_master(master, folder, false)
    }

    fn from_master(master: [u8; 32], folder: &Path, may_make: bool) -> Result<Self, String> {
        let entries = EntryKeys::load(folder, may_make)?;
        Ok(Self { master, id: name_of(&master), sealing: None, entries, folder: folder.to_owned() })
    }

    /// Id and public point (base64url) of the key that devices seal waiting entries to; empty where the house does not serve.
    #[must_use]
    pub fn outbox(&self) -> (String, String) {
        self.entries.public()
    }

    /// Opens what a device sealed to this house.
    ///
    /// # Errors
    /// [`Closed`] with the reason.
    pub fn open_entry(&self, entry: &SealedEntry) -> Result<Vec<u8>, Closed> {
        self.entries.open(entry)
    }

    /// Opens the sealing key. `needed` is the one the database names, if it names one; without it one is made where `may_make`.
    ///
    /// # Errors
    /// A sentence that says which key is needed and which one, if any, is there: another key would open nothing.
    pub(super) fn open_sealing(&mut self, needed: Option<&str>, may_make: bool) -> Result<(), String> {
        let file = self.folder.join(SEALING_FILE);
        let found = read_key(&file)?;
        let key = match (found, needed) {
            (Some(key), None) => key,
            (Some(key), Some(needed)) if name_of(&key) == needed => key,
            (Some(key), Some(needed)) => {
                return Err(format!(
                    "what clients said of their health is sealed with key {needed}; {} holds key {}. \
                     Put the right sealing key there: another one opens nothing",
                    file.display(),
                    name_of(&key)
                ));
            }
            (None, Some(needed)) => {
                return Err(format!(
                    "what clients said of their health is sealed with key {needed}, and {} is missing. \
                     Put it back from where you keep a copy of the keys folder; without it those records stay closed",
                    file.display()
                ));
            }
            (None, None) if may_make => make_key(&file, |_| true)?,
            (None, None) => return Ok(()),
        };
        self.sealing = Some(key);
        Ok(())
    }

    /// The key that wraps each client's own key.
    pub(super) fn sealing(&self) -> Result<&[u8; 32], crate::base::problem::Problem> {
        self.sealing.as_ref().ok_or_else(|| crate::base::problem::Problem::broken("the sealing key was not opened"))
    }

    /// Names the sealing key without telling it, for the recovery sheet; empty before the first start.
    #[must_use]
    pub fn sealing_id(&self) -> String {
        self.sealing.as_ref().map(|key| name_of(key)).unwrap_or_default()
    }

    /// Names the key without telling it, for the recovery sheet.
    #[must_use]
    pub fn id(&self) -> &str {
        &self.id
    }

    /// Where the keys lie.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// A keyed digest of the parts, for one purpose; text in base64url.
    #[must_use]
    pub fn digest(&self, purpose: &str, parts: &[&[u8]]) -> String {
        keyed_digest(&self.master, purpose, parts)
    }
}

/// A key's name: the first bytes of its digest.
pub(super) fn name_of(key: &[u8]) -> String {
    Sha256::digest(key).iter().take(4).map(|byte| format!("{byte:02x}")).collect()
}

/// The key in this file; `None` where there is no file.
pub(super) fn read_key(file: &Path) -> Result<Option<[u8; 32]>, String> {
    if !file.exists() {
        return Ok(None);
    }
    let text = std::fs::read_to_string(file).map_err(|cause| told("cannot read the key", file, &cause))?;
    let key = URL_SAFE_NO_PAD.decode(text.trim()).ok().and_then(|bytes| <[u8; 32]>::try_from(bytes).ok());
    match key {
        Some(key) => Ok(Some(key)),
        None => Err(told("this is not a key of ours:", file, &"32 bytes in base64url were expected")),
    }
}

/// A fresh key in this file, one that `fits`.
pub(super) fn make_key(file: &Path, fits: impl Fn(&[u8; 32]) -> bool) -> Result<[u8; 32], String> {
    if let Some(folder) = file.parent() {
        make_private_folder(folder).map_err(|cause| told("cannot make the folder for", file, &cause))?;
    }
    let mut key = [0_u8; 32];
    loop {
        getrandom::fill(&mut key).map_err(|cause| told("no random numbers for", file, &cause))?;
        if fits(&key) {
            break;
        }
    }
    let written = private_file(file).and_then(|mut out| {
        writeln!(out, "{}", URL_SAFE_NO_PAD.encode(key))?;
        out.sync_all()
    });
    written.map_err(|cause| told("cannot write the key", file, &cause))?;
    Ok(key)
}

fn told(what: &str, file: &Path, cause: &dyn std::fmt::Display) -> String {
    format!("{what} {}: {cause}", file.display())
}

/// A keyed digest (HMAC-SHA-256) of a purpose and parts, each with its length so that no two lists read alike.
#[must_use]
pub fn keyed_digest(key: &[u8], purpose: &str, parts: &[&[u8]]) -> String {
    #[expect(clippy::expect_used, reason = "HMAC takes a key of any length")]
    let mut mac = Hmac::<Sha256>::new_from_slice(key).expect("HMAC takes a key of any length");
    for part in std::iter::once(&purpose.as_bytes()).chain(parts) {
        mac.update(&(part.len() as u64).to_be_bytes());
        mac.update(part);
    }
    URL_SAFE_NO_PAD.encode(mac.finalize().into_bytes())
}

/// Plain digest (SHA-256) of a secret with enough randomness of its own; text in base64url.
#[must_use]
pub fn digest_of_secret(secret: &str) -> String {
    URL_SAFE_NO_PAD.encode(Sha256::digest(secret.as_bytes()))
}

/// A fresh secret of 256 bits in base64url.
///
/// # Errors
/// When the machine gives no random numbers.
pub fn fresh_secret() -> Result<String, crate::base::problem::Problem> {
    let mut bytes = [0_u8; 32];
    getrandom::fill(&mut bytes).map_err(crate::base::problem::Problem::broken)?;
    Ok(URL_SAFE_NO_PAD.encode(bytes))
}

/// Compares two texts in a time that does not depend on where they differ.
#[must_use]
pub fn same(a: &str, b: &str) -> bool {
    // Comparing digests of both hides where they differ without a crate of its own.
    Sha256::digest(a.as_bytes()) == Sha256::digest(b.as_bytes())
}

/// A folder only this user looks into, and those above it.
#[cfg(unix)]
pub(super) fn make_private_folder(folder: &Path) -> std::io::Result<()> {
    use std::os::unix::fs::DirBuilderExt;
    std::fs::DirBuilder::new().recursive(true).mode(0o700).create(folder)
}

#[cfg(not(unix))]
pub(super) fn make_private_folder(folder: &Path) -> std::io::Result<()> {
    std::fs::create_dir_all(folder)
}

/// A new file only this user reads.
#[cfg(unix)]
pub(super) fn private_file(file: &Path) -> std::io::Result<std::fs::File> {
    use std::os::unix::fs::OpenOptionsExt;
    std::fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(file)
}

#[cfg(not(unix))]
pub(super) fn private_file(file: &Path) -> std::io::Result<std::fs::File> {
    std::fs::OpenOptions::new().write(true).create_new(true).open(file)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_is_made_once_and_read_back() {
        let folder = tempfile::tempdir().unwrap();
        let keys = folder.path().join("keys");
        let (first, fresh) = Keys::open(&keys).unwrap();
        let (again, made) = Keys::open(&keys).unwrap();
        assert!(fresh && !made);
        assert_eq!(first.digest("a", &[b"b"]), again.digest("a", &[b"b"]));
        assert_ne!(first.digest("a", &[b"bc"]), first.digest("a", &[b"b", b"c"]));
    }

    #[test]
    fn a_sealing_key_that_is_lost_or_foreign_is_named_and_never_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let (mut keys, _) = Keys::open(folder.path()).unwrap();
        keys.open_sealing(None, true).unwrap();
        let needed = keys.sealing_id();
        let file = folder.path().join(SEALING_FILE);
        std::fs::remove_file(&file).unwrap();
        let lost = keys.open_sealing(Some(&needed), true).unwrap_err();
        assert!(lost.contains(&needed) && lost.contains("missing") && !file.exists(), "{lost}");
        make_key(&file, |_| true).unwrap();
        let foreign = keys.open_sealing(Some(&needed), true).unwrap_err();
        assert!(foreign.contains(&needed) && foreign.contains("opens nothing"), "{foreign}");
    }

    #[test]
    fn a_broken_key_file_is_named_and_never_replaced() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("master.key"), "short").unwrap();
        let told = Keys::open(folder.path()).err().unwrap();
        assert!(told.contains("master.key"), "{told}");
    }
}
