//! Documents against their schemas.

use serde_json::{Value, json};

/// Where a value does not fit a schema, as far as the words of JSON Schema go that ours use.
pub fn misfits(value: &Value, schema: &Value, root: &Value, path: &str) -> Vec<String> {
    let mut found = Vec::new();
    if let Some(reference) = schema["$ref"].as_str() {
        let referred =
            root.pointer(reference.trim_start_matches('#')).expect("a reference that leads somewhere");
        found.extend(misfits(value, referred, root, path));
    }
    for word in ["anyOf", "oneOf"] {
        if let Some(forms) = schema[word].as_array() {
            let tries: Vec<Vec<String>> = forms.iter().map(|form| misfits(value, form, root, path)).collect();
            if tries.iter().all(|misfits| !misfits.is_empty()) {
                found.push(format!("{path}: none of the forms: {}", tries.concat().join("; ")));
            }
        }
    }
    for part in schema["allOf"].as_array().into_iter().flatten() {
        found.extend(misfits(value, part, root, path));
    }
    if let Some(refused) = schema.get("not")
        && misfits(value, refused, root, path).is_empty()
    {
        found.push(format!("{path}: what must not be"));
    }
    let is = |name: &str| match name {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "boolean" => value.is_boolean(),
        "null" => value.is_null(),
        "number" => value.is_number(),
        "integer" => value.as_f64().is_some_and(|number| number.fract() == 0.0),
        other => panic!("type {other}"),
    };
    let types: Vec<&str> = match &schema["type"] {
        Value::String(name) => vec![name],
        Value::Array(names) => names.iter().filter_map(Value::as_str).collect(),
        _ => Vec::new(),
    };
    if !types.is_empty() && !types.iter().any(|name| is(name)) {
        found.push(format!("{path}: not {}", types.join(" or ")));
    }
    if let Some(constant) = schema.get("const").filter(|constant| *constant != value) {
        found.push(format!("{path}: not {constant}"));
    }
    if let Some(number) = value.as_f64() {
        let limit = |word: &str| schema[word].as_f64();
        if limit("minimum").is_some_and(|low| number < low)
            || limit("maximum").is_some_and(|high| number > high)
            || limit("exclusiveMinimum").is_some_and(|low| number <= low)
        {
            found.push(format!("{path}: {number} is out of range"));
        }
    }
    if let Some(members) = value.as_object() {
        for name in schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str) {
            if !members.contains_key(name) {
                found.push(format!("{path}: no {name}"));
            }
        }
        for (name, member) in members {
            match schema["properties"].get(name) {
                Some(property) => found.extend(misfits(member, property, root, &format!("{path}.{name}"))),
                None if schema["additionalProperties"] == json!(false) => {
                    found.push(format!("{path}: {name} is unknown"));
                }
                None => {}
            }
        }
    }
    if let Some(items) = value.as_array() {
        let count = |word: &str| schema[word].as_u64();
        if count("minItems").is_some_and(|fewest| (items.len() as u64) < fewest)
            || count("maxItems").is_some_and(|most| items.len() as u64 > most)
        {
            found.push(format!("{path}: {} items", items.len()));
        }
        if schema["items"].is_object() {
            for (index, item) in items.iter().enumerate() {
                found.extend(misfits(item, &schema["items"], root, &format!("{path}[{index}]")));
            }
        }
    }
    found
}
