//! The heart seen from outside: the command, its refusals, and its numbers against other ways to reach them.

#[cfg(test)]
mod command;
#[cfg(test)]
mod refusals;
