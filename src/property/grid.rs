//! Places on the universal transverse Mercator grid, as topographic maps and handheld receivers print them, and as
//! references to its squares.

use geoconvert::{Mgrs, UtmUps};

use super::Position;

/// Latitude bands of 8°, from 80° south; the last one is of 12°.
const BANDS: &str = "CDEFGHJKLMNPQRSTUVWX";
/// Where a band of 8° begins can be told from a northing only about so well.
const BAND_SLACK_DEG: f64 = 0.1;

/// A place such as `17T 630084 4833438`, `17 T 630084mE 4833438mN` or `17N 630,084E, 4,833,438N`: zone, band or
/// hemisphere, metres east, metres north; or a square's reference such as `17T PJ 30084 33438`. `N` and `S` are bands
/// where the northing lies in them, else hemispheres. `None` where it is none.
pub(super) fn place_on_grid(text: &str) -> Option<Position> {
    place_in_square(text).or_else(|| place_by_metres(text))
}

/// `17TPJ3008433438`, with blanks or without.
fn place_in_square(text: &str) -> Option<Position> {
    let text: String = text.to_uppercase().split_whitespace().collect();
    let zone = text.bytes().take_while(u8::is_ascii_digit).count();
    let (letters, digits) = text.get(zone..).and_then(|rest| rest.split_at_checked(3))?;
    let is_whole = (1..=2).contains(&zone)
        && letters.bytes().all(|b| b.is_ascii_uppercase())
        && (2..=10).contains(&digits.len())
        && digits.len().is_multiple_of(2)
        && digits.bytes().all(|b| b.is_ascii_digit());
    let place = is_whole.then(|| Mgrs::parse_str(&text).ok())??.to_latlon();
    Position::new(place.latitude(), place.longitude())
}

fn place_by_metres(text: &str) -> Option<Position> {
    let text = text.trim().to_uppercase();
    let text = text.trim_start_matches("UTM").trim_start();
    let text = text.trim_start_matches("ZONE").trim_start();
    let digits = text.bytes().take_while(u8::is_ascii_digit).count();
    let zone: i32 = text.get(..digits)?.parse().ok().filter(|z| (1..=60).contains(z))?;
    let rest = text[digits..].trim_start();
    let letter = rest.chars().next().filter(|c| BANDS.contains(*c))?;
    let [east_m, north_m] = metres(&rest[1..])?;
    let of = |is_north: bool| {
        let place = UtmUps::create(zone, is_north, east_m, north_m).ok()?.to_latlon();
        Some((place.latitude(), place.longitude()))
    };
    let in_band = of(letter >= 'N').filter(|(latitude, _)| is_in_band(*latitude, letter));
    let (latitude, longitude) = match letter {
        'N' => in_band.or_else(|| of(true)),
        'S' => in_band.or_else(|| of(false)),
        _ => in_band,
    }?;
    Position::new(latitude, longitude)
}

fn is_in_band(latitude_deg: f64, band: char) -> bool {
    let from = BANDS.find(band).map_or(90.0, |i| -80.0 + 8.0 * i as f64);
    let until = if band == 'X' { 84.0 } else { from + 8.0 };
    (from - BAND_SLACK_DEG..until + BAND_SLACK_DEG).contains(&latitude_deg)
}

/// Two numbers, metres east and metres north, with or without their letters.
fn metres(text: &str) -> Option<[f64; 2]> {
    let text = &without_thousands(text);
    let is_number = |c: char| c.is_ascii_digit() || c == '.';
    let is_between = |c: char| c.is_whitespace() || ",;".contains(c);
    let mut parts = Vec::new();
    let mut rest = text.trim_start_matches(is_between);
    for letters in [["ME", "M E", "E"], ["MN", "M N", "N"]] {
        let end = rest.find(|c| !is_number(c)).unwrap_or(rest.len());
        parts.push(rest[..end].parse::<f64>().ok()?);
        rest = rest[end..].trim_start();
        let written = letters.iter().find_map(|l| rest.strip_prefix(l));
        rest = written.unwrap_or(rest).trim_start_matches(is_between);
        rest = rest.strip_prefix('M').unwrap_or(rest).trim_start_matches(is_between);
    }
    let [east_m, north_m] = parts[..] else {
        return None;
    };
    let is_there =
        (100_000.0..1_000_000.0).contains(&east_m) && (0.0..10_000_000.0).contains(&north_m);
    (is_there && rest.is_empty()).then_some([east_m, north_m])
}

/// `4833438` of `4,833,438`.
fn without_thousands(text: &str) -> String {
    let bytes = text.as_bytes();
    let digit = |i: usize| bytes.get(i).is_some_and(u8::is_ascii_digit);
    let is_comma = |i: usize| {
        bytes[i] == b',' && i > 0 && digit(i - 1) && (1..4).all(|n| digit(i + n)) && !digit(i + 4)
    };
    let all = text.char_indices();
    all.filter(|(i, _)| !is_comma(*i)).map(|(_, c)| c).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn grid_places_lie_where_a_reference_library_puts_them() {
        // Source: PROJ 9.5.1 by pyproj 3.7.2, EPSG:326zz and 327zz to EPSG:4326.
        for (text, latitude, longitude) in [
            ("17T 630084 4833438", 43.642_561_8, -79.387_142_9),
            ("17 T 630084mE 4833438mN", 43.642_561_8, -79.387_142_9),
            ("UTM zone 17N 630084 E, 4833438 N", 43.642_561_8, -79.387_142_9),
            ("15t 687215.6 4774437.3", 43.099_538_4, -90.699_436_3),
            ("56H 334900 6252280", -33.856_878_8, 151.215_292_2),
            ("56S 334900 6252280", -33.856_878_8, 151.215_292_2),
            ("16S 500000 3900000", 35.243_077_7, -87.0),
            ("33U 399000.5;5757000.25", 51.954_521_4, 13.530_238_4),
            ("17T 630,084 4,833,438", 43.642_561_8, -79.387_142_9),
            ("17TPJ3008433438", 43.642_561_8, -79.387_142_9),
            ("17t pj 30084 33438", 43.642_561_8, -79.387_142_9),
        ] {
            let place = place_on_grid(text).unwrap_or_else(|| panic!("{text}"));
            // A hundred-thousandth of a degree is a metre.
            assert!((place.latitude_deg - latitude).abs() < 1e-5, "{text}: {place:?}");
            assert!((place.longitude_deg - longitude).abs() < 1e-5, "{text}: {place:?}");
        }
    }

    #[test]
    fn what_is_on_no_grid_is_not_guessed() {
        for text in [
            "17T 630084",
            "17T 4833438 630084",
            "61T 630084 4833438",
            "0T 630084 4833438",
            "17I 630084 4833438",
            "17U 630084 4833438",
            "17T 630084 4833438 12",
            "17T 63.0084 48.33438",
            "43.1 N 90.7 W",
            "17Ä 630084 4833438",
            "17TPJ300843343",
            "17TPI3008433438",
            "99TPJ3008433438",
            "17TPJ",
        ] {
            assert_eq!(place_on_grid(text), None, "{text}");
        }
    }
}
