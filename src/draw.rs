//! Drawing: SVG text in, PNG or PDF out, with our own fonts so that pages look alike everywhere.
//!
//! Every picture of this program is made as SVG first. Lengths in a [`page`] are millimetres, y down,
//! origin upper left, and a PDF page is exactly as large as it says.

use std::collections::BTreeMap;
use std::fmt;
use std::fmt::Write as _;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;
use pdf_writer::{Content, Finish, Name, Pdf, Ref, TextStr};
use resvg::tiny_skia::{Pixmap, PixmapRef, Transform};
use resvg::usvg::{Options, Tree, fontdb};

use crate::report::{ReportError, write_atomically};

/// The family that all text is set in; weights 400 and 700.
pub const FONT: &str = "DejaVu Sans";
/// Points (1/72 in) in a millimetre.
const POINTS_PER_MM: f64 = 72.0 / 25.4;
/// Most pixels a drawing is rendered to: a page at 600 dpi has 35 million.
const MAX_PIXELS: u64 = 200_000_000;

/// Why a drawing could not be made or written.
#[derive(Debug)]
#[non_exhaustive]
pub enum DrawError {
    /// The SVG text cannot be read.
    BadSvg(String),
    /// The picture would have no pixels, or too many.
    BadSize {
        /// Width, pixels.
        width: f64,
        /// Height, pixels.
        height: f64,
    },
    /// The PNG or PDF could not be built.
    Encode(String),
    /// A file or folder could not be written.
    Write {
        /// Where to.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
}

impl fmt::Display for DrawError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::BadSvg(why) => write!(
                f,
                "drawing: the SVG text cannot be read ({why}); please report this"
            ),
            Self::BadSize { width, height } => write!(
                f,
                "drawing: {width} x {height} pixels asked for; expected 1 to {} million; choose another scale",
                MAX_PIXELS / 1_000_000
            ),
            Self::Encode(why) => write!(
                f,
                "drawing: the file could not be built ({why}); please report this"
            ),
            Self::Write { path, source } => write!(
                f,
                "{}: cannot be written ({source}); an older file of that name is unchanged; {}",
                path.display(),
                crate::report::advice(source)
            ),
        }
    }
}

impl std::error::Error for DrawError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Write { source, .. } => Some(source),
            _ => None,
        }
    }
}

/// Text made safe for SVG, inside an element or an attribute. Control characters, which XML forbids,
/// become spaces.
#[must_use]
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\u{fffe}' | '\u{ffff}' => out.push(' '),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// An SVG document of this size round `body`: units are millimetres, y down, origin upper left, white
/// ground, text in [`FONT`].
#[must_use]
pub fn page(width_mm: f64, height_mm: f64, body: &str) -> String {
    let mut svg = String::with_capacity(body.len() + 400);
    // Writing to a string cannot fail.
    let _ = write!(
        svg,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" \
         width=\"{width_mm}mm\" height=\"{height_mm}mm\" viewBox=\"0 0 {width_mm} {height_mm}\" \
         font-family=\"{FONT}\">\n<rect width=\"{width_mm}\" height=\"{height_mm}\" fill=\"#fff\"/>\n{body}</svg>\n"
    );
    svg
}

/// A number for SVG: millimetres to the nanometre, without trailing zeros, so that the text is short
/// and the same everywhere.
#[must_use]
pub fn num(value: f64) -> String {
    let text = format!("{value:.6}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

/// The embedded fonts, read once.
fn fonts() -> Arc<fontdb::Database> {
    static FONTS: OnceLock<Arc<fontdb::Database>> = OnceLock::new();
    FONTS
        .get_or_init(|| {
            let mut fonts = fontdb::Database::new();
            fonts.load_font_data(include_bytes!("../assets/DejaVuSans.ttf").to_vec());
            fonts.load_font_data(include_bytes!("../assets/DejaVuSans-Bold.ttf").to_vec());
            for set in [
                fontdb::Database::set_serif_family,
                fontdb::Database::set_sans_serif_family,
                fontdb::Database::set_monospace_family,
            ] {
                set(&mut fonts, FONT);
            }
            Arc::new(fonts)
        })
        .clone()
}

/// A tree whose unit is one user unit of the SVG: `dpi` makes `mm` lengths come out so.
fn tree(svg: &str) -> Result<Tree, DrawError> {
    let options = Options {
        dpi: 25.4,
        font_family: FONT.to_owned(),
        fontdb: fonts(),
        ..Options::default()
    };
    Tree::from_str(svg, &options).map_err(|e| DrawError::BadSvg(e.to_string()))
}

/// Renders to pixels: `scale` pixels for each unit of the document's size (each mm, if it is in mm).
/// The size is rounded to whole pixels.
///
/// # Errors
/// [`DrawError::BadSvg`], or [`DrawError::BadSize`] for no or too many pixels.
pub fn pixels(svg: &str, scale: f64) -> Result<Pixmap, DrawError> {
    let tree = tree(svg)?;
    let [width, height] =
        [tree.size().width(), tree.size().height()].map(|s| (f64::from(s) * scale).round());
    let bad = || DrawError::BadSize { width, height };
    // A NaN fails this too.
    if !(width >= 1.0 && height >= 1.0 && width * height <= MAX_PIXELS as f64) {
        return Err(bad());
    }
    let mut pixmap = Pixmap::new(width as u32, height as u32).ok_or_else(bad)?;
    let scale = scale as f32;
    resvg::render(
        &tree,
        Transform::from_scale(scale, scale),
        &mut pixmap.as_mut(),
    );
    Ok(pixmap)
}

/// Renders to a PNG file's bytes; `scale` as in [`pixels`]. Black and white drawings are stored grey.
///
/// # Errors
/// As [`pixels`], and [`DrawError::Encode`].
pub fn png(svg: &str, scale: f64) -> Result<Vec<u8>, DrawError> {
    encode(pixels(svg, scale)?.as_ref(), scale)
}

fn encode(pixmap: PixmapRef<'_>, px_per_mm: f64) -> Result<Vec<u8>, DrawError> {
    let opaque: Vec<[u8; 4]> = pixmap
        .pixels()
        .iter()
        .map(|p| {
            let p = p.demultiply();
            [p.red(), p.green(), p.blue(), p.alpha()]
        })
        .collect();
    let (kind, data) = if opaque.iter().any(|p| p[3] != 255) {
        (png::ColorType::Rgba, opaque.concat())
    } else if opaque.iter().all(|p| p[0] == p[1] && p[1] == p[2]) {
        (
            png::ColorType::Grayscale,
            opaque.iter().map(|p| p[0]).collect(),
        )
    } else {
        (
            png::ColorType::Rgb,
            opaque.iter().flat_map(|p| [p[0], p[1], p[2]]).collect(),
        )
    };
    let size = [pixmap.width(), pixmap.height()];
    png_file(size, kind, &data, Some(px_per_mm))
}

/// A PNG file of bytes as they are, eight bits a channel, that says which program made it.
///
/// # Errors
/// [`DrawError::Encode`] when there are not as many bytes as the size asks for.
pub(crate) fn png_file(
    [width, height]: [u32; 2],
    kind: png::ColorType,
    data: &[u8],
    px_per_mm: Option<f64>,
) -> Result<Vec<u8>, DrawError> {
    let wrong = |e: png::EncodingError| DrawError::Encode(e.to_string());
    let mut out = Vec::new();
    let mut encoder = png::Encoder::new(&mut out, width, height);
    encoder.set_color(kind);
    encoder.set_depth(png::BitDepth::Eight);
    encoder
        .add_text_chunk("Software".to_owned(), "punchready".to_owned())
        .map_err(wrong)?;
    if let Some(px_per_mm) = px_per_mm {
        // True size for programs that go by it.
        let per_metre = (px_per_mm * 1000.0).round() as u32;
        encoder.set_pixel_dims(Some(png::PixelDimensions {
            xppu: per_metre,
            yppu: per_metre,
            unit: png::Unit::Meter,
        }));
    }
    let mut writer = encoder.write_header().map_err(wrong)?;
    writer.write_image_data(data).map_err(wrong)?;
    writer.finish().map_err(wrong)?;
    Ok(out)
}

/// A photo with signs on it as a PNG file.
///
/// # Errors
/// [`DrawError::Encode`].
pub fn picture_png(picture: &RgbImage) -> Result<Vec<u8>, DrawError> {
    let size = picture.dimensions().into();
    png_file(size, png::ColorType::Rgb, picture.as_raw(), None)
}

/// A photo with signs on it as a JPEG file, 1 to 100 in `quality`; a comment says which program made it.
///
/// # Errors
/// [`DrawError::Encode`].
pub fn picture_jpeg(picture: &RgbImage, quality: u8) -> Result<Vec<u8>, DrawError> {
    let mut bytes = Vec::new();
    picture
        .write_with_encoder(JpegEncoder::new_with_quality(&mut bytes, quality))
        .map_err(|e| DrawError::Encode(e.to_string()))?;
    // A comment may stand before any segment but the first, which is JFIF's own (ITU-T T.81, B.2.4.5, and JFIF 1.02,
    // both from memory).
    let at = match bytes[..] {
        [0xff, 0xd8, 0xff, 0xe0, high, low, ..] => 4 + usize::from(u16::from_be_bytes([high, low])),
        _ => 2,
    };
    let text = b"punchready";
    let length = 2 + text.len() as u8;
    let comment = [&[0xff, 0xfe, 0, length][..], text].concat();
    bytes.splice(at..at, comment);
    Ok(bytes)
}

/// Makes a PDF with one page for each SVG (sizes in mm, as by [`page`]). Letters are outlines: they
/// print alike everywhere, but cannot be searched.
///
/// # Errors
/// [`DrawError::BadSvg`] or [`DrawError::Encode`].
pub fn pdf(title: &str, pages: &[String]) -> Result<Vec<u8>, DrawError> {
    let mut next = Ref::new(1);
    let catalog = next.bump();
    let page_tree = next.bump();
    let info = next.bump();
    // Letters as outlines: svg2pdf 0.13 writes embedded fonts in the order of a randomly seeded hash
    // map, and the same pages must give the same bytes.
    let options = svg2pdf::ConversionOptions {
        embed_text: false,
        ..svg2pdf::ConversionOptions::default()
    };
    let mut pdf = Pdf::new();
    let mut kids = Vec::new();
    for svg in pages {
        let tree = tree(svg)?;
        let (chunk, drawing) =
            svg2pdf::to_chunk(&tree, options).map_err(|e| DrawError::Encode(e.to_string()))?;
        // Each page's objects are numbered from 1; give them numbers of the whole file.
        let mut numbers = BTreeMap::new();
        let chunk = chunk.renumber(|old| *numbers.entry(old).or_insert_with(|| next.bump()));
        let drawing = *numbers
            .get(&drawing)
            .ok_or_else(|| DrawError::Encode("a page lost its drawing".to_owned()))?;
        let page_ref = next.bump();
        let content_ref = next.bump();
        kids.push(page_ref);
        let [width, height] = [tree.size().width(), tree.size().height()]
            .map(|s| (f64::from(s) * POINTS_PER_MM) as f32);
        let name = Name(b"D");
        let mut page = pdf.page(page_ref);
        page.media_box(pdf_writer::Rect::new(0.0, 0.0, width, height));
        page.parent(page_tree);
        page.contents(content_ref);
        let mut resources = page.resources();
        resources.x_objects().pair(name, drawing);
        resources.finish();
        page.finish();
        let mut content = Content::new();
        // The drawing is one point wide and high until it is stretched over the page.
        content
            .transform([width, 0.0, 0.0, height, 0.0, 0.0])
            .x_object(name);
        pdf.stream(content_ref, &content.finish());
        pdf.extend(&chunk);
    }
    let mut root = pdf.catalog(catalog);
    root.pages(page_tree);
    // Asks the reader's print dialogue for 100 % instead of "fit".
    root.viewer_preferences()
        .pair(Name(b"PrintScaling"), Name(b"None"));
    root.finish();
    pdf.pages(page_tree)
        .count(i32::try_from(kids.len()).unwrap_or(i32::MAX))
        .kids(kids);
    pdf.document_info(info)
        .title(TextStr(title))
        .producer(TextStr("punchready"));
    Ok(pdf.finish())
}

/// Writes a file whole or not at all, see [`write_atomically`]. Missing folders are made.
///
/// # Errors
/// [`DrawError::Write`].
pub fn write(path: &Path, bytes: &[u8]) -> Result<(), DrawError> {
    let failed = |source| DrawError::Write {
        path: path.to_owned(),
        source,
    };
    if let Some(dir) = path.parent() {
        fs::create_dir_all(dir).map_err(failed)?;
    }
    write_atomically(path, bytes).map_err(|e| match e {
        ReportError::Write { why, .. } => failed(why),
        other => failed(io::Error::other(other)),
    })
}
