//! Pages that stay open hear that something has changed, by server-sent events, and fetch themselves anew. What is sent is the names
//! of topics alone: the page then asks for itself, through its own guard, so nobody is shown here what she may not see.
//!
//! One poller a process reads all topics once a second while anybody listens; a stream ends when its sign-in ends.

use std::collections::{BTreeMap, HashMap};
use std::convert::Infallible;
use std::fmt::Write as _;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use axum::extract::{Query, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue};
use axum::response::sse::{Event, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::stream;
use tokio::sync::watch;
use tokio::time::{Instant as Tick, Interval, MissedTickBehavior, interval, interval_at};

use super::guard::Staff;
use super::routes::Routes;
use super::visitor::text_header;
use super::{House, session};
use crate::base::ids::SessionId;
use crate::base::problem::Problem;
use crate::base::time::{Instant, SECOND};
use crate::store::topics::{self, Topic};

/// How often the topics are read.
const EVERY: Duration = Duration::from_secs(1);
/// How often a silent stream shows that it is still there, and looks whether its sign-in still holds.
const HEARTBEAT: Duration = Duration::from_secs(15);
/// Streams of one sign-in: a browser opens at most six connections to a house without HTTP/2.
const OF_A_SESSION: usize = 4;
/// Streams at once; far below the connections of the house, so that pages always find one.
const AT_ONCE: usize = 200;
/// Topics of one stream, and the length of a name.
const TOPICS: usize = 12;
const NAME_MOST: usize = 60;
/// A write is seen later than its instant by the time it took to commit; a page looks once too often rather than never.
const SLACK: i64 = 5 * SECOND;
/// A page is not older than this when it begins to listen.
const OLDEST_PAGE: i64 = 24 * 3600 * SECOND;
/// Raised when any sign-in ends, so that streams look at their own.
pub(super) const SESSIONS: &str = "sessions";

pub(crate) fn routes() -> Routes {
    Routes::new().get("/live", listen)
}

/// Who listens, and what the poller last heard.
#[derive(Clone)]
pub struct Live {
    heard: watch::Sender<Heard>,
    streams: Arc<Mutex<Streams>>,
}

#[derive(Clone)]
enum Heard {
    NotYet,
    Topics(Arc<BTreeMap<String, Topic>>),
    /// The house stops.
    Over,
}

#[derive(Default)]
struct Streams {
    of_session: HashMap<SessionId, usize>,
    all: usize,
    polling: bool,
}

impl Default for Live {
    fn default() -> Self {
        Self { heard: watch::Sender::new(Heard::NotYet), streams: Arc::default() }
    }
}

impl Live {
    /// Ends every stream: the house was told to stop and waits for none of them.
    pub fn end(&self) {
        self.heard.send_replace(Heard::Over);
    }

    /// A place for one more stream, and the poller at work.
    fn join(&self, house: &House, session: SessionId) -> Result<StreamPlace, Problem> {
        let mut streams = self.lock();
        let of_session = streams.of_session.get(&session).copied().unwrap_or(0);
        if streams.all >= AT_ONCE || of_session >= OF_A_SESSION {
            return Err(Problem::TooMany(30));
        }
        streams.of_session.insert(session, of_session + 1);
        streams.all += 1;
        if !streams.polling {
            streams.polling = true;
            tokio::spawn(poll(house.clone()));
        }
        Ok(StreamPlace { live: self.clone(), session })
    }

    fn lock(&self) -> MutexGuard<'_, Streams> {
        // Counts alone stand behind it: whoever fell while holding it left them whole.
        self.streams.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The place of one stream; given back when the browser goes away.
struct StreamPlace {
    live: Live,
    session: SessionId,
}

impl Drop for StreamPlace {
    fn drop(&mut self) {
        let mut streams = self.live.lock();
        streams.all = streams.all.saturating_sub(1);
        match streams.of_session.get_mut(&self.session) {
            Some(count) if *count > 1 => *count -= 1,
            _ => drop(streams.of_session.remove(&self.session)),
        }
    }
}

/// Reads the topics once a second for every stream of this process, as long as there is one.
async fn poll(house: House) {
    let live = &house.live;
    let mut every = interval(EVERY);
    every.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let mut failing = false;
    loop {
        every.tick().await;
        match read(&house).await {
            Ok(topics) => {
                failing = false;
                live.heard.send_if_modified(|heard| match heard {
                    Heard::Over => false,
                    Heard::Topics(before) if **before == topics => false,
                    _ => {
                        *heard = Heard::Topics(Arc::new(topics));
                        true
                    }
                });
            }
            Err(cause) if !failing => {
                failing = true;
                tracing::warn!(%cause, "open pages hear no news until the topics can be read again");
            }
            Err(_) => {}
        }
        let mut streams = live.lock();
        if streams.all == 0 {
            streams.polling = false;
            // Whoever comes next must not take for news what was read now.
            live.heard.send_if_modified(|heard| {
                if matches!(heard, Heard::Topics(_)) {
                    *heard = Heard::NotYet;
                }
                false
            });
            return;
        }
    }
}

async fn read(house: &House) -> Result<BTreeMap<String, Topic>, Problem> {
    let mut db = house.store.read().await?;
    topics::all(&mut db).await
}

/// `topic` any number of times; `age` is how many milliseconds ago the page was made, as the browser counts them.
async fn listen(
    staff: Staff,
    State(house): State<House>,
    Query(asked): Query<Vec<(String, String)>>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let named = |name: &'static str| asked.iter().filter(move |(key, _)| key == name).map(|(_, value)| value.clone());
    let topics: Vec<String> = named("topic").filter(|topic| is_topic(topic)).take(TOPICS).collect();
    let place = house.live.join(&house, staff.who.session)?;
    let age = named("age").next().and_then(|age| age.parse::<i64>().ok()).map(|ms| ms.saturating_mul(1000));
    let listener = Listener {
        known: text_header(&headers, "last-event-id").parse().ok(),
        made: age.map(|age| staff.visitor.now.0.plus(-age.clamp(0, OLDEST_PAGE) - SLACK)),
        heard: house.live.heard.subscribe(),
        heartbeat: heartbeat(),
        session: staff.who.session,
        sessions: None,
        // Nothing to wait for: the stream is empty, and the browser learns that it may listen.
        over: topics.is_empty(),
        greeted: false,
        topics,
        house,
        _place: place,
    };
    let events = stream::unfold(listener, |mut listener| async move {
        let event = listener.next().await?;
        Some((Ok::<_, Infallible>(event), listener))
    });
    let mut answer = Sse::new(events).into_response();
    // A proxy in between would keep the news to itself until it had a whole page of them.
    answer.headers_mut().insert(HeaderName::from_static("x-accel-buffering"), HeaderValue::from_static("no"));
    Ok(answer)
}

fn is_topic(name: &str) -> bool {
    (1..=NAME_MOST).contains(&name.len())
        && name.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || matches!(b, b':' | b'-'))
}

fn heartbeat() -> Interval {
    let mut heartbeat = interval_at(Tick::now() + HEARTBEAT, HEARTBEAT);
    heartbeat.set_missed_tick_behavior(MissedTickBehavior::Delay);
    heartbeat
}

/// How far each topic of a stream had risen when the browser last heard of it; goes to the browser and back as the event's id.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Known(BTreeMap<String, i64>);

impl std::str::FromStr for Known {
    type Err = ();

    fn from_str(text: &str) -> Result<Self, ()> {
        let pair = |part: &str| {
            let (name, n) = part.split_once('=')?;
            is_topic(name).then_some(())?;
            Some((name.to_owned(), n.parse().ok()?))
        };
        text.split(',').take(TOPICS).map(pair).collect::<Option<_>>().map(Self).ok_or(())
    }
}

impl std::fmt::Display for Known {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let mut text = String::new();
        for (name, n) in &self.0 {
            let comma = if text.is_empty() { "" } else { "," };
            write!(text, "{comma}{name}={n}")?;
        }
        f.write_str(&text)
    }
}

struct Listener {
    house: House,
    session: SessionId,
    topics: Vec<String>,
    /// What the browser heard of before; none for a page that has just been made.
    known: Option<Known>,
    /// When the page was made: what rose after that is news to it.
    made: Option<Instant>,
    heard: watch::Receiver<Heard>,
    heartbeat: Interval,
    /// How often any sign-in had ended when this one was last looked at.
    sessions: Option<i64>,
    greeted: bool,
    over: bool,
    _place: StreamPlace,
}

impl Listener {
    /// The next event; `None` ends the stream.
    async fn next(&mut self) -> Option<Event> {
        while !self.over {
            let heard = self.heard.borrow_and_update().clone();
            match heard {
                Heard::Over => return None,
                Heard::NotYet => {}
                Heard::Topics(topics) => {
                    if !self.may_go_on(&topics).await {
                        return None;
                    }
                    if let Some(event) = self.news(&topics) {
                        return Some(event);
                    }
                }
            }
            tokio::select! {
                changed = self.heard.changed() => changed.ok()?,
                _ = self.heartbeat.tick() => {
                    if !self.is_signed_in().await {
                        return None;
                    }
                    return Some(Event::default().comment("still here"));
                }
            }
        }
        None
    }

    /// What has risen since the browser last heard; the first event says where it stands, so that a broken line goes on from there.
    fn news(&mut self, now: &BTreeMap<String, Topic>) -> Option<Event> {
        let n_now = |name: &String| now.get(name).map_or(0, |topic| topic.n);
        let risen: Vec<&str> = match &self.known {
            Some(known) => {
                let before = |name: &String| known.0.get(name).copied().unwrap_or(0);
                self.topics.iter().filter(|name| n_now(name) != before(name)).map(String::as_str).collect()
            }
            None => {
                let since =
                    |name: &String| now.get(name).zip(self.made).is_some_and(|(topic, made)| topic.raised >= made);
                self.topics.iter().filter(|name| since(name)).map(String::as_str).collect()
            }
        };
        if risen.is_empty() && self.greeted {
            return None;
        }
        let known = Known(self.topics.iter().map(|name| (name.clone(), n_now(name))).collect());
        let event = Event::default().id(known.to_string());
        let event = if risen.is_empty() { event } else { event.event("risen").data(risen.join(" ")) };
        self.known = Some(known);
        self.greeted = true;
        Some(event)
    }

    /// A look at this sign-in whenever any has ended.
    async fn may_go_on(&mut self, topics: &BTreeMap<String, Topic>) -> bool {
        let ended = topics.get(SESSIONS).map_or(0, |topic| topic.n);
        if self.sessions == Some(ended) {
            return true;
        }
        self.sessions = Some(ended);
        self.is_signed_in().await
    }

    async fn is_signed_in(&self) -> bool {
        let now = self.house.store.clock().now();
        let asked = async {
            let mut db = self.house.store.read().await?;
            session::is_in_use(&mut db, &self.house.config, self.session, now).await
        };
        // Where nobody can say, the stream ends; the browser comes again and is then looked at anew.
        asked.await.unwrap_or(false)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_browser_knows_goes_out_and_comes_back_as_the_id_of_an_event() {
        let known = Known(BTreeMap::from([("air".to_owned(), 7), ("bottles:all".to_owned(), 0)]));
        assert_eq!(known.to_string(), "air=7,bottles:all=0");
        assert_eq!(known.to_string().parse(), Ok(known));
        for wrong in ["", "air", "air=seven", "AIR=7", "air=7,,", "a b=1"] {
            assert!(wrong.parse::<Known>().is_err(), "{wrong}");
        }
    }
}
