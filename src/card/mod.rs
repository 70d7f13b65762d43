//! Scale cards: what is printed on them, how they are printed, and how they are found in a photo.
//!
//! | step | module |
//! | --- | --- |
//! | which pattern is which number | [`code`] |
//! | what is where on a card | [`layout`] |
//! | and on the page that calibrates a lens | [`lens_page`] |
//! | finding frames, then corners, in a photo | [`find`] |
//! | the four sides of a dark shape | [`quad`] |
//! | the pattern inside a frame | [`payload`] |
//! | the sub-pixel place of a corner | [`saddle`], `blunt` where squares are a few pixels wide, last `crossing` |
//! | how far the photo spreads an edge | [`blur`] |
//! | PDF pages and PNGs to print | [`mod@print`] |

mod blunt;
pub mod blur;
pub mod code;
mod crossing;
pub mod find;
pub mod layout;
pub mod lens_page;
pub mod payload;
pub mod print;
pub mod quad;
pub mod saddle;

use crate::frame::{Card, Cov2, Pixel, Point};

/// A checker corner measured in a photo.
#[derive(Debug, Clone, Copy)]
pub struct SeenSaddle {
    /// Where the card says it is.
    pub on_card: Point<Card>,
    /// Where the photo shows it.
    pub at: Point<Pixel>,
    /// Covariance of `at`, px².
    pub cov: Cov2,
}

/// A card found in a photo.
#[derive(Debug, Clone)]
pub struct SeenCard {
    /// The card's number.
    pub number: u16,
    /// The checker corners that could be measured.
    pub saddles: Vec<SeenSaddle>,
    /// The card's outer corners in the photo, by the fit to its saddles: upper left, upper right,
    /// lower right, lower left *of the card*.
    pub outline: [Point<Pixel>; 4],
}
