//! The survey.
pub mod homography;
