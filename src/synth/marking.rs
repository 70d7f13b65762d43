//! A careful hand, and its faults.
