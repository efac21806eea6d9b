//! What every room asks of the operating system: files of their owner alone.

pub mod files;
