//! Drawn photos with known truth.
