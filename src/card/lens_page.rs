//! The lens page: twelve square cards printed as one sheet that is never cut, so that all their checker
//! corners stand in one known pattern. Its frame is `Card` too: mm from the page's middle, x right, y up.
//!
//! Cards are its elements because each of their corners says by itself which one it is, wherever the page
//! leaves the picture: a lens is calibrated in the picture's corners. The numbers are the last of the
//! squares, which no page of scale cards starts with, so that the page is not taken for twelve loose cards.

use std::ops::RangeInclusive;

use super::layout::Layout;
use super::{SeenCard, SeenSaddle};
use crate::frame::{Card, Point};

/// The cards of the lens page, in reading order.
pub const NUMBERS: RangeInclusive<u16> = 29..=40;
/// Cards beside each other.
pub const COLUMNS: u16 = 3;
/// Cards above each other.
pub const ROWS: u16 = 4;
/// Distance of the middles of two neighbours, mm.
pub const PITCH_MM: f64 = 60.0;

/// Where the middle of a card of the lens page lies, mm; `None` for other cards.
#[must_use]
pub fn centre(number: u16) -> Option<Point<Card>> {
    let place = NUMBERS
        .contains(&number)
        .then(|| number - NUMBERS.start())?;
    let along = |i: u16, of: u16| f64::from(i) - f64::from(of - 1) / 2.0;
    Some(Point::new(
        PITCH_MM * along(place % COLUMNS, COLUMNS),
        -PITCH_MM * along(place / COLUMNS, ROWS),
    ))
}

/// All corners of the page, as designed.
#[must_use]
pub fn corners() -> Vec<Point<Card>> {
    NUMBERS
        .filter_map(|n| Some((centre(n)?, Layout::of(n)?)))
        .flat_map(|(at, card)| card.saddles.into_iter().map(move |s| s.at + at.vec()))
        .collect()
}

/// The seen corners of the page's cards in the page's frame; cards that are not the page's, and cards seen
/// twice, are left out.
#[must_use]
pub fn board(cards: &[SeenCard]) -> Vec<SeenSaddle> {
    let once = |n: u16| cards.iter().filter(|c| c.number == n).count() == 1;
    cards
        .iter()
        .filter(|c| once(c.number))
        .filter_map(|c| Some((centre(c.number)?, c)))
        .flat_map(|(at, card)| {
            card.saddles.iter().map(move |s| SeenSaddle {
                on_card: s.on_card + at.vec(),
                ..*s
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cards_fill_the_page_in_reading_order() {
        let at = |n| centre(n).map(|p| (p.x, p.y));
        assert_eq!(at(29), Some((-60.0, 90.0)));
        assert_eq!(at(31), Some((60.0, 90.0)));
        assert_eq!(at(40), Some((60.0, -90.0)));
        assert_eq!(at(28), None);
        assert_eq!(at(41), None);
        assert_eq!(corners().len(), 12 * 32);
        let mean = corners()
            .iter()
            .fold(Point::new(0.0, 0.0), |m: Point<Card>, p| m + p.vec());
        assert!(mean.vec().norm() < 1e-9, "{mean:?}");
    }
}
