//! What is read, what is refused and in which words.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on must stop")]

use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};

use image::{DynamicImage, GrayImage, ImageFormat, Luma, Rgb, RgbImage};
use punchready::photo::{self, Photo, PhotoError};

/// Two JPEG encodings of the same scene differ by a few levels in the median; the reference's own
/// figure is 2.
const SAME_SCENE_LEVELS: u8 = 3;

/// The reference folder, or `None`, said aloud.
fn reference() -> Option<PathBuf> {
    let dir = std::env::var_os("PUNCHREADY_REFERENCE").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/reference"),
        PathBuf::from,
    );
    if dir.is_dir() {
        Some(dir)
    } else {
        println!("SKIPPED: no reference data at {}", dir.display());
        None
    }
}

/// Random numbers from a fixed seed (xorshift64; Marsaglia, J. Stat. Softw. 8(14), 2003).
struct Dice(u64);

impl Dice {
    fn below(&mut self, end: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % end as u64) as usize
    }
}

fn small_picture() -> RgbImage {
    RgbImage::from_fn(240, 205, |x, y| {
        Rgb([
            (x + y / 3) as u8,
            ((x / 9 + y / 11) % 2 * 90 + 60) as u8,
            (y % 200) as u8,
        ])
    })
}

fn encoded(picture: &DynamicImage, format: ImageFormat) -> Vec<u8> {
    let mut out = Cursor::new(Vec::new());
    picture.write_to(&mut out, format).unwrap();
    out.into_inner()
}

fn read_as(dir: &Path, name: &str, bytes: &[u8]) -> Result<Photo, PhotoError> {
    let path = dir.join(name);
    fs::write(&path, bytes).unwrap();
    photo::read(&path)
}

/// A little-endian TIFF block with one SHORT of value `orientation` under tag 0x0112.
fn exif_block(orientation: u8) -> Vec<u8> {
    let mut block = b"II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0".to_vec();
    block.extend_from_slice(&[orientation, 0, 0, 0, 0, 0, 0, 0]);
    block
}

/// Puts an EXIF block behind a JPEG's start marker.
fn with_exif(jpeg: &[u8], block: &[u8]) -> Vec<u8> {
    let length = (block.len() + 8) as u16;
    let mut out = vec![0xff, 0xd8, 0xff, 0xe1];
    out.extend_from_slice(&length.to_be_bytes());
    out.extend_from_slice(b"Exif\0\0");
    out.extend_from_slice(block);
    out.extend_from_slice(&jpeg[2..]);
    out
}

fn crc(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0u32, |crc, &b| {
        (0..8).fold(crc ^ u32::from(b), |c, _| {
            if c & 1 == 1 {
                c >> 1 ^ 0xedb8_8320
            } else {
                c >> 1
            }
        })
    })
}

fn chunk(name: &[u8; 4], body: &[u8]) -> Vec<u8> {
    let mut out = (body.len() as u32).to_be_bytes().to_vec();
    out.extend_from_slice(name);
    out.extend_from_slice(body);
    let sum = crc(&out[4..]);
    out.extend_from_slice(&sum.to_be_bytes());
    out
}

#[test]
fn all_nine_of_each_reference_set_agree_with_the_first() {
    let Some(dir) = reference() else { return };
    let dir = dir.join("exif-orientation");
    let expected: serde_json::Value =
        serde_json::from_slice(&fs::read(dir.join("expected.json")).unwrap()).unwrap();
    let files = expected["files"].as_array().unwrap();
    assert_eq!(files.len(), 18);
    for entry in files {
        let name = entry["file"].as_str().unwrap();
        let photo = photo::read(&dir.join(name)).unwrap();
        let size = [photo.grey.width(), photo.grey.height()];
        assert_eq!(serde_json::json!(size), entry["upright"], "{name}");
        let said = entry["orientation"].as_u64().unwrap() as u8;
        assert_eq!(photo.camera.orientation, said.max(1), "{name}");
        assert_eq!(
            photo.warnings.len(),
            usize::from([2, 4, 5, 7].contains(&said)),
            "{name}"
        );
        let set = name.split('_').next().unwrap();
        let first = photo::read(&dir.join(format!("{set}_1.jpg"))).unwrap();
        let mut off: Vec<u8> = photo
            .grey
            .iter()
            .zip(first.grey.iter())
            .map(|(a, b)| a.abs_diff(*b))
            .collect();
        off.sort_unstable();
        let median = off[off.len() / 2];
        assert!(
            median <= SAME_SCENE_LEVELS,
            "{name}: median {median}, allowed {SAME_SCENE_LEVELS}"
        );
        let colour = photo::read_colour(&dir.join(name)).unwrap();
        assert_eq!(colour.dimensions(), photo.grey.dimensions(), "{name}");
    }
}

#[test]
fn camera_facts_of_a_real_photo() {
    let Some(dir) = reference() else { return };
    let photo = photo::read(&dir.join("exif-orientation/original_Landscape_6.jpg")).unwrap();
    println!("{:?} {:?}", photo.camera, photo.warnings);
    assert_eq!(photo.camera.orientation, 6);
    assert_eq!(photo.grey.dimensions(), (1800, 1200));
    assert_eq!(photo.warnings, Vec::<String>::new());
}

#[test]
fn exif_numbers_are_read_and_unknown_ones_left_out() {
    let dir = tempfile::tempdir().unwrap();
    let jpeg = encoded(&small_picture().into(), ImageFormat::Jpeg);
    // IFD0 with four entries at 8, Exif IFD at 62 with five entries, then the values.
    let build = |f35: u16, zoom: [u32; 2]| {
        let mut b = b"II*\0\x08\0\0\0".to_vec();
        let entry = |b: &mut Vec<u8>, tag: u16, kind: u16, count: u32, value: [u8; 4]| {
            b.extend_from_slice(&tag.to_le_bytes());
            b.extend_from_slice(&kind.to_le_bytes());
            b.extend_from_slice(&count.to_le_bytes());
            b.extend_from_slice(&value);
        };
        let short = |v: u16| [v.to_le_bytes()[0], v.to_le_bytes()[1], 0, 0];
        b.extend_from_slice(&4u16.to_le_bytes());
        entry(&mut b, 0x010f, 2, 4, *b"Acm\0");
        entry(&mut b, 0x0110, 2, 10, 128u32.to_le_bytes());
        entry(&mut b, 0x0112, 3, 1, short(1));
        entry(&mut b, 0x8769, 4, 1, 62u32.to_le_bytes());
        b.extend_from_slice(&[0; 4]);
        assert_eq!(b.len(), 62);
        b.extend_from_slice(&5u16.to_le_bytes());
        entry(&mut b, 0x920a, 5, 1, 138u32.to_le_bytes());
        entry(&mut b, 0xa002, 4, 1, 4032u32.to_le_bytes());
        entry(&mut b, 0xa003, 3, 1, short(3024));
        entry(&mut b, 0xa404, 5, 1, 146u32.to_le_bytes());
        entry(&mut b, 0xa405, 3, 1, short(f35));
        b.extend_from_slice(&[0; 4]);
        assert_eq!(b.len(), 128);
        b.extend_from_slice(b" Field 3 \0");
        for v in [425u32, 100, zoom[0], zoom[1]] {
            b.extend_from_slice(&v.to_le_bytes());
        }
        b
    };
    let facts = |block: &[u8]| read_as(dir.path(), "facts.jpg", &with_exif(&jpeg, block)).unwrap();
    let c = facts(&build(26, [3, 2])).camera;
    assert_eq!(c.make.as_deref(), Some("Acm"));
    assert_eq!(c.model.as_deref(), Some("Field 3"));
    assert_eq!(
        (c.focal_mm, c.focal_35mm, c.digital_zoom),
        (Some(4.25), Some(26.0), Some(1.5))
    );
    assert_eq!((c.exif_size, c.orientation), (Some([4032, 3024]), 1));
    for zoom in [[0, 1], [1, 1], [2, 2], [1, 0], [0, 0]] {
        let c = facts(&build(0, zoom)).camera;
        assert_eq!(
            (c.focal_35mm, c.digital_zoom),
            (None, None),
            "zoom {zoom:?}"
        );
    }
    // Broken anywhere, the picture is still read, and never with another size.
    let whole = build(26, [1, 1]);
    let mut dice = Dice(0x5eed);
    for cut in 0..whole.len() {
        assert_eq!(
            facts(&whole[..cut]).grey.dimensions(),
            (240, 205),
            "cut at {cut}"
        );
        let mut hurt = whole.clone();
        for _ in 0..4 {
            hurt[dice.below(whole.len())] = dice.below(256) as u8;
        }
        let grey = facts(&hurt).grey;
        assert!(
            [(240, 205), (205, 240)].contains(&grey.dimensions()),
            "cut {cut}: {hurt:?}"
        );
    }
    let broken = facts(b"no TIFF at all");
    assert_eq!(broken.warnings.len(), 1, "{:?}", broken.warnings);
    assert!(
        broken.warnings[0].contains("is damaged; the picture is taken as upright"),
        "{:?}",
        broken.warnings
    );
}

#[test]
fn the_eight_orientations_hold_for_jpeg_and_png() {
    let dir = tempfile::tempdir().unwrap();
    let picture = small_picture();
    let jpeg = encoded(&picture.clone().into(), ImageFormat::Jpeg);
    let png = encoded(&picture.into(), ImageFormat::Png);
    let plain_jpeg = read_as(dir.path(), "a.jpg", &jpeg).unwrap().grey;
    let plain_png = read_as(dir.path(), "a.png", &png).unwrap().grey;
    let (w, h) = plain_png.dimensions();
    for orientation in 0..=9 {
        let block = exif_block(orientation);
        // The header of a PNG ends at byte 33.
        let marked = [&png[..33], &chunk(b"eXIf", &block), &png[33..]].concat();
        let from_png = read_as(dir.path(), "b.png", &marked).unwrap();
        let from_jpeg = read_as(dir.path(), "b.jpg", &with_exif(&jpeg, &block)).unwrap();
        let counts_as = if orientation == 9 {
            1
        } else {
            orientation.max(1)
        };
        assert_eq!(from_png.camera.orientation, counts_as);
        // Upright -> stored, Exif 2.32 4.6.4 A (from memory).
        for (x, y, pixel) in from_png.grey.enumerate_pixels() {
            let (u, v) = match counts_as {
                2 => (w - 1 - x, y),
                3 => (w - 1 - x, h - 1 - y),
                4 => (x, h - 1 - y),
                5 => (y, x),
                6 => (y, h - 1 - x),
                7 => (w - 1 - y, h - 1 - x),
                8 => (w - 1 - y, x),
                _ => (x, y),
            };
            assert_eq!(
                pixel,
                plain_png.get_pixel(u, v),
                "PNG {orientation}: {x},{y}"
            );
            assert_eq!(
                from_jpeg.grey.get_pixel(x, y),
                plain_jpeg.get_pixel(u, v),
                "JPEG {orientation}: {x},{y}"
            );
        }
    }
}

/// Half a level of rounding, and the weights in 16-bit fractions: 0.4 / 65536 x 255 for each channel.
const ROUNDED_LEVELS: f64 = 0.5 + 0.005;

/// Whether `grey` is Y of JFIF 1.02 (weights from memory).
fn is_brightness_of(grey: u8, [r, g, b]: [u8; 3]) -> bool {
    let exact = 0.299 * f64::from(r) + 0.587 * f64::from(g) + 0.114 * f64::from(b);
    (f64::from(grey) - exact).abs() <= ROUNDED_LEVELS
}

#[test]
fn png_of_every_depth_and_colour() {
    let dir = tempfile::tempdir().unwrap();
    let colour = small_picture();
    let grey = GrayImage::from_fn(240, 205, |x, y| Luma([(x ^ y) as u8]));
    let colour = DynamicImage::from(colour);
    let grey = DynamicImage::from(grey);
    for (what, picture) in [
        ("rgb8", colour.clone()),
        ("rgb16", colour.to_rgb16().into()),
        ("rgba8", colour.to_rgba8().into()),
        ("rgba16", colour.to_rgba16().into()),
        ("grey8", grey.clone()),
        ("grey16", grey.to_luma16().into()),
        ("grey8 alpha", grey.to_luma_alpha8().into()),
    ] {
        let photo = read_as(dir.path(), "a.png", &encoded(&picture, ImageFormat::Png)).unwrap();
        for (x, y, pixel) in picture.to_rgb8().enumerate_pixels() {
            let grey = photo.grey.get_pixel(x, y).0[0];
            assert!(
                is_brightness_of(grey, pixel.0),
                "{what}: {grey} for {:?}",
                pixel.0
            );
        }
        assert!(photo.warnings.is_empty(), "{what}");
        let shown = photo::read_colour(&dir.path().join("a.png")).unwrap();
        assert!(shown == picture.to_rgb8(), "{what} in colour");
    }
    let mut clear = colour.to_rgba8();
    clear.get_pixel_mut(3, 4).0 = [0, 0, 0, 0];
    let photo = read_as(
        dir.path(),
        "a.png",
        &encoded(&clear.into(), ImageFormat::Png),
    )
    .unwrap();
    assert_eq!(photo.grey.get_pixel(3, 4).0, [255]);
    assert!(
        photo.warnings[0].contains("see-through"),
        "{:?}",
        photo.warnings
    );
}

#[test]
fn png_palette_one_bit_and_interlaced() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("a.png");
    let palette = [10u8, 20, 30, 200, 180, 90, 255, 255, 255, 0, 0, 0];
    let index = |x: u32, y: u32| ((x / 5 + y / 3) % 4) as u8;
    let mut indexed = ::png::Encoder::new(fs::File::create(&path).unwrap(), 208, 200);
    indexed.set_color(::png::ColorType::Indexed);
    indexed.set_depth(::png::BitDepth::Two);
    indexed.set_palette(&palette[..]);
    let mut packed = Vec::new();
    for y in 0..200 {
        for x in (0..208).step_by(4) {
            packed.push((0..4).fold(0, |byte, k| byte << 2 | index(x + k, y)));
        }
    }
    indexed
        .write_header()
        .unwrap()
        .write_image_data(&packed)
        .unwrap();
    let photo = photo::read(&path).unwrap();
    for (x, y, pixel) in photo.grey.enumerate_pixels() {
        let i = 3 * usize::from(index(x, y));
        let colour = [palette[i], palette[i + 1], palette[i + 2]];
        assert!(
            is_brightness_of(pixel.0[0], colour),
            "{x},{y}: {} for {colour:?}",
            pixel.0[0]
        );
    }
    // Interlaced: only other programs write these.
    let plain = dir.path().join("plain.png");
    small_picture().save(&plain).unwrap();
    let out = dir.path().join("interlaced.png");
    let made = std::process::Command::new("convert")
        .arg(&plain)
        .args(["-interlace", "PNG"])
        .arg(&out)
        .status();
    if !made.is_ok_and(|s| s.success()) {
        println!("SKIPPED: no program here that writes interlaced PNG");
        return;
    }
    assert_eq!(fs::read(&out).unwrap()[28], 1, "not interlaced");
    assert!(photo::read(&out).unwrap().grey == photo::read(&plain).unwrap().grey);
    assert!(photo::read_colour(&out).unwrap() == photo::read_colour(&plain).unwrap());
}

#[test]
fn what_is_no_photo_is_named_and_told_what_to_do() {
    let dir = tempfile::tempdir().unwrap();
    for (bytes, words) in [
        (&b""[..], ["empty", "copy"]),
        (
            b"\0\0\0\x18ftypheic\0\0\0\0mif1heic",
            ["HEIC", "Most Compatible"],
        ),
        (b"\0\0\0\x18ftypmif1\0\0\0\0mif1heic", ["HEIC", "JPEG"]),
        (b"\0\0\0\x18ftypavif\0\0\0\0", ["AVIF", "JPEG"]),
        (b"\0\0\0\x18ftypmp42\0\0\0\0", ["video", "still"]),
        (b"II*\0\x08\0\0\0", ["raw", "JPEG"]),
        (b"MM\0*\0\0\0\x08", ["raw", "JPEG"]),
        (b"RIFF\x10\0\0\0WEBPVP8 ", ["WebP", "export"]),
        (b"GIF89a\x01\0\x01\0", ["GIF", "export"]),
        (b"BM\x46\0\0\0", ["BMP", "export"]),
        (b"%PDF-1.7\n", ["PDF", "photo itself"]),
        (b"title = \"Hatch cover\"\n", ["text", "--plan"]),
        ("Höhe = 3\n".as_bytes(), ["text", "--plan"]),
        (b"\x01\x02\x03\x04\x05", ["not a picture", "JPEG"]),
        (b"\xff\xd8", ["no more", "again"]),
        (b"\x89PNG\r\n\x1a\n", ["cut short", "again"]),
        (b"\xff\xd8\xff\xd9", ["no picture", "again"]),
    ] {
        let error = read_as(dir.path(), "sheet.jpg", bytes).unwrap_err();
        let said = error.to_string();
        let file = dir.path().join("sheet.jpg").display().to_string();
        assert!(said.starts_with(&file), "{said}");
        for word in words {
            assert!(said.contains(word), "{said:?} does not say {word:?}");
        }
        assert!(photo::read_colour(&dir.path().join("sheet.jpg")).is_err());
    }
    let missing = photo::read(&dir.path().join("gone.jpg"))
        .unwrap_err()
        .to_string();
    assert!(
        missing.contains("gone.jpg") && missing.contains("cannot be read"),
        "{missing}"
    );
    assert!(matches!(
        photo::read(dir.path()),
        Err(PhotoError::Unreadable { .. })
    ));
}

#[test]
fn sizes_no_photo_has_are_refused() {
    let dir = tempfile::tempdir().unwrap();
    let small = DynamicImage::new_rgb8(640, photo::MIN_SIDE - 1);
    for format in [ImageFormat::Jpeg, ImageFormat::Png] {
        let error = read_as(dir.path(), "a", &encoded(&small, format)).unwrap_err();
        assert!(matches!(error, PhotoError::TooSmall { .. }), "{error}");
        let vga = encoded(&DynamicImage::new_rgb8(640, 480), format);
        assert!(read_as(dir.path(), "a", &vga).is_ok());
    }
    // A sparse file: the length is there, the bytes are not.
    let path = dir.path().join("huge.jpg");
    fs::File::create(&path)
        .unwrap()
        .set_len(photo::MAX_FILE_BYTES + 1)
        .unwrap();
    assert!(matches!(
        photo::read(&path),
        Err(PhotoError::TooHeavy { .. })
    ));
}

/// Where the frame header's height starts in a JPEG by `image`: marker, length, precision, height.
fn frame_height_at(jpeg: &[u8]) -> usize {
    jpeg.windows(2).position(|w| w == [0xff, 0xc0]).unwrap() + 5
}

#[test]
fn headers_that_promise_more_than_the_file_holds() {
    let dir = tempfile::tempdir().unwrap();
    let jpeg = encoded(&small_picture().into(), ImageFormat::Jpeg);
    let at = frame_height_at(&jpeg);
    let claim = |height: u16, width: u16| {
        let mut lie = jpeg.clone();
        lie[at..at + 2].copy_from_slice(&height.to_be_bytes());
        lie[at + 2..at + 4].copy_from_slice(&width.to_be_bytes());
        read_as(dir.path(), "lie.jpg", &lie).unwrap_err()
    };
    assert!(matches!(claim(60_000, 60_000), PhotoError::TooLarge { .. }));
    assert!(matches!(claim(20_001, 300), PhotoError::TooLarge { .. }));
    assert!(matches!(
        claim(10_000, 10_000),
        PhotoError::Implausible { .. }
    ));
    assert!(matches!(claim(0, 240), PhotoError::Unsupported { .. }));
    // Little more than is there: the decoder runs out.
    assert!(matches!(claim(213, 240), PhotoError::Damaged { .. }));
    assert!(matches!(claim(205, 256), PhotoError::Damaged { .. }));
    // Less than is there: coded data are left over.
    assert!(matches!(claim(200, 240), PhotoError::Damaged { .. }));

    let png = encoded(&small_picture().into(), ImageFormat::Png);
    let claim = |width: u32, height: u32| {
        let mut header = png[16..29].to_vec();
        header[..4].copy_from_slice(&width.to_be_bytes());
        header[4..8].copy_from_slice(&height.to_be_bytes());
        let lie = [&png[..8], &chunk(b"IHDR", &header), &png[33..]].concat();
        read_as(dir.path(), "lie.png", &lie).unwrap_err()
    };
    assert!(matches!(
        claim(100_000, 100_000),
        PhotoError::TooLarge { .. }
    ));
    assert!(matches!(
        claim(0x8000_0001, 0x8000_0001),
        PhotoError::TooLarge { .. }
    ));
    assert!(matches!(
        claim(10_900, 11_000),
        PhotoError::Implausible { .. }
    ));
    assert!(matches!(claim(240, 206), PhotoError::Damaged { .. }));
}

#[test]
fn four_inks_arithmetic_and_lossless_are_named() {
    let dir = tempfile::tempdir().unwrap();
    let jpeg = encoded(&small_picture().into(), ImageFormat::Jpeg);
    let frame = frame_height_at(&jpeg) - 5;
    for (marker, words) in [
        (0xc9, "arithmetic"),
        (0xc3, "lossless"),
        (0xc5, "hierarchical"),
    ] {
        let mut other = jpeg.clone();
        other[frame + 1] = marker;
        let said = read_as(dir.path(), "a.jpg", &other)
            .unwrap_err()
            .to_string();
        assert!(
            said.contains(words) && said.contains("standard JPEG"),
            "{said}"
        );
    }
    let mut deep = jpeg.clone();
    deep[frame + 4] = 12;
    assert!(
        read_as(dir.path(), "a.jpg", &deep)
            .unwrap_err()
            .to_string()
            .contains("12-bit")
    );
    let mut inks = jpeg[..frame].to_vec();
    inks.extend_from_slice(&[0xff, 0xc0, 0, 20, 8, 0, 205, 0, 240, 4]);
    inks.extend_from_slice(&[1, 17, 0, 2, 17, 0, 3, 17, 0, 4, 17, 0]);
    inks.extend_from_slice(&jpeg[frame + 19..]);
    assert!(
        read_as(dir.path(), "a.jpg", &inks)
            .unwrap_err()
            .to_string()
            .contains("CMYK")
    );
}

#[test]
fn a_file_cut_anywhere_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    // Shades that code shortly: every single length is tried.
    let picture = GrayImage::from_fn(200, 200, |x, y| {
        Luma([((x / 16 * 37) ^ (y / 16 * 11)) as u8])
    });
    let jpeg = encoded(&picture.clone().into(), ImageFormat::Jpeg);
    let png = encoded(&picture.into(), ImageFormat::Png);
    for cut in 0..jpeg.len() {
        assert!(
            read_as(dir.path(), "a.jpg", &jpeg[..cut]).is_err(),
            "JPEG cut at {cut} was read"
        );
    }
    for cut in 0..png.len() {
        assert!(
            read_as(dir.path(), "a.png", &png[..cut]).is_err(),
            "PNG cut at {cut} was read"
        );
    }
    // Cut, and closed with an end marker by a helpful program. Losing the last byte alone may cost
    // only bits of padding.
    for cut in 0..jpeg.len() - 3 {
        let closed = [&jpeg[..cut], &[0xff, 0xd9]].concat();
        if let Ok(photo) = read_as(dir.path(), "a.jpg", &closed) {
            panic!(
                "JPEG closed at {cut} of {} was read: {:?}",
                jpeg.len(),
                photo.grey.dimensions()
            );
        }
    }
}

#[test]
fn broken_bytes_never_panic() {
    let dir = tempfile::tempdir().unwrap();
    let jpeg = encoded(&small_picture().into(), ImageFormat::Jpeg);
    let png = encoded(&small_picture().into(), ImageFormat::Png);
    let mut dice = Dice(0xb10c);
    for (name, whole) in [("a.jpg", &jpeg), ("a.png", &png)] {
        let head = whole.len().min(700);
        let mut read = 0;
        for round in 0..1500 {
            let mut hurt = whole.clone();
            // Headers are where a reader can be led astray; half of the hits go there.
            let reach = if round % 2 == 0 { head } else { whole.len() };
            for _ in 0..1 + dice.below(6) {
                hurt[dice.below(reach)] = dice.below(256) as u8;
            }
            if let Ok(photo) = read_as(dir.path(), name, &hurt) {
                read += 1;
                assert!(photo.grey.len() as u64 <= photo::MAX_PIXELS);
            }
        }
        println!("{name}: {read} of 1500 broken files were still read");
    }
}
