//! The step on marks and strokes that look alike: crosses whose arms lie on a ruled line, a stroke through a dot that looks
//! like a tick, strokes so short or pale that a mark seems whole, and marks struck out and then punched all the same.

use punchready::check::Stage;
use punchready::synth::marking::Style;
use punchready::synth::{Ink, Mark, Surface};

use crate::case::{Case, Draft, Fault, View};
use crate::plans::Plans;
use crate::steps::{BOTH_SIDES, RIGHT_TOP, THREE, brushed};

/// A pen that is nearly dry, and a pencil that is hardly pressed.
const NEARLY_DRY: f64 = 0.4;
const HARDLY: f64 = 0.25;

fn paler(density: f64) -> Ink {
    Ink {
        density,
        ..Ink::default()
    }
}

pub(crate) fn alike(p: &Plans) -> Vec<Case> {
    const PALE: &str = "the strokes are paler than the marks by far";
    const PUNCHED: &str = "what was not seen to be worked is unsure";
    let dimple = |x: f64, y: f64| Mark::dimple(x, y, 1.3);
    vec![
        Draft::new("crosses on ruled lines", &p.coupon, 2001)
            .hand(|h| h.rows = Style::Cross)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("crosses on ruled lines, brushed", &p.tab, 2002)
            .surface(brushed(2.0, 0.5))
            .hand(|h| h.rows = Style::Cross)
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("crosses on ruled lines, missing", &p.coupon, 2003)
            .surface(Surface::Primer)
            .hand(|h| h.rows = Style::Cross)
            .faults(&[Fault::Missing])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new(
            "crosses on ruled lines, off and stray, tilted",
            &p.tab,
            2004,
        )
        .hand(|h| h.rows = Style::Cross)
        .faults(&[Fault::Off(1.5), Fault::Stray])
        .cards(&BOTH_SIDES)
        .shot(View::tilted(10.0, 20.0, -70.0)),
        Draft::new(
            "a cross too many between crosses on a line",
            &p.coupon,
            2005,
        )
        .hand(|h| h.rows = Style::Cross)
        .marks([Mark::cross(68.3, 76.2 - 7.94, 0.03)])
        .cards(&THREE)
        .shot(View::above(10.0)),
        Draft::new("crosses on ruled lines, two struck out", &p.coupon, 2006)
            .hand(|h| h.rows = Style::Cross)
            .struck("A3", 8.0, 0.1, 1.0)
            .struck("B5", 9.0, -0.1, 1.1)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("one stroke through dots of a row", &p.coupon, 2007)
            .hand(|h| h.rows = Style::Dot)
            .slashed("A4", 2.8)
            .slashed("B2", 4.0)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("one pale stroke through a dot of a row", &p.coupon, 2008)
            .hand(|h| h.rows = Style::Dot)
            .slashed_in("A5", 3.6, paler(NEARLY_DRY))
            .cards(&RIGHT_TOP)
            .excused(PALE)
            .shot(View::above(10.0)),
        Draft::new("short pale strokes through ticks", &p.coupon, 2009)
            .slashed_in("A3", 3.6, paler(NEARLY_DRY))
            .slashed_in("B5", 4.6, paler(HARDLY))
            .cards(&RIGHT_TOP)
            .excused(PALE)
            .shot(View::above(10.0)),
        Draft::new("one short pale stroke through a tick", &p.tab, 2010)
            .slashed_in("A4", 3.4, paler(HARDLY))
            .cards(&BOTH_SIDES)
            .excused(PALE)
            .shot(View::above(10.0)),
        Draft::new("a short pale X over a tick", &p.tab, 2011)
            .struck_in("A2", 4.6, paler(NEARLY_DRY))
            .cards(&BOTH_SIDES)
            .excused(PALE)
            .shot(View::above(10.0)),
        Draft::new("a short pale X over a dot", &p.coupon, 2012)
            .hand(|h| h.rows = Style::Dot)
            .struck_in("B3", 4.6, paler(NEARLY_DRY))
            .cards(&RIGHT_TOP)
            .excused(PALE)
            .shot(View::above(10.0)),
        Draft::new("struck out by an X, and punched all the same", &p.tab, 2013)
            .struck("A3", 6.0, 0.15, 1.0)
            .worked(Stage::Punched, |_| true, dimple)
            .excused(PUNCHED)
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("struck out by one stroke, and punched", &p.tab, 2014)
            .slashed("A4", 4.6)
            .worked(Stage::Punched, |_| true, dimple)
            .excused(PUNCHED)
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("struck out in pale ink, and punched", &p.tab, 2015)
            .struck_in("B2", 4.6, paler(NEARLY_DRY))
            .worked(Stage::Punched, |_| true, dimple)
            .excused(PUNCHED)
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("crosses on ruled lines, punched", &p.tab, 2016)
            .hand(|h| h.rows = Style::Cross)
            .worked(Stage::Punched, |_| true, dimple)
            .excused(PUNCHED)
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
    ]
}
