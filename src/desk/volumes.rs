//! Cards in the reader: volumes that can be taken out and hold a DCIM folder, as cameras make it (JEITA
//! CP-3461, Design rule for Camera File system).

use std::path::{Path, PathBuf};

/// Folders that look like a camera's card now, in the order of their paths.
pub(super) fn cards(more: &[PathBuf]) -> Vec<PathBuf> {
    let below = |folder: &PathBuf| -> Vec<PathBuf> {
        let entries = folder.read_dir().into_iter().flatten().flatten();
        entries.map(|e| e.path()).collect()
    };
    let mut found = volumes();
    found.extend(more.iter().flat_map(below));
    found.retain(|volume| has_dcim(volume));
    found.sort();
    found.dedup();
    found
}

fn has_dcim(volume: &Path) -> bool {
    let entries = volume.read_dir().into_iter().flatten().flatten();
    let mut names = entries.map(|e| (e.file_name(), e.path()));
    names.any(|(name, path)| name.eq_ignore_ascii_case("DCIM") && path.is_dir())
}

/// Where the desktop mounts what is plugged in, and whatever lies on a device that says it can be taken out.
#[cfg(target_os = "linux")]
fn volumes() -> Vec<PathBuf> {
    const PLUGGED_IN: [&str; 3] = ["/media", "/run/media", "/mnt"];
    let mounts = std::fs::read_to_string("/proc/self/mounts").unwrap_or_default();
    let volume = |line: &str| {
        let mut words = line.split(' ');
        let (device, place) = (words.next()?, plain(words.next()?));
        let is_plugged_in = PLUGGED_IN.iter().any(|p| Path::new(&place).starts_with(p));
        (is_plugged_in || is_removable(device)).then(|| PathBuf::from(place))
    };
    mounts.lines().filter_map(volume).collect()
}

/// The block device of a partition lies beside it in the kernel's tree (Linux, sysfs-block: `removable`).
#[cfg(target_os = "linux")]
fn is_removable(device: &str) -> bool {
    let Some(name) = device.strip_prefix("/dev/") else {
        return false;
    };
    let partition = Path::new("/sys/class/block").join(name);
    let Ok(partition) = partition.canonicalize() else {
        return false;
    };
    let says = |folder: &Path| std::fs::read_to_string(folder.join("removable"));
    let whole = says(&partition).or_else(|_| says(partition.parent().unwrap_or(&partition)));
    whole.is_ok_and(|text| text.trim() == "1")
}

/// Spaces and the like stand as octal numbers in the kernel's list (proc(5), fstab(5)).
#[cfg(target_os = "linux")]
fn plain(text: &str) -> String {
    [("\\040", " "), ("\\011", "\t"), ("\\012", "\n"), ("\\134", "\\")]
        .iter()
        .fold(text.to_owned(), |text, (octal, plain)| text.replace(octal, plain))
}

#[cfg(target_os = "macos")]
fn volumes() -> Vec<PathBuf> {
    let entries = Path::new("/Volumes").read_dir().into_iter().flatten();
    let is_own = |p: &PathBuf| p.canonicalize().is_ok_and(|p| p == Path::new("/"));
    entries.flatten().map(|e| e.path()).filter(|p| !is_own(p)).collect()
}

#[cfg(windows)]
fn volumes() -> Vec<PathBuf> {
    use sysinfo::{DiskRefreshKind, Disks};
    let disks = Disks::new_with_refreshed_list_specifics(DiskRefreshKind::nothing());
    disks.iter().filter(|d| d.is_removable()).map(|d| d.mount_point().to_path_buf()).collect()
}

#[cfg(not(any(target_os = "linux", target_os = "macos", windows)))]
fn volumes() -> Vec<PathBuf> {
    Vec::new()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_with_dcim_is_a_card() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["A/DCIM/100", "B/dcim", "C/pictures"] {
            std::fs::create_dir_all(folder.path().join(name)).unwrap();
        }
        std::fs::create_dir(folder.path().join("D")).unwrap();
        std::fs::write(folder.path().join("D/DCIM"), "").unwrap();
        let mut found = cards(&[folder.path().to_path_buf()]);
        found.retain(|f| f.starts_with(folder.path()));
        let names: Vec<_> = found.iter().filter_map(|f| f.file_name()).collect();
        assert_eq!(names, ["A", "B"]);
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn places_with_spaces_are_read() {
        assert_eq!(plain("/media/me/NO\\040NAME"), "/media/me/NO NAME");
    }
}
