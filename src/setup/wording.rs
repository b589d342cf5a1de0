//! What a schema asks for, and what it takes for granted, in words.

use super::fault::listing;
use super::shape::{Keywords, Limits, NOTHING, forms, keywords, text, texts};
use super::share::Share;
use crate::quantity::unit::{Measure, Unit};
use serde_json::Value;

/// What a schema asks for, in words.
pub fn must(schema: &'static Keywords, limits: Limits) -> String {
    let [low, high] = [limits.at_least, limits.at_most];
    let range = match (low, high) {
        (Some(low), Some(high)) => format!(" from {low} to {high}"),
        (Some(low), None) => format!(" of at least {low}"),
        (None, Some(high)) => format!(" of at most {high}"),
        (None, None) => String::new(),
    };
    if let Some(unit) = text(schema, "x-unit") {
        let quantity = Unit::parse(unit).map_or("a quantity", |unit| unit.dimension().name());
        let share = match texts(schema, "x-shares").first() {
            Some(share) => format!(", or a share such as \"1/5 {share}\""),
            None => String::new(),
        };
        return if range.is_empty() {
            format!("{quantity} with its unit{share}")
        } else {
            format!("{quantity}{range}{share}")
        };
    }
    if let Some(unit) = text(schema, "x-unit-name") {
        let quantity = Unit::parse(unit).map_or("a quantity", |unit| unit.dimension().name());
        return format!("the unit of {quantity}");
    }
    if schema.contains_key("x-plain") {
        let least = schema.get("minimum").and_then(Value::as_f64);
        let least = least.map_or(String::new(), |low| format!(" of at least {low}"));
        return format!("a number{least}, or a text with its unit, such as \"0.1 mm\"");
    }
    if schema.contains_key("anyOf") || schema.contains_key("oneOf") {
        let forms = forms(schema);
        if schema.contains_key("x-uncertain") {
            return match forms.first() {
                Some(exact) if exact.contains_key("x-unit") => {
                    format!("{}, or a distribution", must(exact, limits))
                }
                _ => "a distribution by its family, with its parameters".into(),
            };
        }
        let names: Vec<String> = forms
            .iter()
            .flat_map(|form| {
                form.get("const")
                    .into_iter()
                    .chain(form.get("enum").and_then(Value::as_array).into_iter().flatten())
            })
            .map(Value::to_string)
            .collect();
        let others = forms
            .iter()
            .filter(|form| !form.contains_key("const") && !form.contains_key("enum"))
            .map(|form| must(form, limits));
        return listing(names.into_iter().chain(others));
    }
    if let Some(Value::Array(names)) = schema.get("enum") {
        return format!("one of {}", listing(names));
    }
    let count = |keyword: &str| schema.get(keyword).and_then(Value::as_u64);
    let numbers = |a_number: &str| {
        let limit = |keyword: &str| schema.get(keyword).and_then(Value::as_f64);
        match (limit("minimum"), limit("exclusiveMinimum"), limit("maximum")) {
            (Some(low), _, Some(high)) => format!("{a_number} from {low} to {high}"),
            (_, Some(low), Some(high)) => format!("{a_number} above {low} and at most {high}"),
            _ => a_number.to_owned(),
        }
    };
    match text(schema, "type") {
        Some("boolean") => "true or false".into(),
        Some("integer") => numbers("a whole number"),
        Some("number") => numbers("a number"),
        Some("string") => match count("maxLength") {
            Some(most) => format!("a text of at most {most} characters"),
            None => "a text".into(),
        },
        Some("array") => {
            let items =
                schema.get("items").or_else(|| schema.get("prefixItems").and_then(|items| items.get(0)));
            let each =
                items.map_or(String::new(), |items| format!(", each {}", must(keywords(items), limits)));
            match (count("minItems"), count("maxItems")) {
                (Some(fewest), Some(most)) if fewest == most => format!("a list of {fewest}{each}"),
                (Some(fewest), Some(most)) => format!("a list of {fewest} to {most}{each}"),
                (None, Some(most)) => format!("a list of at most {most}{each}"),
                _ => format!("a list{each}"),
            }
        }
        _ => {
            let required = texts(schema, "required");
            if required.is_empty() {
                "an object".into()
            } else {
                format!("an object with {}", all_of(&required))
            }
        }
    }
}

/// "a, b and c".
fn all_of(names: &[&str]) -> String {
    match names.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => names.concat(),
    }
}

/// Something that could be written there, as JSON: of several examples the one that `x-example` counts, for an upper limit is
/// not the example of the lower one.
pub fn example(schema: &'static Keywords) -> String {
    if let Some(default) = schema.get("default").filter(|default| !default.is_object()) {
        return default.to_string();
    }
    let which = schema.get("x-example").and_then(Value::as_u64).unwrap_or(0) as usize;
    if let Some(example) = schema.get("examples").and_then(|examples| examples.get(which)) {
        return example.to_string();
    }
    let first = |keyword: &str| schema.get(keyword).and_then(|options| options.get(0));
    if let Some(form) = first("anyOf").or_else(|| first("oneOf")) {
        return example(keywords(form));
    }
    if let Some(name) = schema.get("const").or_else(|| first("enum")) {
        return name.to_string();
    }
    match text(schema, "type") {
        Some("boolean") => "true or false".into(),
        Some("integer" | "number") => {
            let low = schema.get("minimum").and_then(Value::as_f64);
            let above = schema.get("exclusiveMinimum").and_then(Value::as_f64).map(|low| low + 1.0);
            low.or(above).unwrap_or(1.0).to_string()
        }
        Some("string") => "a text in quotes".into(),
        Some("array") => {
            let fewest = schema.get("minItems").and_then(Value::as_u64).unwrap_or(1).clamp(1, 4);
            let item = first("prefixItems").or_else(|| schema.get("items"));
            let item = item.map_or(String::new(), |item| example(keywords(item)));
            format!("[{}]", vec![item; fewest as usize].join(", "))
        }
        _ => {
            let properties = schema.get("properties").map(keywords).unwrap_or(&NOTHING);
            let required = texts(schema, "required");
            let members = required.iter().filter_map(|name| Some((name, keywords(properties.get(*name)?))));
            let members: Vec<String> =
                members.map(|(name, schema)| format!("\"{name}\": {}", example(schema))).collect();
            if members.is_empty() { "{}".into() } else { format!("{{ {} }}", members.join(", ")) }
        }
    }
}

/// An example in the unit in which what stands beside it is written, where there is one; of an upper limit as far above it.
pub fn example_beside(schema: &'static Keywords, beside: &str) -> Option<String> {
    let parsed = |text: &str| match Share::parse(text) {
        Some((number, share)) => Some((number, Err(share))),
        None => Measure::parse(text).ok().map(|measure| (measure.value, Ok(measure.unit))),
    };
    let (number, its) = parsed(beside)?;
    let (example, _) = texts(schema, "examples").into_iter().filter_map(parsed).find(|(_, of)| *of == its)?;
    let above = if schema.contains_key("x-example") { number } else { 0.0 };
    // The sum as it would be typed, not in all its bits.
    let value = ((example + above) * 1e9).round() / 1e9;
    let said = match its {
        Ok(unit) => Measure { value, unit }.to_string(),
        Err(share) => format!("{value} {}", share.words()[0]),
    };
    Some(format!("\"{said}\""))
}

/// "write "36 in" or "36 mm"", with the units of the schema's examples.
pub fn with_units(number: &str, schema: &'static Keywords) -> String {
    let examples = texts(schema, "examples").into_iter();
    let units = examples
        .map(|example| example.trim_start_matches(|c: char| c.is_ascii_digit() || "./-e".contains(c)));
    format!("write {}", listing(units.map(|unit| format!("\"{number}{unit}\""))))
}

/// A value as one would say it: `normal, mean 0 K, standard deviation 0.2 K`.
pub fn in_words(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Array(items) => items.iter().map(in_words).collect::<Vec<_>>().join(" x "),
        Value::Object(members) => {
            let each = members.iter().map(|(name, value)| {
                let separator = if value.is_object() { ", " } else { " " };
                format!("{}{separator}{}", name.replace('_', " "), in_words(value))
            });
            each.collect::<Vec<_>>().join(", ")
        }
        Value::Bool(true) => "yes".into(),
        Value::Bool(false) => "no".into(),
        Value::Number(number) => number.as_f64().map_or_else(String::new, |number| number.to_string()),
        Value::Null => String::new(),
    }
}
