//! What a camera looks at: the person's words and the standard's list.

/// The standard's word for a setting, where one of the person's own words surely means it.
pub(super) fn of_setting(setting: &str) -> Option<&'static str> {
    let words = setting.to_lowercase();
    let words: Vec<&str> = words.split(|c: char| !c.is_alphanumeric()).collect();
    let has = |any: &[&str]| any.iter().any(|w| words.contains(w));
    match () {
        () if has(&["water", "pond", "creek", "spring", "waterhole", "tank"]) => {
            Some("waterSource")
        }
        () if has(&["trail", "run", "path"]) => Some("trailGame"),
        () if has(&["lane", "road", "track"]) => Some("roadDirt"),
        () if has(&["culvert"]) => Some("culvert"),
        () if has(&["carcass"]) => Some("carcass"),
        () if has(&["orchard", "oak", "acorn", "apple", "persimmon"]) => Some("fruitingTree"),
        () => None,
    }
}

/// A setting in words for one of the standard's list; others as they are.
pub(super) fn in_words(feature: &str) -> String {
    let words = match feature {
        "roadPaved" => "paved road",
        "roadDirt" => "dirt road",
        "trailHiking" => "hiking trail",
        "trailGame" => "trail",
        "roadUnderpass" => "underpass",
        "roadOverpass" => "overpass",
        "roadBridge" => "bridge",
        "nestSite" => "nest",
        "waterSource" => "water",
        "fruitingTree" => "fruiting tree",
        other => other,
    };
    words.to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exchange::schema::FEATURES;

    #[test]
    fn settings_become_the_standards_words() {
        for (setting, feature) in [
            ("pond", Some("waterSource")),
            ("Trail to bedding", Some("trailGame")),
            ("scrape", None),
            ("food plot", None),
            ("trailer", None),
        ] {
            assert_eq!(of_setting(setting), feature, "{setting}");
        }
        for feature in FEATURES {
            assert!(!in_words(feature).is_empty());
            assert!(of_setting(feature).is_none_or(|f| f == feature));
        }
    }
}
