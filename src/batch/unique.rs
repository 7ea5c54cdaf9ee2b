//! JSON in which no key of an object stands twice: which of the two was meant, nobody knows.

use serde::de::{DeserializeSeed, Deserializer, Error, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Number, Value};
use std::fmt::{Formatter, Result as Written};

/// A value from JSON text.
///
/// # Errors
/// Where it is no JSON, or a key stands twice.
pub fn json(text: &[u8]) -> serde_json::Result<Value> {
    let mut from = serde_json::Deserializer::from_slice(text);
    let value = Unique.deserialize(&mut from)?;
    from.end().map(|()| value)
}

struct Unique;

impl<'de> DeserializeSeed<'de> for Unique {
    type Value = Value;

    fn deserialize<D: Deserializer<'de>>(self, from: D) -> Result<Value, D::Error> {
        from.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Unique {
    type Value = Value;

    fn expecting(&self, f: &mut Formatter<'_>) -> Written {
        f.write_str("JSON")
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_bool<E>(self, value: bool) -> Result<Value, E> {
        Ok(Value::Bool(value))
    }

    fn visit_i64<E>(self, value: i64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_u64<E>(self, value: u64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_f64<E>(self, value: f64) -> Result<Value, E> {
        Ok(Number::from_f64(value).map_or(Value::Null, Value::Number))
    }

    fn visit_str<E>(self, value: &str) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut from: A) -> Result<Value, A::Error> {
        let mut values = Vec::new();
        while let Some(value) = from.next_element_seed(Self)? {
            values.push(value);
        }
        Ok(Value::Array(values))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut from: A) -> Result<Value, A::Error> {
        let mut members = Map::new();
        while let Some(key) = from.next_key::<String>()? {
            if members.contains_key(&key) {
                let shown: String = key.chars().filter(|c| !c.is_control()).take(80).collect();
                return Err(A::Error::custom(format!("`{shown}` stands there twice; leave one of them out")));
            }
            let value = from.next_value_seed(Self)?;
            members.insert(key, value);
        }
        Ok(Value::Object(members))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_that_stands_twice_is_refused_at_any_depth_and_all_else_is_read_as_it_is() {
        let plain = r#"{ "a": [1, -2, 0.5, "b", null, true], "c": { "a": {} } }"#;
        assert_eq!(json(plain.as_bytes()).unwrap(), serde_json::from_str::<Value>(plain).unwrap());
        for twice in [r#"{ "a": 1, "a": 1 }"#, r#"{ "b": [{ "a": 1, "a": 2 }] }"#] {
            let said = json(twice.as_bytes()).unwrap_err().to_string();
            assert!(said.contains("`a` stands there twice") && said.contains("line 1"), "{said}");
        }
        assert!(json(b"{} {}").is_err() && json(b"{ 1 }").is_err());
    }
}
