//! The same bytes twice are one picture.

use std::collections::HashMap;
use std::path::Path;

use rayon::prelude::*;

use super::Picture;

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
        .filter_map(|i| Some((i, whole(&root.join(&pictures[i].file))?)))
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
    let duplicates = (0..pictures.len())
        .filter_map(|i| {
            let original = copy_of.get(&i)?;
            Some((pictures[i].path.clone(), pictures[*original].path.clone()))
        })
        .collect();
    let kept = pictures
        .into_iter()
        .enumerate()
        .filter_map(|(i, picture)| (!copy_of.contains_key(&i)).then_some(picture))
        .collect();
    (kept, duplicates)
}

fn whole(path: &Path) -> Option<blake3::Hash> {
    let mut hasher = blake3::Hasher::new();
    std::io::copy(&mut std::fs::File::open(path).ok()?, &mut hasher).ok()?;
    Some(hasher.finalize())
}
