//! What is in the picture. Every struct has a sensible default, so that a test writes few lines.

use std::path::Path;
use std::sync::Arc;

use image::RgbImage;
use nalgebra::{Vector2, Vector3};

use super::camera::Camera;
use super::jpeg::SynthError;
use super::marks::Mark;
use crate::card::layout::Layout;
use crate::frame::{Card, Point, Sheet};

/// A whole scene. World frame: mm, x and y as in `Sheet`, z up from the marked face.
#[derive(Debug, Clone, Default)]
pub struct Scene {
    /// The camera.
    pub camera: Camera,
    /// The sheet.
    pub sheet: SheetPiece,
    /// What the sheet lies on.
    pub bench: Bench,
    /// The marked face's material.
    pub surface: Surface,
    /// Scale cards.
    pub cards: Vec<PlacedCard>,
    /// Everything drawn on the face.
    pub marks: Vec<Mark>,
    /// Other things that lie about.
    pub clutter: Vec<Clutter>,
    /// The light.
    pub light: Light,
    /// The sensor and what the phone does to its picture.
    pub sensor: Sensor,
    /// Whether bench, paper and print are without texture: for exact tests.
    pub plain: bool,
    /// Seed of all chance.
    pub seed: u64,
}

impl Scene {
    /// The scene without noise, blur, texture or uneven light: for exact tests.
    #[must_use]
    pub fn clean(mut self) -> Self {
        self.sensor = Sensor::clean();
        self.light = Light::even();
        self.surface = Surface::Plain([0.55; 3]);
        self.plain = true;
        self
    }
}

/// The sheet of metal.
#[derive(Debug, Clone)]
pub struct SheetPiece {
    /// Along x, mm, as cut.
    pub width_mm: f64,
    /// Along y, mm, as cut.
    pub height_mm: f64,
    /// Thickness, mm: the bench is that far below the face.
    pub thickness_mm: f64,
    /// Shift of each corner from where the size puts it, mm: lower left, lower right, upper right,
    /// upper left. For sheets cut out of square.
    pub corner_shift_mm: [[f64; 2]; 4],
    /// Strength of the burr's bright and dark line along the edge, 0 to 1.
    pub burr: f64,
    /// Darkness of the contact shadow on the bench, 0 to 1.
    pub contact_shadow: f64,
}

impl Default for SheetPiece {
    fn default() -> Self {
        Self {
            width_mm: 304.8,
            height_mm: 215.9,
            thickness_mm: 1.0,
            corner_shift_mm: [[0.0; 2]; 4],
            burr: 0.35,
            contact_shadow: 0.6,
        }
    }
}

impl SheetPiece {
    /// A sheet of this size, mm.
    #[must_use]
    pub fn sized(width_mm: f64, height_mm: f64) -> Self {
        Self {
            width_mm,
            height_mm,
            ..Self::default()
        }
    }

    /// Its true corners: lower left, lower right, upper right, upper left.
    #[must_use]
    pub fn corners(&self) -> [Point<Sheet>; 4] {
        let (w, h) = (self.width_mm, self.height_mm);
        let s = &self.corner_shift_mm;
        let place = |i: usize, x: f64, y: f64| Point::new(x + s[i][0], y + s[i][1]);
        [
            place(0, 0.0, 0.0),
            place(1, w, 0.0),
            place(2, w, h),
            place(3, 0.0, h),
        ]
    }
}

/// What the sheet lies on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Bench {
    /// Planed wood.
    #[default]
    Wood,
    /// Grey painted bench.
    Grey,
    /// White paper.
    WhitePaper,
    /// Dark rubber mat.
    Dark,
    /// As bright as the sheet itself.
    LikeSheet,
}

/// The material of the marked face.
#[derive(Debug, Clone, Default)]
pub enum Surface {
    /// Bare aluminium as it comes from the mill: fine grain, broad sheen.
    #[default]
    Mill,
    /// Mill finish with the grain along `grain_rad` from x; `contrast` 1 is strong, 0.3 ordinary.
    Brushed {
        /// Direction of the grain, rad from x, anticlockwise.
        grain_rad: f64,
        /// Strength of the streaks.
        contrast: f64,
    },
    /// White paper, for practice.
    Paper,
    /// Light grey primer, matt.
    Primer,
    /// Dark blue layout dye: marks on it are scribed bright.
    LayoutDye,
    /// A plain reflectance (linear RGB, 0 to 1), no texture: for exact tests.
    Plain([f32; 3]),
    /// A picture of a real surface, repeated over the sheet.
    Texture {
        /// The picture.
        picture: Arc<RgbImage>,
        /// Size of one of its pixels on the sheet, mm.
        mm_per_px: f64,
    },
}

impl Surface {
    /// The surface in a picture file, with one of its pixels `mm_per_px` wide on the sheet.
    ///
    /// # Errors
    /// [`SynthError::Read`] when the file cannot be read as a picture.
    pub fn from_file(path: &Path, mm_per_px: f64) -> Result<Self, SynthError> {
        let picture =
            image::open(path).map_err(|e| SynthError::Read(path.to_owned(), e.to_string()))?;
        Ok(Self::Texture {
            picture: Arc::new(picture.to_rgb8()),
            mm_per_px,
        })
    }
}

/// A scale card lying in the scene.
#[derive(Debug, Clone)]
pub struct PlacedCard {
    /// The card's number, 1 to 64.
    pub number: u16,
    /// Its centre.
    pub centre: Point<Sheet>,
    /// Its turn, rad, anticlockwise.
    pub turn_rad: f64,
    /// Height of its printed face above the marked face, mm; negative on a lower bench.
    pub height_mm: f64,
    /// True size over designed size, across and down.
    pub print_scale: [f64; 2],
    /// How high the ends stand above the middle, mm (a card that curls along its x axis).
    pub curl_mm: f64,
    /// White paper left outside the printed cutting line at its left, right, bottom and top, mm; 0 is a good cut.
    pub cut_wide_mm: [f64; 4],
}

impl PlacedCard {
    /// Card `number` flat at the level of the face.
    #[must_use]
    pub fn at(number: u16, x: f64, y: f64, turn_rad: f64) -> Self {
        Self {
            number,
            centre: Point::new(x, y),
            turn_rad,
            height_mm: 0.0,
            print_scale: [1.0; 2],
            curl_mm: 0.0,
            cut_wide_mm: [0.0; 4],
        }
    }

    /// Lift of the paper per mm² along its x axis.
    pub(super) fn curl_per_mm2(&self) -> f64 {
        let half = Layout::of(self.number).map_or(30.0, |l| l.size_mm[0] / 2.0);
        self.curl_mm / (half * half)
    }

    /// Where a printed point truly is in the world, mm.
    #[must_use]
    pub fn world(&self, on_card: Point<Card>) -> Vector3<f64> {
        let curl = self.curl_per_mm2();
        // Along a curled card the paper is longer than its shadow: arc length of z = c x².
        let along = on_card.x * self.print_scale[0];
        let x = along - 2.0 / 3.0 * curl * curl * along.powi(3);
        let y = on_card.y * self.print_scale[1];
        let (s, c) = self.turn_rad.sin_cos();
        Vector3::new(
            self.centre.x + c * x - s * y,
            self.centre.y + s * x + c * y,
            self.height_mm + curl * x * x,
        )
    }
}

/// Something that lies about.
#[derive(Debug, Clone)]
pub struct Clutter {
    /// What it is.
    pub kind: ClutterKind,
    /// Its middle, mm.
    pub at: Vector2<f64>,
    /// Its turn, rad, anticlockwise.
    pub turn_rad: f64,
    /// Height of its top above the marked face, mm.
    pub height_mm: f64,
}

/// Kinds of clutter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ClutterKind {
    /// A felt pen.
    Pen,
    /// A steel rule of this length with graduations, mm.
    Ruler(f64),
    /// A coin of this diameter, mm.
    Coin(f64),
    /// A dark round thing of this diameter, mm.
    DarkBlob(f64),
    /// A fingertip or hand edge, a rounded bar this wide, mm, and 120 mm long.
    Finger(f64),
    /// A paper note with some lines of writing, of this size, mm.
    Note([f64; 2]),
    /// A strip of masking tape of this size, mm, its ends torn.
    Tape([f64; 2]),
    /// An offcut of bare metal of this size, mm.
    Scrap([f64; 2]),
    /// A paper disc of this diameter, mm, coloured by hand with a felt pen.
    Disc(f64),
}

impl ClutterKind {
    /// Half of its length and width, mm.
    #[must_use]
    pub fn half_size_mm(self) -> [f64; 2] {
        match self {
            Self::Pen => [68.0, 5.0],
            Self::Ruler(length) => [length / 2.0, 12.5],
            Self::Coin(d) | Self::DarkBlob(d) | Self::Disc(d) => [d / 2.0; 2],
            Self::Finger(width) => [60.0, width / 2.0],
            Self::Note(size) | Self::Tape(size) | Self::Scrap(size) => size.map(|s| s / 2.0),
        }
    }

    /// Whether it lies flat on the face, so that its shadow is as short as it is low.
    pub(super) fn is_flat(self) -> bool {
        matches!(
            self,
            Self::Note(_) | Self::Tape(_) | Self::Scrap(_) | Self::Disc(_)
        )
    }
}

/// A soft shadow over part of the scene, as of a hand or the phone.
#[derive(Debug, Clone, Copy)]
pub struct SoftShadow {
    /// A point on its edge.
    pub through: Point<Sheet>,
    /// Which way the shaded side lies, rad from x.
    pub towards_rad: f64,
    /// Width of the soft edge, mm.
    pub softness_mm: f64,
    /// How much light it takes, 0 to 1.
    pub depth: f64,
}

/// A reflection of a lamp in the metal.
#[derive(Debug, Clone, Copy)]
pub struct Glare {
    /// Its middle.
    pub at: Point<Sheet>,
    /// Half-size (standard deviation) along its own axes, mm.
    pub radius_mm: [f64; 2],
    /// Turn of the first axis, rad from x.
    pub turn_rad: f64,
    /// Added radiance at its middle; paper white is about 0.7, so above 1 it burns out.
    pub peak: f64,
}

/// The light.
#[derive(Debug, Clone)]
pub struct Light {
    /// Overall level; 1 puts white paper at about 0.75 of full scale.
    pub level: f64,
    /// Relative change per 100 mm along x and y.
    pub gradient: [f64; 2],
    /// Linear colour of the light after white balance; (1, 1, 1) is neutral, red above blue is warm.
    pub tint: [f32; 3],
    /// Where the lamp or window is, mm, for sheen and the side of shadows.
    pub lamp_mm: Vector3<f64>,
    /// Strength of the sheen of bare metal.
    pub sheen: f64,
    /// Shadows.
    pub shadows: Vec<SoftShadow>,
    /// Reflections that burn out.
    pub glare: Vec<Glare>,
}

impl Default for Light {
    fn default() -> Self {
        Self {
            level: 1.0,
            gradient: [0.05, 0.04],
            tint: [1.02, 1.0, 0.96],
            lamp_mm: Vector3::new(-500.0, 900.0, 1200.0),
            sheen: 0.35,
            shadows: Vec::new(),
            glare: Vec::new(),
        }
    }
}

impl Light {
    /// Even light without sheen.
    #[must_use]
    pub fn even() -> Self {
        Self {
            gradient: [0.0; 2],
            tint: [1.0; 3],
            sheen: 0.0,
            ..Self::default()
        }
    }
}

/// The sensor and what the phone does to its picture.
#[derive(Debug, Clone)]
pub struct Sensor {
    /// Lens blur, standard deviation, px.
    pub blur_px: f64,
    /// Extra blur at the right edge of the picture, px, growing from nothing at the left edge.
    pub blur_right_px: f64,
    /// Motion during the shot, px along x and y; centred, so that nothing shifts.
    pub motion_px: [f64; 2],
    /// Electrons at full scale, for shot noise; infinite for none.
    pub full_well: f64,
    /// Read noise, share of full scale.
    pub read_noise: f64,
    /// Light lost in the picture's corners, 0 to 1.
    pub vignette: f64,
    /// Unsharp mask: amount (0 none, 0.5 usual for phones).
    pub sharpen: f64,
}

impl Default for Sensor {
    fn default() -> Self {
        Self {
            blur_px: 0.8,
            blur_right_px: 0.0,
            motion_px: [0.0; 2],
            full_well: 6000.0,
            read_noise: 0.0015,
            vignette: 0.15,
            sharpen: 0.4,
        }
    }
}

impl Sensor {
    /// A perfect sensor.
    #[must_use]
    pub fn clean() -> Self {
        Self {
            blur_px: 0.0,
            blur_right_px: 0.0,
            motion_px: [0.0; 2],
            full_well: f64::INFINITY,
            read_noise: 0.0,
            vignette: 0.0,
            sharpen: 0.0,
        }
    }
}
