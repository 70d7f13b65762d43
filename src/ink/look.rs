//! What can be measured of a piece of ink before anything is known of the pen: how wide and how dark it is.

use nalgebra::Vector2;

use super::MarkKind;
use super::figure::Figure;
use super::name::{FlatMark, Name};
use super::picture::Picture;
use super::shape;

/// What a piece of ink is built of: a pen's spots and its strokes are not equally wide.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Build {
    /// Set down and lifted.
    Spot,
    /// Drawn.
    Stroke,
}

/// A piece of ink.
#[derive(Debug, Clone, Copy)]
pub(super) struct Look {
    /// Spot or stroke.
    pub(super) build: Build,
    /// A spot's diameter, a stroke's width, mm.
    pub(super) width_mm: f64,
    /// How much darker than the bare face, 0 to 1: a spot's middle, a stroke's axis.
    pub(super) darkness: f64,
}

/// A spot is at most so many times longer than wide.
const SPOT: f64 = 2.0;

impl Look {
    /// Of a mark.
    pub(super) fn of_mark(picture: &Picture, mark: &FlatMark) -> Self {
        match (mark.kind, mark.strokes.first()) {
            (MarkKind::Dot, _) | (_, None) => Self {
                build: Build::Spot,
                width_mm: mark.size_mm,
                darkness: darkest(picture, mark.at, 0.5 * mark.size_mm * picture.scale),
            },
            (_, Some(stroke)) => {
                let half = 0.5 * mark.size_mm * picture.scale;
                Self {
                    build: Build::Stroke,
                    width_mm: stroke.width / picture.scale,
                    darkness: along(picture, mark.at, stroke.along, half),
                }
            }
        }
    }

    /// Of a figure, by its name or, without a shape, by its pixels.
    pub(super) fn of(picture: &Picture, figure: &Figure, name: &Name) -> Self {
        match name {
            Name::Mark(m) | Name::Doubtful(m, _) => Self::of_mark(picture, m),
            Name::Crossing(c) => Self::of_mark(picture, &c.mark),
            _ => Self::of_figure(picture, figure),
        }
    }

    fn of_figure(picture: &Picture, figure: &Figure) -> Self {
        let (length, width) = shape::length_and_width(&figure.points);
        let area = figure.points.len() as f64;
        let (build, width) = if length < SPOT * width || length - width < 2.5 {
            // A loop or a letter is as wide as long too, and mostly bare.
            let disc = 2.0 * (area / std::f64::consts::PI).sqrt();
            let drawn = shape::stroke_width(&figure.points);
            if disc < SPOT * drawn {
                (Build::Spot, disc)
            } else {
                (Build::Stroke, drawn)
            }
        } else {
            (Build::Stroke, shape::stroke_width(&figure.points))
        };
        Self {
            build,
            width_mm: width / picture.scale,
            darkness: figure.contrast,
        }
    }
}

/// The darkest place within `reach` of `at`, each the mean of three by three pixels: noise has no say.
fn darkest(picture: &Picture, at: Vector2<f64>, reach: f64) -> f64 {
    let steps = reach.ceil().max(1.0) as i32;
    let mean = |p: Vector2<f64>| {
        let near = (-1..=1).flat_map(|y| (-1..=1).map(move |x| (x, y)));
        let sum: f64 = near
            .map(|(x, y)| f64::from(picture.contrast(p + Vector2::new(f64::from(x), f64::from(y)))))
            .sum();
        sum / 9.0
    };
    let places = (-steps..=steps).flat_map(|y| (-steps..=steps).map(move |x| (x, y)));
    places
        .map(|(x, y)| Vector2::new(f64::from(x), f64::from(y)))
        .filter(|d| d.norm() <= f64::from(steps))
        .map(|d| mean(at + d))
        .fold(0.0, f64::max)
}

/// The median along a stroke's axis.
fn along(picture: &Picture, at: Vector2<f64>, way: Vector2<f64>, half: f64) -> f64 {
    let steps = (0.8 * half).max(1.0) as i32;
    let mut ink: Vec<f64> = (-steps..=steps)
        .map(|s| picture.smooth_contrast(at + way * f64::from(s)))
        .collect();
    ink.sort_by(f64::total_cmp);
    ink[ink.len() / 2]
}
