//! Where labels go: beside their mark, never on a mark and never on each other.

use super::words;

/// Advance widths of the characters 32 to 126 in DejaVu Sans 2.37, thousandths of an em.
const REGULAR: [u16; 95] = [
    318, 401, 460, 838, 636, 950, 780, 275, 390, 390, 500, 838, 318, 361, 318, 337, 636, 636, 636,
    636, 636, 636, 636, 636, 636, 636, 337, 337, 838, 838, 838, 531, 1000, 684, 686, 698, 770, 632,
    575, 775, 752, 295, 295, 656, 557, 863, 748, 787, 603, 787, 695, 635, 611, 732, 684, 989, 685,
    611, 685, 390, 337, 390, 838, 500, 500, 613, 635, 550, 635, 615, 352, 635, 634, 278, 278, 579,
    278, 974, 634, 612, 635, 635, 411, 521, 392, 634, 592, 818, 592, 592, 525, 636, 337, 636, 838,
];
/// The same of DejaVu Sans Bold.
const BOLD: [u16; 95] = [
    348, 456, 521, 838, 696, 1002, 872, 306, 457, 457, 523, 838, 380, 415, 380, 365, 696, 696, 696,
    696, 696, 696, 696, 696, 696, 696, 400, 400, 838, 838, 838, 580, 1000, 774, 762, 734, 830, 683,
    683, 821, 837, 372, 372, 775, 637, 995, 837, 850, 733, 850, 770, 720, 682, 812, 774, 1103, 771,
    724, 725, 457, 365, 457, 838, 500, 500, 675, 716, 593, 716, 678, 435, 716, 712, 343, 343, 665,
    343, 1042, 712, 687, 716, 716, 493, 595, 478, 712, 652, 924, 645, 652, 582, 712, 365, 712, 838,
];
/// Any other character: as wide as the widest usual ones.
const OTHER: u16 = 1000;

/// Height of a label's box, em.
const BOX_HEIGHT: f64 = 1.45;
/// Room left and right of the text in its box, em.
const BOX_SIDE: f64 = 0.35;
/// Directions tried round a mark.
const DIRECTIONS: usize = 16;
/// Distances tried, each [`RING_STEP`] further out.
const RINGS: usize = 12;
/// Step from one distance to the next, em.
const RING_STEP: f64 = 0.8;
/// Directions from the mark, the first ones preferred: up, down, and the diagonals leave a row's
/// neighbours alone; sideways runs into them.
const SIDEWAYS_COST: f64 = 0.35;
/// Cost of a leader crossing another leader, or a box on a leader, in rings.
const CROSSING_COST: f64 = 6.0;
/// Labels nearer than this to one without room are shortened too, em: a long label and a half.
const CROWD_EM: f64 = 14.0;
/// Most other signs that a leader may run over: beyond this it is not followed, only confusing.
const MAX_OVER: usize = 1;
/// Cost of each soft obstacle (a ruled line's point) under a box, in rings.
const SOFT_COST: f64 = 0.15;

/// Width of `text`, em.
pub(crate) fn text_width(text: &str, bold: bool) -> f64 {
    let table = if bold { &BOLD } else { &REGULAR };
    let sum: u32 = text
        .chars()
        .map(|c| {
            let i = (u32::from(c) as usize).wrapping_sub(32);
            u32::from(table.get(i).copied().unwrap_or(OTHER))
        })
        .sum();
    f64::from(sum) / 1000.0
}

/// Wraps `text` by words to lines of at most `width` em. A word too long stands alone.
pub(crate) fn wrap(text: &str, width: f64, bold: bool) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(l) if text_width(l, bold) + text_width(word, bold) + 0.35 <= width => {
                l.push(' ');
                l.push_str(word);
            }
            _ => lines.push(word.to_string()),
        }
    }
    lines
}

/// `text` cut to `width` em, with dots where something was cut.
pub(crate) fn cut(text: &str, width: f64, bold: bool) -> String {
    let text = words::plain(text);
    if text_width(&text, bold) <= width {
        return text;
    }
    let mut out = String::new();
    for c in text.chars() {
        out.push(c);
        if text_width(&out, bold) + text_width("...", bold) > width {
            out.pop();
            break;
        }
    }
    out + "..."
}

/// A box, upper left corner and size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rect {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) w: f64,
    pub(super) h: f64,
}

impl Rect {
    fn overlaps(&self, o: &Rect) -> bool {
        self.x < o.x + o.w && o.x < self.x + self.w && self.y < o.y + o.h && o.y < self.y + self.h
    }

    fn holds(&self, o: &Rect) -> bool {
        o.x >= self.x
            && o.y >= self.y
            && o.x + o.w <= self.x + self.w
            && o.y + o.h <= self.y + self.h
    }

    /// The point of the box nearest to `p`.
    fn nearest(&self, p: [f64; 2]) -> [f64; 2] {
        [
            p[0].clamp(self.x, self.x + self.w),
            p[1].clamp(self.y, self.y + self.h),
        ]
    }

    fn touches(&self, d: &Disc) -> bool {
        let n = self.nearest(d.at);
        (n[0] - d.at[0]).hypot(n[1] - d.at[1]) < d.r
    }

    fn crossed_by(&self, a: [f64; 2], b: [f64; 2]) -> bool {
        let corner = |i: usize| {
            [
                self.x + if i == 1 || i == 2 { self.w } else { 0.0 },
                self.y + if i >= 2 { self.h } else { 0.0 },
            ]
        };
        self.nearest(a) == a
            || self.nearest(b) == b
            || (0..4).any(|i| cross(a, b, corner(i), corner((i + 1) % 4)))
    }
}

/// Something that a label must not cover.
#[derive(Debug, Clone, Copy)]
pub(super) struct Disc {
    pub(super) at: [f64; 2],
    pub(super) r: f64,
}

/// A label that wants a place.
#[derive(Debug, Clone)]
pub(super) struct Label {
    /// The mark it belongs to.
    pub(super) at: [f64; 2],
    /// Radius of the mark's sign.
    pub(super) clear: f64,
    /// The text, and what to say instead where there is no room.
    pub(super) texts: Vec<String>,
    /// Size of the letters, px.
    pub(super) size: f64,
    /// Bold in a box, or plain letters.
    pub(super) bold: bool,
    /// Farthest ring to try: a quiet label is left out rather than led far away.
    pub(super) rings: usize,
    /// Led away over other signs rather than left out.
    pub(super) insist: bool,
}

/// A label with its place.
#[derive(Debug, Clone)]
pub(super) struct Placed {
    pub(super) rect: Rect,
    pub(super) text: String,
    /// From the sign's rim to the box, where the box is not next to it.
    pub(super) leader: Option<[[f64; 2]; 2]>,
}

/// Gives each label a place inside `bounds`, in the order given; `None` where there is no room.
///
/// Where a bold label finds no room, it and the labels near it are tried again with shorter texts,
/// so that one long text does not take the room of three short ones.
pub(super) fn place(
    labels: &[Label],
    hard: &[Disc],
    soft: &[[f64; 2]],
    bounds: Rect,
) -> Vec<Option<Placed>> {
    let longest = labels.iter().map(|l| l.texts.len()).max().unwrap_or(1);
    let mut shorter = vec![0; labels.len()];
    let mut best: Option<(usize, Vec<Option<Placed>>)> = None;
    for _ in 0..longest {
        let placed = place_once(labels, &shorter, hard, soft, bounds);
        let lost: Vec<&Label> = labels
            .iter()
            .zip(&placed)
            .filter_map(|(l, p)| (l.bold && p.is_none()).then_some(l))
            .collect();
        for (s, l) in shorter.iter_mut().zip(labels) {
            let near =
                |o: &&Label| (o.at[0] - l.at[0]).hypot(o.at[1] - l.at[1]) < CROWD_EM * l.size;
            *s += usize::from(lost.iter().any(near));
        }
        let done = lost.is_empty();
        if best.as_ref().is_none_or(|(b, _)| lost.len() < *b) {
            best = Some((lost.len(), placed));
        }
        if done {
            break;
        }
    }
    best.map(|(_, placed)| placed).unwrap_or_default()
}

fn place_once(
    labels: &[Label],
    shorter: &[usize],
    hard: &[Disc],
    soft: &[[f64; 2]],
    bounds: Rect,
) -> Vec<Option<Placed>> {
    let mut done: Vec<Option<Placed>> = Vec::with_capacity(labels.len());
    for (label, &shorter) in labels.iter().zip(shorter) {
        let first = shorter.min(label.texts.len().saturating_sub(1));
        let placed = label.texts[first..]
            .iter()
            .find_map(|text| best_place(label, text, &done, hard, soft, bounds));
        done.push(placed);
    }
    done
}

fn best_place(
    label: &Label,
    text: &str,
    done: &[Option<Placed>],
    hard: &[Disc],
    soft: &[[f64; 2]],
    bounds: Rect,
) -> Option<Placed> {
    let w = (text_width(text, label.bold) + 2.0 * BOX_SIDE) * label.size;
    let h = BOX_HEIGHT * label.size;
    let mut best: Option<(f64, Placed)> = None;
    for ring in 0..label.rings.min(RINGS) {
        // A farther ring costs at least its number: nothing better can come.
        if best.as_ref().is_some_and(|(c, _)| *c <= ring as f64) {
            break;
        }
        let gap = if label.clear > 0.0 || ring > 0 {
            label.clear + (0.25 + RING_STEP * ring as f64) * label.size
        } else {
            // A label of a patch, not of a mark: in its middle.
            -f64::hypot(w, h)
        };
        for k in 0..DIRECTIONS {
            // From straight up, to both sides in turn.
            let turn = (k.div_ceil(2)) as f64 * if k % 2 == 0 { 1.0 } else { -1.0 };
            let (s, c) = (turn * std::f64::consts::TAU / DIRECTIONS as f64).sin_cos();
            let rect = Rect {
                x: label.at[0] + s * (gap + w / 2.0).max(0.0) - w / 2.0,
                y: label.at[1] - c * (gap + h / 2.0).max(0.0) - h / 2.0,
                w,
                h,
            };
            if !bounds.holds(&rect) || hard.iter().any(|d| rect.touches(d)) {
                continue;
            }
            if done.iter().flatten().any(|p| p.rect.overlaps(&rect)) {
                continue;
            }
            let end = rect.nearest(label.at);
            let away = [end[0] - label.at[0], end[1] - label.at[1]];
            let long = away[0].hypot(away[1]);
            let start = [
                label.at[0] + away[0] / long.max(1e-9) * label.clear,
                label.at[1] + away[1] / long.max(1e-9) * label.clear,
            ];
            let leader =
                (long > label.clear + 0.45 * label.size && long > 0.0).then_some([start, end]);
            let Some(extra) = cost(&rect, leader, done, hard, label) else {
                continue;
            };
            let soft = soft.iter().filter(|p| rect.nearest(**p) == **p).count() as f64;
            let total = ring as f64 + SIDEWAYS_COST * s.abs() + extra + SOFT_COST * soft;
            if best.as_ref().is_none_or(|(c, _)| total < *c) {
                let text = text.to_string();
                best = Some((total, Placed { rect, text, leader }));
            }
        }
    }
    best.map(|(_, p)| p)
}

/// Cost of what the leader and the box cross; `None` where the leader would run through a label
/// or over too many signs.
fn cost(
    rect: &Rect,
    leader: Option<[[f64; 2]; 2]>,
    done: &[Option<Placed>],
    hard: &[Disc],
    label: &Label,
) -> Option<f64> {
    let mut sum = 0.0;
    for p in done.iter().flatten() {
        if let Some([a, b]) = p.leader {
            if rect.crossed_by(a, b) {
                return None;
            }
            if leader.is_some_and(|[c, d]| cross(a, b, c, d)) {
                sum += CROSSING_COST;
            }
        }
        if leader.is_some_and(|[c, d]| p.rect.crossed_by(c, d)) {
            return None;
        }
    }
    if let Some([a, b]) = leader {
        let over = hard.iter().filter(|d| {
            let own = (d.at[0] - label.at[0]).hypot(d.at[1] - label.at[1]) < 1e-6;
            !own && distance_to_segment(d.at, a, b) < d.r
        });
        let over = over.count();
        if over > MAX_OVER && !label.insist {
            return None;
        }
        sum += CROSSING_COST * over as f64;
    }
    Some(sum)
}

fn distance_to_segment(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let d = [b[0] - a[0], b[1] - a[1]];
    let len2 = d[0] * d[0] + d[1] * d[1];
    let t = if len2 > 0.0 {
        (((p[0] - a[0]) * d[0] + (p[1] - a[1]) * d[1]) / len2).clamp(0.0, 1.0)
    } else {
        0.0
    };
    (a[0] + t * d[0] - p[0]).hypot(a[1] + t * d[1] - p[1])
}

fn cross(a: [f64; 2], b: [f64; 2], c: [f64; 2], d: [f64; 2]) -> bool {
    let side = |p: [f64; 2], q: [f64; 2], r: [f64; 2]| {
        (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])
    };
    side(a, b, c) * side(a, b, d) < 0.0 && side(c, d, a) * side(c, d, b) < 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn crowded_labels_keep_clear_of_signs_and_each_other() {
        let hard: Vec<Disc> = (0..14)
            .map(|i| Disc {
                at: [60.0 + 60.0 * f64::from(i), 300.0],
                r: 20.0,
            })
            .collect();
        let labels: Vec<Label> = hard
            .iter()
            .enumerate()
            .map(|(i, d)| Label {
                at: d.at,
                clear: d.r,
                texts: vec![
                    format!("A{} off 0.057 in", i + 1),
                    format!("A{} off", i + 1),
                    format!("A{}", i + 1),
                ],
                size: 25.0,
                bold: true,
                rings: RINGS,
                insist: false,
            })
            .collect();
        let bounds = Rect {
            x: 0.0,
            y: 0.0,
            w: 900.0,
            h: 600.0,
        };
        let placed = place(&labels, &hard, &[], bounds);
        let found: Vec<&Placed> = placed.iter().flatten().collect();
        assert_eq!(found.len(), labels.len(), "a label found no room");
        for (i, p) in found.iter().enumerate() {
            assert!(bounds.holds(&p.rect), "{p:?} leaves the picture");
            assert!(!hard.iter().any(|d| p.rect.touches(d)), "{p:?} on a sign");
            for q in &found[i + 1..] {
                assert!(!p.rect.overlaps(&q.rect), "{p:?} on {q:?}");
            }
        }
    }

    #[test]
    fn no_room_is_said() {
        let label = Label {
            at: [10.0, 10.0],
            clear: 5.0,
            texts: vec!["far too long for this".into()],
            size: 10.0,
            bold: false,
            rings: RINGS,
            insist: false,
        };
        let bounds = Rect {
            x: 0.0,
            y: 0.0,
            w: 40.0,
            h: 40.0,
        };
        assert!(place(&[label], &[], &[], bounds)[0].is_none());
    }

    #[test]
    fn cut_text_fits() {
        let t = cut("a very long name for a hole", 8.0, true);
        assert!(t.ends_with("...") && text_width(&t, true) <= 8.0, "{t}");
        assert_eq!(cut("A1", 8.0, true), "A1");
    }
}
