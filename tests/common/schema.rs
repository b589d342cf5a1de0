//! Documents against their schemas.

use serde_json::Value;

/// Where a value does not fit a schema, and why; fields that the schema does not name fit nowhere.
pub fn misfits(value: &Value, schema: &Value) -> Vec<String> {
    let validator = jsonschema::validator_for(schema).expect("a sound schema");
    let unfit = validator.iter_errors(value).map(|error| format!("{}: {error}", error.instance_path()));
    let names = value.as_object().into_iter().flat_map(|members| members.keys());
    let unknown = names.filter(|name| schema["properties"].get(name).is_none());
    unfit.chain(unknown.map(|name| format!("{name} is not in the schema"))).collect()
}
