//! Whether a set-up can be trusted: what was seen of it, what each part adds to
//! the uncertainty of a lag, and the verdict. Pure: whoever watched the
//! microphone fills in the facts.

mod budget;
mod facts;
mod finding;
mod verdict;

pub use budget::{Against, Mark, Use, budget};
pub use facts::{
    Blocks, BridgeHeard, Clock, Device, Facts, Hand, Loudness, Presser, Troubles, WordHeard,
};
pub use finding::{Finding, WHOLE_VOICE_HZ};
pub use verdict::{Judged, Trust, Verdict, verdict};
