//! A JPEG picture without anything that was written beside its pixels: places stand in EXIF, in XMP and in
//! comments.

const SCAN: u8 = 0xda;
const END: u8 = 0xd9;
const COMMENT: u8 = 0xfe;
/// Application segments that say how colours are to be read: JFIF's and Adobe's.
const COLOURS: [u8; 2] = [0xe0, 0xee];

/// The picture's own segments (ISO/IEC 10918-1, B.1.1): application segments go, but for those that say how colours
/// are to be read, and comments, and whatever stands behind its end. `None` where it is no whole JPEG.
pub(super) fn bare(jpeg: &[u8]) -> Option<Vec<u8>> {
    let mut bare = jpeg.strip_prefix(&[0xff, 0xd8]).map(|_| vec![0xff, 0xd8])?;
    let mut at = 2;
    loop {
        // Any number of 0xff may stand before a marker.
        while jpeg.get(at) == Some(&0xff) && jpeg.get(at + 1) == Some(&0xff) {
            at += 1;
        }
        let marker = *jpeg.get(at + 1).filter(|_| jpeg[at] == 0xff)?;
        if marker == END {
            bare.extend([0xff, END]);
            return Some(bare);
        }
        let length = usize::from(u16::from_be_bytes([*jpeg.get(at + 2)?, *jpeg.get(at + 3)?]));
        let end = at + 2 + length;
        let is_beside =
            marker == COMMENT || ((0xe0..=0xef).contains(&marker) && !COLOURS.contains(&marker));
        if !is_beside {
            bare.extend(jpeg.get(at..end)?);
        }
        at = end;
        if marker == SCAN {
            let scan = scan_length(jpeg.get(at..)?)?;
            bare.extend(&jpeg[at..at + scan]);
            at += scan;
        }
    }
}

/// Bytes up to the next marker that is none of a scan's own: 0xff00 is a byte of the picture, 0xffd0 to 0xffd7
/// restart within it.
fn scan_length(scan: &[u8]) -> Option<usize> {
    let is_marker = |pair: &[u8]| {
        pair[0] == 0xff && pair[1] != 0 && pair[1] != 0xff && !(0xd0..=0xd7).contains(&pair[1])
    };
    scan.windows(2).position(is_marker)
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{ImageEncoder, RgbImage, codecs::jpeg::JpegEncoder};

    #[test]
    fn pixels_stay_and_everything_beside_them_goes() {
        let picture =
            RgbImage::from_fn(64, 48, |x, y| image::Rgb([(x * 4) as u8, (y * 5) as u8, 90]));
        let mut jpeg = Vec::new();
        let mut encoder = JpegEncoder::new_with_quality(&mut jpeg, 90);
        encoder.set_exif_metadata(b"Exif 43.1034".to_vec()).unwrap();
        encoder.write_image(picture.as_raw(), 64, 48, image::ExtendedColorType::Rgb8).unwrap();
        let mut marked = jpeg[..2].to_vec();
        marked.extend(b"\xff\xfe\x00\x0a-90.7181");
        marked.extend(&jpeg[2..]);
        marked.extend(b"after the end 43.1034");
        let bare = bare(&marked).unwrap();
        let text = String::from_utf8_lossy(&bare);
        assert!(!text.contains("43.1034") && !text.contains("90.7181"));
        let pixels = |bytes: &[u8]| image::load_from_memory(bytes).unwrap().into_rgb8();
        assert_eq!(pixels(&bare), pixels(&jpeg));
        assert!(super::bare(b"GIF89a").is_none() && super::bare(&marked[..90]).is_none());
    }
}
