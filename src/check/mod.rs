//! Whether a set-up can be trusted: what was seen of it, what each part adds to
//! the uncertainty of a lag, and the verdict. Pure: whoever watched the
//! microphone fills in the facts.

mod budget;
mod facts;
mod finding;
mod verdict;

pub use budget::{Use, budget};
pub use facts::{Blocks, ClickerHeard, Clock, Device, Facts, Hand, Loudness, Presser, Troubles};
pub use finding::Finding;
pub use verdict::{Judged, Trust, Verdict, verdict};
