//! Pictures made small enough for the screen: decoded once, ahead of time where possible, and kept
//! until others need the room.

use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock};

use lru::LruCache;
use serde::Deserialize;

use super::held;
use crate::card::{PIXELS_MAX, pixels_claimed, shrunk, thumbnail};

/// How large a picture is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Size {
    /// For the contact sheet.
    Small,
    /// To look at.
    #[default]
    Screen,
    /// As it is on the card.
    Full,
}

const SMALL_PX: u16 = 240;
const SCREEN_PX: u16 = 1280;
/// A file of at most so many bytes is shown as it is.
const LIGHT_BYTES: u64 = 400_000;
const QUALITY: u8 = 80;

/// A JPEG, or in words why there is none.
pub(super) type View = Arc<Result<Vec<u8>, String>>;

/// Each is 400 kB at the most, so this many are a hundred megabytes.
const KEPT: NonZeroUsize = NonZeroUsize::new(250).expect("not zero");

/// A view is in its slot once it is made.
type Kept = LruCache<(PathBuf, Size), Arc<OnceLock<View>>>;

pub(super) struct Views(Mutex<Kept>);

impl Default for Views {
    fn default() -> Self {
        Self(Mutex::new(LruCache::new(KEPT)))
    }
}

impl Views {
    /// The view of a file. Whoever asks for one that is being made waits for it.
    pub fn of(&self, path: &Path, size: Size) -> View {
        // Looked at once and large: not worth the room.
        if size == Size::Full {
            return Arc::new(view(path, size));
        }
        let slot = {
            let mut kept = self.kept();
            Arc::clone(kept.get_or_insert((path.to_path_buf(), size), Arc::default))
        };
        Arc::clone(slot.get_or_init(|| Arc::new(view(path, size))))
    }

    /// Forgets all of them, because the files may be others now.
    pub fn forget(&self) {
        self.kept().clear();
    }

    fn kept(&self) -> MutexGuard<'_, Kept> {
        held(&self.0)
    }
}

/// Where a picture of the property really lies.
///
/// # Errors
/// In words, when it is gone, or lies elsewhere and only a link to it is in the property.
pub(super) fn inside(root: &Path, file: &Path) -> Result<PathBuf, String> {
    let real = |path: &Path| path.canonicalize().map_err(|_| "there is no such picture");
    let path = real(&root.join(file))?;
    if !path.starts_with(real(root)?) {
        return Err("this file is a link out of the property and is not shown".to_owned());
    }
    Ok(path)
}

fn view(path: &Path, size: Size) -> Result<Vec<u8>, String> {
    let refused = |e: std::io::Error| format!("could not be read: {e}");
    let bytes = std::fs::metadata(path).map_err(refused)?.len();
    if is_clip(path) {
        return first_frame(path).ok_or("this clip cannot be shown here".to_owned());
    }
    // A browser would decode whatever it is handed.
    if pixels_claimed(path).is_some_and(|pixels| pixels > PIXELS_MAX) {
        return Err("the picture claims to be larger than any camera's and is not shown".to_owned());
    }
    if size == Size::Full || (size == Size::Screen && bytes <= LIGHT_BYTES) {
        return std::fs::read(path).map_err(refused);
    }
    if size == Size::Small
        && let Some(jpeg) = thumbnail(path)
    {
        return Ok(jpeg);
    }
    let wanted_px = if size == Size::Small { SMALL_PX } else { SCREEN_PX };
    let small = shrunk(path, wanted_px, QUALITY);
    small.map(|s| s.jpeg).ok_or("the picture is damaged and cannot be shown".to_owned())
}

/// Whether a browser can play a clip by itself.
pub(super) fn is_playable(path: &Path) -> bool {
    has_extension(path, &["mp4", "mov", "m4v"])
}

fn is_clip(path: &Path) -> bool {
    is_playable(path) || has_extension(path, &["avi"])
}

fn has_extension(path: &Path, wanted: &[&str]) -> bool {
    let extension = path.extension();
    extension.is_some_and(|e| wanted.iter().any(|w| e.eq_ignore_ascii_case(w)))
}

/// The first frame of a clip whose frames are JPEGs, as those of most AVI clips are: chunk `00dc`
/// (RIFF, "Multimedia Programming Interface and Data Specifications 1.0").
fn first_frame(path: &Path) -> Option<Vec<u8>> {
    use std::io::Read;
    /// The header list and the first frame lie well within this.
    const LOOKED_THROUGH: u64 = 4 << 20;
    let mut start = Vec::new();
    let file = std::fs::File::open(path).ok()?;
    file.take(LOOKED_THROUGH).read_to_end(&mut start).ok()?;
    let at = start.windows(4).position(|w| w == b"00dc")?;
    let length = u32::from_le_bytes(*start.get(at + 4..)?.first_chunk()?) as usize;
    let frame = start.get(at + 8..)?.get(..length)?;
    frame.starts_with(&[0xff, 0xd8]).then(|| frame.to_vec())
}
