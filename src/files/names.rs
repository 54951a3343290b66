//! Names that can be given to folders on every system.

/// Why a name cannot be that of a folder everywhere, if so: what separates folders, what a system keeps for
/// devices, ends in a point or space, or cannot be seen (Microsoft, "Naming Files, Paths, and Namespaces", from
/// memory; POSIX.1-2017, 3.170).
pub fn unfit_for_a_folder(name: &str) -> Option<&'static str> {
    const LONGEST: usize = 100;
    const DEVICES: [&str; 6] = ["con", "prn", "aux", "nul", "conin$", "conout$"];
    let stem = name.split('.').next().unwrap_or("").trim_end().to_lowercase();
    let numbered = |kind: &str| {
        let rest = stem.strip_prefix(kind);
        rest.is_some_and(|r| r.chars().count() == 1 && r.contains(|c| "0123456789¹²³".contains(c)))
    };
    // Marks that turn the direction of writing, or take no room.
    let is_unseen = |c: char| {
        c.is_control()
            || matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}')
    };
    if name.trim().is_empty() {
        return Some("it is empty");
    }
    if name.starts_with('.') || name.ends_with(['.', ' ']) {
        return Some("it begins with a point, or ends in one or in a space");
    }
    if name.contains(|c| "/\\:*?\"<>|".contains(c)) {
        return Some("leave out / \\ : * ? \" < > |");
    }
    if name.contains(is_unseen) {
        return Some("there are signs in it that cannot be seen");
    }
    if DEVICES.contains(&stem.as_str()) || numbered("com") || numbered("lpt") {
        return Some("some systems keep it for a device");
    }
    (name.chars().count() > LONGEST || name.len() > 200).then_some("it is too long")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_that_are_folders_everywhere() {
        for good in ["North Fence", "Östlicher Zaun", "cam 1.2", "console", "com", "公司"] {
            assert_eq!(unfit_for_a_folder(good), None, "{good}");
        }
        for bad in [
            "",
            " ",
            "../x",
            "a/b",
            "CON",
            "con .txt",
            "nul.jpg",
            "COM1",
            "com¹",
            "CONIN$",
            "x.",
            "x ",
            ".x",
            "a\u{202e}b",
            "a\nb",
        ] {
            assert!(unfit_for_a_folder(bad).is_some(), "{bad:?}");
        }
        assert!(unfit_for_a_folder(&"x".repeat(300)).is_some());
    }
}
