//! SVG to pixels, with the embedded fonts only.

use std::sync::Arc;

use image::RgbImage;
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};

/// Rows drawn at once: bounds the memory that a large picture needs beside itself.
const STRIP_ROWS: u32 = 512;

/// Draws `svg`, whose size is that of `picture`, over `picture`.
///
/// # Errors
/// What the renderer said, where the SVG cannot be read or there is no memory for a strip.
pub(super) fn draw_over(picture: &mut RgbImage, svg: &str) -> Result<(), String> {
    let mut fonts = fontdb::Database::new();
    fonts.load_font_data(include_bytes!("../../assets/DejaVuSans.ttf").to_vec());
    fonts.load_font_data(include_bytes!("../../assets/DejaVuSans-Bold.ttf").to_vec());
    let options = Options {
        font_family: "DejaVu Sans".into(),
        fontdb: Arc::new(fonts),
        ..Options::default()
    };
    let tree = Tree::from_str(svg, &options).map_err(|e| e.to_string())?;
    let (width, height) = picture.dimensions();
    let mut top = 0;
    while top < height {
        let rows = STRIP_ROWS.min(height - top);
        let mut strip =
            Pixmap::new(width, rows).ok_or_else(|| format!("no strip of {width} x {rows} px"))?;
        let up = Transform::from_translate(0.0, -(top as f32));
        resvg::render(&tree, up, &mut strip.as_mut());
        for (i, over) in strip.pixels().iter().enumerate() {
            if over.alpha() == 0 {
                continue;
            }
            let (x, y) = (i as u32 % width, i as u32 / width + top);
            let under = picture.get_pixel_mut(x, y);
            let colour = [over.red(), over.green(), over.blue()];
            let rest = 255 - u16::from(over.alpha());
            for (u, o) in under.0.iter_mut().zip(colour) {
                // The strip's colours are already multiplied by their alpha.
                *u = (u16::from(o) + (u16::from(*u) * rest + 127) / 255).min(255) as u8;
            }
        }
        top += rows;
    }
    Ok(())
}
