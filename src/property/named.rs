//! The pictures that the person's tables name.

use std::collections::HashSet;

use super::{Headings, Property, Sheet};

/// The file of tags.
pub const TAGS: &str = "tags.csv";

/// Paths are compared without regard to capitals and with either slash, as memory cards do.
pub fn picture_key(path: &str) -> String {
    let path = path.trim().replace('\\', "/").to_lowercase();
    path.trim_start_matches("./").to_owned()
}

/// Every name by which a row of `tags.csv`, or of the table that `[tags]` names, means a picture. A
/// table that cannot be read names none here; whoever reads its tags says so.
pub fn named_in_tags(property: &Property) -> HashSet<String> {
    let other = property.settings.tag_table.as_ref();
    let tables =
        [(TAGS, "picture")].into_iter().chain(other.map(|t| (t.file.as_str(), t.picture.as_str())));
    let mut names = HashSet::new();
    for (file, column) in tables {
        let column = column.trim().to_lowercase();
        let required = [column.as_str()];
        let headings = Headings { required: &required, known: &required };
        let sheet = Sheet::read(&property.root, file, &headings, &mut Vec::new());
        if let Ok(Some(sheet)) = sheet {
            sheet.for_each(&mut Vec::new(), |row, _| {
                names.extend(row.some(&column).map(picture_key));
            });
        }
    }
    names
}
