//! The heart seen from outside: the command, its refusals, and its numbers against other ways to reach them.

mod command;
