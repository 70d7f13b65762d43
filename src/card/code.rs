//! The code book: which 5x5 pattern stands for which card number.
//!
//! 64 words of 25 bits. Any two words, in any of their four turns, differ in at least
//! [`MIN_DISTANCE`] cells, and so do the turns of one word: a card's number and which way is up
//! survive two misread cells ([`MAX_WRONG`]) with four cells to spare before another word is as near.
//! Each word has 10 to 15 dark cells and at least 8 changes between neighbours both across and down,
//! which keeps it far from all-dark, all-light and from the horizontal stripes that a line of text
//! makes.
//!
//! Found by a greedy search over seeded random words; the tests prove the distances of the table
//! itself, so that how it was found does not matter.

/// Cells along one side of the payload.
pub const SIDE: usize = 5;
/// Smallest number of cells in which two words differ, over all turns.
pub const MIN_DISTANCE: u32 = 8;
/// Misread cells that are put right; more and the pattern is refused.
pub const MAX_WRONG: u32 = 2;
/// How many cards there are; numbers run from 1.
pub const COUNT: u16 = 64;

/// Bit `row * 5 + column` is set where the cell is dark; row 0 is the card's top.
#[rustfmt::skip]
const WORDS: [u32; COUNT as usize] = [
    0x1c7ce0d, 0x0d75528, 0x1ee5169, 0x105c5cc, 0x0f8cb83, 0x0cf5386, 0x1d622cf, 0x1a8e27a,
    0x0b7523f, 0x12ab10c, 0x1d0f42c, 0x182f8c4, 0x13c9adc, 0x1cde8b2, 0x032911b, 0x175ac81,
    0x1b3714e, 0x147e593, 0x19c2c9b, 0x156182d, 0x1d58382, 0x0a3de32, 0x126bbba, 0x1a49759,
    0x1c0e80b, 0x06e2edd, 0x08ac57c, 0x1653516, 0x1586458, 0x15a371e, 0x0b456e8, 0x0b7e938,
    0x14c6c84, 0x10aaee2, 0x0bc01d4, 0x11cea3d, 0x12b7688, 0x06e89b4, 0x1aac4e7, 0x0d5f289,
    0x163af25, 0x106346a, 0x0dc7831, 0x06e4b7a, 0x0159fd7, 0x0e944c8, 0x07989ee, 0x1f46445,
    0x09e969d, 0x046a7a8, 0x054359d, 0x0d0065e, 0x01d08e5, 0x0de90e8, 0x1cb674c, 0x1d61ed8,
    0x047dada, 0x1752b69, 0x1a470b9, 0x148a1a3, 0x1711cb2, 0x0e2f595, 0x00a9669, 0x1340cc6,
];

/// The pattern of card `number` (1 to [`COUNT`]), or `None` if there is no such card.
#[must_use]
pub fn word(number: u16) -> Option<u32> {
    WORDS.get(usize::from(number).checked_sub(1)?).copied()
}

/// Whether the cell at `row` (0 at the top), `column` (0 at the left) of `word` is dark.
#[must_use]
pub fn is_dark(word: u32, row: usize, column: usize) -> bool {
    word >> (row * SIDE + column) & 1 == 1
}

/// The pattern as seen when the card is turned a quarter anticlockwise.
#[must_use]
pub fn turned(word: u32) -> u32 {
    let mut out = 0;
    for row in 0..SIDE {
        for column in 0..SIDE {
            if is_dark(word, row, column) {
                out |= 1 << ((SIDE - 1 - column) * SIDE + row);
            }
        }
    }
    out
}

/// A pattern read from a photo, named.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Read {
    /// The card's number.
    pub number: u16,
    /// Quarter turns anticlockwise from upright to how it was seen.
    pub quarter_turns: u8,
    /// Cells that were misread and put right.
    pub wrong: u32,
}

/// Names a pattern seen in any of four turns; `None` if no word is within [`MAX_WRONG`] cells.
#[must_use]
pub fn read(seen: u32) -> Option<Read> {
    let mut best: Option<Read> = None;
    for (number, &word) in (1..).zip(&WORDS) {
        let mut turn = word;
        for quarter_turns in 0..4 {
            let wrong = (turn ^ seen).count_ones();
            if wrong <= MAX_WRONG && best.is_none_or(|b| wrong < b.wrong) {
                best = Some(Read {
                    number,
                    quarter_turns,
                    wrong,
                });
            }
            turn = turned(turn);
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    fn turns(word: u32) -> [u32; 4] {
        let one = turned(word);
        let two = turned(one);
        [word, one, two, turned(two)]
    }

    #[test]
    fn every_two_words_differ_in_eight_cells_over_all_turns() {
        let mut seen: Vec<(u16, u32)> = Vec::new();
        for number in 1..=COUNT {
            let word = word(number).unwrap();
            for (turn, pattern) in turns(word).into_iter().enumerate() {
                for &(other, there) in &seen {
                    let distance = (pattern ^ there).count_ones();
                    assert!(
                        distance >= MIN_DISTANCE,
                        "card {number} turn {turn} is {distance} cells from card {other}"
                    );
                }
                seen.push((number, pattern));
            }
        }
        assert_eq!(seen.len(), 256);
    }

    #[test]
    fn words_are_far_from_plain_and_from_stripes() {
        for number in 1..=COUNT {
            let w = word(number).unwrap();
            let dark = w.count_ones();
            assert!(
                (10..=15).contains(&dark),
                "card {number} has {dark} dark cells"
            );
            let mut across = 0;
            let mut down = 0;
            for a in 0..SIDE {
                for b in 1..SIDE {
                    across += u32::from(is_dark(w, a, b) != is_dark(w, a, b - 1));
                    down += u32::from(is_dark(w, b, a) != is_dark(w, b - 1, a));
                }
            }
            assert!(
                across >= 8 && down >= 8,
                "card {number}: {across} changes across, {down} down"
            );
        }
    }

    #[test]
    fn two_wrong_cells_are_put_right_and_three_are_refused() {
        for number in 1..=COUNT {
            let w = turned(word(number).unwrap());
            for a in 0..25 {
                for b in 0..a {
                    let r = read(w ^ (1 << a) ^ (1 << b));
                    assert_eq!(
                        r,
                        Some(Read {
                            number,
                            quarter_turns: 1,
                            wrong: 2
                        })
                    );
                    assert_eq!(
                        read(w ^ (1 << a) ^ (1 << b) ^ (1 << ((a + 1) % 25)))
                            .map(|r| r.wrong <= 2)
                            .is_some(),
                        (a + 1) % 25 == b
                    );
                }
            }
        }
    }

    #[test]
    fn there_is_no_card_zero_or_sixty_five() {
        assert_eq!(word(0), None);
        assert_eq!(word(COUNT + 1), None);
        assert_eq!(read(0), None);
        assert_eq!(read((1 << 25) - 1), None);
    }
}
