//! The key that stands outside the database: it fingerprints form bodies and derives shown-once secrets, so that a copy of the
//! database alone opens nothing.

use std::io::Write;
use std::path::{Path, PathBuf};

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::{Digest, Sha256};

/// The keys of this installation.
pub struct Keys {
    master: [u8; 32],
    id: String,
    folder: PathBuf,
}

impl Keys {
    /// Opens the keys folder, making it with a fresh key when it is empty.
    ///
    /// # Errors
    /// A sentence naming the file that could not be read or written.
    pub fn open(folder: &Path) -> Result<(Self, bool), String> {
        let file = folder.join("master.key");
        let tell = |what: &str, cause: &dyn std::fmt::Display| format!("{what} {}: {cause}", file.display());
        if file.exists() {
            let text = std::fs::read_to_string(&file).map_err(|cause| tell("cannot read the key", &cause))?;
            let master = URL_SAFE_NO_PAD
                .decode(text.trim())
                .ok()
                .and_then(|bytes| <[u8; 32]>::try_from(bytes).ok())
                .ok_or_else(|| tell("this is not a key of ours:", &"32 bytes in base64url were expected"))?;
            return Ok((Self::from_master(master, folder), false));
        }
        make_private_folder(folder).map_err(|cause| tell("cannot make the folder for", &cause))?;
        let mut master = [0_u8; 32];
        getrandom::fill(&mut master).map_err(|cause| tell("no random numbers for", &cause))?;
        let written = private_file(&file).and_then(|mut out| {
            writeln!(out, "{}", URL_SAFE_NO_PAD.encode(master))?;
            out.sync_all()
        });
        written.map_err(|cause| tell("cannot write the key", &cause))?;
        Ok((Self::from_master(master, folder), true))
    }

    /// Opens the keys of a house that has served before; never makes new ones.
    ///
    /// # Errors
    /// A sentence naming the file that is missing or could not be read.
    pub fn open_existing(folder: &Path) -> Result<Self, String> {
        let file = folder.join("master.key");
        if !file.exists() {
            return Err(format!("there is no key at {}", file.display()));
        }
        Self::open(folder).map(|(keys, _)| keys)
    }

    fn from_master(master: [u8; 32], folder: &Path) -> Self {
        let id = Sha256::digest(master).iter().take(4).map(|byte| format!("{byte:02x}")).collect();
        Self { master, id, folder: folder.to_owned() }
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
    fn a_broken_key_file_is_named_and_never_replaced() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("master.key"), "short").unwrap();
        let told = Keys::open(folder.path()).err().unwrap();
        assert!(told.contains("master.key"), "{told}");
    }
}
