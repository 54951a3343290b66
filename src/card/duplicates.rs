//! The same bytes twice are one picture.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::{Picture, before_numbering, place_of};
use crate::files::hash_whole;

/// Separates copies from pictures: of files with the same bytes the first by path is kept.
///
/// Only files whose size, header and tail agree are read whole, so a season without copies costs
/// nothing. A file that cannot be read whole is kept: nothing is set aside on a guess.
pub(super) fn set_aside(
    root: &Path,
    pictures: Vec<Picture>,
) -> (Vec<Picture>, Vec<(String, String)>) {
    let fingerprint = |i: &usize| pictures[*i].fingerprint;
    let mut by_print: Vec<usize> = (0..pictures.len()).collect();
    by_print.par_sort_unstable_by_key(fingerprint);
    let alike = by_print.chunk_by(|a, b| fingerprint(a) == fingerprint(b));
    let suspects: Vec<usize> = alike.filter(|g| g.len() > 1).flatten().copied().collect();
    if suspects.is_empty() {
        return (pictures, Vec::new());
    }
    let mut hashed: Vec<(usize, blake3::Hash)> = suspects
        .into_par_iter()
        .filter_map(|i| Some((i, hash_whole(&root.join(pictures[i].file()))?)))
        .collect();
    hashed.sort_by_key(|(i, _)| *i);

    let mut first: HashMap<blake3::Hash, usize> = HashMap::new();
    let mut copy_of: HashMap<usize, usize> = HashMap::new();
    for (i, hash) in hashed {
        let original = *first.entry(hash).or_insert(i);
        if original != i {
            copy_of.insert(i, original);
        }
    }
    apart(pictures, &copy_of)
}

/// Takes pictures out, each for another that counts in its place: those that stay, and the paths of the
/// pairs.
fn apart(
    pictures: Vec<Picture>,
    aside: &HashMap<usize, usize>,
) -> (Vec<Picture>, Vec<(String, String)>) {
    let path = |i: usize| pictures[i].path.clone();
    let pairs =
        (0..pictures.len()).filter_map(|i| Some((path(i), path(*aside.get(&i)?)))).collect();
    let kept = pictures
        .into_iter()
        .enumerate()
        .filter_map(|(i, picture)| (!aside.contains_key(&i)).then_some(picture))
        .collect();
    (kept, pairs)
}

/// Separates twins from pictures: two files that are one picture with other bytes, such as a reading of
/// a card that went wrong beside the right one. The one that is whole is kept, else the first.
///
/// The pictures stand in the order of their files. Only those whose names a pull has numbered are compared, and only
/// with one of the same moment.
pub(super) fn set_twins_aside(
    root: &Path,
    pictures: Vec<Picture>,
) -> (Vec<Picture>, Vec<(String, String)>) {
    let numbered: Vec<(usize, PathBuf)> = (0..pictures.len())
        .into_par_iter()
        .filter_map(|i| Some((i, before_numbering(pictures[i].file())?.0)))
        .collect();
    if numbered.is_empty() {
        return (pictures, Vec::new());
    }
    let moment = |i: usize| pictures[i].time.as_ref().ok().map(|s| s.time);
    let twin = |(i, name): (usize, PathBuf)| {
        let other = place_of(&pictures, &name)?;
        let same = moment(i) == moment(other)
            && is_same_picture(&root.join(pictures[i].file()), &root.join(name));
        same.then_some(if pictures[other].cut_short && !pictures[i].cut_short {
            (other, i)
        } else {
            (i, other)
        })
    };
    let aside: HashMap<usize, usize> = numbered.into_iter().filter_map(twin).collect();
    apart(pictures, &aside)
}

/// Whether two files with other bytes are readings of one picture: a good part of their compressed
/// bytes agree place by place, where those of two pictures agree by chance in one of 256.
pub fn is_same_picture(a: &Path, b: &Path) -> bool {
    /// Headers of two pictures of one camera agree too.
    const BEHIND_HEADER: usize = 16 * 1024;
    const LARGEST: u64 = 64 << 20;
    const AGREE: f64 = 0.2;
    let read = |path: &Path| {
        let small = std::fs::metadata(path).is_ok_and(|m| m.len() <= LARGEST);
        small.then(|| std::fs::read(path).ok()).flatten()
    };
    let (Some(a), Some(b)) = (read(a), read(b)) else {
        return false;
    };
    let length = a.len().min(b.len());
    let from = if length > 2 * BEHIND_HEADER { BEHIND_HEADER } else { length / 2 };
    let compared = &a[from..length];
    // Padding and lost bytes agree as well, and say nothing.
    let telling = compared.iter().zip(&b[from..length]).filter(|(x, _)| **x != 0);
    let (mut agree, mut all) = (0_usize, 0_usize);
    for (x, y) in telling {
        all += 1;
        agree += usize::from(x == y);
    }
    all > 0 && agree as f64 > AGREE * all as f64
}
