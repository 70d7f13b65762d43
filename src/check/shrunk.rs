//! Photos that were made smaller on their way here: what they lost no survey brings back.

use super::together::Shot;
use crate::photo::Photo;
use crate::verdict::{Decision, Reason, Weight};

/// Messengers make photos this small or smaller, px of the longer side (1280 to 2560, by what their settings offer; common
/// knowledge, no source), and take out what the camera wrote. No phone of the last ten years takes such photos itself.
const LARGEST_SENT_PX: u32 = 2560;

/// Said where something could not be proven: the original may well prove it.
pub(super) fn findings(shots: &[Shot], decision: Decision) -> Vec<(Weight, Reason)> {
    if decision == Decision::Ready {
        return Vec::new();
    }
    let sent = shots.iter().filter(|s| is_shrunk(s.photo));
    sent.map(|s| {
        let (width, height) = s.photo.grey.dimensions();
        let text = format!(
            "{} has {width} x {height} pixels and no word of its camera: a messenger or an editor made it smaller. Get the original from the phone, as a file or a document",
            s.name
        );
        let code = "photo-shrunk";
        (Weight::Note, Reason { code, text })
    })
    .collect()
}

fn is_shrunk(photo: &Photo) -> bool {
    let (width, height) = photo.grey.dimensions();
    let camera = &photo.camera;
    let silent = camera.make.is_none() && camera.model.is_none() && camera.focal_mm.is_none();
    let resized = camera
        .exif_size
        .is_some_and(|[w, h]| w.max(h) > width.max(height));
    width.max(height) <= LARGEST_SENT_PX && (silent || resized)
}
