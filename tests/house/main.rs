//! What holds for the repository as a whole: which part may know which, files that the documents name,
//! a reason for every dependency, and words that don't belong here.
//!
//! Each check is a function over text, so that the tests can also hand it text in which it must find something.

#![allow(clippy::unwrap_used, reason = "a test stops at the first thing that is not as it must be")]

mod arrows;
mod container;
mod dependencies;
mod paths;
mod repository;
mod words;
