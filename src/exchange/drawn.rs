//! What single entities draw.

use super::flat_map::FlatMap;
use super::shapes::Stroke;
use super::tags::{Block, Entity, Record, number, shown};

/// What an entity is called.
pub(super) fn kind(entity: &Record) -> String {
    shown(entity.kind).to_lowercase()
}

/// Whether an ellipse is a whole circle.
pub(super) fn is_circle(ellipse: &Record) -> bool {
    let (ratio, from, to) = (
        ellipse.number(40, f64::NAN),
        ellipse.number(41, 0.0),
        ellipse.number(42, std::f64::consts::TAU),
    );
    (ratio - 1.0).abs() < 1e-6 && (to - from - std::f64::consts::TAU).abs() < 1e-6
}

/// An arc in two halves, so that a whole circle has ends too.
pub(super) fn arc(entity: &Record, map: &FlatMap) -> Vec<Stroke> {
    if map.scale().is_none() {
        return Vec::new();
    }
    let (centre, radius) = (entity.place(10, 20), entity.number(40, f64::NAN));
    let [from, to] = [50, 51].map(|c| entity.number(c, f64::NAN));
    let turn = (to - from).rem_euclid(360.0);
    let turn = if turn == 0.0 { 360.0 } else { turn };
    let at = |degrees: f64| {
        let (sin, cos) = degrees.to_radians().sin_cos();
        [centre[0] + radius * cos, centre[1] + radius * sin]
    };
    let bulge = (turn / 8.0).to_radians().tan();
    let [a, b, c] = [0.0, 0.5, 1.0].map(|part| at(from + part * turn));
    vec![map.stroke(a, b, bulge), map.stroke(b, c, bulge)]
}

/// Corners of a polyline, each with the bulge to the next.
pub(super) fn corners(entity: &Entity) -> Vec<([f64; 2], f64)> {
    if entity.own.kind == "POLYLINE" {
        // Without those that only lead a smoothed line.
        let vertices = entity.parts.iter().filter(|v| v.kind == "VERTEX");
        return vertices
            .filter(|v| v.flags(70) & 16 == 0)
            .map(|v| (v.place(10, 20), v.number(42, 0.0)))
            .collect();
    }
    let mut corners: Vec<([f64; 2], f64)> = Vec::new();
    for tag in entity.own.tags {
        match (tag.code, corners.last_mut()) {
            (10, _) => corners.push(([number(tag.value), f64::NAN], 0.0)),
            (20, Some(last)) => last.0[1] = number(tag.value),
            (42, Some(last)) => last.1 = number(tag.value),
            // What another program added begins here.
            (1001, _) => break,
            _ => {}
        }
    }
    corners
}

/// Whether a block is a sign drawn in lines, with nothing in it that would be a hole of its own.
pub(super) fn is_sign(block: &Block) -> bool {
    let mut kinds = block.entities.iter().map(|e| e.own.kind);
    let has_line = block.entities.iter().any(|e| e.own.kind == "LINE");
    has_line && kinds.all(|k| matches!(k, "LINE" | "TEXT" | "MTEXT" | "ATTDEF"))
}
