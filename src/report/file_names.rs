//! What the plots' files are called. A name follows from what a plot shows and from nothing else, so that
//! logging an earlier event, or hanging another camera, renames none.

use xxhash_rust::xxh3::xxh3_64;

use crate::debrief::Debrief;

/// Names of cameras and disturbances in plain letters, no two alike.
pub(super) struct FileNames {
    cameras: Vec<String>,
    disturbances: Vec<String>,
}

impl FileNames {
    pub fn of(debrief: &Debrief) -> Self {
        let cameras = debrief.season.cameras.iter();
        let disturbances = debrief.property.disturbances.iter();
        Self {
            cameras: cameras.map(|c| of_camera(&c.name)).collect(),
            disturbances: disturbances.map(|d| of_disturbance(&d.id)).collect(),
        }
    }

    pub fn camera(&self, camera: usize) -> &str {
        &self.cameras[camera]
    }

    pub fn disturbance(&self, disturbance: usize) -> &str {
        &self.disturbances[disturbance]
    }

    pub fn pair(&self, what: &str, disturbance: usize, camera: usize) -> String {
        format!("{what}-{}--{}", self.disturbance(disturbance), self.camera(camera))
    }
}

/// Of a camera, whose name is a person's words: blanks become hyphens.
pub(super) fn of_camera(name: &str) -> String {
    in_plain_letters(name, ' ')
}

/// Of a disturbance, whose id has hyphens as it is.
fn of_disturbance(id: &str) -> String {
    in_plain_letters(id, '-')
}

/// A name of letters, digits and single gaps of one kind, which no other name becomes, capitals aside; all others get
/// digits of their own.
fn in_plain_letters(name: &str, gap: char) -> String {
    let plain = slug(name);
    let back = plain.replace('-', &gap.to_string());
    if !plain.is_empty() && back == name.to_lowercase() {
        return plain;
    }
    // So many that among thousands of names no two have the same.
    let own = xxh3_64(name.to_lowercase().as_bytes()) >> 16;
    match plain.is_empty() {
        true => format!("{own:012x}"),
        false => format!("{plain}-{own:012x}"),
    }
}

/// A name in plain letters, with one hyphen between two words: where there are two, another name begins.
fn slug(name: &str) -> String {
    const LONGEST: usize = 40;
    let letter = |c: char| if c.is_ascii_alphanumeric() { c } else { '-' };
    let letters: String = name.to_lowercase().chars().map(letter).collect();
    let words: Vec<&str> = letters.split('-').filter(|w| !w.is_empty()).collect();
    let cut: String = words.join("-").chars().take(LONGEST).collect();
    cut.trim_end_matches('-').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_do_not_depend_on_others() {
        assert_eq!(of_camera("North Fence"), "north-fence");
        assert_eq!(of_disturbance("new-barn"), "new-barn");
        assert_eq!(of_disturbance("Blind"), of_disturbance("blind"));
        let alike = ["Oak 1", "oak-1", "Oak  1", "Oak_1", " Oak 1"].map(of_camera);
        let different: std::collections::HashSet<&String> = alike.iter().collect();
        assert_eq!(different.len(), alike.len(), "{alike:?}");
        assert!(alike[1].starts_with("oak-1-"), "{alike:?}");
        assert_eq!(of_camera("\u{68ee}").len(), 12);
    }
}
