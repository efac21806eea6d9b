//! The journal against everything that can happen to a file.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

mod child;
mod damage;
mod documented;
mod export;
mod forget;
mod full_disk;
mod killed;
mod measures;
mod merge_killed;
mod merging;
mod opening;
mod plans;
mod round_trip;
mod scene;
mod sessions;
mod weeks;
