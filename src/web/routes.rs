//! The router with a list of what it holds, so that tests can ask for every route that exists.

use axum::Router;
use axum::handler::Handler;
use axum::http::Method;
use axum::routing::{MethodFilter, MethodRouter, on};

use super::House;

/// Routes of a part: the router and the list of its doors.
#[derive(Default)]
pub struct Routes {
    router: Router<House>,
    doors: Vec<Door>,
}

/// One method on one path.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Door {
    /// GET, POST …
    pub method: String,
    /// The path as the router knows it, with its `{names}`.
    pub path: String,
}

impl Routes {
    /// No routes yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// A page or an answer that changes nothing.
    #[must_use]
    pub fn get<H, T>(self, path: &str, handler: H) -> Self
    where
        H: Handler<T, House>,
        T: 'static,
    {
        self.door(&Method::GET, path, on(MethodFilter::GET, handler))
    }

    /// A form or a message that may write.
    #[must_use]
    pub fn post<H, T>(self, path: &str, handler: H) -> Self
    where
        H: Handler<T, House>,
        T: 'static,
    {
        self.door(&Method::POST, path, on(MethodFilter::POST, handler))
    }

    /// As [`Routes::post`], for a file of up to `most` bytes.
    #[must_use]
    pub fn post_file<H, T>(self, path: &str, most: usize, handler: H) -> Self
    where
        H: Handler<T, House>,
        T: 'static,
    {
        let limit = axum::extract::DefaultBodyLimit::max(most);
        self.door(&Method::POST, path, on(MethodFilter::POST, handler).layer(limit))
    }

    /// The routes of another part beside these.
    #[must_use]
    pub fn join(mut self, other: Self) -> Self {
        self.router = self.router.merge(other.router);
        self.doors.extend(other.doors);
        self
    }

    /// Every door, sorted.
    #[must_use]
    pub fn doors(&self) -> Vec<Door> {
        let mut doors = self.doors.clone();
        doors.sort();
        doors
    }

    /// The router itself.
    pub fn into_router(self) -> Router<House> {
        self.router
    }

    fn door(mut self, method: &Method, path: &str, route: MethodRouter<House>) -> Self {
        self.router = self.router.route(path, route);
        self.doors.push(Door { method: method.to_string(), path: path.to_owned() });
        self
    }
}
