//! One photo of the lens page: the corners found, in the frame of the stored picture.

use super::turn::Turn;
use crate::card::{SeenSaddle, find, lens_page};
use crate::photo::{Camera, Photo};

/// Fewest corners of the page that a photo must show: two cards.
pub const MIN_CORNERS: usize = 48;
/// Focal lengths agree within this: EXIF rounds to a hundredth of a millimetre or better.
const SAME_FOCAL: f64 = 0.01;

/// A photo of the lens page.
#[derive(Debug, Clone)]
pub struct Shot {
    /// The file, for people.
    pub name: String,
    /// What its EXIF says.
    pub camera: Camera,
    /// Width and height of the stored picture, px.
    pub size: [u32; 2],
    /// The corners: `on_card` in the page's frame, mm; `at` in the stored picture.
    pub corners: Vec<SeenSaddle>,
}

/// A photo that was left out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftOut {
    /// The file, for people.
    pub name: String,
    /// Why, and what to do.
    pub why: String,
}

impl Shot {
    /// Looks for the lens page in a photo.
    ///
    /// # Errors
    /// [`LeftOut`] with the reason when the photo cannot take part: no or too little of the page, a mirror
    /// image, digital zoom, a picture changed after the shot.
    pub fn of(photo: &Photo) -> Result<Self, LeftOut> {
        let name = photo.path.display().to_string();
        let left_out = |why: String| LeftOut {
            name: name.clone(),
            why,
        };
        let (w, h) = photo.grey.dimensions();
        let turn = Turn::of(photo.camera.orientation, [w, h]);
        if turn.mirrors() {
            return Err(left_out(
                "its EXIF says that it is a mirror image; use the main camera, not a selfie".into(),
            ));
        }
        if let Some(why) = changed(&photo.camera, turn.stored) {
            return Err(left_out(why));
        }
        let found = find::find(&photo.grey);
        let mut corners = lens_page::board(&found.cards);
        if corners.len() < MIN_CORNERS {
            let others = found
                .cards
                .iter()
                .any(|c| lens_page::centre(c.number).is_none());
            let hint = if others && corners.is_empty() {
                "it shows scale cards, which is another page: print the lens page with punchready cards --lens-page"
            } else {
                "show more of the page, sharp and without glare"
            };
            return Err(left_out(format!(
                "{} corners of the lens page found; {MIN_CORNERS} are needed; {hint}",
                corners.len()
            )));
        }
        for c in &mut corners {
            c.at = turn.stored_from_upright(c.at);
            c.cov = turn.stored_cov(c.cov);
        }
        Ok(Self {
            name,
            camera: photo.camera.clone(),
            size: turn.stored,
            corners,
        })
    }

    /// Whether two shots are the same picture.
    fn is_copy_of(&self, other: &Self) -> bool {
        self.corners.len() == other.corners.len()
            && self
                .corners
                .iter()
                .zip(&other.corners)
                .all(|(a, b)| a.at == b.at)
    }
}

/// What was done to a picture after light fell on the sensor; `None` if nothing is known of.
pub(super) fn changed(camera: &Camera, stored: [u32; 2]) -> Option<String> {
    if let Some(zoom) = camera.digital_zoom {
        return Some(format!(
            "it was taken with digital zoom {zoom:.2}; take it at 1x"
        ));
    }
    match camera.exif_size {
        Some(wrote) if wrote != stored => Some(format!(
            "it is {} x {} pixels, but the camera wrote {} x {}: it was cropped or resized after the shot; use the photo as taken",
            stored[0], stored[1], wrote[0], wrote[1]
        )),
        _ => None,
    }
}

/// What differs between two cameras by their EXIF: `None` if nothing does. Size is not looked at.
pub(super) fn other_camera(expected: &Camera, is: &Camera) -> Option<String> {
    let word = |w: &Option<String>| {
        w.as_deref()
            .map_or("not said".to_owned(), |w| w.trim().to_owned())
    };
    let differ = |a: &Option<String>, b: &Option<String>| !word(a).eq_ignore_ascii_case(&word(b));
    for (what, a, b) in [
        ("maker", &expected.make, &is.make),
        ("model", &expected.model, &is.model),
    ] {
        if differ(a, b) {
            return Some(format!(
                "its camera's {what} is {}, expected {}",
                word(b),
                word(a)
            ));
        }
    }
    for (what, a, b) in [
        ("focal length", expected.focal_mm, is.focal_mm),
        ("35 mm equivalent", expected.focal_35mm, is.focal_35mm),
    ] {
        let mm = |f: Option<f64>| f.map_or("not said".to_owned(), |f| format!("{f} mm"));
        let same = match (a, b) {
            (Some(a), Some(b)) => (a / b - 1.0).abs() <= SAME_FOCAL,
            (None, None) => true,
            _ => false,
        };
        if !same {
            return Some(format!("its {what} is {}, expected {}", mm(b), mm(a)));
        }
    }
    None
}

/// Keeps the shots of one camera at one size, the one with most shots; the others, and copies, are named.
#[must_use]
pub fn same_camera(shots: Vec<Shot>) -> (Vec<Shot>, Vec<LeftOut>) {
    let alike =
        |a: &Shot, b: &Shot| a.size == b.size && other_camera(&a.camera, &b.camera).is_none();
    let count = |s: &Shot| shots.iter().filter(|o| alike(s, o)).count();
    // Of equals the first.
    let Some(model) = (0..shots.len()).max_by_key(|&i| (count(&shots[i]), usize::MAX - i)) else {
        return (shots, Vec::new());
    };
    let model = shots[model].clone();
    let mut kept: Vec<Shot> = Vec::new();
    let mut out = Vec::new();
    for shot in shots {
        let why = if let Some(why) = other_camera(&model.camera, &shot.camera) {
            Some(format!("{why}, as in most of the photos"))
        } else if shot.size != model.size {
            Some(format!(
                "it is stored as {} x {} pixels, most of the photos as {} x {}",
                shot.size[0], shot.size[1], model.size[0], model.size[1]
            ))
        } else {
            kept.iter()
                .find(|k| k.is_copy_of(&shot))
                .map(|k| format!("it is the same picture as {}", k.name))
        };
        match why {
            Some(why) => out.push(LeftOut {
                name: shot.name,
                why,
            }),
            None => kept.push(shot),
        }
    }
    (kept, out)
}
