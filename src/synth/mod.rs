//! Drawn photos with known truth.
//!
//! A [`Scene`] is a camera, a sheet on a bench, cards, marks, light and a sensor. [`render`] makes the
//! photo and says where everything truly is. It shares no code with the measuring stages: the camera is
//! written here independently, so that the two check each other.
//!
//! | step | module |
//! | --- | --- |
//! | what is in the picture | [`scene`], [`marks`] |
//! | from millimetres to pixels | [`camera`] |
//! | marks as strokes and blobs of ink | `strokes`, `font`, `paint` |
//! | dimples and holes in the metal | `relief` |
//! | light and materials | `surface`, `print`, `things` |
//! | radiance of each pixel, by area | `trace` |
//! | blur, noise, sharpening, 8 bits | `sensor` |
//! | a JPEG as a phone writes it | [`jpeg`] |
//! | a careful hand, and its faults | [`marking`] |
//! | the demo scenario | [`demo`] |
//!
//! The same scene gives the same bytes, however many threads draw it: all chance is hashed from seeds
//! and places.

pub mod camera;
pub mod demo;
mod font;
pub mod jpeg;
pub mod marking;
pub mod marks;
mod noise;
mod paint;
mod print;
mod relief;
pub mod scene;
mod sensor;
mod strokes;
mod surface;
mod things;
mod trace;
mod truth;

pub use camera::Camera;
pub use jpeg::{ExifFacts, SynthError, write_jpeg};
pub use marks::{Ink, Mark, RingStyle, Shape};
pub use noise::Rng;
pub use scene::{
    Bench, Clutter, ClutterKind, Glare, Light, PlacedCard, Scene, Sensor, SheetPiece, SoftShadow,
    Surface,
};
pub use truth::{Rendered, TrueCard, TrueMark, Truth};

/// Makes the photo of `scene`, with the truth.
#[must_use]
pub fn render(scene: &Scene) -> Rendered {
    let radiance = trace::trace(scene);
    let image = sensor::develop(scene, radiance);
    Rendered {
        image,
        camera: scene.camera.clone(),
        truth: truth::of(scene),
    }
}

/// The truth of `scene` without drawing it.
#[must_use]
pub fn truth_of(scene: &Scene) -> Truth {
    truth::of(scene)
}

#[cfg(test)]
mod tests;
