//! Where nothing could be measured: what was found in the photo itself.

use std::fmt::Write;

use super::overlay::{FONTS, Overlay};
use super::{InPhoto, Report};

/// Draws the cards and the outline tried for the sheet in one photo, as SVG elements. `scale` is picture px a photo
/// px along x and y, `unit` the size of an important letter, px.
pub(super) fn overlay(r: &Report, photo: usize, scale: [f64; 2], unit: f64) -> Overlay {
    let mut out = Overlay::default();
    // The sheet's outline first: cards may lie on it.
    let (cards, sheet): (Vec<&InPhoto>, Vec<&InPhoto>) = r
        .in_photo
        .iter()
        .filter(|f| f.photo == photo)
        .partition(|f| f.card.is_some());
    for f in sheet.into_iter().chain(cards) {
        let corners: Vec<[f64; 2]> = f
            .corners
            .iter()
            .map(|p| [p.x * scale[0], p.y * scale[1]])
            .filter(|p| p.iter().all(|x| x.is_finite()))
            .collect();
        if corners.is_empty() {
            continue;
        }
        let (colour, dash, word) = match f.card {
            Some(n) => ("#0072b2", String::new(), format!("card {n}")),
            None => (
                "#b84a00",
                format!(" stroke-dasharray=\"{:.1} {:.1}\"", 0.6 * unit, 0.4 * unit),
                "taken for the sheet".to_owned(),
            ),
        };
        let points: Vec<String> = corners
            .iter()
            .map(|[x, y]| format!("{x:.1},{y:.1}"))
            .collect();
        let points = points.join(" ");
        let middle = |i: usize| corners.iter().map(|c| c[i]).sum::<f64>() / corners.len() as f64;
        // Writing to a string cannot fail.
        let _ = write!(
            out.svg,
            "<polygon points=\"{points}\" fill=\"none\" stroke=\"#fff\" stroke-width=\"{:.1}\"/>\
             <polygon points=\"{points}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{:.1}\"{dash}/>\
             <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\" font-family=\"{FONTS}\" \
             font-size=\"{unit:.1}\" font-weight=\"bold\" fill=\"{colour}\" stroke=\"#fff\" \
             stroke-width=\"{:.1}\" stroke-linejoin=\"round\" paint-order=\"stroke\">{word}</text>",
            0.3 * unit,
            0.15 * unit,
            middle(0),
            middle(1) + 0.35 * unit,
            0.4 * unit,
        );
    }
    out
}
