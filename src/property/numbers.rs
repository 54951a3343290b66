//! Numbers as people and spreadsheets write them.

/// Marks that spreadsheets put between thousands (common practice, no standard).
const THOUSANDS: [char; 6] = [',', '.', '\'', '’', ' ', '\u{a0}'];

/// A number with a decimal point or a decimal comma; with both, or with one mark more than once, the
/// last sort is the decimal one and the other stands between thousands.
pub fn parse_number(text: &str) -> Option<f64> {
    let text = text.trim().replace('\u{2212}', "-");
    let count = |mark: char| text.matches(mark).count();
    let number = match (count('.'), count(',')) {
        (0, 1) => text.replace(',', "."),
        (1, 0) | (0, 0) => text.clone(),
        (points, commas) => {
            let decimal = if points == 0 || commas == 0 {
                None
            } else {
                [text.rfind('.'), text.rfind(',')].into_iter().flatten().max()
            };
            let (whole, fraction) =
                decimal.map_or((text.as_str(), ""), |at| (&text[..at], &text[at + 1..]));
            let whole = without_thousands(whole)?;
            format!("{whole}.{fraction}0")
        }
    };
    number.parse::<f64>().ok().filter(|x| x.is_finite())
}

/// A number of things that are counted whole, minutes say: `-1,440` is minus one thousand four hundred
/// and forty and not minus one and a half, since nobody writes three decimals of a minute.
pub fn parse_count(text: &str) -> Option<f64> {
    match without_thousands(text.trim()) {
        Some(digits) => digits.parse().ok(),
        None => parse_number(text),
    }
}

/// The digits and sign of a whole number whose thousands are marked, all with the same mark.
fn without_thousands(text: &str) -> Option<String> {
    let unsigned = text.strip_prefix(['-', '+', '\u{2212}']).unwrap_or(text);
    let sign = if text.starts_with(['-', '\u{2212}']) { "-" } else { "" };
    let mark = unsigned.chars().find(|c| THOUSANDS.contains(c))?;
    let mut groups = unsigned.split(mark);
    let all_digits = |g: &str| !g.is_empty() && g.bytes().all(|b| b.is_ascii_digit());
    let first = groups.next().filter(|g| g.len() <= 3 && all_digits(g))?;
    let rest: Vec<&str> = groups.collect();
    let whole = rest.iter().all(|g| g.len() == 3 && all_digits(g));
    whole.then(|| format!("{sign}{first}{}", rest.concat()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_in_both_notations() {
        assert_eq!(parse_number("3.5"), Some(3.5));
        assert_eq!(parse_number(" 3,5 "), Some(3.5));
        assert_eq!(parse_number("-90.25"), Some(-90.25));
        assert_eq!(parse_number("1,234,5"), None);
        assert_eq!(parse_number("1,234.5"), Some(1234.5));
        assert_eq!(parse_number("1.234,5"), Some(1234.5));
        assert_eq!(parse_number("1,234,567"), Some(1_234_567.0));
        assert_eq!(parse_number("NaN"), None);
    }

    #[test]
    fn thousands_in_whole_numbers() {
        for text in ["-1440", "-1,440", "-1.440", "-1 440", "-1'440", "\u{2212}1,440"] {
            assert_eq!(parse_count(text), Some(-1440.0), "{text}");
        }
        assert_eq!(parse_count("10,519,200"), Some(10_519_200.0));
        assert_eq!(parse_count("60"), Some(60.0));
        assert_eq!(parse_count("60.5"), Some(60.5));
        assert_eq!(parse_count("1,44"), Some(1.44));
        for text in ["", "an hour", "1,44,0"] {
            assert_eq!(parse_count(text), None, "{text}");
        }
    }
}
