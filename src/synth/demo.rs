//! The demo scenario.
