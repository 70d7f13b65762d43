//! What lies about on the bench.

use nalgebra::Vector2;

use super::noise::cloudy;
use super::print::overlap;
use super::scene::ClutterKind;
use super::surface::times;

/// Half of a thing's length and width, mm.
pub(super) fn half_size(kind: ClutterKind) -> [f64; 2] {
    match kind {
        ClutterKind::Pen => [68.0, 5.0],
        ClutterKind::Ruler(length) => [length / 2.0, 12.5],
        ClutterKind::Coin(d) | ClutterKind::DarkBlob(d) => [d / 2.0; 2],
        ClutterKind::Finger(width) => [60.0, width / 2.0],
    }
}

/// Radius of a thing's corners as its shadow shows them, mm.
pub(super) fn corner_radius(kind: ClutterKind) -> f64 {
    match kind {
        ClutterKind::Ruler(_) => 0.0,
        ClutterKind::Pen | ClutterKind::Finger(_) => half_size(kind)[1],
        ClutterKind::Coin(d) | ClutterKind::DarkBlob(d) => d / 2.0,
    }
}

/// What a thing covers and looks like at `at`, in its own millimetres.
pub(super) fn look(
    kind: ClutterKind,
    at: Vector2<f64>,
    size: f64,
    light: [f32; 3],
) -> (f32, [f32; 3]) {
    let [w, h] = half_size(kind);
    let round = |radius: f64| {
        // Distance inside a bar with rounded ends.
        let q = Vector2::new(
            (at.x.abs() - (w - radius)).max(0.0),
            (at.y.abs() - (h - radius)).max(0.0),
        );
        (0.5 + (radius - q.norm()) / size).clamp(0.0, 1.0) as f32
    };
    let bulge = |y: f64| (1.0 - y * y).max(0.0).sqrt() as f32;
    match kind {
        ClutterKind::Pen => {
            let shade = 0.35 + 0.65 * bulge(at.y / h);
            let gloss = (-((at.y / h - 0.35) / 0.12).powi(2)).exp() as f32 * 0.25;
            let body = if at.x > 28.0 {
                [0.03, 0.03, 0.035]
            } else if at.x > -52.0 {
                [0.45, 0.45, 0.46]
            } else {
                [0.03, 0.03, 0.035]
            };
            let colour = body.map(|c: f32| c * shade + gloss);
            (round(4.5), times(light, colour))
        }
        ClutterKind::Ruler(_) => {
            let cover = overlap(at.x, size, -w, w) * overlap(at.y, size, -h, h);
            // Graduations: each mm, longer each 5 and 10, from both long edges.
            let mm = at.x.round();
            let length = match mm.rem_euclid(10.0) as i32 {
                0 => 8.0,
                5 => 6.0,
                _ => 4.0,
            };
            let ink = overlap(at.x, size, mm - 0.09, mm + 0.09)
                * overlap(h - at.y.abs(), size, 0.0, length)
                * f64::from(u8::from(mm.abs() < w - 2.0));
            let steel = 0.42 * (1.0 - 0.9 * ink as f32);
            (cover as f32, times(light, [steel, steel, steel * 1.02]))
        }
        ClutterKind::Coin(_) => {
            let r = at.norm() / w;
            let rim = if r > 0.9 { 1.25 } else { 1.0 };
            let relief = cloudy(77, at.x / 2.2, at.y / 2.2);
            let tone = rim * (1.0 + 0.25 * relief);
            (round(w), times(light, [0.42, 0.33, 0.17].map(|c| c * tone)))
        }
        ClutterKind::DarkBlob(_) => (round(w), times(light, [0.03; 3])),
        ClutterKind::Finger(_) => {
            let shade = 0.5 + 0.5 * bulge(at.y / h);
            let skin = 1.0 + 0.06 * cloudy(78, at.x / 1.5, at.y / 1.5);
            (
                round(h * 0.95),
                times(light, [0.48, 0.27, 0.19].map(|c| c * shade * skin)),
            )
        }
    }
}
