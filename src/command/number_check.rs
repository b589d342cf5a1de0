//! No result that is no number leaves the program.

use serde_json::{Map, Value};

/// Where a document has nothing although its schema promises something there: JSON writes no infinity and no result of 0/0,
/// so that is what becomes of them. Or where an answer says one in words.
pub fn missing_number(document: &Value, schema: &Value) -> Option<String> {
    let answer = || {
        let mut names = Vec::new();
        names_like_none(document, &mut names);
        // One that another begins with comes after it.
        names.sort_by_key(|name| usize::MAX - name.len());
        says_none(document, &names).then(|| "answer".into())
    };
    hole(document, schema, schema, String::new()).or_else(answer)
}

/// Whether a text has a word that stands for no number.
fn has_none(text: &str) -> bool {
    text.split(|c: char| !c.is_alphanumeric() && c != '_').any(|word| ["NaN", "inf"].contains(&word))
}

/// What a user called `NaN` is no number, and no lack of one.
fn names_like_none<'a>(document: &'a Value, names: &mut Vec<&'a str>) {
    const NAMES: [&str; 4] = ["name", "title", "measurand", "tolerance_name"];
    match document {
        Value::Array(items) => items.iter().for_each(|item| names_like_none(item, names)),
        Value::Object(members) => members.iter().for_each(|(key, member)| match member {
            Value::String(text) if NAMES.contains(&key.as_str()) && has_none(text) => names.push(text),
            member => names_like_none(member, names),
        }),
        _ => {}
    }
}

fn says_none(document: &Value, names: &[&str]) -> bool {
    match document {
        Value::Array(items) => items.iter().any(|item| says_none(item, names)),
        Value::Object(members) => members.iter().any(|(key, member)| match member {
            Value::String(text) => {
                let unnamed = names.iter().fold(text.clone(), |text, name| text.replace(name, ""));
                key == "answer" && has_none(&unnamed)
            }
            _ => says_none(member, names),
        }),
        _ => false,
    }
}

fn hole(value: &Value, schema: &Value, root: &Value, path: String) -> Option<String> {
    let named = schema["$ref"].as_str().and_then(|name| root.pointer(name.trim_start_matches('#')));
    let schema = named.unwrap_or(schema);
    if let Some(forms) = schema["anyOf"].as_array().or(schema["oneOf"].as_array()) {
        let holes: Option<Vec<String>> =
            forms.iter().map(|form| hole(value, form, root, path.clone())).collect();
        // The form with the deepest one is what was meant.
        return holes.and_then(|holes| holes.into_iter().max_by_key(String::len));
    }
    let is_of = |kind: &str| match &schema["type"] {
        Value::String(only) => only == kind,
        Value::Array(kinds) => kinds.iter().any(|known| known == kind),
        _ => true,
    };
    match value {
        Value::Null => (!is_of("null")).then_some(path),
        Value::Array(items) if is_of("array") => items
            .iter()
            .enumerate()
            .find_map(|(i, item)| hole(item, item_schema(schema, i), root, format!("{path}[{i}]"))),
        Value::Object(members) if is_of("object") && has_required(members, schema) => {
            members.iter().find_map(|(name, member)| {
                let known = schema["properties"].get(name).unwrap_or(&schema["additionalProperties"]);
                let dot = if path.is_empty() { "" } else { "." };
                hole(member, known, root, format!("{path}{dot}{name}"))
            })
        }
        Value::Array(_) | Value::Object(_) => Some(path),
        _ => None,
    }
}

fn has_required(members: &Map<String, Value>, schema: &Value) -> bool {
    let required = schema["required"].as_array().into_iter().flatten();
    required.filter_map(Value::as_str).all(|name| members.contains_key(name))
}

fn item_schema(schema: &Value, index: usize) -> &Value {
    schema["prefixItems"].get(index).unwrap_or(&schema["items"])
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_null_is_found_where_a_number_is_promised() {
        let schema = json!({
            "type": "object",
            "properties": {
                "mean": { "type": "number" },
                "date": { "type": ["string", "null"] },
                "rows": { "type": "array", "items": { "$ref": "#/$defs/row" } },
                "pair": { "type": "array", "prefixItems": [{ "type": "number" }, { "type": "number" }] },
                "best": { "anyOf": [{ "$ref": "#/$defs/row" }, { "type": "null" }] },
                "either": { "anyOf": [
                    { "type": "object", "properties": { "a": { "type": "number" } }, "required": ["a"] },
                    { "type": "object", "properties": { "b": { "type": "number" } }, "required": ["b"] }
                ] },
                "named": { "type": "object", "additionalProperties": { "type": "number" } }
            },
            "$defs": { "row": { "type": "object", "properties": { "u": { "type": "number" } } } }
        });
        let found = |document: Value| missing_number(&document, &schema);
        assert_eq!(found(json!({ "mean": 1, "date": null, "rows": [{ "u": 1 }], "best": null })), None);
        assert_eq!(found(json!({ "answer": "informed: y = 1 ± 2 µm", "title": "NaN" })), None);
        assert_eq!(found(json!({ "answer": "T_inf = 20 ± 1 K" })), None);
        let named =
            |answer: &str| json!({ "answer": answer, "plates": [{ "name": "NaN" }, { "name": "NaN 2" }] });
        assert_eq!(found(named("NaN is due, NaN 2 is next")), None);
        for (document, path) in [
            (json!({ "answer": "y = 1 ± NaN µm" }), "answer"),
            (json!({ "answer": "B is due in NaN years", "plates": [{ "name": "B" }] }), "answer"),
            (json!({ "mean": null }), "mean"),
            (json!({ "rows": [{ "u": 1 }, { "u": null }] }), "rows[1].u"),
            (json!({ "best": { "u": null } }), "best.u"),
            (json!({ "pair": [1, null] }), "pair[1]"),
            (json!({ "named": { "a": null } }), "named.a"),
            (json!({ "either": { "b": null } }), "either.b"),
        ] {
            assert_eq!(found(document), Some(path.into()));
        }
    }
}
