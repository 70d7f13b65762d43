//! What the errors of one check come from, told from the truth of the drawn photo: not what the budget says, but
//! what happened.
//!
//! A mark's error is that of its middle in the photo (*mark*), and that of the map from photo to sheet, taken where the
//! mark truly appears. The map's errors at all marks together are a shift and a turn, which are the datum's (*datum*); a
//! stretch along each axis, which is the scale's (*size*); and what is left, pose and lens (*bend*). The rest is how far
//! the face is from flat (*flat*).

use nalgebra::{DMatrix, DVector, Matrix2, Vector2};
use punchready::check::Checked;
use punchready::frame::{Pixel, Point, Sheet};

use crate::scenes::Case;

/// Names of the causes.
pub(crate) const CAUSES: [&str; 5] = ["mark", "datum", "size", "bend", "flat"];
/// A place so near the picture's rim, px, may be found in another photo only.
const RIM_PX: f64 = 20.0;

/// A mark found: its name and where.
pub(crate) type Found = (String, Point<Sheet>);

/// Error of each mark by its causes, in the order of [`CAUSES`], mm.
pub(crate) fn of(case: &Case, checked: &Checked, found: &[Found]) -> Vec<[Vector2<f64>; 5]> {
    let place = |list: &[Found], name: &str| list.iter().find(|t| t.0 == name).map(|t| t.1);
    let mut all = Vec::new();
    let mut map_errors = Vec::new();
    for (name, at) in found {
        let (Some(drawn), Some(truth)) = (place(&case.drawn, name), place(&case.truth, name))
        else {
            continue;
        };
        let Some(mapped) = mapped(case, checked, drawn) else {
            continue;
        };
        map_errors.push((drawn, mapped - drawn));
        // Flat: the photo is drawn as if the face were flat, and the truth is moved instead.
        all.push([
            *at - mapped,
            Vector2::zeros(),
            Vector2::zeros(),
            Vector2::zeros(),
            drawn - truth,
        ]);
    }
    if all.len() < 3 {
        return Vec::new();
    }
    // Shift, turn and two stretches by least squares.
    let rows = 2 * all.len();
    let row = |i: usize| -> [f64; 5] {
        let p = map_errors[i / 2].0;
        if i.is_multiple_of(2) {
            [1.0, 0.0, -p.y, p.x, 0.0]
        } else {
            [0.0, 1.0, p.x, 0.0, p.y]
        }
    };
    let a = DMatrix::from_fn(rows, 5, |i, j| row(i)[j]);
    let b = DVector::from_fn(rows, |i, _| map_errors[i / 2].1[i % 2]);
    let Ok(x) = a.svd(true, true).solve(&b, 1e-12) else {
        return Vec::new();
    };
    for (i, causes) in all.iter_mut().enumerate() {
        let (p, e) = map_errors[i];
        causes[1] = Vector2::new(x[0] - x[2] * p.y, x[1] + x[2] * p.x);
        causes[2] = Vector2::new(x[3] * p.x, x[4] * p.y);
        causes[3] = e - causes[1] - causes[2];
    }
    all
}

/// Where the check has the place that truly is `drawn`, the mean over the photos that show it.
fn mapped(case: &Case, checked: &Checked, drawn: Point<Sheet>) -> Option<Point<Sheet>> {
    let mut sum = Vector2::zeros();
    let mut count = 0.0;
    for (photo, camera) in case.cameras.iter().enumerate() {
        let seen = camera.project(drawn.vec().push(0.0));
        let inside = seen.x > RIM_PX
            && seen.y > RIM_PX
            && seen.x < f64::from(camera.width) - RIM_PX
            && seen.y < f64::from(camera.height) - RIM_PX;
        if !inside {
            continue;
        }
        if let Some(p) = back(|p| checked.pixel_in_photo(photo, p), seen, drawn) {
            sum += p.vec();
            count += 1.0;
        }
    }
    (count > 0.0).then(|| Point::at(sum / count))
}

/// The place that `map` brings to `seen`, by Newton from `start`.
fn back(
    map: impl Fn(Point<Sheet>) -> Option<Point<Pixel>>,
    seen: Point<Pixel>,
    start: Point<Sheet>,
) -> Option<Point<Sheet>> {
    let mut p = start.vec();
    for _ in 0..6 {
        let at = |d: Vector2<f64>| Some(map(Point::at(p + d))?.vec());
        let (x, y) = (Vector2::x() * 0.5, Vector2::y() * 0.5);
        let slope = Matrix2::from_columns(&[at(x)? - at(-x)?, at(y)? - at(-y)?]);
        p += slope.try_inverse()? * (seen.vec() - at(Vector2::zeros())?);
    }
    Some(Point::at(p))
}
