//! Which mark belongs to which hole: optimal assignment on squared distance with a gate.

use nalgebra::Vector2;
use pathfinding::kuhn_munkres::kuhn_munkres;
use pathfinding::matrix::Matrix;

/// nm² in a mm²: costs are whole numbers of nm², so that no rounding decides.
const NM2_PER_MM2: f64 = 1e12;
/// Longest distance that can be paired, mm: its square is 2.5e15 nm², and 2000 of them stay below 2^63.
const LONGEST_MM: f64 = 50.0;
/// Largest group that is solved optimally, cells of its cost table; above it, nearest first. It takes
/// hundreds of marks within reach of each other to get there: a sheet nobody can read.
const LARGEST_GROUP: usize = 1 << 20;

/// What two sides gave.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pairs {
    /// For each hole, its mark.
    pub mark_of: Vec<Option<usize>>,
    /// For each mark, its hole.
    pub hole_of: Vec<Option<usize>>,
}

/// Pairs `holes` with `marks` (places in mm) so that the sum of squared distances, plus `unpaired_mm`²
/// for each pair that is forgone, is least.
///
/// `reach(h, m)` is the gate, mm: they may be paired up to that distance (at most 50 mm). With one
/// gate g for all and `unpaired_mm` = g this is the least of the sum of squared distances of the pairs
/// plus g²/2 for every hole and mark left over.
#[must_use]
pub fn pair(
    holes: &[Vector2<f64>],
    marks: &[Vector2<f64>],
    reach: impl Fn(usize, usize) -> f64,
    unpaired_mm: f64,
) -> Pairs {
    let mut links: Vec<Link> = Vec::new();
    for (h, hole) in holes.iter().enumerate() {
        for (m, mark) in marks.iter().enumerate() {
            let distance = (mark - hole).norm();
            if distance <= reach(h, m).min(LONGEST_MM) {
                links.push(Link {
                    h,
                    m,
                    cost: distance * distance,
                });
            }
        }
    }
    assign(&links, holes.len(), marks.len(), unpaired_mm * unpaired_mm)
}

/// A hole and a mark that may be paired, and what that costs.
#[derive(Debug, Clone, Copy)]
pub struct Link {
    /// Index of the hole.
    pub h: usize,
    /// Index of the mark.
    pub m: usize,
    /// Cost, mm²: 0 to 2500.
    pub cost: f64,
}

/// Pairs along `links` so that their cost plus `unpaired` for each pair that is forgone is least. A
/// link that costs more than `unpaired` raises it, so that each link is worth taking.
#[must_use]
pub fn assign(links: &[Link], holes: usize, marks: usize, unpaired: f64) -> Pairs {
    let longest = LONGEST_MM * LONGEST_MM;
    let worth = links
        .iter()
        .map(|l| l.cost)
        .fold(unpaired, f64::max)
        .min(longest);
    let mut pairs = Pairs {
        mark_of: vec![None; holes],
        hole_of: vec![None; marks],
    };
    for group in groups(links, holes, marks) {
        for (h, m) in solve(&group, worth) {
            pairs.mark_of[h] = Some(m);
            pairs.hole_of[m] = Some(h);
        }
    }
    pairs
}

/// The links in groups that share no hole and no mark: each is a small problem of its own.
fn groups(links: &[Link], holes: usize, marks: usize) -> Vec<Vec<Link>> {
    let mut parent: Vec<usize> = (0..holes + marks).collect();
    fn root(parent: &mut [usize], mut i: usize) -> usize {
        while parent[i] != i {
            parent[i] = parent[parent[i]];
            i = parent[i];
        }
        i
    }
    for l in links {
        let (a, b) = (root(&mut parent, l.h), root(&mut parent, holes + l.m));
        parent[a.max(b)] = a.min(b);
    }
    let mut group_of: Vec<Option<usize>> = vec![None; holes + marks];
    let mut groups: Vec<Vec<Link>> = Vec::new();
    for l in links {
        let r = root(&mut parent, l.h);
        let at = *group_of[r].get_or_insert_with(|| {
            groups.push(Vec::new());
            groups.len() - 1
        });
        groups[at].push(*l);
    }
    groups
}

/// The best pairs of one group.
fn solve(links: &[Link], worth: f64) -> Vec<(usize, usize)> {
    if let [only] = links {
        return vec![(only.h, only.m)];
    }
    let mut holes: Vec<usize> = links.iter().map(|l| l.h).collect();
    let mut marks: Vec<usize> = links.iter().map(|l| l.m).collect();
    for list in [&mut holes, &mut marks] {
        list.sort_unstable();
        list.dedup();
    }
    if holes.len() * marks.len() > LARGEST_GROUP {
        return nearest_first(links);
    }
    // A gain above 0 for each link, and 0 for no link: the greatest gain is the least cost, and a
    // "pair" without a link is none. Rows may not outnumber columns.
    let turned = holes.len() > marks.len();
    let (rows, columns) = if turned {
        (&marks, &holes)
    } else {
        (&holes, &marks)
    };
    let mut gains = Matrix::new(rows.len(), columns.len(), 0_i64);
    for l in links {
        let (row, column) = if turned { (l.m, l.h) } else { (l.h, l.m) };
        if let (Ok(i), Ok(j)) = (rows.binary_search(&row), columns.binary_search(&column)) {
            gains[(i, j)] = gain(l.cost, worth);
        }
    }
    let (_, chosen) = kuhn_munkres(&gains);
    chosen
        .into_iter()
        .enumerate()
        .filter(|&(i, j)| gains[(i, j)] > 0)
        .map(|(i, j)| {
            if turned {
                (columns[j], rows[i])
            } else {
                (rows[i], columns[j])
            }
        })
        .collect()
}

/// What a pair of that cost saves over leaving it, nm²; at least 1, so that a pair at the very gate is
/// one.
fn gain(cost: f64, worth: f64) -> i64 {
    let nm2 = |mm2: f64| (mm2 * NM2_PER_MM2).round() as i64;
    (nm2(worth) - nm2(cost)).max(0) + 1
}

/// The shortest links first; for groups too large to solve.
fn nearest_first(links: &[Link]) -> Vec<(usize, usize)> {
    let mut sorted = links.to_vec();
    sorted.sort_by(|a, b| {
        a.cost
            .total_cmp(&b.cost)
            .then(a.h.cmp(&b.h))
            .then(a.m.cmp(&b.m))
    });
    let mut pairs: Vec<(usize, usize)> = Vec::new();
    let mut taken_holes = std::collections::BTreeSet::new();
    let mut taken_marks = std::collections::BTreeSet::new();
    for l in sorted {
        if !taken_holes.contains(&l.h) && taken_marks.insert(l.m) {
            taken_holes.insert(l.h);
            pairs.push((l.h, l.m));
        }
    }
    pairs
}
