//! The survey.
