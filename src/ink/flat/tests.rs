//! Pictures drawn here by the millimetre, and what is read from them.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use image::{GrayImage, Luma};

use super::{FlatInk, read, read_in_colour};
use crate::frame::{Flat, Point};
use crate::ink::MarkKind;
use crate::photo::{COLOUR_SCALE, Colour};

const PX_PER_MM: f64 = 12.0;
const WIDE_MM: f64 = 80.0;
const TALL_MM: f64 = 30.0;
/// Half the width of the rim of what is drawn, mm: a lens's blur.
const SOFT_MM: f64 = 0.08;

/// What a pen does, mm from the upper left corner.
#[derive(Clone, Copy)]
enum Ink {
    Dot([f64; 2], f64),
    /// From, to, width.
    Stroke([f64; 2], [f64; 2], f64),
}

impl Ink {
    /// 1 inside, 0 outside.
    fn cover(self, x: f64, y: f64) -> f64 {
        let beyond = match self {
            Self::Dot([cx, cy], diameter) => (x - cx).hypot(y - cy) - diameter / 2.0,
            Self::Stroke([ax, ay], [bx, by], width) => {
                let (dx, dy) = (bx - ax, by - ay);
                let t = ((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy);
                let t = t.clamp(0.0, 1.0);
                (x - ax - t * dx).hypot(y - ay - t * dy) - width / 2.0
            }
        };
        (0.5 - beyond / (2.0 * SOFT_MM)).clamp(0.0, 1.0)
    }
}

/// A face of level `bare`, and on it each ink of level `of`.
fn face(bare: f64, inks: &[(Ink, f64)]) -> GrayImage {
    let size = |mm: f64| (mm * PX_PER_MM) as u32;
    GrayImage::from_fn(size(WIDE_MM), size(TALL_MM), |i, j| {
        let (x, y) = (
            (f64::from(i) + 0.5) / PX_PER_MM,
            (f64::from(j) + 0.5) / PX_PER_MM,
        );
        let level = inks.iter().fold(bare, |level, (ink, of)| {
            level + (of - level) * ink.cover(x, y)
        });
        // Noise, so that nothing is perfectly even, and without any direction.
        let noise = f64::from(
            (i.wrapping_mul(0x9e37_79b1) ^ j.wrapping_mul(0x85eb_ca77)).wrapping_mul(0xc2b2_ae3d)
                >> 16,
        ) % 5.0
            - 2.0;
        Luma([(level + noise).round().clamp(1.0, 255.0) as u8])
    })
}

fn read_black(inks: &[Ink]) -> FlatInk {
    let black: Vec<(Ink, f64)> = inks.iter().map(|&i| (i, 40.0)).collect();
    read(&face(200.0, &black), PX_PER_MM, &[])
}

/// Letters of 4 mm by 3 mm, their strokes 0.6 mm wide, the lower left of the first at (x, y).
fn letters(text: &str, x: f64, y: f64) -> Vec<Ink> {
    let strokes = |c| -> &[[f64; 4]] {
        match c {
            'H' => &[
                [0.0, 0.0, 0.0, 4.0],
                [2.6, 0.0, 2.6, 4.0],
                [0.0, 2.0, 2.6, 2.0],
            ],
            'A' => &[
                [0.0, 0.0, 1.3, 4.0],
                [1.3, 4.0, 2.6, 0.0],
                [0.5, 1.4, 2.1, 1.4],
            ],
            'T' => &[[1.3, 0.0, 1.3, 4.0], [0.0, 4.0, 2.6, 4.0]],
            'E' => &[
                [0.0, 0.0, 0.0, 4.0],
                [0.0, 0.0, 2.3, 0.0],
                [0.0, 2.0, 2.0, 2.0],
                [0.0, 4.0, 2.3, 4.0],
            ],
            'I' => &[[1.3, 0.0, 1.3, 4.0]],
            _ => unreachable!("no such letter here"),
        }
    };
    text.chars()
        .enumerate()
        .flat_map(|(i, c)| {
            let left = x + 4.0 * i as f64;
            strokes(c)
                .iter()
                .map(move |&[a, b, c, d]| Ink::Stroke([left + a, y - b], [left + c, y - d], 0.6))
        })
        .collect()
}

fn dots() -> Vec<Ink> {
    (0..5)
        .map(|i| Ink::Dot([10.0 + 12.0 * f64::from(i), 8.0], 1.0))
        .collect()
}

#[test]
fn letters_in_a_row_are_writing_and_a_mark_beside_them_is_a_mark() {
    let mut inks = dots();
    inks.extend(letters("HATIE", 20.0, 24.0));
    let read = read_black(&inks);
    assert_eq!(read.marks.len(), 5, "{:?} {:?}", read.marks, read.unsure);
    assert_eq!(read.unsure.len(), 5, "{:?}", read.unsure);
    assert!(read.unsure.iter().all(|u| u.writing), "{:?}", read.unsure);
    // A dot beside the letters is none of them.
    inks.push(Ink::Dot([18.0, 23.0], 1.0));
    let read = read_black(&inks);
    assert_eq!(read.marks.len(), 6, "{:?}", read.unsure);
    // One letter by itself may be anything.
    let mut inks = dots();
    inks.extend(letters("H", 20.0, 24.0));
    let read = read_black(&inks);
    assert!(read.unsure.iter().any(|u| !u.writing), "{:?}", read.unsure);
}

#[test]
fn a_dot_under_a_letter_is_not_lost_in_it() {
    let mut inks = dots();
    inks.extend(letters("HATE", 20.0, 24.0));
    inks.push(Ink::Dot([22.6, 21.0], 1.7));
    let read = read_black(&inks);
    let doubt = |u: &&super::UnsureInFlat| !u.writing;
    let doubts: Vec<_> = read.unsure.iter().filter(doubt).collect();
    assert_eq!(doubts.len(), 1, "{:?} {:?}", read.marks, read.unsure);
    assert!((doubts[0].at.x / PX_PER_MM - 21.3).abs() < 1.0);
}

#[test]
fn pale_print_that_breaks_up_is_print_and_a_dark_dot_in_it_a_mark() {
    // Print so pale that only pieces of it stand out of the grain.
    let pieces: Vec<(Ink, f64)> = (0..14)
        .map(|i| {
            let x = 10.0 + 1.7 * f64::from(i);
            let y = 20.0 + f64::from(i * 5 % 3);
            (Ink::Stroke([x, y], [x + 0.9, y + 1.4], 0.4), 155.0)
        })
        .collect();
    let mut inks: Vec<(Ink, f64)> = dots().into_iter().map(|i| (i, 40.0)).collect();
    inks.extend(pieces);
    let clean = read(&face(200.0, &inks), PX_PER_MM, &[]);
    let unnamed = clean.unsure.iter().filter(|u| !u.writing).count();
    // What lies between two rows of it may be told.
    assert_eq!(clean.marks.len(), 5, "{:?}", clean.unsure);
    assert!(unnamed <= 2, "{:?}", clean.unsure);
    inks.push((Ink::Dot([24.0, 18.0], 1.0), 40.0));
    assert_eq!(read(&face(200.0, &inks), PX_PER_MM, &[]).marks.len(), 6);
}

#[test]
fn crosses_of_a_broad_pen_have_nothing_under_them() {
    let cross = |x: f64, turn: f64| {
        let arm = |a: f64| {
            let (s, c) = a.sin_cos();
            Ink::Stroke(
                [x - 2.0 * c, 10.0 - 2.0 * s],
                [x + 2.0 * c, 10.0 + 2.0 * s],
                1.1,
            )
        };
        [arm(turn), arm(turn + 1.5)]
    };
    for turn in [0.05, 0.75] {
        let inks: Vec<Ink> = (0..5)
            .flat_map(|i| cross(10.0 + 14.0 * f64::from(i), turn))
            .collect();
        let read = read_black(&inks);
        assert_eq!(
            (read.marks.len(), read.unsure.len()),
            (5, 0),
            "{turn}: {:?}",
            read.unsure
        );
        assert!(read.marks.iter().all(|m| !m.crossed_out));
    }
    // Over a dot that shows between its arms a cross is not surely a mark.
    let mut inks: Vec<Ink> = (0..5)
        .flat_map(|i| cross(10.0 + 14.0 * f64::from(i), 0.75))
        .collect();
    inks.push(Ink::Dot([38.0, 10.0], 2.8));
    let read = read_black(&inks);
    assert_eq!(
        read.marks.iter().filter(|m| !m.crossed_out).count(),
        4,
        "{:?}",
        read.marks
    );
}

#[test]
fn a_dot_keeps_its_place_when_the_pen_was_drawn_away() {
    let mut inks = dots();
    inks.push(Ink::Dot([40.0, 20.0], 1.2));
    inks.push(Ink::Stroke([40.0, 20.0], [41.6, 20.7], 0.3));
    let read = read_black(&inks);
    assert_eq!(
        (read.marks.len(), read.unsure.len()),
        (6, 0),
        "{:?}",
        read.unsure
    );
    let m = read
        .marks
        .iter()
        .find(|m| m.at.y > 14.0 * PX_PER_MM)
        .unwrap();
    let off = (m.at.x / PX_PER_MM - 40.0).hypot(m.at.y / PX_PER_MM - 20.0);
    assert!(off < 0.08, "{off}");
    // Drawn through on both sides, the dot may be struck out.
    inks.push(Ink::Stroke([40.0, 20.0], [38.4, 19.3], 0.3));
    let read = read_black(&inks);
    assert_eq!((read.marks.len(), read.unsure.len()), (5, 1));
}

#[test]
fn dust_is_far_smaller_than_the_hands_dots() {
    let mut inks = dots();
    inks.push(Ink::Dot([40.0, 20.0], 0.16));
    let clean = read_black(&inks);
    assert_eq!(
        (clean.marks.len(), clean.unsure.len()),
        (5, 0),
        "{:?}",
        clean.unsure
    );
    inks.push(Ink::Dot([60.0, 20.0], 0.5));
    let read = read_black(&inks);
    assert_eq!(read.marks.len() + read.unsure.len(), 6);
}

#[test]
fn light_marks_on_a_dark_face_need_no_ruled_line_to_be_known() {
    // A phone sharpens: round what is light it draws a dark seam.
    let mut inks = Vec::new();
    for i in 0..6 {
        let (x, y) = (8.0 + 12.0 * f64::from(i), 12.0);
        for [dx, dy] in [[1.5, 0.0], [0.0, 1.5]] {
            let (from, to) = ([x - dx, y - dy], [x + dx, y + dy]);
            inks.push((Ink::Stroke(from, to, 1.1), 45.0));
        }
        for [dx, dy] in [[1.5, 0.0], [0.0, 1.5]] {
            let (from, to) = ([x - dx, y - dy], [x + dx, y + dy]);
            inks.push((Ink::Stroke(from, to, 0.5), 190.0));
        }
    }
    let read = read(&face(70.0, &inks), PX_PER_MM, &[]);
    assert_eq!(
        (read.marks.len(), read.unsure.len()),
        (6, 0),
        "{:?}",
        read.unsure
    );
    for (i, m) in read.marks.iter().enumerate() {
        let off = (m.at.x / PX_PER_MM - 8.0 - 12.0 * i as f64).hypot(m.at.y / PX_PER_MM - 12.0);
        assert!(off < 0.1, "{off}");
    }
}

/// A ruled line at 8 mm, and ticks across it, of a pen of level 40.
fn ticks() -> Vec<(Ink, f64)> {
    let line = (Ink::Stroke([2.0, 8.0], [78.0, 8.0], 0.5), 40.0);
    let ticks = (0..6).map(|i| {
        let x = 8.0 + 12.0 * f64::from(i);
        (Ink::Stroke([x, 5.7], [x, 10.3], 0.5), 40.0)
    });
    std::iter::once(line).chain(ticks).collect()
}

/// Where those are meant to be.
fn at_ticks() -> [Vec<Point<Flat>>; 1] {
    let place = |i: u8| {
        let x = 8.0 + 12.0 * f64::from(i);
        Point::new(x * PX_PER_MM, 8.0 * PX_PER_MM)
    };
    [(0..6).map(place).collect()]
}

#[test]
fn pale_print_over_ticks_falls_away_once_the_pen_is_known_and_a_pale_strike_does_not() {
    let print = |x: f64, y: f64| {
        letters("HATEH", x, y)
            .into_iter()
            .map(|i| (i, 155.0))
            .collect::<Vec<_>>()
    };
    // Print comes first, as it is on the face before the pen.
    let inks: Vec<_> = print(18.0, 14.2).into_iter().chain(ticks()).collect();
    let over = read(&face(200.0, &inks), PX_PER_MM, &at_ticks());
    // Those that the print runs through may be marks or unsure, as may its letters, and nothing else is told.
    let at_a_tick = |p: Point<Flat>| {
        let x = p.x / PX_PER_MM - 8.0;
        let at_tick = (x / 12.0 - (x / 12.0).round()).abs() * 12.0 < 2.0;
        at_tick && (p.y / PX_PER_MM - 8.0).abs() < 4.0
    };
    let in_print =
        |p: Point<Flat>| (18.0..38.0).contains(&(p.x / PX_PER_MM)) && p.y / PX_PER_MM < 14.5;
    let told: Vec<_> = over.unsure.iter().filter(|u| !u.writing).collect();
    assert!(over.marks.len() >= 4, "{:?} {told:?}", over.marks);
    assert!(
        told.iter().all(|u| at_a_tick(u.at) || in_print(u.at)),
        "{told:?}"
    );
    for m in &over.marks {
        let i = ((m.at.x / PX_PER_MM - 8.0) / 12.0).round();
        let off = (m.at.x / PX_PER_MM - 8.0 - 12.0 * i).hypot(m.at.y / PX_PER_MM - 8.0);
        assert!(off < 0.1, "{off}");
    }
    // A tick struck through by a pencil, soft or hard, is none of which one may be sure.
    for level in [150.0, 170.0, 182.0] {
        let strike = (Ink::Stroke([29.5, 5.0], [34.5, 11.0], 0.5), level);
        let inks: Vec<_> = std::iter::once(strike).chain(ticks()).collect();
        let struck = read(&face(200.0, &inks), PX_PER_MM, &[]);
        let live = struck.marks.iter().filter(|m| !m.crossed_out).count();
        assert_eq!(live, 5, "{level}: {:?} {:?}", struck.marks, struck.unsure);
        // A ring round it does not make it surer.
        let black = ring(32.0, 8.0, 4.2, 6.3, 1.0)
            .into_iter()
            .map(|i| (i, 40.0));
        let inks: Vec<_> = inks.into_iter().chain(black).collect();
        let ringed = read(&face(200.0, &inks), PX_PER_MM, &[]);
        let live = ringed.marks.iter().filter(|m| !m.crossed_out).count();
        assert_eq!(live, 5, "{level}: {:?} {:?}", ringed.marks, ringed.unsure);
    }
}

/// A ring round (x, y), from `start` on over `turn` rad, its radius shrinking to `end` of what it was.
fn ring(x: f64, y: f64, radius: f64, turn: f64, end: f64) -> Vec<Ink> {
    let steps = (turn * 12.0) as i32;
    let at = |k: i32| {
        let t = f64::from(k) / 12.0;
        let r = radius * (1.0 - (1.0 - end) * t / turn);
        [x + r * t.cos(), y + r * t.sin()]
    };
    (0..steps)
        .map(|k| Ink::Stroke(at(k), at(k + 1), 0.45))
        .collect()
}

#[test]
fn a_ring_hides_neither_the_dot_on_the_line_in_it_nor_ends_in_a_mark() {
    let line = Ink::Stroke([2.0, 15.0], [78.0, 15.0], 0.5);
    let dots = (0..6).map(|i| Ink::Dot([8.0 + 12.0 * f64::from(i), 15.0], 0.75));
    let mut inks: Vec<Ink> = std::iter::once(line).chain(dots).collect();
    inks.extend(ring(20.0, 15.0, 3.6, 6.3, 1.0));
    // Drawn on past its start, inside.
    inks.extend(ring(56.0, 15.0, 4.0, 6.9, 0.8));
    let read = read_black(&inks);
    assert_eq!(
        (read.marks.len(), read.unsure.len()),
        (6, 0),
        "{:?}",
        read.unsure
    );
    let ringed: Vec<bool> = read.marks.iter().map(|m| m.ringed).collect();
    assert_eq!(ringed, [false, true, false, false, true, false]);
}

#[test]
fn a_ring_pressed_here_and_not_there_is_one_stroke_and_a_dot_on_it_is_told() {
    let mut inks: Vec<(Ink, f64)> = (0..6)
        .map(|i| (Ink::Dot([8.0 + 12.0 * f64::from(i), 15.0], 0.75), 70.0))
        .collect();
    inks.push((Ink::Stroke([2.0, 15.0], [78.0, 15.0], 0.35), 150.0));
    // Where it crosses the line as dark as the dots, the rest half as dark.
    let stroke = ring(56.0, 15.0, 4.0, 6.3, 1.0);
    let pressed = stroke.len() / 16;
    let ends = [pressed, stroke.len() - pressed];
    let of = |k: usize| {
        if k < ends[0] || k > ends[1] {
            75.0
        } else {
            155.0
        }
    };
    inks.extend(stroke.into_iter().enumerate().map(|(k, s)| (s, of(k))));
    let planned: Vec<Point<Flat>> = (0..6)
        .map(|i| Point::new((8.0 + 12.0 * f64::from(i)) * PX_PER_MM, 15.0 * PX_PER_MM))
        .collect();
    let one = read(
        &face(200.0, &inks),
        PX_PER_MM,
        std::slice::from_ref(&planned),
    );
    assert_eq!(
        (one.marks.len(), one.unsure.len()),
        (6, 0),
        "{:?}",
        one.unsure
    );
    inks.push((Ink::Dot([56.0, 19.0], 1.2), 70.0));
    let two = read(&face(200.0, &inks), PX_PER_MM, &[planned]);
    assert!(
        two.marks.len() + two.unsure.len() > 6,
        "{:?} {:?}",
        two.marks,
        two.unsure
    );
}

#[test]
fn a_dot_on_a_rings_stroke_is_told_and_the_rings_own_ends_are_not() {
    let dots = (0..6).map(|i| Ink::Dot([8.0 + 12.0 * f64::from(i), 15.0], 0.75));
    let mut inks: Vec<Ink> = dots.collect();
    // One whose ends lie over each other, one whose ends cross.
    inks.extend(ring(20.0, 15.0, 3.6, 6.6, 0.98));
    inks.extend(ring(56.0, 15.0, 4.0, 6.8, 0.93));
    let doubts = |inks: &[Ink]| read_black(inks).unsure;
    assert!(doubts(&inks).is_empty(), "{:?}", doubts(&inks));
    for turn in [1.0f64, 2.5, 4.0] {
        let mut with_dot = inks.clone();
        let at = [56.0 + 3.85 * turn.cos(), 15.0 + 3.85 * turn.sin()];
        with_dot.push(Ink::Dot(at, 0.85));
        let near = |u: &super::UnsureInFlat| {
            let [x, y] = [u.at.x, u.at.y].map(|v| v / PX_PER_MM);
            (x - at[0]).hypot(y - at[1]) < 0.8
        };
        assert!(doubts(&with_dot).iter().any(near), "at {turn}");
    }
}

#[test]
fn a_hard_pencils_crosses_are_marks_where_nothing_is_darker() {
    let cross = |i: i32| {
        let (x, y) = (8.0 + 12.0 * f64::from(i), 15.0);
        [[1.4, 0.0], [0.0, 1.4]]
            .map(|[dx, dy]| (Ink::Stroke([x - dx, y - dy], [x + dx, y + dy], 0.5), 157.0))
    };
    let six: Vec<_> = (0..6).flat_map(cross).collect();
    let all = read(&face(200.0, &six), PX_PER_MM, &[]);
    assert_eq!(
        (all.marks.len(), all.unsure.len()),
        (6, 0),
        "{:?}",
        all.unsure
    );
}

#[test]
fn a_full_stop_of_the_print_is_no_dot_and_a_dot_of_the_pen_among_the_print_is() {
    let mut inks: Vec<(Ink, f64)> = letters("HATE", 20.0, 24.0)
        .into_iter()
        .chain(letters("HE", 40.0, 24.0))
        .map(|i| (i, 140.0))
        .collect();
    inks.push((Ink::Dot([37.3, 23.6], 0.8), 140.0));
    inks.extend(ticks());
    let clean = read(&face(200.0, &inks), PX_PER_MM, &[]);
    let unnamed = clean.unsure.iter().filter(|u| !u.writing).count();
    assert_eq!((clean.marks.len(), unnamed), (6, 0), "{:?}", clean.marks);
    inks.push((Ink::Dot([37.3, 21.5], 0.8), 40.0));
    assert_eq!(read(&face(200.0, &inks), PX_PER_MM, &[]).marks.len(), 7);
}

#[test]
fn an_arm_of_a_large_cross_out_is_no_ruled_line_and_a_slanted_line_is_one() {
    let plus = |x: f64, y: f64| {
        [
            Ink::Stroke([x - 1.2, y], [x + 1.2, y], 0.5),
            Ink::Stroke([x, y - 1.2], [x, y + 1.2], 0.5),
        ]
    };
    // One of its arms points at the next mark, another runs over a ring round it.
    let (from, along) = ([20.0, 14.0], [0.8, 0.6]);
    let arm = |half: f64, [x, y]: [f64; 2]| {
        let to = |s: f64| [from[0] + s * x, from[1] + s * y];
        Ink::Stroke(to(-half), to(half), 0.5)
    };
    let mut inks = vec![arm(8.0, along), arm(7.5, [0.7, -0.71])];
    inks.extend(plus(20.0, 14.0));
    inks.extend(plus(from[0] + 12.0 * along[0], from[1] + 12.0 * along[1]));
    inks.extend(plus(50.0, 14.0));
    inks.extend(plus(64.0, 14.0));
    let read = read_black(&inks);
    assert!(read.lines.is_empty(), "{:?}", read.lines);
    let struck: Vec<_> = read.marks.iter().filter(|m| m.crossed_out).collect();
    assert_eq!(struck.len(), 1, "{:?}", read.marks);
    assert!((struck[0].at.x / PX_PER_MM - 20.0).abs() < 0.3);
    assert!(read.unsure.is_empty(), "{:?}", read.unsure);
    // A short slanted line with ticks across it is a ruled one.
    let tick = |s: f64| {
        let (x, y) = (from[0] + s * along[0], from[1] + s * along[1]);
        let (dx, dy) = (1.8 * along[1], 1.8 * along[0]);
        Ink::Stroke([x + dx, y - dy], [x - dx, y + dy], 0.5)
    };
    let read = read_black(&[arm(10.0, along), tick(-5.0), tick(0.0), tick(5.0)]);
    assert_eq!(read.lines.len(), 1, "{read:?}");
    assert_eq!(read.marks.len(), 3, "{read:?}");
}

#[test]
fn a_line_that_is_a_little_darker_somewhere_has_no_dot_there() {
    let line = (Ink::Stroke([2.0, 8.0], [78.0, 8.0], 0.4), 110.0);
    // A millimetre of it, a sixth darker.
    let darker = (Ink::Stroke([39.6, 8.0], [40.4, 8.0], 0.4), 95.0);
    let dot = (Ink::Dot([20.0, 8.0], 0.7), 110.0);
    let planned = [vec![Point::new(20.0 * PX_PER_MM, 8.0 * PX_PER_MM)]];
    let read = read(&face(200.0, &[line, darker, dot]), PX_PER_MM, &planned);
    let marks: Vec<f64> = read.marks.iter().map(|m| m.at.x / PX_PER_MM).collect();
    assert!(
        marks.len() == 1 && (marks[0] - 20.0).abs() < 0.1,
        "{marks:?}"
    );
}

#[test]
fn a_picture_of_a_few_pixels_holds_nothing() {
    for (wide, tall) in [(1, 1), (7, 2), (2, 40), (40, 3), (61, 61)] {
        for level in [0, 1, 90, 255] {
            let read = read(
                &GrayImage::from_pixel(wide, tall, Luma([level])),
                PX_PER_MM,
                &[],
            );
            assert!(
                read.marks.is_empty() && read.lines.is_empty(),
                "{wide} x {tall}"
            );
        }
    }
}

/// The kinds whose shape unsure ink has within 0.3 mm of (x, y), and the kinds of the marks there.
fn at(read: &FlatInk, x: f64, y: f64) -> (Vec<MarkKind>, Vec<MarkKind>) {
    let near = |p: Point<Flat>| (p.x / PX_PER_MM - x).hypot(p.y / PX_PER_MM - y) < 0.3;
    let unsure = read.unsure.iter().filter(|u| near(u.at));
    let marks = read.marks.iter().filter(|m| near(m.at));
    (
        unsure
            .filter_map(|u| Some(u.looks.as_ref()?.kind))
            .collect(),
        marks.map(|m| m.kind).collect(),
    )
}

#[test]
fn a_pale_tick_among_dark_ones_is_unsure_and_has_the_shape_of_one() {
    let ticks = (0..6).map(|i| {
        let x = 8.0 + 12.0 * f64::from(i);
        let level = if i == 2 { 160.0 } else { 60.0 };
        (Ink::Stroke([x, 13.2], [x, 16.8], 0.4), level)
    });
    let line = (Ink::Stroke([2.0, 15.0], [78.0, 15.0], 0.3), 60.0);
    let inks: Vec<_> = std::iter::once(line).chain(ticks).collect();
    let read = read(&face(200.0, &inks), PX_PER_MM, &[]);
    assert_eq!(read.marks.len(), 5, "{:?}", read.marks);
    assert_eq!(at(&read, 32.0, 15.0), (vec![MarkKind::Tick], vec![]));
}

#[test]
fn the_arms_of_crosses_along_their_line_are_no_dots_and_a_dot_that_touches_a_tick_is_not_dropped() {
    let line = (Ink::Stroke([2.0, 15.0], [78.0, 15.0], 0.3), 90.0);
    let across = (0..6).map(|i| {
        let x = 8.0 + 12.0 * f64::from(i);
        (Ink::Stroke([x, 13.4], [x, 16.6], 0.4), 60.0)
    });
    // Pens let light through, and ink laid twice is darker.
    let along = |from: f64, to: f64| (Ink::Stroke([from, 15.0], [to, 15.0], 0.42), 50.0);
    let arms = (0..6)
        .map(|i| 8.0 + 12.0 * f64::from(i))
        .map(|x| along(x - 1.6, x + 1.6));
    let crosses: Vec<_> = [line]
        .into_iter()
        .chain(arms)
        .chain(across.clone())
        .collect();
    let read = |inks: &[(Ink, f64)]| read(&face(200.0, inks), PX_PER_MM, &[]);
    let of_crosses = read(&crosses);
    assert_eq!(
        (of_crosses.marks.len(), of_crosses.unsure.len()),
        (6, 0),
        "{:?}",
        of_crosses.unsure
    );
    let dot = (Ink::Dot([33.3, 15.0], 0.75), 60.0);
    let with_dot: Vec<_> = [line].into_iter().chain(across).chain([dot]).collect();
    let of_dot = read(&with_dot);
    assert_eq!(
        of_dot.marks.len() + of_dot.unsure.len(),
        7,
        "{:?} {:?}",
        of_dot.marks,
        of_dot.unsure
    );
}

#[test]
fn a_stroke_through_a_dot_among_dots_is_none_to_rely_on_and_among_ticks_a_tick() {
    let row = |of: &dyn Fn(f64) -> Ink| {
        let line = Ink::Stroke([2.0, 15.0], [78.0, 15.0], 0.3);
        let marks = (0..6).filter(|&i| i != 2);
        let marks = marks.map(|i| of(8.0 + 12.0 * f64::from(i)));
        // A dot with a stroke as dark through it, which leans like many a tick.
        let dot = Ink::Dot([32.0, 15.0], 0.8);
        let stroke = Ink::Stroke([31.0, 16.4], [33.0, 13.6], 0.4);
        let inks: Vec<_> = [line, dot, stroke].into_iter().chain(marks).collect();
        let inks: Vec<_> = inks.into_iter().map(|i| (i, 60.0)).collect();
        let read = read(&face(200.0, &inks), PX_PER_MM, &[]);
        assert_eq!(read.marks.len() + read.unsure.len(), 6, "{:?}", read.unsure);
        at(&read, 32.0, 15.0)
    };
    let tick = vec![MarkKind::Tick];
    assert_eq!(row(&|x| Ink::Dot([x, 15.0], 0.8)), (tick.clone(), vec![]));
    let ticks = row(&|x| Ink::Stroke([x, 13.2], [x, 16.8], 0.4));
    assert_eq!(ticks, (vec![], tick));
}

#[test]
fn a_dot_that_paler_ink_runs_past_is_none_to_rely_on() {
    let among = |pale: &[Ink]| {
        let pale = pale.iter().map(|&i| (i, 165.0));
        let dot = (Ink::Dot([40.4, 20.0], 0.8), 40.0);
        let inks: Vec<_> = pale.chain(ticks()).chain([dot]).collect();
        let read = read(&face(200.0, &inks), PX_PER_MM, &at_ticks());
        let (x, y) = (40.4 * PX_PER_MM, 20.0 * PX_PER_MM);
        let here = |p: Point<Flat>| (p.x - x).hypot(p.y - y);
        let doubt = |u: &super::UnsureInFlat| here(u.at) < (u.size_mm / 2.0).max(0.3) * PX_PER_MM;
        let marks = read.marks.iter().filter(|m| here(m.at) < 0.3 * PX_PER_MM);
        (read.unsure.iter().any(doubt), marks.count())
    };
    assert_eq!(among(&[]), (false, 1));
    // A loop of pale print with an arm, and the dot where they meet.
    let corners = [[40.4, 20.0], [43.0, 20.0], [43.0, 23.0], [40.4, 23.0]];
    let side = |i: usize| Ink::Stroke(corners[i], corners[(i + 1) % 4], 0.4);
    let arm = Ink::Stroke([40.4, 20.0], [43.0, 16.5], 0.4);
    let letter: Vec<Ink> = (0..4).map(side).chain([arm]).collect();
    assert_eq!(among(&letter), (true, 0));
    // Struck through, straight or with a scribble whose strokes do not go on straight from one side to the other.
    let strike = Ink::Stroke([37.4, 20.0], [43.4, 20.0], 0.4);
    assert_eq!(among(&[strike]), (true, 0));
    let bends = [
        [37.8, 21.6],
        [39.2, 19.0],
        [40.4, 20.3],
        [41.0, 18.4],
        [42.6, 18.2],
    ];
    let scribble: Vec<Ink> = (bends.windows(2))
        .map(|b| Ink::Stroke(b[0], b[1], 0.4))
        .collect();
    assert_eq!(among(&scribble), (true, 0));
}

#[test]
fn what_stands_at_the_planned_places_tells_bright_ink_from_dark_on_a_face_of_any_level() {
    let places: Vec<f64> = (0..5).map(|i| 10.0 + 14.0 * f64::from(i)).collect();
    let dots = places.iter().map(|&x| (Ink::Dot([x, 10.0], 0.9), 245.0));
    // Stains of the dye, larger and paler than marks, and nowhere near a place.
    let stains = (0..4).map(|i| (Ink::Dot([14.0 + 15.0 * f64::from(i), 22.0], 1.4), 100.0));
    let inks: Vec<(Ink, f64)> = dots.chain(stains).collect();
    let planned: Vec<_> = (places.iter())
        .map(|x| Point::new(x * PX_PER_MM, 10.0 * PX_PER_MM))
        .collect();
    let read = read(&face(140.0, &inks), PX_PER_MM, &[planned]);
    let mut found: Vec<f64> = read.marks.iter().map(|m| m.at.x / PX_PER_MM).collect();
    found.sort_by(f64::total_cmp);
    assert_eq!(found.len(), places.len(), "{found:?}");
    for (f, p) in found.iter().zip(&places) {
        assert!((f - p).abs() < 0.1, "{found:?}");
    }
}

#[test]
fn a_dot_beside_its_line_is_measured_where_it_is() {
    let line = (Ink::Stroke([2.0, 15.0], [78.0, 15.0], 0.4), 60.0);
    for off in [0.35, 0.5, 0.62, 0.75] {
        let dot = (Ink::Dot([40.0, 15.0 - off], 0.75), 60.0);
        let planned = vec![Point::new(40.0 * PX_PER_MM, 15.0 * PX_PER_MM)];
        let read = read(&face(200.0, &[line, dot]), PX_PER_MM, &[planned]);
        let [m] = &read.marks[..] else {
            panic!("{off}: {:?} {:?}", read.marks, read.unsure);
        };
        let y = 15.0 - m.at.y / PX_PER_MM;
        let u = m.cov[(1, 1)].sqrt() / PX_PER_MM;
        assert!((y - off).abs() < (2.0 * u).max(0.05), "{off}: {y} U {u}");
    }
}

/// The colour of a face of `inks`, each of blueness and redness `of` where it takes all light; grey elsewhere.
fn colour(inks: &[(Ink, [f64; 2])]) -> Colour {
    let scale = PX_PER_MM / COLOUR_SCALE;
    let size = |mm: f64| (mm * scale) as u32;
    let plane = |k: usize| {
        GrayImage::from_fn(size(WIDE_MM), size(TALL_MM), |i, j| {
            let (x, y) = ((f64::from(i) + 0.5) / scale, (f64::from(j) + 0.5) / scale);
            let own = inks.iter().map(|(ink, of)| ink.cover(x, y) * of[k]);
            Luma([(128.0 + own.sum::<f64>()).round() as u8])
        })
    };
    Colour {
        blue: plane(0),
        red: plane(1),
    }
}

#[test]
fn what_is_grey_beside_a_blue_pens_marks_is_dirt_and_what_is_blue_may_be_one() {
    let dots: Vec<Ink> = (0..5)
        .map(|i| Ink::Dot([10.0 + 12.0 * f64::from(i), 8.0], 0.7))
        .collect();
    let planned: Vec<Point<Flat>> = (0..5)
        .map(|i| Point::new((10.0 + 12.0 * f64::from(i)) * PX_PER_MM, 8.0 * PX_PER_MM))
        .collect();
    let speck = Ink::Dot([40.0, 20.0], 0.39);
    let inks: Vec<(Ink, f64)> = dots
        .iter()
        .map(|&d| (d, 70.0))
        .chain([(speck, 108.0)])
        .collect();
    let picture = face(200.0, &inks);
    let doubts = |of_speck: Option<[f64; 2]>| {
        let blue = dots.iter().map(|&d| (d, [35.0, -10.0]));
        let of_inks: Option<Vec<_>> =
            of_speck.map(|of| blue.chain([(speck, of)]).collect::<Vec<_>>());
        let colour = of_inks.map(|inks| colour(&inks));
        let read = read_in_colour(
            &picture,
            colour.as_ref(),
            PX_PER_MM,
            std::slice::from_ref(&planned),
        );
        assert!(read.marks.len() >= 5, "{:?}", read.unsure);
        read.marks.len() - 5 + read.unsure.len()
    };
    assert_eq!(doubts(None), 1, "in grey it may be either");
    assert_eq!(doubts(Some([26.0, -7.0])), 1, "blue, it may be the pen's");
    assert_eq!(doubts(Some([0.0, 0.0])), 0, "grey, it is none");
}
