//! How often lines of text in a dark frame are taken for a card.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on must stop")]

use punchready::card::code;
use punchready::draw;

/// Samplings tried.
const SAMPLINGS: usize = 40_000;
/// Largest share of samplings that may be named. A pattern of 25 fair coins is named at a rate of
/// 256 x (1 + 25 + 300) / 2^25 = 0.25 %; text must do clearly better.
const MAX_NAMED: f64 = 0.001;

/// Random numbers from a fixed seed (xorshift64; Marsaglia, J. Stat. Softw. 8(14), 2003).
struct Dice(u64);

impl Dice {
    fn unit(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }
}

/// Text as it stands on sheets, boxes and drawings.
const LINES: [&str; 8] = [
    "ALCLAD 2024-T3 .040 QQ-A-250/5",
    "Hatch cover, outboard row A1-A14",
    "WARNING: WEAR EYE PROTECTION",
    "0123456789 8888 0000 1111 4747",
    "LOT 77-4419 INSPECTED 6061-T6",
    "HHHHEEEELLLLTTTTIIIIMMMMWWWW",
    "keel strip, pitch 13/16 first 11/16",
    "+-+-+-|.|.|-=-=-=#@#@#@%&%&",
];

#[test]
fn text_in_a_dark_frame_is_not_a_card() {
    // A page of text, black on white, at 4 px/mm; the samplings choose size and place on it.
    let mut body = String::new();
    for row in 0..60 {
        let y = 4.0 + 4.0 * f64::from(row);
        let line = LINES[row as usize % LINES.len()];
        let weight = if row % 3 == 0 { 700 } else { 400 };
        body += &format!(
            "<text x=\"1\" y=\"{y}\" font-size=\"3.2\" font-weight=\"{weight}\">{0} {0} {0}</text>",
            draw::escape(line)
        );
    }
    let scale = 12.0;
    let page = draw::pixels(&draw::page(180.0, 240.0, &body), scale).unwrap();
    let dark = |x: f64, y: f64| {
        let pixel = page.pixel((x * scale) as u32, (y * scale) as u32).unwrap();
        pixel.red() < 128
    };
    let mut dice = Dice(0x7e47);
    let (mut named, mut exact) = (0, 0);
    for _ in 0..SAMPLINGS {
        // Cells from a fraction of a letter's stroke to a line and a half, turned at will.
        let cell = 0.3 * 20f64.powf(dice.unit());
        let (x0, y0) = (25.0 + dice.unit() * 100.0, 25.0 + dice.unit() * 180.0);
        let (sin, cos) = if dice.unit() < 0.5 {
            (0.0, 1.0)
        } else {
            (dice.unit() * 6.3).sin_cos()
        };
        let mut seen = 0;
        for row in 0..code::SIDE {
            for column in 0..code::SIDE {
                let (u, v) = ((column as f64 - 2.0) * cell, (row as f64 - 2.0) * cell);
                let is_dark = dark(x0 + cos * u - sin * v, y0 + sin * u + cos * v);
                seen |= u32::from(is_dark) << (row * code::SIDE + column);
            }
        }
        if let Some(read) = code::read(seen) {
            named += 1;
            exact += usize::from(read.wrong == 0);
        }
    }
    let share = named as f64 / SAMPLINGS as f64;
    println!(
        "{named} of {SAMPLINGS} samplings of text were named ({:.3} %), {exact} of them without a wrong cell",
        share * 100.0
    );
    assert!(share <= MAX_NAMED, "{share} named, allowed {MAX_NAMED}");
}
