//! Recordings of every kind, whole, broken and cut, made at test time.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used)]

mod bad_input;
mod broken_bytes;
mod compressed;
mod cut;
mod largest;
mod lossless;
mod lossy;
mod make;
mod memory;
mod opus;
mod tracks;

#[global_allocator]
static ALLOCATOR: largest::Watched = largest::Watched;
