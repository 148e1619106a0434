//! Calibration: from reference points to a curve that says how right it is.
//!
//! Pure, all of it: reference values, settling, fit, uncertainty, history. Who shows a guide, reads a
//! clock or keeps the log is elsewhere (`cli/calibrate`, `control`, `log`). A probe is calibrated in
//! its electrical quantity as its channel gives it, never in counts.

pub mod budget;
pub mod calibration;
pub mod capture;
pub mod certificate;
pub mod channel;
pub mod coverage;
pub mod curve;
pub mod divider_choice;
mod figure;
pub mod fit;
pub mod history;
pub mod judge;
pub mod make;
pub mod plan;
pub mod point;
pub mod points_file;
pub mod reference;
pub mod session;
pub mod settling;
pub mod stated;
pub mod step;
pub mod verify;

pub use budget::Budget;
pub use calibration::{Calibration, Channel, Residual, Shape, Share, Source, Verification};
pub use curve::{Curve, Term};
pub use history::{History, Recorded};
pub use judge::Refusal;
pub use make::{Subject, make};
pub use point::{Captured, Compared, Point, Reference, Role};
pub use stated::{Stated, Tolerance};
pub use step::Step;
pub use verify::{Verdict, verify};
