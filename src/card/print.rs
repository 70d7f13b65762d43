//! Printing the cards: true-size pages as PDF, single cards as PNG.
//!
//! Cards stand upright on the page, all the same way: a card's bar across is across the page, and what
//! a rule shows on the page's two bars holds for every card on it.

use std::fmt;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::str::FromStr;

use serde_json::json;

use super::code;
use super::layout::{self, LAST_SQUARE, Layout, Rect, Shape};
use super::lens_page;
use crate::draw::{self, DrawError, num};

/// Length of the two bars in the margin of a page, mm.
pub const PAGE_BAR_MM: f64 = 100.0;
/// Pixels per mm of a card's PNG, unless asked otherwise: every edge of frame, payload and checkers
/// then falls between two pixels.
pub const PX_PER_MM: u32 = 20;
/// Scales at which a card can be drawn as PNG, px/mm: a bar's line has half a pixel at the least, and
/// the longest card 12 000 pixels.
const PX_PER_MM_RANGE: std::ops::RangeInclusive<u32> = 2..=100;
/// Cards on a full page, of either shape and on either paper.
pub const PER_PAGE: usize = 12;

/// Ink of the cutting lines: a light hairline that no detector takes for an edge of the card.
const CUT: &str = "stroke=\"#b8b8b8\" stroke-width=\"0.1\" fill=\"none\"";
/// Room below the lens page's cards that a printer may not reach, mm.
const BELOW_MM: f64 = 8.0;
/// Room of its heading, mm.
const HEADING_MM: f64 = 16.0;
/// What the lens page says of itself.
const LENS_PAGE_LINES: [&str; 2] = [
    "Do not cut. Lay the whole page perfectly flat: tape it to a pane of glass or a flat board. Any print scale will do.",
    "Take 8 to 12 photos, always at 1x: two from straight above, the others tilted by 30 degrees to all sides; reach every corner of the picture.",
];
/// Room at the left for the bar down and what a printer cannot reach, mm.
const LEFT_MM: f64 = 18.0;

/// The two papers; "a4" and "letter" where they are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Paper {
    /// 210 x 297 mm.
    A4,
    /// 8.5 x 11 in.
    Letter,
}

impl Paper {
    /// Width and height of the upright page, mm.
    #[must_use]
    pub const fn size_mm(self) -> [f64; 2] {
        match self {
            Self::A4 => [210.0, 297.0],
            Self::Letter => [8.5 * 25.4, 11.0 * 25.4],
        }
    }

    const fn name(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "Letter",
        }
    }
}

impl FromStr for Paper {
    type Err = PrintError;

    fn from_str(text: &str) -> Result<Self, PrintError> {
        match text.to_ascii_lowercase().as_str() {
            "a4" => Ok(Self::A4),
            "letter" => Ok(Self::Letter),
            _ => Err(PrintError::NoSuchPaper(text.to_owned())),
        }
    }
}

/// Why cards could not be printed.
#[derive(Debug)]
#[non_exhaustive]
pub enum PrintError {
    /// A paper that is not known.
    NoSuchPaper(String),
    /// A number outside the code book.
    NoSuchCard(u16),
    /// A number whose card has the other shape.
    OtherShape {
        /// The card.
        number: u16,
        /// The shape asked for.
        wanted: Shape,
    },
    /// The same number twice.
    Twice(u16),
    /// No number at all.
    NoCards,
    /// A scale at which no useful PNG can be drawn.
    BadScale(u32),
    /// Drawing or writing failed.
    Draw(DrawError),
}

impl fmt::Display for PrintError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSuchPaper(text) => {
                write!(f, "paper {text:?} is not known; expected a4 or letter")
            }
            Self::NoSuchCard(number) => write!(
                f,
                "there is no card {number}; square cards are 1 to {LAST_SQUARE}, strips {} to {}",
                LAST_SQUARE + 1,
                code::COUNT
            ),
            Self::OtherShape { number, wanted } => {
                let (is, range) = match wanted {
                    Shape::Square => ("a strip", format!("square cards are 1 to {LAST_SQUARE}")),
                    Shape::Strip => (
                        "a square",
                        format!("strips are {} to {}", LAST_SQUARE + 1, code::COUNT),
                    ),
                };
                write!(
                    f,
                    "card {number} is {is}, and a page holds one shape; {range}"
                )
            }
            Self::Twice(number) => write!(
                f,
                "card {number} is asked for twice; two alike in one photo cannot be told apart, so name each once \
                 (print the page again for a spare)"
            ),
            Self::NoCards => write!(f, "no card is asked for; give numbers such as 1-12"),
            Self::BadScale(scale) => write!(
                f,
                "{scale} pixels per mm cannot be drawn; expected {} to {}, best a multiple of {PX_PER_MM}",
                PX_PER_MM_RANGE.start(),
                PX_PER_MM_RANGE.end()
            ),
            Self::Draw(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for PrintError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Draw(error) => Some(error),
            _ => None,
        }
    }
}

impl From<DrawError> for PrintError {
    fn from(error: DrawError) -> Self {
        Self::Draw(error)
    }
}

/// The numbers of one full page of this shape, from the first.
#[must_use]
pub fn first_page(shape: Shape) -> Vec<u16> {
    let first = match shape {
        Shape::Square => 1,
        Shape::Strip => LAST_SQUARE + 1,
    };
    (first..).take(PER_PAGE).collect()
}

/// One card as an SVG document of exactly its outer size, mm.
///
/// # Errors
/// [`PrintError::NoSuchCard`].
pub fn card_svg(number: u16) -> Result<String, PrintError> {
    let card = layout_of(number)?;
    let [w, h] = card.size_mm;
    Ok(draw::page(w, h, &card_body(&card, w / 2.0, h / 2.0, false)))
}

/// Pages full of cards as SVG documents of exactly the paper's size, mm. Strips lie on a page on its
/// side, so that two stand beside each other.
///
/// # Errors
/// [`PrintError`] for numbers that do not exist, come twice, or have the other shape.
pub fn pages(paper: Paper, shape: Shape, numbers: &[u16]) -> Result<Vec<String>, PrintError> {
    let cards = layouts_of(numbers)?;
    if let Some(other) = cards.iter().find(|c| c.shape != shape) {
        return Err(PrintError::OtherShape {
            number: other.number,
            wanted: shape,
        });
    }
    let count = cards.len().div_ceil(PER_PAGE);
    let page = |(i, cards): (usize, &[Layout])| page_svg(paper, shape, cards, [i + 1, count]);
    Ok(cards.chunks(PER_PAGE).enumerate().map(page).collect())
}

/// The pages of [`pages`] as one PDF file's bytes.
///
/// # Errors
/// As [`pages`], and when the PDF cannot be built.
pub fn pdf(paper: Paper, shape: Shape, numbers: &[u16]) -> Result<Vec<u8>, PrintError> {
    Ok(draw::pdf(
        "punchready scale cards",
        &pages(paper, shape, numbers)?,
    )?)
}

/// Writes [`pdf`] to a file, whole or not at all.
///
/// # Errors
/// As [`pdf`], and when the file cannot be written.
pub fn write_pdf(
    paper: Paper,
    shape: Shape,
    numbers: &[u16],
    path: &Path,
) -> Result<(), PrintError> {
    Ok(draw::write(path, &pdf(paper, shape, numbers)?)?)
}

/// The lens page ([`super::lens_page`]) as an SVG document of exactly the paper's size, mm: the cards as one
/// pattern, without cutting lines.
///
/// # Errors
/// [`PrintError`] if the page names a card that does not exist.
pub fn lens_page_svg(paper: Paper) -> Result<String, PrintError> {
    let [width, height] = paper.size_mm();
    let cards = layouts_of(&lens_page::NUMBERS.collect::<Vec<_>>())?;
    let [across, down] =
        [lens_page::COLUMNS, lens_page::ROWS].map(|n| f64::from(n) * lens_page::PITCH_MM);
    let left = (width - across) / 2.0;
    // In the middle, but for the heading; and not where printers do not reach.
    let top = ((height - down) / 2.0 + HEADING_MM / 2.0).min(height - down - BELOW_MM);
    let mut body = heading(
        ["Lens page", &format!("punchready, {}", paper.name())],
        [left, left + across],
        top - 2.5,
        &LENS_PAGE_LINES,
    );
    for (card, at) in cards
        .iter()
        .filter_map(|c| Some((c, lens_page::centre(c.number)?)))
    {
        body.push_str(&card_body(
            card,
            left + across / 2.0 + at.x,
            top + down / 2.0 - at.y,
            false,
        ));
    }
    Ok(draw::page(width, height, &body))
}

/// Writes [`lens_page_svg`] as a PDF, whole or not at all.
///
/// # Errors
/// As [`lens_page_svg`], and when the file cannot be built or written.
pub fn write_lens_page(paper: Paper, path: &Path) -> Result<(), PrintError> {
    let pdf = draw::pdf("punchready lens page", &[lens_page_svg(paper)?])?;
    Ok(draw::write(path, &pdf)?)
}

/// Writes one PNG for each card, of exactly its outer size times `px_per_mm`, and `cards.json`: a list
/// with each card's `number`, `shape`, `file`, `outer_size_mm` `[w, h]`, `px_per_mm`, `bar_across_mm`,
/// `bar_down_mm` and `saddles` `[[x, y], ...]`, mm from the card's centre, y up. Gives back the files
/// written, the list last.
///
/// # Errors
/// [`PrintError`] for numbers that do not exist or come twice, for a scale that cannot be drawn, and
/// when a file cannot be written.
pub fn write_pngs(dir: &Path, numbers: &[u16], px_per_mm: u32) -> Result<Vec<PathBuf>, PrintError> {
    if !PX_PER_MM_RANGE.contains(&px_per_mm) {
        return Err(PrintError::BadScale(px_per_mm));
    }
    let mut written = Vec::new();
    let mut list = Vec::new();
    for card in layouts_of(numbers)? {
        let [w, h] = card.size_mm;
        let crisp = px_per_mm.is_multiple_of(PX_PER_MM);
        let svg = draw::page(w, h, &card_body(&card, w / 2.0, h / 2.0, crisp));
        let file = format!("card-{:02}.png", card.number);
        let path = dir.join(&file);
        draw::write(&path, &draw::png(&svg, f64::from(px_per_mm))?)?;
        written.push(path);
        let [across, down] = card.bars;
        let saddles: Vec<[f64; 2]> = card.saddles.iter().map(|s| [s.at.x, s.at.y]).collect();
        list.push(json!({
            "number": card.number,
            "shape": shape_name(card.shape),
            "file": file,
            "outer_size_mm": card.size_mm,
            "px_per_mm": px_per_mm,
            "bar_across_mm": across.line.width,
            "bar_down_mm": down.line.height,
            "saddles": saddles,
        }));
    }
    let path = dir.join("cards.json");
    let mut text = serde_json::Value::from(list).to_string();
    text.push('\n');
    draw::write(&path, text.as_bytes())?;
    written.push(path);
    Ok(written)
}

const fn shape_name(shape: Shape) -> &'static str {
    match shape {
        Shape::Square => "square",
        Shape::Strip => "strip",
    }
}

fn layout_of(number: u16) -> Result<Layout, PrintError> {
    Layout::of(number).ok_or(PrintError::NoSuchCard(number))
}

fn layouts_of(numbers: &[u16]) -> Result<Vec<Layout>, PrintError> {
    if numbers.is_empty() {
        return Err(PrintError::NoCards);
    }
    for (i, number) in numbers.iter().enumerate() {
        if numbers[..i].contains(number) {
            return Err(PrintError::Twice(*number));
        }
    }
    numbers.iter().map(|&n| layout_of(n)).collect()
}

/// Rectangles of a y-up frame as one path, the frame's origin at (ox, oy) of the drawing. One path, so
/// that no renderer leaves a light seam where two of them touch.
fn path(rects: &[Rect], ox: f64, oy: f64) -> String {
    let mut d = String::new();
    for r in rects {
        // Writing to a string cannot fail, here and below.
        let _ = write!(
            d,
            "M{} {}h{}v{}h{}z",
            num(ox + r.left),
            num(oy - r.bottom - r.height),
            num(r.width),
            num(r.height),
            num(-r.width)
        );
    }
    d
}

pub(crate) fn bar_path(bar: &layout::Bar, ox: f64, oy: f64) -> String {
    let [a, b] = bar.ends;
    path(&[bar.line, a, b], ox, oy)
}

/// Everything on one card, its centre at (ox, oy) of the drawing; `crisp` if its edges fall between
/// pixels.
fn card_body(card: &Layout, ox: f64, oy: f64, crisp: bool) -> String {
    let [w, h] = card.size_mm;
    let mut out = String::new();
    let crisp = if crisp {
        " shape-rendering=\"crispEdges\""
    } else {
        ""
    };
    let _ = writeln!(
        out,
        "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"#fff\"/>",
        num(ox - w / 2.0),
        num(oy - h / 2.0),
        num(w),
        num(h)
    );
    let _ = writeln!(out, "<path{crisp} d=\"{}\"/>", path(&card.dark, ox, oy));
    for bar in &card.bars {
        let _ = writeln!(out, "<path{crisp} d=\"{}\"/>", bar_path(bar, ox, oy));
    }
    let n = card.number;
    let [across, down] = card.bars;
    let (across, down) = (num(across.line.width), num(down.line.height));
    let at = |x: f64, y: f64| format!("x=\"{}\" y=\"{}\"", num(ox + x), num(oy - y));
    match card.shape {
        Shape::Square => {
            let _ = writeln!(
                out,
                "<text {} font-size=\"3\" font-weight=\"700\">{n}</text>\
                 <text {} font-size=\"2.2\" text-anchor=\"end\">punchready</text>\
                 <text {} font-size=\"1.7\" text-anchor=\"middle\">lay a rule: {across} mm</text>\
                 <text transform=\"translate({} {}) rotate(-90)\" font-size=\"1.7\" \
                 text-anchor=\"middle\">lay a rule: {down} mm</text>",
                at(-25.0, 26.3),
                at(25.0, 26.3),
                at(0.0, -29.4),
                num(ox - 28.3),
                num(oy)
            );
        }
        Shape::Strip => {
            let _ = writeln!(
                out,
                "<text {} font-size=\"2.3\" font-weight=\"700\">{n}</text>\
                 <text {} font-size=\"1.7\" text-anchor=\"middle\">punchready</text>\
                 <text {} font-size=\"1.7\" text-anchor=\"end\">lay a rule: {across} mm below, {down} mm at the left</text>",
                at(-56.5, 9.85),
                at(0.0, 9.95),
                at(56.5, 9.95)
            );
        }
    }
    out
}

fn page_svg(paper: Paper, shape: Shape, cards: &[Layout], [page, of]: [usize; 2]) -> String {
    let [short, long] = paper.size_mm();
    let (width, height, columns, top) = match (shape, paper) {
        (Shape::Square, Paper::A4) => (short, long, 3, 38.0),
        (Shape::Square, Paper::Letter) => (short, long, 3, 31.0),
        (Shape::Strip, _) => (long, short, 2, 40.0),
    };
    let [w, h] = match shape {
        Shape::Square => [60.0, 60.0],
        Shape::Strip => [120.0, 25.0],
    };
    let block = w * columns as f64;
    // The bar down needs the left margin; what is over is shared out.
    let left = LEFT_MM + (width - LEFT_MM - block - LEFT_MM / 2.0).max(0.0) / 2.0;
    let mut body = header(paper, cards, [left, left + block], top, [page, of]);
    let _ = writeln!(
        body,
        "<path d=\"{}\"/><text x=\"{}\" y=\"{}\" font-size=\"2.4\">100 mm across</text>",
        bar_path(
            &layout::bar(0.0, 0.0, PAGE_BAR_MM, true),
            left + PAGE_BAR_MM / 2.0,
            top - 4.5
        ),
        num(left + PAGE_BAR_MM + 3.0),
        num(top - 3.7)
    );
    let (bar_x, bar_y) = (left - 6.0, top + PAGE_BAR_MM / 2.0);
    let _ = writeln!(
        body,
        "<path d=\"{}\"/><text transform=\"translate({} {}) rotate(-90)\" font-size=\"2.4\" \
         text-anchor=\"end\">100 mm down</text>",
        bar_path(&layout::bar(0.0, 0.0, PAGE_BAR_MM, false), bar_x, bar_y),
        num(bar_x + 0.85),
        num(top + PAGE_BAR_MM + 3.0)
    );
    for (i, card) in cards.iter().enumerate() {
        let (row, column) = (i / columns, i % columns);
        let x = left + column as f64 * w;
        let y = top + row as f64 * h;
        body.push_str(&card_body(card, x + w / 2.0, y + h / 2.0, false));
    }
    body.push_str(&cut_lines(cards.len(), columns, [left, top], [w, h]));
    draw::page(width, height, &body)
}

/// Hairlines on the borders of the cards; neighbours share one, so that a straight cut frees both.
fn cut_lines(count: usize, columns: usize, [left, top]: [f64; 2], [w, h]: [f64; 2]) -> String {
    let mut d = String::new();
    for i in 0..count {
        let x = left + (i % columns) as f64 * w;
        let y = top + (i / columns) as f64 * h;
        let _ = write!(
            d,
            "M{} {}h{}v{}h{}z",
            num(x),
            num(y),
            num(w),
            num(h),
            num(-w)
        );
    }
    format!("<path d=\"{d}\" {CUT}/>\n")
}

fn header(
    paper: Paper,
    cards: &[Layout],
    [left, right]: [f64; 2],
    top: f64,
    [page, of]: [usize; 2],
) -> String {
    let kind = match cards.first().map(|c| c.shape) {
        Some(Shape::Strip) => "Scale strips",
        _ => "Scale cards",
    };
    let right_text = format!("punchready, {}, page {page} of {of}", paper.name());
    let lines = [
        "Print at 100 % (actual size), never \u{201c}fit to page\u{201d}, on matt white paper or card. Cut along the grey lines.",
        "Lay a steel rule on the two 100 mm bars, outer end to outer end, and tell the program what it shows, across first: --bars 99.8mm,100.1mm",
    ];
    heading([kind, &right_text], [left, right], top - 10.0, &lines)
}

/// A title with small text at its right, and lines of text below, the second of them at `base`.
fn heading(
    [title, aside]: [&str; 2],
    [left, right]: [f64; 2],
    base: f64,
    lines: &[&str],
) -> String {
    let mut out = String::new();
    let _ = writeln!(
        out,
        "<text x=\"{x}\" y=\"{}\" font-size=\"4\" font-weight=\"700\">{title}</text>\
         <text x=\"{}\" y=\"{}\" font-size=\"2.4\" text-anchor=\"end\">{aside}</text>",
        num(base - 9.0),
        num(right),
        num(base - 9.0),
        x = num(left)
    );
    for (i, line) in lines.iter().enumerate() {
        let _ = writeln!(
            out,
            "<text x=\"{}\" y=\"{}\" font-size=\"2.5\">{}</text>",
            num(left),
            num(base - 4.2 + 4.0 * i as f64),
            draw::escape(line)
        );
    }
    out
}
