//! Text files as spreadsheets save them: UTF-8, UTF-16 or Windows-1252, decoded by the WHATWG Encoding
//! Standard.

use encoding_rs::{Encoding, UTF_16BE, UTF_16LE, WINDOWS_1252};

/// A decoded text file.
pub(super) struct Text {
    pub text: String,
    /// It ends within a character, which was left away.
    pub torn: bool,
    /// It began with a byte-order mark, or was UTF-16: a program wrote it that goes by such marks.
    pub has_mark: bool,
}

/// Decodes a file. Text that is not UTF-8 and shows no sign of UTF-16 is taken as Windows-1252, in
/// which every byte is a character.
pub(super) fn decode(bytes: &[u8]) -> Text {
    let marked = Encoding::for_bom(bytes);
    let wide = marked.map_or_else(|| wide_without_mark(bytes), |(e, _)| Some(e));
    if let Some(encoding) = wide.filter(|e| *e == UTF_16LE || *e == UTF_16BE) {
        let (text, _) = encoding.decode_with_bom_removal(bytes);
        return Text { text: text.into_owned(), torn: false, has_mark: true };
    }
    let plain = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let (text, torn) = match std::str::from_utf8(plain) {
        Ok(text) => (text.to_owned(), false),
        Err(e) => match cut_within_letter(plain, e) {
            Some(text) => (text.to_owned(), true),
            None => (WINDOWS_1252.decode_without_bom_handling(plain).0.into_owned(), false),
        },
    };
    Text { text, torn, has_mark: marked.is_some() }
}

/// Half of the bytes of a table's first line are zero in UTF-16, and none in any other encoding.
fn wide_without_mark(bytes: &[u8]) -> Option<&'static Encoding> {
    const LOOKED_AT: usize = 64;
    let head = &bytes[..bytes.len().min(LOOKED_AT)];
    let zeros = |from: usize| head.iter().skip(from).step_by(2).filter(|b| **b == 0).count();
    let (even, odd) = (zeros(0), zeros(1));
    let many = head.len() / 4;
    match head.len() >= 8 {
        true if odd > many && even == 0 => Some(UTF_16LE),
        true if even > many && odd == 0 => Some(UTF_16BE),
        _ => None,
    }
}

/// The whole characters of UTF-8 text that ends within one, as a kill in the middle of writing leaves
/// it. Text without any other such character may as well be in another encoding.
fn cut_within_letter(bytes: &[u8], error: std::str::Utf8Error) -> Option<&str> {
    let whole = std::str::from_utf8(&bytes[..error.valid_up_to()]).ok()?;
    (error.error_len().is_none() && !whole.is_ascii()).then_some(whole)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_encoding_that_spreadsheets_save() {
        let want = "camera,setting\nS\u{fc}d,\u{20ac}\n";
        let utf16 = |little: bool| -> Vec<u8> {
            let bytes = |u: u16| {
                if little { u.to_le_bytes() } else { u.to_be_bytes() }
            };
            want.encode_utf16().flat_map(bytes).collect()
        };
        let marked = |mark: &[u8], bytes: &[u8]| [mark, bytes].concat();
        for bytes in [
            want.as_bytes().to_vec(),
            marked(b"\xef\xbb\xbf", want.as_bytes()),
            marked(b"\xff\xfe", &utf16(true)),
            marked(b"\xfe\xff", &utf16(false)),
            utf16(true),
            utf16(false),
            b"camera,setting\nS\xfcd,\x80\n".to_vec(),
        ] {
            assert_eq!(decode(&bytes).text, want, "{bytes:?}");
        }
    }
}
