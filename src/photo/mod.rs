//! Reading a photo: one upright grey plane and what the camera says of itself.

use std::path::PathBuf;

use image::GrayImage;

/// What EXIF says of the camera and the shot. All fields are as the file gives them.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Camera {
    /// Maker of the camera.
    pub make: Option<String>,
    /// Model name.
    pub model: Option<String>,
    /// Real focal length, mm.
    pub focal_mm: Option<f64>,
    /// 35 mm equivalent focal length, mm.
    pub focal_35mm: Option<f64>,
    /// Digital zoom; `None` when not used or unknown.
    pub digital_zoom: Option<f64>,
    /// Width and height that EXIF gives, before any turn. When it differs from the file's own size
    /// the picture was resized or cropped after the shot.
    pub exif_size: Option<[u32; 2]>,
    /// EXIF orientation 1 to 8.
    pub orientation: u8,
}

/// A photo, turned upright.
#[derive(Debug, Clone)]
pub struct Photo {
    /// The file it came from.
    pub path: PathBuf,
    /// Brightness, upright; sRGB-encoded as in the file.
    pub grey: GrayImage,
    /// What the camera says.
    pub camera: Camera,
}
