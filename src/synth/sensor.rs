//! From radiance to an 8-bit picture: blur, vignette, noise, sharpening, sRGB.

use image::RgbImage;
use rayon::prelude::*;

use super::noise::{hashed_normal, mix};
use super::scene::{Scene, Sensor};
use super::trace::Radiance;

/// Radius of the phone's own sharpening, px.
const SHARPEN_PX: f64 = 1.2;
/// Entries of the table from linear to sRGB; steps are then far below one grey level.
const TABLE: usize = 1 << 14;

/// Linear light of an sRGB byte (IEC 61966-2-1).
pub(super) fn linear(byte: u8) -> f32 {
    let v = f32::from(byte) / 255.0;
    if v <= 0.04045 {
        v / 12.92
    } else {
        ((v + 0.055) / 1.055).powf(2.4)
    }
}

/// sRGB of linear light (IEC 61966-2-1), 0 to 255.
fn encode(v: f32) -> f32 {
    let s = if v <= 0.003_130_8 {
        12.92 * v
    } else {
        1.055 * v.powf(1.0 / 2.4) - 0.055
    };
    s * 255.0
}

pub(super) fn develop(scene: &Scene, radiance: Radiance) -> RgbImage {
    let Radiance {
        width,
        mut rgb,
        blur_px2,
    } = radiance;
    let (w, h) = (scene.camera.width, scene.camera.height);
    let sensor = &scene.sensor;
    if width == 0 || h == 0 {
        return RgbImage::new(w, h);
    }
    if sensor.motion_px[0].hypot(sensor.motion_px[1]) > 0.0 {
        rgb = moved(&rgb, width, sensor.motion_px);
    }
    if sensor.blur_right_px > 0.0 {
        rgb = uneven_blur(&rgb, width, sensor, blur_px2);
    } else {
        rgb = gauss(&rgb, width, rest(sensor.blur_px, blur_px2));
    }
    expose(scene, &mut rgb);
    let table: Vec<f32> = (0..=TABLE)
        .map(|i| encode(i as f32 / TABLE as f32))
        .collect();
    // Phones sharpen what the eye will see, so in sRGB.
    rgb.par_iter_mut().for_each(|v| {
        let at = v.clamp(0.0, 1.0) * TABLE as f32;
        let i = (at as usize).min(TABLE - 1);
        let t = at - i as f32;
        *v = if i < 64 {
            encode(v.clamp(0.0, 1.0))
        } else {
            table[i] * (1.0 - t) + table[i + 1] * t
        };
    });
    if sensor.sharpen > 0.0 {
        let soft = gauss(&rgb, width, SHARPEN_PX);
        let amount = sensor.sharpen as f32;
        rgb.par_iter_mut()
            .zip(&soft)
            .for_each(|(v, s)| *v += amount * (*v - s));
    }
    let bytes: Vec<u8> = rgb
        .par_iter()
        .map(|v| v.round().clamp(0.0, 255.0) as u8)
        .collect();
    RgbImage::from_raw(w, h, bytes).unwrap_or_else(|| RgbImage::new(w, h))
}

/// Vignette, shot noise and read noise, each pixel by its own hash.
fn expose(scene: &Scene, rgb: &mut [f32]) {
    let sensor = &scene.sensor;
    let width = scene.camera.width as usize;
    let middle = [
        f64::from(scene.camera.width) / 2.0,
        f64::from(scene.camera.height) / 2.0,
    ];
    let corner2 = middle[0].powi(2) + middle[1].powi(2);
    let read2 = (sensor.read_noise * sensor.read_noise) as f32;
    let per_electron = (1.0 / sensor.full_well) as f32;
    let key = mix(scene.seed ^ 0x5e75_0a11);
    rgb.par_chunks_mut(width * 3)
        .enumerate()
        .for_each(|(row, line)| {
            for (column, pixel) in line.chunks_exact_mut(3).enumerate() {
                let dx = column as f64 + 0.5 - middle[0];
                let dy = row as f64 + 0.5 - middle[1];
                let r2 = (dx * dx + dy * dy) / corner2;
                let gain = (1.0 - sensor.vignette * r2) as f32;
                for (channel, v) in (0u64..).zip(pixel) {
                    *v *= gain;
                    let variance = *v * per_electron + read2;
                    if variance > 0.0 {
                        let index = (row * width + column) as u64 * 3 + channel;
                        *v += variance.sqrt() * hashed_normal(key ^ index);
                    }
                }
            }
        });
}

/// The blur that is still to do for `sigma` px in all.
fn rest(sigma: f64, done_px2: f64) -> f64 {
    (sigma * sigma - done_px2).max(0.0).sqrt()
}

/// The discrete Gaussian of variance `sigma`²: e^-t I_n(t), t the variance (Lindeberg, "Scale-Space
/// for Discrete Signals", IEEE PAMI 12(3), 1990, from memory). Its variance is right however narrow it
/// is, which that of a sampled bell is not.
fn kernel(sigma: f64) -> Vec<f32> {
    let t = sigma * sigma;
    let reach = (4.0 * sigma).ceil().max(2.0) as usize;
    let half: Vec<f64> = (0..=reach)
        .map(|n| {
            // I_n(t) by its series.
            let mut term: f64 = (1..=n).map(|k| t / 2.0 / k as f64).product();
            let mut sum = 0.0;
            let mut m = 0.0;
            while term > 1e-18 * sum && m < 500.0 {
                sum += term;
                m += 1.0;
                term *= (t / 2.0) * (t / 2.0) / (m * (m + n as f64));
            }
            sum * (-t).exp()
        })
        .collect();
    let total: f64 = half[0] + 2.0 * half[1..].iter().sum::<f64>();
    half[1..]
        .iter()
        .rev()
        .chain(&half)
        .map(|w| (w / total) as f32)
        .collect()
}

/// Blur across, then down. At the picture's edges the last pixel goes on.
pub(super) fn gauss(rgb: &[f32], width: usize, sigma: f64) -> Vec<f32> {
    if sigma <= 0.0 {
        return rgb.to_vec();
    }
    let kernel = kernel(sigma);
    let reach = kernel.len() / 2;
    let height = rgb.len() / (width * 3);
    let mut across = vec![0.0; rgb.len()];
    across
        .par_chunks_mut(width * 3)
        .zip(rgb.par_chunks(width * 3))
        .for_each(|(out, line)| {
            // A padded copy spares the bounds arithmetic inside the loop.
            let mut padded = Vec::with_capacity((width + 2 * reach) * 3);
            for _ in 0..reach {
                padded.extend_from_slice(&line[..3]);
            }
            padded.extend_from_slice(line);
            for _ in 0..reach {
                padded.extend_from_slice(&line[width * 3 - 3..]);
            }
            for (k, &weight) in kernel.iter().enumerate() {
                for (o, v) in out.iter_mut().zip(&padded[k * 3..]) {
                    *o += weight * v;
                }
            }
        });
    let mut both = vec![0.0; rgb.len()];
    both.par_chunks_mut(width * 3)
        .enumerate()
        .for_each(|(row, out)| {
            for (k, &weight) in kernel.iter().enumerate() {
                let from = (row + k).saturating_sub(reach).min(height - 1);
                for (o, v) in out.iter_mut().zip(&across[from * width * 3..]) {
                    *o += weight * v;
                }
            }
        });
    both
}

/// Blur that grows from left to right: blurs of several widths, mixed.
fn uneven_blur(rgb: &[f32], width: usize, sensor: &Sensor, done_px2: f64) -> Vec<f32> {
    const STEPS: usize = 6;
    let layers: Vec<Vec<f32>> = (0..=STEPS)
        .map(|i| {
            let sigma = sensor.blur_px + sensor.blur_right_px * i as f64 / STEPS as f64;
            gauss(rgb, width, rest(sigma, done_px2))
        })
        .collect();
    (0..rgb.len())
        .into_par_iter()
        .map(|i| {
            let at = (i / 3 % width) as f32 / width as f32 * STEPS as f32;
            let (layer, t) = (at as usize, at.fract());
            layers[layer][i] * (1.0 - t) + layers[layer + 1][i] * t
        })
        .collect()
}

/// Motion of (dx, dy) px during the shot, centred.
fn moved(rgb: &[f32], width: usize, [dx, dy]: [f64; 2]) -> Vec<f32> {
    let height = rgb.len() / (width * 3);
    let steps = (dx.hypot(dy) * 3.0).ceil().max(2.0) as usize;
    let shifts: Vec<[f64; 2]> = (0..steps)
        .map(|i| {
            let t = (i as f64 + 0.5) / steps as f64 - 0.5;
            [dx * t, dy * t]
        })
        .collect();
    let mut out = vec![0.0; rgb.len()];
    out.par_chunks_mut(width * 3)
        .enumerate()
        .for_each(|(row, line)| {
            for [sx, sy] in &shifts {
                let (x, y) = (sx.floor(), sy.floor());
                let (tx, ty) = ((sx - x) as f32, (sy - y) as f32);
                let clamp = |v: isize, n: usize| v.clamp(0, n as isize - 1) as usize;
                let upper = clamp(row as isize + y as isize, height) * width;
                let lower = clamp(row as isize + y as isize + 1, height) * width;
                for (column, o) in line.chunks_exact_mut(3).enumerate() {
                    let i = clamp(column as isize + x as isize, width);
                    let j = clamp(column as isize + x as isize + 1, width);
                    for c in 0..3 {
                        let get = |r: usize, k: usize| rgb[(r + k) * 3 + c];
                        let a = get(upper, i) * (1.0 - tx) + get(upper, j) * tx;
                        let b = get(lower, i) * (1.0 - tx) + get(lower, j) * tx;
                        o[c] += (a * (1.0 - ty) + b * ty) / steps as f32;
                    }
                }
            }
        });
    out
}
