//! One look at a picture: everything that is ever asked of its pixels, so that it is decoded once.

use std::path::Path;

use image::GrayImage;

use super::decode_small;
use super::frame::{small_light, view};
use super::shade::{Shade, shade_of};

/// What a look at a picture showed.
#[derive(Debug, Clone, PartialEq)]
pub struct Glance {
    /// What its colours say; `None` where that cannot be told.
    pub shade: Option<Shade>,
    /// Its light at the size of a frame; of a picture by daylight only, since under the lamp near things
    /// shine and far ones are gone.
    pub(super) small: Option<GrayImage>,
}

impl Glance {
    /// Looks at a file: its EXIF thumbnail where it has one, else the picture itself decoded at a
    /// fraction of its size. `None` where it cannot be decoded.
    pub fn at(path: &Path) -> Option<Self> {
        const ACROSS_PX: u16 = 160;
        let decoded = decode_small(path, ACROSS_PX)?;
        let shade = shade_of(&decoded);
        Some(Self { shade, small: (shade != Some(Shade::Grey)).then(|| small_light(&decoded)) })
    }

    /// What stands before the camera, whatever the light: see [`view`]. `None` by night.
    pub fn view(&self) -> Option<Vec<f32>> {
        self.small.as_ref().map(view)
    }
}
