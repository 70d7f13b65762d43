//! Grading a class of practice pieces: the same measure for everyone, and feedback a student can use.
//!
//! | step | module |
//! | --- | --- |
//! | whose photo is which, and who handed nothing in | [`class`], [`roster`] |
//! | the points: weights, bands, what fails at once | [`rubric`] |
//! | one piece measured, from one photo or several | [`look`] |
//! | what was found, as it is stored | [`findings`] |
//! | stored results, so that an interrupted run goes on | [`store`] |
//! | the class, over the cores | [`run`] |
//! | points for what was found | [`score`] |
//! | what to change first | [`habits`] |
//! | one piece handed in twice | [`twins`] |
//! | each piece with its marks, and why to look again | [`roll`] |
//! | the sheet for the student, as a page and on paper | [`feedback`], `page`, `paper` |
//! | the gradebook and the summary for the instructor | [`gradebook`], [`summary`], `plots` |
//!
//! Nothing here decides what is right on a sheet: that is [`crate::check`]'s. A grade only weighs it, and where
//! the photo leaves a doubt the student has the benefit of it.

pub mod class;
pub mod feedback;
pub mod findings;
pub mod gradebook;
pub mod habits;
pub mod look;
mod page;
mod paper;
mod plots;
pub mod roll;
pub mod roster;
pub mod rubric;
pub mod run;
pub mod score;
pub mod store;
pub mod summary;
pub mod twins;
