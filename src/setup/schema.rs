//! The published JSON Schema of setup files.

use super::model_fields::WrittenModel;
use super::written::Written;
use schemars::{JsonSchema, Schema, generate::SchemaSettings, transform::RecursiveTransform};
use serde_json::{Map, Value, json};
use std::sync::LazyLock;

/// The JSON Schema (draft 2020-12) of setup files, with descriptions and defaults, so that an editor
/// can complete a file and find most faults while it is written.
///
/// Whatever [`Setup::read`](super::Setup::read) accepts, the schema accepts. The reverse does not
/// quite hold: units, limits of quantities and everything that takes geometry are beyond it.
pub fn schema() -> Value {
    let mut schema = FIELDS.clone();
    publish(&mut schema);
    schema
}

/// The JSON Schema (draft 2020-12) of formula model files.
///
/// Whatever [`MeasurementSetup::read`](super::MeasurementSetup::read) accepts, the schema accepts. The
/// reverse does not quite hold: formulas, names and everything that readings have to satisfy together are
/// beyond it.
pub fn model_schema() -> Value {
    let mut schema = MODEL_FIELDS.clone();
    publish(&mut schema);
    schema
}

/// The schema of setups as the walker uses it.
pub(super) static FIELDS: LazyLock<Value> = LazyLock::new(fields::<Written>);

/// The same with all references resolved, what stands beside a reference counting before it. No type
/// holds itself, so this ends.
pub(super) static SHAPE: LazyLock<Value> = LazyLock::new(|| resolved(&FIELDS, &FIELDS));

/// The schema of formula models as the walker uses it.
static MODEL_FIELDS: LazyLock<Value> = LazyLock::new(fields::<WrittenModel>);

/// The same with all references resolved.
pub(super) static MODEL_SHAPE: LazyLock<Value> = LazyLock::new(|| resolved(&MODEL_FIELDS, &MODEL_FIELDS));

fn fields<T: JsonSchema>() -> Value {
    let settings = SchemaSettings::draft2020_12().with_transform(RecursiveTransform(tidy));
    settings.into_generator().into_root_schema_for::<T>().to_value()
}

fn resolved(schema: &Value, root: &Value) -> Value {
    match schema {
        Value::Array(items) => items.iter().map(|item| resolved(item, root)).collect(),
        Value::Object(keywords) => {
            let referred =
                keywords.get("$ref").and_then(Value::as_str).and_then(|r| root.pointer(r.strip_prefix('#')?));
            let mut merged = match referred.map(|referred| resolved(referred, root)) {
                Some(Value::Object(referred)) => referred,
                _ => Map::new(),
            };
            for (keyword, value) in
                keywords.iter().filter(|(keyword, _)| !["$ref", "$defs"].contains(&keyword.as_str()))
            {
                merged.insert(keyword.clone(), resolved(value, root));
            }
            merged.into()
        }
        other => other.clone(),
    }
}

/// A field is left out, never null; and one that has a default is not required.
fn tidy(schema: &mut Schema) {
    let Some(members) = schema.as_object_mut() else { return };
    if let Some(Value::Array(mut options)) = members.remove("anyOf") {
        options.retain(|option| option.get("type") != Some(&"null".into()));
        if let [Value::Object(only)] = options.as_slice() {
            for (keyword, value) in only {
                members.entry(keyword).or_insert_with(|| value.clone());
            }
        } else {
            members.insert("anyOf".into(), options.into());
        }
    }
    if let Some(Value::Array(types)) = members.get_mut("type") {
        types.retain(|name| name != "null");
        if let [only] = types.as_slice() {
            let only = only.clone();
            members.insert("type".into(), only);
        }
    }
    let optional: Vec<String> = match members.get("properties") {
        Some(Value::Object(properties)) => properties
            .iter()
            .filter(|(_, property)| property.get("default").is_some() || property.get("x-stated").is_some())
            .map(|(name, _)| name.clone())
            .collect(),
        _ => return,
    };
    if let Some(Value::Array(required)) = members.get_mut("required") {
        required.retain(|name| !optional.iter().any(|optional| name == optional));
        if required.is_empty() {
            members.remove("required");
        }
    }
}

/// Says in the words of JSON Schema what the walker does by our own keywords.
fn publish(schema: &mut Value) {
    match schema {
        Value::Array(items) => items.iter_mut().for_each(publish),
        Value::Object(members) => {
            members.values_mut().for_each(publish);
            if let Some(Value::Array(pairs)) = members.get("x-either") {
                let never_both: Vec<Value> =
                    pairs.iter().map(|pair| json!({ "not": { "required": pair } })).collect();
                members.insert("allOf".into(), never_both.into());
            }
            // A state alone stands for the whole record.
            if let Some(Value::String(by)) = members.get("x-defaults-by")
                && members.get("required").is_none()
                && let Some(names) = members.get("properties").and_then(|properties| properties.get(by))
            {
                let names = names.clone();
                let record = std::mem::take(members);
                members.extend(record.get("description").map(|about| ("description".into(), about.clone())));
                members.insert("anyOf".into(), json!([names, record]));
            }
        }
        _ => {}
    }
}
