//! Do two observers agree: on whether something happened (kappa), on when
//! (Bland–Altman, intraclass correlation).

mod bland_altman;
mod icc;
mod kappa;
pub mod observers;

pub use bland_altman::{BlandAltman, bland_altman};
pub use icc::{Icc, icc};
pub use kappa::{Kappa, cohens_kappa};
