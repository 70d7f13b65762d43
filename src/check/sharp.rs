//! Whether a photo is sharp enough for its smallest marks to show.

use image::GrayImage;

use crate::card::{SeenCard, blur};
use crate::frame::{Pixel, Point};
use crate::ink::{Blind, Ink};
use crate::survey::SheetFrame;
use crate::verdict::Reason;

use super::reason;

/// Least share of its contrast that a small dot must keep: below a fifth (edges spread by 0.37 mm), ink as
/// black as it gets differs from the metal by no more than grain does, and nothing may be taken for bare.
const LEAST_KEPT: f64 = 0.2;
/// A photo in focus spreads edges by up to this, px: then it is the distance that makes them coarse.
const IN_FOCUS_PX: f64 = 1.2;

/// Takes out of what was seen the parts that are blurred beyond use though the photo as a whole is sharp: missed focus on
/// one side, a lens's corner. A part is as sharp as the card nearest to it in the photo.
pub(super) fn leave_out_blurred(
    ink: &mut Ink,
    grey: &GrayImage,
    cards: &[SeenCard],
    frame: &SheetFrame,
) {
    let sharp: Vec<(Point<Pixel>, bool)> = cards
        .iter()
        .filter_map(|c| {
            let kept = blur::of_card(grey, c)?.kept();
            let middle = c.outline.iter().map(|p| p.vec() / 4.0).sum();
            Some((Point::at(middle), kept >= LEAST_KEPT))
        })
        .collect();
    if sharp.iter().all(|(_, sharp)| *sharp) {
        return;
    }
    ink.seen.hide(Blind::Blur, |at| {
        let Some(pixel) = frame.pixel_from_sheet(at) else {
            return false;
        };
        let nearest = sharp
            .iter()
            .min_by(|a, b| a.0.distance(pixel).total_cmp(&b.0.distance(pixel)));
        nearest.is_some_and(|(_, sharp)| !sharp)
    });
}

/// Whether the smallest dots would show; else what blurs the photo.
pub(super) fn sharp_enough(grey: &image::GrayImage, cards: &[SeenCard]) -> Result<(), Reason> {
    if cards.is_empty() {
        return Ok(());
    }
    let blurred = |text: String| Err(reason("blurred", text));
    let Some(spread) = blur::of_photo(grey, cards) else {
        return blurred(
            "how sharp the photo is cannot be measured: the cards' squares are too small in it, or covered or in glare; come nearer, and keep hands and glare off the cards".to_owned(),
        );
    };
    let kept = spread.kept();
    if kept >= LEAST_KEPT {
        return Ok(());
    }
    let [most, least] = spread.mm;
    let dot = format!(
        "a dot of {} mm keeps {:.0} % of its contrast, and {:.0} % are needed",
        2.0 * blur::DOT_RADIUS_MM,
        // Rounded down, so that too little never reads as enough.
        (100.0 * kept).floor(),
        100.0 * LEAST_KEPT
    );
    blurred(if spread.moved() {
        format!(
            "the phone moved: edges on the cards are smeared by {most:.2} mm in one direction and {least:.2} mm across it ({dot}); hold the phone still with both hands, and bring more light"
        )
    } else if spread.px[0] < IN_FOCUS_PX {
        format!(
            "the photo is too coarse: edges on the cards are smeared by {most:.2} mm ({dot}) though it is in focus; come nearer, or give the photo at full size"
        )
    } else {
        format!(
            "the photo is blurred: edges on the cards are smeared by {most:.2} mm ({dot}); tap on the sheet to focus, hold the phone still, bring more light, or come nearer"
        )
    })
}
