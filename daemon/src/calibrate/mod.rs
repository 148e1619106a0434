//! Calibration: from reference points to a curve that says how right it is.
//!
//! Pure, all of it: reference values, settling, fit, uncertainty, history. Who shows a guide, reads a
//! clock or keeps the log is elsewhere (`cli/calibrate`, `control`, `log`). A probe is calibrated in
//! its electrical quantity as its channel gives it, never in counts.

pub mod calibration;
pub mod capture;
pub mod curve;
pub mod point;
pub mod session;
pub mod settling;
pub mod step;

pub use calibration::{Calibration, Channel, Residual, Shape, Share, Source, Verification};
pub use curve::{Curve, Term};
pub use point::{Captured, Compared, Point, Reference, Role};
pub use step::Step;
