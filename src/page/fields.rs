//! Every field of a setup, from the schema that files are read by.

use crate::setup::{QUESTIONS, schema};
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

/// What can be filled in.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct FieldsAnswer {
    /// What is asked first, in order.
    pub questions: Vec<Asked>,
    /// All fields, in the order of the schema.
    pub fields: Vec<Field>,
    /// The program's version.
    pub version: &'static str,
}

/// A question that is asked first.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Asked {
    /// The field that its answer fills.
    pub path: String,
    /// The question.
    pub asks: String,
    /// What holds where nothing is answered; nothing for what has to be known.
    pub usual: Option<&'static str>,
}

/// A field.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Field {
    /// Its path: `stand.feet.front_apart`.
    pub path: String,
    /// What it means.
    pub means: String,
    /// What holds where it is left out.
    pub default: Option<String>,
    /// Where that comes from.
    pub source: Option<String>,
    /// An example of its unit: a unit that a value can have.
    pub unit: Option<String>,
    /// The least and the most it may be.
    pub range: [Option<String>; 2],
    /// What it may be, where only some words will do.
    pub choices: Vec<String>,
    /// Whether it takes a distribution too.
    pub uncertain: bool,
    /// Whether it is a list or a record, typed as JSON.
    pub is_list: bool,
}

/// All fields.
pub fn fields() -> FieldsAnswer {
    let schema = schema();
    let mut fields = Vec::new();
    gather(&schema, &schema, "", &mut fields);
    let questions = QUESTIONS.iter().map(|q| Asked { path: q.path(), asks: q.asks.into(), usual: q.usual });
    FieldsAnswer { questions: questions.collect(), fields, version: crate::VERSION }
}

/// A schema with what it refers to; what stands beside the reference counts before that.
fn resolved(of: &Value, root: &Value) -> Value {
    let mut all = of.clone();
    let mut next = of["$ref"].as_str().map(str::to_string);
    while let Some(reference) = next {
        let Some(target) = reference.strip_prefix('#').and_then(|pointer| root.pointer(pointer)) else {
            break;
        };
        next = target["$ref"].as_str().map(str::to_string);
        if let (Some(all), Some(target)) = (all.as_object_mut(), target.as_object()) {
            for (keyword, value) in target {
                all.entry(keyword).or_insert_with(|| value.clone());
            }
        }
    }
    all
}

/// The record that a schema describes, be it alone or beside a word that stands for it.
fn record(of: &Value, root: &Value) -> Option<Value> {
    if of["properties"].is_object() {
        return Some(of.clone());
    }
    if of["x-unit"].is_string() || of["x-uncertain"].as_bool() == Some(true) {
        return None;
    }
    let options = of["anyOf"].as_array()?;
    let known = |option: &Value| resolved(option, root);
    // A word, or places, that may stand for a record whose members are fields of their own.
    let stands_for =
        options.len() == 2 && options.iter().map(known).any(|o| o["enum"].is_array() || o["type"] == "array");
    options.iter().map(known).find(|option| stands_for && option["properties"].is_object())
}

fn gather(of: &Value, root: &Value, path: &str, fields: &mut Vec<Field>) {
    let of = resolved(of, root);
    let record =
        record(&of, root).filter(|record| record["properties"].as_object().is_none_or(|p| p.len() != 1));
    let Some(members) = record.as_ref().and_then(|record| record["properties"].as_object()) else {
        fields.push(field(&of, root, path));
        return;
    };
    for (name, member) in members.iter().filter(|(name, _)| *name != "$schema") {
        let path = if path.is_empty() { name.clone() } else { format!("{path}.{name}") };
        gather(member, root, &path, fields);
    }
}

fn field(of: &Value, root: &Value, path: &str) -> Field {
    let text = |keyword: &str| of[keyword].as_str().map(str::to_string);
    let options: Vec<Value> =
        of["anyOf"].as_array().into_iter().flatten().map(|option| resolved(option, root)).collect();
    let choices =
        std::iter::once(of).chain(&options).filter_map(|option| option["enum"].as_array()).flatten();
    let limit =
        |own: &str, plain: &str| text(own).or_else(|| of[plain].as_f64().map(|limit| limit.to_string()));
    Field {
        path: path.to_string(),
        means: text("description").unwrap_or_default().replace('\n', " "),
        default: of.get("default").map(written),
        source: text("x-source"),
        unit: text("x-unit")
            .or_else(|| options.iter().find_map(|o| o["x-unit"].as_str().map(str::to_string))),
        range: [limit("x-at-least", "minimum"), limit("x-at-most", "maximum")],
        choices: choices.filter_map(Value::as_str).map(str::to_string).collect(),
        uncertain: of["x-uncertain"].as_bool() == Some(true),
        is_list: of["type"] == "array" || of["type"] == "object",
    }
}

/// A value as it is typed: texts without their quotes.
fn written(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}
