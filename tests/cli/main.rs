//! The command line, as a trainer or a script meets it.

#![allow(clippy::unwrap_used, clippy::expect_used)]

mod bad_input;
mod bad_output;
mod bad_usage;
mod check;
mod drop;
mod files_in_trouble;
mod formats;
mod help;
mod journal;
mod lesson;
mod network;
mod newcomer;
mod outputs;
mod private;
mod run;
mod timing;
mod train;
mod weeks;
mod words;
