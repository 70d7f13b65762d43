//! The quadrangle round a connected dark shape.

use nalgebra::Vector2;

use crate::raster::components::Component;

/// A quadrangle in the pixels of one picture, clockwise as seen (y down).
pub type Quad = [Vector2<f64>; 4];

/// The four-sided outline of `component`, or `None` when its convex hull is not near a quadrangle.
///
/// Sides of the hull are taken away one at a time, each time the one whose loss adds the least area,
/// until four are left: a corner that a finger covers is rebuilt from the sides on either hand of it.
#[must_use]
pub fn around(component: &Component) -> Option<Quad> {
    let hull = convex_hull(component);
    let hull_area = area(&hull);
    let quad = four_sides(hull)?;
    let quad_area = area(&quad);
    // A covered corner adds a little; anything rounder or more ragged than that is not a frame.
    let near = quad_area > 0.0 && hull_area / quad_area > 0.86;
    (near && sides_are_alike(&quad)).then_some(quad)
}

/// A tilt of 45 degrees shortens by 0.7, and nearness may double a side: sides within a factor of
/// three and a half of each other, and no corner sharper than about 25 degrees.
fn sides_are_alike(quad: &Quad) -> bool {
    let side = |i: usize| quad[(i + 1) % 4] - quad[i];
    let lengths = [0, 1, 2, 3].map(|i| side(i).norm());
    let shortest = lengths.iter().copied().fold(f64::INFINITY, f64::min);
    let longest = lengths.iter().copied().fold(0.0, f64::max);
    let sine = |i: usize| side(i).perp(&side((i + 1) % 4)) / (lengths[i] * lengths[(i + 1) % 4]);
    longest < 3.5 * shortest && (0..4).all(|i| sine(i) > 0.42)
}

fn area(polygon: &[Vector2<f64>]) -> f64 {
    let n = polygon.len();
    (0..n)
        .map(|i| polygon[i].perp(&polygon[(i + 1) % n]))
        .sum::<f64>()
        / 2.0
}

/// Hull of the pixels' own corners, clockwise as seen. Andrew's monotone chain over the ends of the
/// runs, which come sorted by row.
fn convex_hull(component: &Component) -> Vec<Vector2<f64>> {
    let (top, rows) = (component.bounds[1], component.height() as usize);
    let mut left = vec![u32::MAX; rows];
    let mut right = vec![0; rows];
    for run in &component.runs {
        let row = (run.y - top) as usize;
        left[row] = left[row].min(run.start);
        right[row] = right[row].max(run.end);
    }
    let mut down: Vec<Vector2<f64>> = Vec::new();
    let mut up: Vec<Vector2<f64>> = Vec::new();
    let push = |chain: &mut Vec<Vector2<f64>>, p: Vector2<f64>, sign: f64| {
        while let [.., a, b] = chain[..] {
            if sign * (b - a).perp(&(p - b)) > 0.0 {
                break;
            }
            chain.pop();
        }
        chain.push(p);
    };
    for (row, (&l, &r)) in left.iter().zip(&right).enumerate() {
        for y in [row, row + 1] {
            let y = f64::from(top) + y as f64;
            push(&mut down, Vector2::new(f64::from(r), y), 1.0);
            push(&mut up, Vector2::new(f64::from(l), y), -1.0);
        }
    }
    up.reverse();
    down.extend(up);
    down
}

fn four_sides(mut polygon: Vec<Vector2<f64>>) -> Option<Quad> {
    while polygon.len() > 4 {
        let n = polygon.len();
        // Losing the side from b to c: its neighbours a-b and d-c are drawn on until they meet.
        let mut best: Option<(f64, usize, Vector2<f64>)> = None;
        for i in 0..n {
            let [a, b, c, d] = [n - 1, 0, 1, 2].map(|k| polygon[(i + k) % n]);
            let (u, v) = (b - a, c - d);
            let cross = u.perp(&v);
            let turn = (c - b).perp(&v);
            // The neighbours must lean towards each other beyond the lost side.
            if cross >= -1e-12 * u.norm() * v.norm() && cross <= 1e-12 * u.norm() * v.norm() {
                continue;
            }
            let t = turn / cross;
            let meet = b + u * t;
            let s = (meet - c).dot(&v);
            if t < 0.0 || s < 0.0 {
                continue;
            }
            let added = ((c - b).perp(&(meet - b)) / 2.0).abs();
            if best.is_none_or(|(least, ..)| added < least) {
                best = Some((added, i, meet));
            }
        }
        let (_, i, meet) = best?;
        polygon[i] = meet;
        polygon.remove((i + 1) % n);
    }
    polygon.try_into().ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::raster::components::components;

    fn shape(inside: impl Fn(f64, f64) -> bool) -> Component {
        let mask: Vec<u8> = (0..100 * 100)
            .map(|i| u8::from(inside(f64::from(i % 100) + 0.5, f64::from(i / 100) + 0.5)))
            .collect();
        components(&mask, 100, 1, |v| v == 1).swap_remove(0)
    }

    /// A staircase of pixels hides where a slanted side runs by up to a pixel.
    const STAIRS_PX: f64 = 1.2;

    fn assert_corners(quad: &Quad, wanted: &[(f64, f64)]) {
        for &(x, y) in wanted {
            let nearest = quad
                .iter()
                .map(|q| (q - Vector2::new(x, y)).norm())
                .fold(f64::INFINITY, f64::min);
            assert!(
                nearest < STAIRS_PX,
                "({x}, {y}) is {nearest} px from any corner of {quad:?}"
            );
        }
    }

    #[test]
    fn a_turned_square_gives_its_corners() {
        let quad = around(&shape(|x, y| {
            (x - 50.0 + 0.5 * (y - 50.0)).abs() < 20.0 && (y - 50.0 - 0.5 * (x - 50.0)).abs() < 20.0
        }))
        .unwrap();
        assert_corners(
            &quad,
            &[(58.0, 74.0), (74.0, 42.0), (42.0, 26.0), (26.0, 58.0)],
        );
    }

    #[test]
    fn a_covered_corner_is_rebuilt() {
        let quad = around(&shape(|x, y| {
            x > 20.0 && x < 80.0 && y > 20.0 && y < 80.0 && x + y < 142.0
        }))
        .unwrap();
        assert_corners(
            &quad,
            &[(20.0, 20.0), (80.0, 20.0), (80.0, 80.0), (20.0, 80.0)],
        );
    }

    #[test]
    fn discs_and_slivers_are_refused() {
        assert!(
            around(&shape(
                |x, y| (x - 50.0).powi(2) + (y - 50.0).powi(2) < 900.0
            ))
            .is_none()
        );
        assert!(around(&shape(|x, y| x > 10.0 && x < 90.0 && y > 50.0 && y < 60.0)).is_none());
    }
}
