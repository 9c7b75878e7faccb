//! The heart seen from outside: the command, its refusals, and its numbers against other ways to reach them.

#[cfg(test)]
mod chance;
#[cfg(test)]
mod closed_forms;
#[cfg(test)]
mod command;
#[cfg(test)]
mod directions;
#[cfg(test)]
mod judging;
#[cfg(test)]
mod references;
#[cfg(test)]
mod refusals;
#[cfg(test)]
mod studios;
#[cfg(test)]
mod trade;
