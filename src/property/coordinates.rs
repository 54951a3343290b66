//! A place as people write it: two numbers in degrees, with minutes and seconds or without.

use super::Position;
use super::grid::place_on_grid;

/// Reads a place in any of the usual notations: decimal degrees (`43.1, -90.7`; `43,1; -90,7`; `43.1 N 90.7 W`),
/// degrees with minutes or with minutes and seconds (`43°06'00" N, 90°42'00" W`), ISO 6709 (`+43.1-090.7/`),
/// `geo:` addresses (RFC 5870) and the grid of maps and receivers (`17T 630084 4833438`, `17T PJ 30084 33438`). Latitude comes first unless letters say otherwise. `None` where it is no place
/// or could be two.
pub fn parse_place(text: &str) -> Option<Position> {
    let text = text.trim();
    // What follows a geo address's coordinates are its parameters.
    let text = match text.strip_prefix("geo:").or_else(|| text.strip_prefix("GEO:")) {
        Some(address) => {
            let place = address.split([';', '?']).next().unwrap_or(address);
            // A third number is the altitude.
            let ends = place.match_indices(',').nth(1).map_or(place.len(), |(i, _)| i);
            &place[..ends]
        }
        None => text,
    };
    let text = text.trim_end_matches('/').to_uppercase();
    if let Some(place) = place_on_grid(&text) {
        return Some(place);
    }
    let text = in_signs(&text);
    let (first, second) = halves(&text)?;
    let (first, second) = (angle(&first)?, angle(&second)?);
    let (latitude, longitude) = match (first.axis, second.axis) {
        (Some(Axis::EastWest), Some(Axis::NorthSouth)) => (second, first),
        (None | Some(Axis::NorthSouth), None | Some(Axis::EastWest)) => (first, second),
        _ => return None,
    };
    Position::new(latitude.degrees, longitude.degrees)
}

/// Words and letters that stand for signs: `LAT 43.1 LON -90.7`, `43.1 NORTH`, `43D06M00S N`.
fn in_signs(text: &str) -> String {
    let mut text = text.replace('º', "°");
    for word in ["LATITUDE", "LONGITUDE", "LAT", "LONG", "LON"] {
        text = text.replace(word, " ");
    }
    for (word, letter) in [("NORTH", "N"), ("SOUTH", "S"), ("EAST", "E"), ("WEST", "W")] {
        text = text.replace(word, letter);
    }
    let letters: Vec<char> = text.replace(['=', ':'], " ").chars().collect();
    let is_digit =
        |i: Option<usize>| i.and_then(|i| letters.get(i)).is_some_and(char::is_ascii_digit);
    // Right behind a number, a D, an M, and an S that follows an M are degrees, minutes and seconds.
    let mut has_minutes = false;
    let sign = |(i, c): (usize, &char)| {
        let is_unit = is_digit(i.checked_sub(1));
        match c {
            'D' if is_unit => '°',
            'M' if is_unit => {
                has_minutes = true;
                '\''
            }
            'S' if is_unit && has_minutes => {
                has_minutes = false;
                '"'
            }
            c => *c,
        }
    };
    letters.iter().enumerate().map(sign).collect::<String>().trim().to_owned()
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Axis {
    NorthSouth,
    EastWest,
}

struct Angle {
    degrees: f64,
    axis: Option<Axis>,
}

/// The runs of digits with their decimal points.
fn numbers(text: &str) -> Vec<&str> {
    let is_number = |c: char| c.is_ascii_digit() || c == '.';
    let runs = text.split(|c| !is_number(c));
    runs.filter(|r| r.contains(|c: char| c.is_ascii_digit())).collect()
}

/// The two angles: parted by a comma or semicolon between them, after a letter for the direction, before the
/// second sign, or in the middle of an even number of numbers.
fn halves(text: &str) -> Option<(String, String)> {
    // A comma between digits may be a decimal one.
    let plain = decimal_points(text);
    for separator in [';', ','] {
        let parts: Vec<&str> = plain.split(separator).collect();
        if let [first, second] = parts[..]
            && !numbers(first).is_empty()
            && !numbers(second).is_empty()
        {
            return Some((first.to_owned(), second.to_owned()));
        }
    }
    let letters: Vec<usize> = plain.match_indices(is_direction).map(|(i, _)| i).collect();
    if let [one, other] = letters[..] {
        // The letters stand before their numbers or behind them.
        let leads = numbers(&plain[..one]).is_empty();
        let at = if leads { other } else { one + 1 };
        return Some((plain[..at].to_owned(), plain[at..].to_owned()));
    }
    if let Some(at) = plain.trim().char_indices().skip(1).find(|(_, c)| is_sign(*c)) {
        let plain = plain.trim();
        return Some((plain[..at.0].to_owned(), plain[at.0..].to_owned()));
    }
    let words: Vec<&str> = plain.split_whitespace().collect();
    let half = words.len() / 2;
    let is_even = words.len().is_multiple_of(2) && (1..=3).contains(&half);
    is_even.then(|| (words[..half].join(" "), words[half..].join(" ")))
}

fn is_direction(c: char) -> bool {
    "NSEWO".contains(c)
}

fn is_sign(c: char) -> bool {
    "+-−".contains(c)
}

/// Decimal commas as points: where a comma stands right between digits and there is no point in the text.
fn decimal_points(text: &str) -> String {
    let letters: Vec<char> = text.chars().collect();
    let is_digit = |i: usize| letters.get(i).is_some_and(char::is_ascii_digit);
    let commas = text.matches(',').count();
    let may_be = !text.contains('.') && commas != 1;
    let point = |(i, c): (usize, &char)| match *c {
        ',' if may_be && i > 0 && is_digit(i - 1) && is_digit(i + 1) => '.',
        c => c,
    };
    letters.iter().enumerate().map(point).collect()
}

fn angle(text: &str) -> Option<Angle> {
    let mut letters = text.chars().filter(|c| c.is_alphabetic());
    let (letter, more) = (letters.next(), letters.next());
    if more.is_some() {
        return None;
    }
    let (axis, sign) = match letter {
        None => (None, 1.0),
        Some('N') => (Some(Axis::NorthSouth), 1.0),
        Some('S') => (Some(Axis::NorthSouth), -1.0),
        Some('E' | 'O') => (Some(Axis::EastWest), 1.0),
        Some('W') => (Some(Axis::EastWest), -1.0),
        Some(_) => return None,
    };
    let is_negative = text.contains(['-', '−']);
    if is_negative && letter.is_some() {
        return None;
    }
    let parts: Vec<f64> = numbers(text).iter().map(|n| n.parse().ok()).collect::<Option<_>>()?;
    let degrees = match parts[..] {
        [d] => d,
        [d, m] if d.fract() == 0.0 && m < 60.0 => d + m / 60.0,
        [d, m, s] if d.fract() == 0.0 && m.fract() == 0.0 && m < 60.0 && s < 60.0 => {
            d + m / 60.0 + s / 3600.0
        }
        _ => return None,
    };
    let sign = if is_negative { -1.0 } else { sign };
    Some(Angle { degrees: sign * degrees, axis })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_place_in_many_notations() {
        for text in [
            "43.1, -90.7",
            "43.1 -90.7",
            "43,1; -90,7",
            "43,1, -90,7",
            "43.1 N 90.7 W",
            "N 43.1 W 90.7",
            "43.1N, 90.7W",
            "43°06'00\" N, 90°42'00\" W",
            "43° 06′ 00″ N 90° 42′ 00″ W",
            "43 06 00 N 90 42 00 W",
            "43 06.000 N, 90 42.000 W",
            "W 90.7 N 43.1",
            "90.7 W, 43.1 N",
            "+43.1-090.7/",
            "geo:43.1,-90.7",
            "geo:43.1,-90.7;u=35",
            "geo:43.1,-90.7,200",
            "Lat 43.1 Lon -90.7",
            "latitude: 43.1, longitude: -90.7",
            "lat=43.1, long=-90.7",
            "43.1º N, 90.7º W",
            "43d06m00s N, 90d42m00s W",
            "43.1 north 90.7 west",
            "  43.1 , −90.7 ",
        ] {
            let place = parse_place(text).unwrap_or_else(|| panic!("{text}"));
            assert!((place.latitude_deg - 43.1).abs() < 1e-9, "{text}: {place:?}");
            assert!((place.longitude_deg + 90.7).abs() < 1e-9, "{text}: {place:?}");
        }
        let south = parse_place("33°51'31\"S 151°12'51\"E").unwrap();
        assert!((south.latitude_deg + 33.858_611).abs() < 1e-6);
        assert!((south.longitude_deg - 151.214_167).abs() < 1e-6);
    }

    #[test]
    fn what_is_no_place_is_not_guessed() {
        for text in [
            "",
            "43.1",
            "north fence",
            "95.0, 10.0",
            "43.1, 190",
            "43 61 N 90 W",
            "43.1 N, 90.7 N",
            "1 2 3",
            "43.1 X 90.7 W",
            "-43.1 N 90.7 W",
        ] {
            assert_eq!(parse_place(text), None, "{text}");
        }
    }
}
