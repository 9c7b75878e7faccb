//! Rooms' pure rules against what stands outside them: other libraries, published tables, files and bodies as
//! devices really send them.

#![allow(clippy::unwrap_used, reason = "in a test an unwrap that fails is the test failing")]

mod against_libraries;
mod charts;
mod command;
mod demo_air;
mod logger_files;
mod push_shapes;
mod random;
