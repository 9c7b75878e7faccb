//! What every page shows around its matter: who stands where, at what moment, on whose device.
//!
//! Plain data. Filled once per request by the router's extractor; templates read it and decide nothing.

use super::cautions;

/// The page frame, a field named `frame` in every view struct.
#[derive(Clone, Debug, Default)]
pub struct Frame {
    /// The studio's name.
    pub house: String,
    /// The page's own title; also its first heading unless the page words that differently.
    pub title: String,
    /// Who is signed in, by the name the studio uses.
    pub person: Option<String>,
    /// The role of that person in one word: "owner", "artist", "desk", "accountant".
    pub role_word: String,
    /// A digest that names the person to her own device: what waits there to be sent is sent for nobody else. Empty for
    /// a guest.
    pub person_mark: String,
    /// Id and public point (base64url) of the key that her device seals waiting entries to. Empty for a guest.
    pub outbox_key: (String, String),
    /// The mark of whoever was signed in here until her session was revoked: the device forgets what she left there unfinished.
    pub revoked_mark: String,
    /// The places this person may go to; a place that is not allowed is not in the list.
    pub places: Vec<PlaceLink>,
    /// The moments of the day, where a page has them.
    pub moments: Vec<MomentLink>,
    /// Wall time in the studio, "10:12".
    pub clock: String,
    /// Day in the studio, "Thu 18 Feb".
    pub date: String,
    /// Token that ties a form to its session.
    pub csrf: String,
    /// The way back to the form while the device is in a client's hands; empty otherwise.
    pub handed_over: String,
    /// True on a tablet that several people use, while somebody is signed in on it.
    pub tablet: bool,
    /// True for the invented studio: a line on every page says so.
    pub demo: bool,
    /// The one thing the whole house has to know, if there is one.
    pub banner: Option<Banner>,
    /// Language of the page, as in `<html lang>`.
    pub lang: String,
    /// The light chosen on this device: "paper", "lamp", or "" for as the device has it.
    pub light: &'static str,
    /// True where this device asked for large controls.
    pub large: bool,
    /// Base path in front of every address: "" or "/studio".
    pub base: String,
    /// Name of the folder of this build's assets: the hash over all of them.
    pub assets: String,
}

impl Frame {
    /// An address inside the house, with the base path in front: `/rooms` becomes `/studio/rooms`.
    #[must_use]
    pub fn url(&self, path: &str) -> String {
        format!("{}{path}", self.base)
    }

    /// The address of a file of this build's assets: `app.css` becomes `/static/{hash}/app.css`.
    #[must_use]
    pub fn asset(&self, name: &str) -> String {
        format!("{}/static/{}/{name}", self.base, self.assets)
    }

    /// The short cautions at the foot of every page.
    #[must_use]
    pub fn cautions(&self) -> &'static [&'static str] {
        cautions::FOOT
    }
}

/// One of the six places of the standing line.
#[derive(Clone, Debug)]
pub struct PlaceLink {
    /// The word shown: "Rooms".
    pub word: &'static str,
    /// Where it leads, base path included.
    pub href: String,
    /// True for the place the page belongs to.
    pub here: bool,
}

/// One of the five moments under the page head.
#[derive(Clone, Debug)]
pub struct MomentLink {
    /// The words shown: "Before a client".
    pub word: &'static str,
    /// Where it leads, base path included.
    pub href: String,
    /// True for the moment that is shown.
    pub here: bool,
}

/// The one banner under the standing line. Never for good news.
#[derive(Clone, Debug)]
pub struct Banner {
    /// "near" (soon, nearly) or "stop" (not as it is).
    pub mark: &'static str,
    /// One sentence.
    pub sentence: String,
    /// Where its action leads, base path included; empty for none.
    pub href: String,
    /// The action in words.
    pub action: String,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_base_path_stands_before_every_address() {
        let frame = Frame { base: "/studio".into(), assets: "ab12".into(), ..Frame::default() };
        assert_eq!(frame.url("/rooms"), "/studio/rooms");
        assert_eq!(frame.asset("js/light.js"), "/studio/static/ab12/js/light.js");
    }

    #[test]
    fn without_a_base_path_addresses_begin_at_the_root() {
        let frame = Frame { assets: "ab12".into(), ..Frame::default() };
        assert_eq!(frame.url("/first-aid"), "/first-aid");
        assert_eq!(frame.asset("app.css"), "/static/ab12/app.css");
    }
}
