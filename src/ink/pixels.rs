//! The pixels of a figure as a set, and what is left of it when its rim is peeled off.

use nalgebra::Vector2;

/// A set of pixels within a rectangle, one byte each, with an empty margin of one pixel round them.
pub(super) struct Pixels {
    first: (i64, i64),
    width: usize,
    inside: Vec<bool>,
}

impl Pixels {
    /// Those that hold a point.
    pub(super) fn of(points: &[Vector2<f64>]) -> Self {
        let cells = || points.iter().map(cell);
        let (low, high) = cells().fold(
            ((i64::MAX, i64::MAX), (i64::MIN, i64::MIN)),
            |(l, h), (x, y)| ((l.0.min(x), l.1.min(y)), (h.0.max(x), h.1.max(y))),
        );
        if points.is_empty() {
            return Self {
                first: (0, 0),
                width: 1,
                inside: Vec::new(),
            };
        }
        let first = (low.0 - 1, low.1 - 1);
        let [width, height] = [high.0 - first.0 + 2, high.1 - first.1 + 2].map(|n| n as usize);
        let mut inside = vec![false; width * height];
        for (x, y) in cells() {
            inside[(y - first.1) as usize * width + (x - first.0) as usize] = true;
        }
        Self {
            first,
            width,
            inside,
        }
    }

    /// Pixels of the rectangle, with its margin.
    pub(super) fn area(&self) -> usize {
        self.inside.len()
    }

    /// How many.
    pub(super) fn count(&self) -> usize {
        self.inside.iter().filter(|i| **i).count()
    }

    /// How many have a neighbour beside, above or below that is none of the set.
    pub(super) fn rim(&self) -> usize {
        self.count() - self.peeled(false).count()
    }

    /// The set without its rim, over four neighbours or eight: by turns, a disc loses its rim evenly.
    pub(super) fn peeled(&self, eight: bool) -> Self {
        let w = self.width;
        let mut inside = vec![false; self.inside.len()];
        // The margin keeps neighbours within the rectangle.
        for i in (0..self.inside.len()).filter(|&i| self.inside[i]) {
            let all = |near: [usize; 4]| near.iter().all(|&j| self.inside[j]);
            inside[i] = all([i - 1, i + 1, i - w, i + w])
                && (!eight || all([i - w - 1, i - w + 1, i + w - 1, i + w + 1]));
        }
        Self { inside, ..*self }
    }

    /// Whether one of them lies within `reach` columns and rows of the pixel that holds `p`, and within the root of
    /// `square` of it.
    pub(super) fn within(&self, p: Vector2<f64>, reach: i64, square: i64) -> bool {
        let (x, y) = cell(&p);
        (-reach..=reach).any(|dy| {
            (-reach..=reach).any(|dx| dx * dx + dy * dy <= square && self.holds(x + dx, y + dy))
        })
    }

    fn holds(&self, x: i64, y: i64) -> bool {
        let (x, y) = (x - self.first.0, y - self.first.1);
        let within = x >= 0 && y >= 0 && x < self.width as i64;
        within
            && self
                .inside
                .get(y as usize * self.width + x as usize)
                .is_some_and(|i| *i)
    }
}

/// The pixel that holds a point.
fn cell(p: &Vector2<f64>) -> (i64, i64) {
    (p.x.floor() as i64, p.y.floor() as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_disc_is_peeled_once_for_each_pixel_of_its_radius_and_its_rim_is_its_outline() {
        let disc: Vec<Vector2<f64>> = (0..31 * 31)
            .map(|i| Vector2::new(f64::from(i % 31) - 10.5, f64::from(i / 31) + 0.5))
            .filter(|p| (p - Vector2::new(4.5, 15.5)).norm() < 12.2)
            .collect();
        let all = Pixels::of(&disc);
        assert_eq!(all.count(), disc.len());
        let outline = disc.iter().filter(|p| {
            let sides = [[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]];
            sides
                .iter()
                .any(|d| !disc.contains(&(*p + Vector2::from(*d))))
        });
        assert_eq!(all.rim(), outline.count());
        let mut left = all;
        let mut times = 0;
        while left.count() > 0 {
            left = left.peeled(times % 2 == 1);
            times += 1;
        }
        assert!((12..=13).contains(&times), "{times}");
        let square = Pixels::of(&[Vector2::new(3.5, 7.5)]);
        assert!(square.within(Vector2::new(4.2, 8.2), 1, 2));
        assert!(!square.within(Vector2::new(4.2, 8.2), 1, 1));
        assert!(!square.within(Vector2::new(-9.0, 300.0), 2, 8));
        assert_eq!(Pixels::of(&[]).rim(), 0);
    }
}
