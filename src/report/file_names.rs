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
        let cameras = debrief.season.cameras.iter().map(|c| c.name.as_str());
        let disturbances = debrief.property.disturbances.iter().map(|d| d.id.as_str());
        Self {
            cameras: apart(&cameras.collect::<Vec<_>>()),
            disturbances: apart(&disturbances.collect::<Vec<_>>()),
        }
    }

    pub fn camera(&self, camera: usize) -> &str {
        &self.cameras[camera]
    }

    pub fn disturbance(&self, disturbance: usize) -> &str {
        &self.disturbances[disturbance]
    }

    pub fn pair(&self, what: &str, disturbance: usize, camera: usize) -> String {
        format!(
            "{what}-{}-{}",
            self.disturbance(disturbance),
            self.camera(camera)
        )
    }
}

/// Names that would be alike, or of which nothing would be left, get a few digits of their own.
fn apart(names: &[&str]) -> Vec<String> {
    let plain: Vec<String> = names.iter().map(|n| slug(n)).collect();
    let name = |(i, plain_name): (usize, &String)| {
        let alike = plain.iter().filter(|p| *p == plain_name).count() > 1;
        match alike || plain_name.is_empty() || plain_name.len() < names[i].chars().count() {
            true => format!("{plain_name}-{:04x}", xxh3_64(names[i].as_bytes()) & 0xffff),
            false => plain_name.clone(),
        }
    };
    plain.iter().enumerate().map(name).collect()
}

/// A name in plain letters.
pub(super) fn slug(name: &str) -> String {
    const LONGEST: usize = 40;
    let letter = |c: char| if c.is_ascii_alphanumeric() { c } else { '-' };
    let letters: String = name
        .to_lowercase()
        .chars()
        .map(letter)
        .take(LONGEST)
        .collect();
    letters.trim_matches('-').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_do_not_depend_on_the_others() {
        assert_eq!(apart(&["North Fence", "Oak"]), ["north-fence", "oak"]);
        assert_eq!(apart(&["Oak"])[0], apart(&["Ash", "Oak"])[1]);
        let alike = apart(&["Oak 1", "oak-1", "\u{68ee}"]);
        assert!(
            alike[0] != alike[1] && alike[0].starts_with("oak-1-"),
            "{alike:?}"
        );
        assert!(alike[2].len() == 5, "{alike:?}");
    }
}
