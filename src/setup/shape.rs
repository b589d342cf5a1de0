//! The schema in the walker's hands: its keywords, the forms a value may have, limits.

use super::tree::{Content, Node};
use crate::quantity::unit::{Measure, Unit};
use serde_json::{Map, Value};
use std::sync::LazyLock;

/// The words of a schema.
pub type Keywords = Map<String, Value>;

/// Limits of a quantity, as the schema writes them.
#[derive(Debug, Clone, Copy, Default)]
pub struct Limits {
    /// Lower limit: `100 mm`.
    pub at_least: Option<&'static str>,
    /// Upper limit.
    pub at_most: Option<&'static str>,
}

impl Limits {
    fn measures(self) -> [Option<Measure>; 2] {
        [self.at_least, self.at_most].map(|limit| Measure::parse(limit?).ok())
    }

    /// Both in `unit`, infinite where there is none.
    pub fn in_unit(self, unit: Unit) -> [f64; 2] {
        let [low, high] = self.measures();
        [low.map_or(f64::NEG_INFINITY, |low| low.to(unit)), high.map_or(f64::INFINITY, |high| high.to(unit))]
    }

    /// Whether a quantity keeps them.
    pub fn hold(self, measure: Measure) -> bool {
        let [low, high] = self.in_unit(measure.unit);
        // A limit is met by the same length written in another unit.
        let slack = 1e-12 * measure.value.abs();
        measure.value >= low - slack && measure.value <= high + slack
    }
}

/// A schema that says nothing.
pub static NOTHING: LazyLock<Keywords> = LazyLock::new(Keywords::new);

/// The keywords of a schema.
pub fn keywords(schema: &'static Value) -> &'static Keywords {
    schema.as_object().unwrap_or(&NOTHING)
}

/// A keyword that is a text.
pub fn text(schema: &'static Keywords, keyword: &str) -> Option<&'static str> {
    schema.get(keyword).and_then(Value::as_str)
}

/// A keyword that is a list of texts.
pub fn texts(schema: &'static Keywords, keyword: &str) -> Vec<&'static str> {
    let items = schema.get(keyword).and_then(Value::as_array).map_or(&[][..], Vec::as_slice);
    items.iter().filter_map(Value::as_str).collect()
}

/// All the forms of a schema that has several, those within others brought to the top.
pub fn forms(schema: &'static Keywords) -> Vec<&'static Keywords> {
    let options =
        ["anyOf", "oneOf"].into_iter().find_map(|keyword| schema.get(keyword).and_then(Value::as_array));
    match options {
        Some(options) => options.iter().flat_map(|option| forms(keywords(option))).collect(),
        None => vec![schema],
    }
}

/// Whether a value could be of this form, by its type alone.
pub fn has_form(node: &Node, form: &'static Keywords) -> bool {
    let expected = text(form, "type").unwrap_or(if form.contains_key("const") { "string" } else { "" });
    match node.content {
        Content::Null => false,
        Content::Flag(_) => expected == "boolean",
        // A number where a quantity is expected lacks its unit, and that is the thing to say.
        Content::Number(..) => ["number", "integer"].contains(&expected) || form.contains_key("x-unit"),
        Content::Text(_) => expected == "string",
        Content::List(_) => expected == "array",
        Content::Record(_) => expected == "object",
    }
}

/// The one member of a form that is an object with exactly one, known by its name.
pub fn tag(form: &'static Keywords) -> Option<(&'static str, &'static Keywords)> {
    let properties = form.get("properties")?.as_object()?;
    let (name, _) = properties.iter().next().filter(|_| properties.len() == 1)?;
    texts(form, "required").contains(&name.as_str()).then_some((name.as_str(), form))
}

/// Whether a record may be written as the name of a state alone.
pub fn is_known_by_name(schema: &Keywords) -> bool {
    schema.contains_key("x-defaults-by") && !schema.contains_key("required")
}

/// Whether a default of this schema is listed as one, rather than member by member.
pub fn is_leaf(schema: &'static Keywords) -> bool {
    let record = |schema: &Keywords| schema.contains_key("properties");
    !record(schema) && !schema.get("items").is_some_and(|items| record(keywords(items)))
}
