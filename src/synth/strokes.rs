//! From marks to paint: what the hand did.

use std::f64::consts::{FRAC_PI_2, FRAC_PI_4, TAU};

use nalgebra::Vector2;

use super::font;
use super::marks::{Ink, Mark, RingStyle, Shape, line_pieces, on_line};
use super::noise::{Rng, mix};
use super::paint::{Form, Paint, Tone};

/// Distance between the points of a stroke, mm.
const STEP_MM: f64 = 0.5;

/// The paint of all `marks`, in drawing order.
pub(super) fn paints(marks: &[Mark], seed: u64) -> Vec<Paint> {
    let mut out = Vec::new();
    for (index, mark) in (1u64..).zip(marks) {
        Hand {
            rng: Rng::new(mix(seed ^ index.wrapping_mul(0x9e37_79b9))),
            ink: mark.ink,
            out: &mut out,
        }
        .draw(&mark.shape);
    }
    out
}

struct Hand<'a> {
    rng: Rng,
    ink: Ink,
    out: &'a mut Vec<Paint>,
}

fn heading(angle: f64) -> Vector2<f64> {
    Vector2::new(angle.cos(), angle.sin())
}

impl Hand<'_> {
    fn draw(&mut self, shape: &Shape) {
        match shape {
            Shape::Dot { at, diameter_mm } => {
                let tone = Tone::Ink(self.ink.colour);
                self.blob(at.vec(), *diameter_mm, tone, true);
            }
            Shape::Tick {
                at,
                angle_rad,
                length_mm,
                width_mm,
            } => self.straight(at.vec(), *angle_rad, *length_mm, *width_mm),
            Shape::Cross {
                at,
                angle_rad,
                length_mm,
                width_mm,
            } => {
                for (turn, share) in [(0.0, 1.0), (FRAC_PI_2, 0.9)] {
                    let length = length_mm * share;
                    self.straight(at.vec(), angle_rad + turn, length, *width_mm);
                }
            }
            Shape::Ring {
                at,
                diameter_mm,
                width_mm,
                style,
            } => self.ring(at.vec(), *diameter_mm, *width_mm, *style),
            Shape::CrossOut {
                at,
                length_mm,
                width_mm,
            } => {
                for turn in [FRAC_PI_4, 3.0 * FRAC_PI_4] {
                    let w = self.ink.wobble;
                    let angle = turn + self.rng.normal() * 0.08 * w;
                    let slip = Vector2::new(self.rng.normal(), self.rng.normal()) * (0.25 * w);
                    let length = length_mm * (1.0 + 0.08 * w * self.rng.normal());
                    self.bent(at.vec() + slip, angle, length, *width_mm);
                }
            }
            Shape::Line {
                from,
                to,
                width_mm,
                broken,
                bow_mm,
            } => self.ruled([from.vec(), to.vec()], *bow_mm, *width_mm, *broken),
            Shape::Text {
                at,
                angle_rad,
                height_mm,
                text,
                joined,
            } => self.text(at.vec(), *angle_rad, *height_mm, text, *joined),
            Shape::Scratch {
                from,
                to,
                width_mm,
                gain,
            } => self.scratch(from.vec(), to.vec(), *width_mm, *gain),
            Shape::Swarf { at, length_mm } => self.swarf(at.vec(), *length_mm),
            Shape::Dust { at, diameter_mm } => {
                self.ink.density *= 0.6;
                let tone = Tone::Ink([0.16, 0.14, 0.11]);
                self.blob(at.vec(), *diameter_mm, tone, false);
            }
            Shape::Stain {
                at,
                diameter_mm,
                gain,
            } => {
                // It fades over half of its radius, more than any ink does.
                self.ink.soft_mm = diameter_mm / 4.0;
                self.ink.density = 1.0;
                self.blob(at.vec(), *diameter_mm, Tone::Gain(*gain as f32), false);
            }
            // A fingerprint changes the surface, punch and drill the metal: drawn there.
            Shape::Smudge { .. } | Shape::Dimple { .. } | Shape::Hole { .. } => {}
        }
    }

    fn push(&mut self, form: Form, tone: Tone) {
        let seed = self.rng.bits() as u32;
        self.out.push(Paint {
            form,
            tone,
            density: self.ink.density,
            soft_mm: self.ink.soft_mm,
            patchy: self.ink.patchy,
            seed,
        });
    }

    /// An irregular spot; `centred`: moved so that its centroid is at `at`.
    fn blob(&mut self, at: Vector2<f64>, diameter: f64, tone: Tone, centred: bool) {
        let wobble = self.ink.wobble;
        let waves: Vec<(f64, f64, f64)> = (2..=5)
            .map(|k| {
                let size = 0.075 * wobble * self.rng.normal() / f64::from(k - 1);
                (
                    f64::from(k),
                    size.clamp(-0.2, 0.2),
                    self.rng.between(0.0, TAU),
                )
            })
            .collect();
        let radius = |angle: f64| {
            let wave: f64 = waves
                .iter()
                .map(|&(k, size, phase)| size * (k * angle + phase).cos())
                .sum();
            diameter / 2.0 * (1.0 + wave)
        };
        let form = Paint::blob_form(at, radius);
        self.push(form, tone);
        if !centred {
            return;
        }
        // The patches of ink stay where they are, so the shift is found in two rounds.
        if let Some(paint) = self.out.last_mut() {
            for _ in 0..3 {
                let off = paint.centroid() - at;
                if let Form::Blob { centre, .. } = &mut paint.form {
                    *centre -= off;
                }
            }
        }
    }

    /// A short stroke whose axis is straight and runs through `at`.
    fn straight(&mut self, at: Vector2<f64>, angle: f64, length: f64, width: f64) {
        let way = heading(angle);
        let w = self.ink.wobble;
        // More of it on one side than on the other, as a hand does.
        let slip = length * 0.06 * w * self.rng.normal().clamp(-2.0, 2.0);
        let a = at + way * (slip - length / 2.0);
        let b = at + way * (slip + length / 2.0);
        let form = self.stroke(&[a, b], width);
        let tone = Tone::Ink(self.ink.colour);
        self.push(form, tone);
    }

    /// A quick stroke, slightly bent.
    fn bent(&mut self, at: Vector2<f64>, angle: f64, length: f64, width: f64) {
        let way = heading(angle);
        let across = Vector2::new(-way.y, way.x);
        let bow = 0.03 * length * self.ink.wobble * self.rng.normal();
        let points: Vec<_> = (0..=12)
            .map(|i| {
                let t = f64::from(i) / 6.0 - 1.0;
                at + way * (t * length / 2.0) + across * (bow * (0.33 - t * t))
            })
            .collect();
        let form = self.stroke(&points, width);
        let tone = Tone::Ink(self.ink.colour);
        self.push(form, tone);
    }

    /// A stroke through `corners`: width varies a little, ends taper.
    fn stroke(&mut self, corners: &[Vector2<f64>], width: f64) -> Form {
        let mut points = vec![corners[0]];
        for pair in corners.windows(2) {
            let steps = ((pair[1] - pair[0]).norm() / STEP_MM).ceil().max(1.0) as usize;
            for i in 1..=steps {
                points.push(pair[0] + (pair[1] - pair[0]) * (i as f64 / steps as f64));
            }
        }
        let last = points.len() - 1;
        let w = self.ink.wobble;
        let mut drift = 0.0;
        let half_mm = (0..=last)
            .map(|i| {
                drift = 0.8 * drift + 0.6 * self.rng.normal();
                let end = if i == 0 || i == last { 0.85 } else { 1.0 };
                width / 2.0 * end * (1.0 + 0.05 * w * drift).clamp(0.6, 1.4)
            })
            .collect();
        Form::Stroke { points, half_mm }
    }

    fn ring(&mut self, at: Vector2<f64>, diameter: f64, width: f64, style: RingStyle) {
        let w = self.ink.wobble;
        let sweep = match style {
            RingStyle::Closed => TAU + 0.05,
            RingStyle::Open => TAU - 0.45,
            RingStyle::Overshooting => TAU + 0.55,
        };
        let start = self.rng.between(0.0, TAU);
        let squeeze = 1.0 + 0.08 * w * self.rng.normal().clamp(-2.0, 2.0);
        let axis = self.rng.between(0.0, TAU);
        let (lobe, lobe_phase) = (0.025 * w * self.rng.normal(), self.rng.between(0.0, TAU));
        // The pen ends a little inside or outside of where it began; plainly so where it runs past.
        let side = if self.rng.unit() < 0.5 { -1.0 } else { 1.0 };
        let drift = match style {
            RingStyle::Closed => 0.01 * w * self.rng.normal(),
            RingStyle::Open => 0.07 * w * self.rng.normal(),
            RingStyle::Overshooting => side * (0.14 + 0.05 * w * self.rng.unit()),
        };
        let slip = Vector2::new(self.rng.normal(), self.rng.normal()) * (0.25 * w);
        let points: Vec<_> = (0..=60)
            .map(|i| {
                let t = f64::from(i) / 60.0;
                let angle = start + sweep * t;
                let radius = diameter / 2.0
                    * (1.0 + lobe * (3.0 * angle + lobe_phase).cos() + drift * (t - 0.5));
                let v = heading(angle - axis);
                let v = Vector2::new(v.x * squeeze, v.y / squeeze) * radius;
                let (s, c) = axis.sin_cos();
                at + slip + Vector2::new(c * v.x - s * v.y, s * v.x + c * v.y)
            })
            .collect();
        let form = self.stroke(&points, width);
        let tone = Tone::Ink(self.ink.colour);
        self.push(form, tone);
    }

    fn ruled(&mut self, [from, to]: [Vector2<f64>; 2], bow: f64, width: f64, broken: f64) {
        let length = (to - from).norm().max(1e-6);
        let pieces = line_pieces(bow);
        let mut start = 0.0;
        while start < length {
            // Runs of some 30 mm with gaps that add up to the share asked for.
            let run = if broken > 0.0 {
                self.rng.between(12.0, 45.0)
            } else {
                length
            };
            let end = (start + run).min(length);
            let points: Vec<_> = (0..=pieces)
                .map(|i| start + (end - start) * f64::from(i) / f64::from(pieces))
                .map(|s| on_line(from, to, bow, s / length))
                .collect();
            let form = self.stroke(&points, width);
            let tone = Tone::Ink(self.ink.colour);
            self.push(form, tone);
            start = end + run * broken / (1.0 - broken).max(0.05);
        }
    }

    fn text(&mut self, at: Vector2<f64>, angle: f64, height: f64, text: &str, joined: bool) {
        let way = heading(angle);
        let up = Vector2::new(-way.y, way.x);
        let pitch = height / 6.0;
        let tone = Tone::Ink(self.ink.colour);
        let half = pitch * if joined { 0.42 } else { 0.36 };
        let mut left = 0.0;
        let mut ends = Vec::new();
        for c in text.chars() {
            if let Some(glyph) = font::glyph(c) {
                let place = |row: usize, column: usize| {
                    at + way * (left + column as f64 * pitch) + up * ((6 - row) as f64 * pitch)
                };
                for (row, column) in (0..35).map(|i| (i / 5, i % 5)) {
                    if font::is_set(&glyph, row, column) {
                        let here = place(row, column);
                        ends.push([here, here]);
                        if joined {
                            let next = joins(&glyph, row, column);
                            ends.extend(next.into_iter().map(|(r, k)| [here, place(r, k)]));
                        }
                    }
                }
            }
            left += pitch * 6.6;
        }
        if !ends.is_empty() {
            self.push(
                Form::Bars {
                    ends,
                    half_mm: half,
                },
                tone,
            );
        }
    }

    fn scratch(&mut self, from: Vector2<f64>, to: Vector2<f64>, width: f64, gain: f64) {
        let bow = (to - from).norm() * 0.01 * self.rng.normal();
        let across = Vector2::new(from.y - to.y, to.x - from.x).normalize();
        let points: Vec<_> = (0..=20)
            .map(|i| {
                let t = f64::from(i) / 20.0;
                from + (to - from) * t + across * (4.0 * bow * t * (1.0 - t))
            })
            .collect();
        self.ink.soft_mm = self.ink.soft_mm.min(0.03);
        self.ink.patchy = 0.6;
        let form = self.stroke(&points, width);
        self.push(form, Tone::Gain(gain as f32));
    }

    fn swarf(&mut self, at: Vector2<f64>, length: f64) {
        let start = self.rng.between(0.0, TAU);
        let curl = self.rng.between(1.5, 4.0);
        let mut points = vec![at];
        let mut here = at;
        for i in 0..16 {
            here += heading(start + curl * f64::from(i) / 16.0) * (length / 16.0);
            points.push(here);
        }
        let under: Vec<_> = points
            .iter()
            .map(|p| p + Vector2::new(0.12, -0.14))
            .collect();
        self.ink.density = 0.55;
        let shadow = self.stroke(&under, 0.3);
        self.push(shadow, Tone::Ink([0.1; 3]));
        self.ink.density = 0.95;
        let metal = self.stroke(&points, 0.22);
        self.push(metal, Tone::Gain(1.45));
    }
}

/// The neighbours (right, and below) to which a dot of a glyph is joined.
fn joins(glyph: &[u8; 7], row: usize, column: usize) -> Vec<(usize, usize)> {
    let set = |r: usize, c: usize| r < 7 && c < 5 && font::is_set(glyph, r, c);
    let mut out = Vec::new();
    if set(row, column + 1) {
        out.push((row, column + 1));
    }
    if set(row + 1, column) {
        out.push((row + 1, column));
    }
    // Diagonals only where no square way round joins the two.
    if set(row + 1, column + 1) && !set(row, column + 1) && !set(row + 1, column) {
        out.push((row + 1, column + 1));
    }
    if column > 0 && set(row + 1, column - 1) && !set(row, column - 1) && !set(row + 1, column) {
        out.push((row + 1, column - 1));
    }
    out
}
