//! The walk over a JPEG's markers: is it whole, and what of it does the decoder need?

use std::ops::Range;

use super::super::check_size;
use super::super::error::Fault;
use super::{Colours, File, MAX_SCANS};

/// Ones behind each stretch of coded data, stuffed: 16 bytes. The decoder reads up to 8 ahead, and
/// needs 4 to meet the code that does not exist.
const ONES: [u8; 32] = [
    0xff, 0, 0xff, 0, 0xff, 0, 0xff, 0, 0xff, 0, 0xff, 0, 0xff, 0, 0xff, 0, 0xff, 0, 0xff, 0, 0xff,
    0, 0xff, 0, 0xff, 0, 0xff, 0, 0xff, 0, 0xff, 0,
];
/// Pixels that one coded byte can stand for at most. Each 8x8 block of the finest component takes at
/// least one bit of Huffman code for its mean and, in a baseline file, one for "no more".
const MAX_PIXELS_PER_BYTE: [u64; 2] = [64 * 8 / 2, 64 * 8];

struct Component {
    id: u8,
    across: u32,
    down: u32,
}

/// The walk over the markers (T.81 annex B; from memory).
pub(super) struct Walk<'a> {
    bytes: &'a [u8],
    at: usize,
    exif: Option<Range<usize>>,
    jfif: bool,
    adobe: Option<u8>,
    frame: Option<(u32, u32, bool)>,
    components: Vec<Component>,
    restart_interval: u32,
    scans: usize,
    /// Whether each component was in a scan.
    seen: [bool; 3],
    /// Bit planes still to come, for each coefficient of the first component; -1: not sent yet.
    to_come: [i8; 64],
    coded: u64,
    stream: Vec<u8>,
    coded_end: usize,
}

impl<'a> Walk<'a> {
    pub(super) fn new(bytes: &'a [u8]) -> Self {
        Self {
            bytes,
            at: 2,
            exif: None,
            jfif: false,
            adobe: None,
            frame: None,
            components: Vec::new(),
            restart_interval: 0,
            scans: 0,
            seen: [false; 3],
            to_come: [-1; 64],
            coded: 0,
            stream: Vec::with_capacity(bytes.len() + ONES.len()),
            coded_end: 0,
        }
    }

    pub(super) fn run(mut self) -> Result<File, Fault> {
        self.stream.extend_from_slice(&[0xff, 0xd8]);
        loop {
            let marker = self.marker()?;
            match marker {
                0xd9 => break,
                0x01 | 0xd0..=0xd7 => {}
                0xd8 => return Err(damaged("a second picture starts inside the first")),
                0xda => self.scan()?,
                0xc0..=0xc2 => self.frame(marker)?,
                0xc3 | 0xc5..=0xcf if marker != 0xc4 && marker != 0xc8 => {
                    return Err(Fault::Unsupported(match marker {
                        0xc3 | 0xc7 | 0xcb | 0xcf => "a lossless JPEG".to_owned(),
                        0xc9..=0xcc => "an arithmetic-coded JPEG".to_owned(),
                        _ => "a hierarchical JPEG".to_owned(),
                    }));
                }
                0xdc => {
                    return Err(Fault::Unsupported(
                        "a JPEG that tells its height last".to_owned(),
                    ));
                }
                0xc4 | 0xdb => {
                    let body = self.body(marker)?;
                    self.copy(marker, body);
                }
                0xdd => {
                    let body = self.body(marker)?;
                    let &[hi, lo] = &self.bytes[body.clone()] else {
                        return Err(damaged("its restart interval has the wrong length"));
                    };
                    self.restart_interval = u32::from(u16::from_be_bytes([hi, lo]));
                    self.copy(marker, body);
                }
                _ => self.note(marker)?,
            }
        }
        self.finish()
    }

    /// Application notes: EXIF and what tells the colours; all others are passed over.
    fn note(&mut self, marker: u8) -> Result<(), Fault> {
        let body = self.body(marker)?;
        let inside = &self.bytes[body.clone()];
        match marker {
            0xe0 if inside.starts_with(b"JFIF\0") => self.jfif = true,
            0xe1 if inside.starts_with(b"Exif\0") && inside.len() > 6 && self.exif.is_none() => {
                self.exif = Some(body.start + 6..body.end);
            }
            0xee if inside.starts_with(b"Adobe") => self.adobe = inside.get(11).copied(),
            _ => {}
        }
        Ok(())
    }

    /// The next marker; fill bytes and stray bytes before it are passed over, as decoders do.
    fn marker(&mut self) -> Result<u8, Fault> {
        loop {
            match self.bytes.get(self.at..self.at + 2) {
                None => return Err(self.cut("its end marker is missing")),
                Some(&[0xff, m @ 1..=0xfe]) => {
                    self.at += 2;
                    return Ok(m);
                }
                Some(_) => self.at += 1,
            }
        }
    }

    /// The body of a marker segment, behind its length.
    fn body(&mut self, marker: u8) -> Result<Range<usize>, Fault> {
        let length = match self.bytes.get(self.at..self.at + 2) {
            Some(&[hi, lo]) => usize::from(u16::from_be_bytes([hi, lo])),
            _ => return Err(self.cut("it ends inside a header")),
        };
        if length < 2 {
            return Err(Fault::Damaged(format!(
                "header FF{marker:02X} at byte {} has length {length}",
                self.at
            )));
        }
        let body = self.at + 2..self.at + length;
        if body.end > self.bytes.len() {
            return Err(self.cut("it ends inside a header"));
        }
        self.at = body.end;
        Ok(body)
    }

    fn cut(&self, what: &str) -> Fault {
        Fault::CutShort(format!("{what} (after {} bytes)", self.bytes.len()))
    }

    fn copy(&mut self, marker: u8, body: Range<usize>) {
        let length = (body.len() + 2) as u16;
        self.stream.extend_from_slice(&[0xff, marker]);
        self.stream.extend_from_slice(&length.to_be_bytes());
        self.stream.extend_from_slice(&self.bytes[body]);
    }

    fn frame(&mut self, marker: u8) -> Result<(), Fault> {
        if self.frame.is_some() {
            return Err(damaged("it has two frame headers"));
        }
        let body = self.body(marker)?;
        let inside = &self.bytes[body.clone()];
        let &[precision, h1, h0, w1, w0, count, ref rest @ ..] = inside else {
            return Err(damaged("its frame header is too short"));
        };
        if precision != 8 {
            return Err(Fault::Unsupported(format!("a {precision}-bit JPEG")));
        }
        if count == 4 {
            return Err(Fault::Unsupported(
                "a CMYK (four-ink print) JPEG".to_owned(),
            ));
        }
        if (count != 1 && count != 3) || rest.len() != usize::from(count) * 3 {
            return Err(Fault::Unsupported(format!(
                "a JPEG of {count} colour planes"
            )));
        }
        let height = u32::from(u16::from_be_bytes([h1, h0]));
        let width = u32::from(u16::from_be_bytes([w1, w0]));
        if height == 0 {
            return Err(Fault::Unsupported(
                "a JPEG that tells its height last".to_owned(),
            ));
        }
        check_size(width, height)?;
        for one in rest.chunks_exact(3) {
            let component = Component {
                id: one[0],
                across: u32::from(one[1] >> 4),
                down: u32::from(one[1] & 15),
            };
            let legal = 1..=4;
            if !legal.contains(&component.across) || !legal.contains(&component.down) {
                return Err(damaged(
                    "its frame header has a sampling factor that does not exist",
                ));
            }
            if self.components.iter().any(|c| c.id == component.id) {
                return Err(damaged("its frame header names a colour plane twice"));
            }
            self.components.push(component);
        }
        if let [first, rest @ ..] = &self.components[..]
            && rest
                .iter()
                .any(|c| c.across > first.across || c.down > first.down)
        {
            return Err(Fault::Unsupported(
                "a JPEG whose colour is finer than its brightness".to_owned(),
            ));
        }
        self.frame = Some((width, height, marker == 0xc2));
        let start = self.stream.len() + 10;
        self.copy(marker, body);
        // The decoder goes by the planes' names alone; give it those that say what they are.
        for (i, name) in self
            .names()
            .into_iter()
            .enumerate()
            .take(self.components.len())
        {
            self.stream[start + 3 * i] = name;
        }
        Ok(())
    }

    /// By libjpeg's rule: JFIF is YCbCr, else Adobe's word counts, else the planes' names.
    fn colours(&self) -> Colours {
        if self.components.len() == 1 {
            return Colours::Grey;
        }
        let named_rgb = self.components.iter().map(|c| c.id).eq(*b"RGB");
        let rgb = !self.jfif && self.adobe.map_or(named_rgb, |transform| transform == 0);
        if rgb { Colours::Rgb } else { Colours::YCbCr }
    }

    fn names(&self) -> [u8; 3] {
        if self.colours() == Colours::Rgb {
            *b"RGB"
        } else {
            [1, 2, 3]
        }
    }

    fn scan(&mut self) -> Result<(), Fault> {
        let body = self.body(0xda)?;
        let Some((width, height, progressive)) = self.frame else {
            return Err(damaged("its picture starts before its frame header"));
        };
        self.scans += 1;
        if self.scans > MAX_SCANS {
            return Err(damaged("it has more scans than any encoder writes"));
        }
        if self.scans > 1 && !progressive {
            return Err(damaged("its picture is there twice"));
        }
        let inside = &self.bytes[body.clone()];
        let count = inside.first().map_or(0, |&n| usize::from(n));
        if count == 0 || count > self.components.len() || inside.len() != 2 * count + 4 {
            return Err(damaged("a scan header has the wrong length"));
        }
        if !progressive && count < self.components.len() {
            return Err(Fault::Unsupported(
                "a baseline JPEG with its colours in separate scans".to_owned(),
            ));
        }
        let at_body = self.stream.len() + 4;
        let names = self.names();
        let (mut across, mut down) = (1, 1);
        let (finest_across, finest_down) = self
            .components
            .first()
            .map_or((1, 1), |c| (c.across, c.down));
        self.copy(0xda, body.clone());
        for i in 0..count {
            let id = inside[1 + 2 * i];
            let Some(k) = self.components.iter().position(|c| c.id == id) else {
                return Err(damaged("a scan names a colour plane that does not exist"));
            };
            self.stream[at_body + 1 + 2 * i] = names[k];
            self.seen[k] = true;
            if count == 1 {
                across = finest_across.div_ceil(self.components[k].across);
                down = finest_down.div_ceil(self.components[k].down);
            } else {
                (across, down) = (finest_across, finest_down);
            }
            if k == 0 {
                let (first, last) = (inside[1 + 2 * count], inside[2 + 2 * count]);
                let low = (inside[3 + 2 * count] & 15) as i8;
                if let Some(range) = self
                    .to_come
                    .get_mut(usize::from(first)..=usize::from(last.min(63)))
                {
                    range.fill(if progressive { low } else { 0 });
                }
            }
        }
        let units = width.div_ceil(8 * across) * height.div_ceil(8 * down);
        self.coded_data(units, progressive)
    }

    /// Copies the coded data of one scan up to the marker that ends it, and counts its restarts.
    fn coded_data(&mut self, units: u32, progressive: bool) -> Result<(), Fault> {
        let wanted = match self.restart_interval {
            0 => 0,
            interval => units.div_ceil(interval) - 1,
        };
        let mut restarts = 0;
        let mut from = self.at;
        loop {
            let rest = self.bytes.get(from..).unwrap_or_default();
            let Some(ff) = rest.iter().position(|&b| b == 0xff) else {
                return Err(self.cut("it ends inside the coded picture"));
            };
            let marker_at = from + ff;
            match self.bytes.get(marker_at + 1) {
                None => return Err(self.cut("it ends inside the coded picture")),
                Some(0) => from = marker_at + 2,
                Some(0xff) => from = marker_at + 1,
                Some(&m) => {
                    self.stream
                        .extend_from_slice(&self.bytes[self.at..marker_at]);
                    self.coded += (marker_at - self.at) as u64;
                    self.coded_end = self.stream.len();
                    self.at = marker_at;
                    // A progressive scan may end in bits that are no code and where ones are legal; and
                    // the decoder wants the next marker right behind the first scan.
                    if !progressive {
                        self.stream.extend_from_slice(&ONES);
                    }
                    if !(0xd0..=0xd7).contains(&m) {
                        break;
                    }
                    if u32::from(m & 7) != restarts % 8 {
                        return Err(damaged(
                            "a stretch of its coded picture is missing (restart marks out of order)",
                        ));
                    }
                    restarts += 1;
                    // Some encoders write one behind the last stretch too.
                    if restarts > wanted + 1 {
                        return Err(damaged(
                            "its coded picture has more stretches than its size",
                        ));
                    }
                    self.stream.extend_from_slice(&[0xff, m]);
                    self.at += 2;
                    from = self.at;
                }
            }
        }
        if restarts < wanted {
            return Err(Fault::CutShort(format!(
                "its coded picture has {} of {} stretches",
                restarts + 1,
                wanted + 1
            )));
        }
        Ok(())
    }

    fn finish(mut self) -> Result<File, Fault> {
        let Some((width, height, progressive)) = self.frame else {
            return Err(self.cut("it holds no picture"));
        };
        if self
            .seen
            .iter()
            .zip(&self.components)
            .any(|(seen, _)| !seen)
        {
            return Err(self.cut("not all of its colour planes are there"));
        }
        if self.to_come.iter().any(|&planes| planes != 0) {
            return Err(self.cut("its last, finest scans are missing"));
        }
        let most = MAX_PIXELS_PER_BYTE[usize::from(progressive)] * self.coded;
        if u64::from(width) * u64::from(height) > most {
            return Err(Fault::Implausible {
                width,
                height,
                bytes: self.coded,
            });
        }
        let colours = self.colours();
        if colours == Colours::Rgb && self.components.iter().any(|c| (c.across, c.down) != (1, 1)) {
            return Err(Fault::Unsupported(
                "an RGB JPEG with colours of unlike fineness".to_owned(),
            ));
        }
        if progressive {
            let end = self.coded_end;
            self.stream.splice(end..end, ONES);
        }
        self.stream.extend_from_slice(&[0xff, 0xd9]);
        Ok(File {
            exif: self.exif.map(|range| self.bytes[range].to_vec()),
            width,
            height,
            colours,
            progressive,
            colour_halved_down: self
                .components
                .first()
                .is_some_and(|c| (c.across, c.down) == (1, 2)),
            stream: self.stream,
            coded_end: self.coded_end,
        })
    }
}

fn damaged(what: &str) -> Fault {
    Fault::Damaged(what.to_owned())
}
