//! What to do about a disk that says no.

use std::io::{self, ErrorKind};

/// What to do about a disk that does not take a file, by what it said.
pub fn disk_remedy(error: &io::Error) -> &'static str {
    match error.kind() {
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::FileTooLarge => {
            "Make room on the disk."
        }
        ErrorKind::PermissionDenied => {
            "You may not write there: check who owns the folder, and whether the disk is write-protected."
        }
        ErrorKind::ReadOnlyFilesystem => "The disk is write-protected: unlock it or use another.",
        ErrorKind::NotFound => "The disk or folder has gone: is it still connected?",
        ErrorKind::InvalidFilename => "The disk does not take this name: use letters and digits.",
        _ => "Check the disk; if it goes on failing, use another.",
    }
}

/// What an error says, without the system's number for it, which tells a person nothing: `Input/output error` of
/// `Input/output error (os error 5)`.
pub fn without_number(text: &str) -> String {
    const OPENS: &str = " (os error ";
    let mut told = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find(OPENS) {
        let (before, from) = rest.split_at(at);
        let number = &from[OPENS.len()..];
        let digits = number.bytes().take_while(u8::is_ascii_digit).count();
        let is_whole = digits > 0 && number[digits..].starts_with(')');
        let taken = if is_whole { OPENS.len() + digits + 1 } else { OPENS.len() };
        told.push_str(before);
        told.push_str(if is_whole { "" } else { OPENS });
        rest = &from[taken..];
    }
    told + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_number_of_an_error_is_not_told() {
        for (text, words) in [
            ("Input/output error (os error 5)", "Input/output error"),
            ("a (os error 5): b (os error 28).", "a: b."),
            ("a file (os error x) here", "a file (os error x) here"),
            ("nothing", "nothing"),
        ] {
            assert_eq!(without_number(text), words);
        }
    }
}
