//! Numbers in files carry twelve digits: more than anything here is known to, and fewer than the order of
//! a sum, or the processor, can change.

use serde_json::{Number, Value};

const DIGITS: i32 = 12;

/// A number to twelve significant digits.
pub(super) fn to_digits(x: f64) -> f64 {
    format!("{x:.*e}", DIGITS as usize - 1).parse().unwrap_or(x)
}

/// Every fraction in a value to twelve significant digits.
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
pub(super) fn rounded(mut value: Value) -> Value {
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
        let mut value =
            serde_json::json!({ "a": [100.374_000_000_000_01, 7], "b": "0.30000000000000004" });
        round(&mut value);
        assert_eq!(
            value.to_string(),
            r#"{"a":[100.374,7],"b":"0.30000000000000004"}"#
        );
    }
}
