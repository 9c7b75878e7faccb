//! A form with one file, as it arrives: its fields as text, the file as bytes, both bounded.

use std::time::Duration;

use axum::extract::Multipart;

use crate::base::problem::Problem;

/// The most a text field beside a file may hold, bytes.
const TEXT_MOST: usize = 4096;
/// The most text fields beside a file.
const FIELDS_MOST: usize = 20;

/// What arrived.
#[derive(Default)]
pub struct Upload {
    /// The fields, token and key among them.
    pub pairs: Vec<(String, String)>,
    /// What the browser calls the file.
    pub file_name: String,
    /// The file; empty when it was too large.
    pub file: Vec<u8>,
    /// True when it held more than was allowed.
    pub too_large: bool,
}

impl Upload {
    /// Reads the parts of a form whose file stands in the field `file` and may hold `most` bytes. It has three quarters of `time`, which
    /// is what the whole request has: the rest is the answer's, so that a file too slow is told as that and never as a write nobody
    /// knows the end of.
    ///
    /// # Errors
    /// [`Problem::Unreadable`] when it did not arrive whole, [`Problem::TooSlow`] when it did not in time, [`Problem::TooLarge`] for
    /// fields no page of ours sends.
    pub async fn receive(parts: Multipart, most: usize, time: Duration) -> Result<Self, Problem> {
        match tokio::time::timeout(time.mul_f64(0.75), Self::all_parts(parts, most)).await {
            Ok(sent) => sent,
            Err(_) => Err(Problem::TooSlow),
        }
    }

    async fn all_parts(mut parts: Multipart, most: usize) -> Result<Self, Problem> {
        let unreadable = |_| Problem::Unreadable("The file did not arrive whole.".into());
        let mut sent = Self::default();
        while let Some(mut part) = parts.next_field().await.map_err(unreadable)? {
            let name = part.name().unwrap_or_default().to_owned();
            let is_file = name == "file";
            let room = if is_file { most } else { TEXT_MOST };
            let mut content = Vec::new();
            while let Some(chunk) = part.chunk().await.map_err(unreadable)? {
                if content.len() + chunk.len() > room {
                    if is_file {
                        sent.too_large = true;
                        return Ok(sent);
                    }
                    return Err(Problem::TooLarge("The form holds more than its page sends.".into()));
                }
                content.extend_from_slice(&chunk);
            }
            if is_file {
                part.file_name().unwrap_or_default().clone_into(&mut sent.file_name);
                sent.file = content;
            } else if sent.pairs.len() < FIELDS_MOST {
                sent.pairs.push((name, String::from_utf8_lossy(&content).into_owned()));
            } else {
                return Err(Problem::TooLarge("The form holds more than its page sends.".into()));
            }
        }
        Ok(sent)
    }

    /// What is said where no file came, or one with nothing in it.
    #[must_use]
    pub fn why_nothing(&self) -> &'static str {
        if self.file_name.is_empty() {
            "Choose a file. Browsers do not keep the choice when a page comes back."
        } else {
            "This file is empty. Choose another one."
        }
    }

    /// The value of a field; "" where it was not sent.
    #[must_use]
    pub fn value(&self, name: &str) -> &str {
        self.pairs.iter().find(|(key, _)| key == name).map(|(_, value)| value.as_str()).unwrap_or_default()
    }
}
