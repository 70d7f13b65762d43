//! The main job: the stages, called in order.
