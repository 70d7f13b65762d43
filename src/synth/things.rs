//! What lies about on the bench and on the sheet.

use nalgebra::Vector2;

use super::noise::{cloudy, smooth};
use super::print::overlap;
use super::scene::ClutterKind;
use super::surface::times;

/// Radius of a thing's corners as its shadow shows them, mm.
pub(super) fn corner_radius(kind: ClutterKind) -> f64 {
    match kind {
        ClutterKind::Ruler(_)
        | ClutterKind::Note(_)
        | ClutterKind::Tape(_)
        | ClutterKind::Scrap(_) => 0.0,
        ClutterKind::Pen | ClutterKind::Finger(_) => kind.half_size_mm()[1],
        ClutterKind::Coin(d) | ClutterKind::DarkBlob(d) | ClutterKind::Disc(d) => d / 2.0,
    }
}

/// How far inside a thing `at` is, in its own millimetres, at least; negative outside.
pub(super) fn depth(kind: ClutterKind, at: Vector2<f64>) -> f64 {
    /// Torn ends stand back from the thing's box by this much at most, mm.
    const TORN_MM: f64 = 0.5;
    let [w, h] = kind.half_size_mm();
    let round = corner_radius(kind);
    let q = Vector2::new(at.x.abs() - (w - round), at.y.abs() - (h - round));
    round - q.sup(&Vector2::zeros()).norm() - q.x.max(q.y).min(0.0) - TORN_MM
}

/// What a thing covers and looks like at `at`, in its own millimetres.
pub(super) fn look(
    kind: ClutterKind,
    at: Vector2<f64>,
    size: f64,
    light: [f32; 3],
) -> (f32, [f32; 3]) {
    let [w, h] = kind.half_size_mm();
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
        ClutterKind::Note(_) => note(at, size, light, [w, h]),
        ClutterKind::Tape(_) => {
            // Torn ends, and the crepe that runs across the strip.
            let torn = 0.5 * f64::from(smooth(81, at.y / 0.7, at.x.signum()));
            let cover = overlap(at.x, size, -w - torn, w + torn) * overlap(at.y, size, -h, h);
            let crepe =
                1.0 + 0.05 * smooth(82, at.x / 0.35, at.y / 3.0) + 0.02 * cloudy(83, at.x, at.y);
            (
                cover as f32,
                times(light, [0.62, 0.52, 0.34].map(|c| c * crepe)),
            )
        }
        ClutterKind::Scrap(_) => {
            let cover = overlap(at.x, size, -w, w) * overlap(at.y, size, -h, h);
            let grain = 1.0
                + 0.05 * smooth(84, at.x / 15.0, at.y / 0.4)
                + 0.04 * cloudy(85, at.x / 8.0, at.y / 8.0);
            // The sheared rim turns away from the light.
            let rim = (w - at.x.abs()).min(h - at.y.abs());
            let tone = grain * (1.0 - 0.35 * (-(rim / 0.15).powi(2)).exp() as f32);
            (
                cover as f32,
                times(light, [0.56, 0.56, 0.57].map(|c| c * tone)),
            )
        }
        ClutterKind::Disc(_) => {
            // Strokes of a felt pen to and fro, 1.4 mm apart, that leave some paper bare between them.
            let stroke = (at.y / 1.4 + 0.3 * f64::from(smooth(86, at.x / 4.0, at.y / 4.0))).fract();
            let bare =
                0.5 - 0.5 * ((stroke.abs() - 0.5).abs() * 12.0 - 5.2).clamp(-1.0, 1.0) as f32;
            let colour = [0.70, 0.12, 0.10].map(|c: f32| 0.8 + (c - 0.8) * (0.55 + 0.45 * bare));
            (round(w), times(light, colour))
        }
    }
}

/// Paper with three lines written on it, if it is large enough to write on.
fn note(at: Vector2<f64>, size: f64, light: [f32; 3], [w, h]: [f64; 2]) -> (f32, [f32; 3]) {
    /// Distance between the lines and height of the writing, mm.
    const LINE_MM: f64 = 5.0;
    const WRITING_MM: f64 = 2.2;
    let cover = overlap(at.x, size, -w, w) * overlap(at.y, size, -h, h);
    let row = (at.y / LINE_MM).round();
    let inside = at.x.abs() < w - 2.0 && row.abs() <= 1.0 && row.abs() * LINE_MM < h - 2.0;
    let ink = if inside {
        // A hand's up and down strokes: a wave that the pen's width follows.
        let wave = 0.5 * WRITING_MM * f64::from(smooth(87, at.x / 0.9, row * 9.0));
        overlap(at.y - row * LINE_MM - wave, size, -0.22, 0.22)
    } else {
        0.0
    };
    let fibre = 1.0 + 0.012 * cloudy(88, at.x * 2.0, at.y * 2.0);
    let paper = [0.80, 0.79, 0.74].map(|c: f32| c * fibre * (1.0 - 0.85 * ink as f32));
    (cover as f32, times(light, paper))
}
