//! Numbers in files carry twelve digits, and no more than twelve decimals: more than anything here is known
//! to, and fewer than the order of a sum, the processor or the system's own logarithm can change. (What two
//! numbers near one leave when they are subtracted has as many decimals that mean anything as they had, and
//! fewer digits.) Numbers under a millionth, odds mostly, carry eight digits.

use serde_json::{Number, Value};

const DIGITS: usize = 12;

const DIGITS_OF_ODDS: usize = 8;
const SMALLEST: f64 = 1e-6;

/// A number as files carry it.
pub(super) fn to_digits(x: f64) -> f64 {
    let text = match x.abs() {
        small if small < SMALLEST => format!("{x:.*e}", DIGITS_OF_ODDS - 1),
        part if part < 1.0 => format!("{x:.DIGITS$}"),
        _ => format!("{x:.*e}", DIGITS - 1),
    };
    text.parse().unwrap_or(x)
}

/// Every fraction in a value as files carry it.
fn round(value: &mut Value) {
    match value {
        Value::Number(n) if n.is_f64() => {
            let rounded = n.as_f64().map(to_digits).and_then(Number::from_f64);
            *n = rounded.unwrap_or_else(|| n.clone());
        }
        Value::Array(all) => all.iter_mut().for_each(round),
        Value::Object(all) => all.values_mut().for_each(round),
        _ => {}
    }
}

/// The same, of a value that is handed on.
pub(crate) fn rounded(mut value: Value) -> Value {
    round(&mut value);
    value
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_digits_go() {
        assert_eq!(to_digits(0.1 + 0.2), 0.3);
        assert_eq!(to_digits(-1_234_567.890_123_456_7), -1_234_567.890_12);
        assert_eq!(to_digits(-0.000_449_993_515_136_5), -0.000_449_993_515);
        assert_eq!(to_digits(1.234_567_891_23e-20), 1.234_567_9e-20);
        assert_eq!(to_digits(0.0), 0.0);
        let mut value =
            serde_json::json!({ "a": [100.374_000_000_000_01, 7], "b": "0.30000000000000004" });
        round(&mut value);
        assert_eq!(value.to_string(), r#"{"a":[100.374,7],"b":"0.30000000000000004"}"#);
    }
}
