//! punchready: a second pair of eyes before the centre punch.
//!
//! A phone photo of a marked sheet with a printed scale card in view is measured, compared with the
//! plan, and every missing, extra, misplaced or crossed-out mark is named.
//!
//! The stages, in the order the data flows (each is a module of this name):
//!
//! ```text
//! plan.toml -> plan ------------------------------------------.
//! photo.jpg -> photo -> card -> survey -> sheet -> ink -> verdict -> report
//! ```
//!
//! [`lens`] makes and reads camera profiles, which the survey takes as what is known before.
//! [`check`] calls them in this order; read it first. Lengths are millimetres; frames are types, see
//! [`frame`]. The library never prints, exits, or reads the environment.
#![deny(clippy::print_stdout, clippy::print_stderr)]

pub mod card;
pub mod check;
pub mod coverage;
pub mod decide;
pub mod drafting;
pub mod draw;
pub mod exchange;
pub mod file;
pub mod frame;
pub mod grade;
pub mod ink;
pub mod lens;
pub mod photo;
pub mod plan;
pub mod raster;
pub mod report;
pub mod sheet;
pub mod survey;
pub mod synth;
pub mod verdict;
