//! Figures that were assumed, at either end of what is plausible for them.

use super::checked::Setup;
use super::other_wear::{in_state, read_again};
use super::schema::SHAPE;
use super::shape::{Keywords, forms, keywords, text};
use super::tree::Node;
use super::wording::in_words;
use crate::shop::check::ShopCheck;
use serde_json::{Value, json};

/// A figure of a setup that was assumed.
#[derive(Debug, Clone)]
pub struct AssumedRange {
    /// Which field: `cleanliness.film`; `wear` for all that a state of wear stands for.
    pub field: String,
    /// The low and the high end of what is plausible for it, in words: `0.1 µm` (common practice, no source).
    pub range: [String; 2],
    /// What would settle it at the bench.
    pub settled_by: &'static str,
    /// The check with the figure at either end, all else as it is.
    pub checks: [ShopCheck; 2],
}

impl AssumedRange {
    /// Whether it bears on what readings say: not the wear, which a judgement tries state by state, nor the survey, which the
    /// readings tell.
    pub fn bears_on_readings(&self) -> bool {
        self.field != "wear" && !self.field.starts_with("survey.")
    }
}

/// A field for which the schema knows what is plausible.
struct Field {
    /// The records on the way to it, each with what a text in its place stands for, then its name.
    records: Vec<(&'static str, Option<&'static str>)>,
    name: &'static str,
    range: [Value; 2],
    settled_by: &'static str,
}

impl Setup {
    /// Every figure that this setup leaves out and for which the schema knows what is plausible; `text` is the setup's own
    /// text.
    pub fn assumed_ranges(&self, text: &str) -> Vec<AssumedRange> {
        let Ok(tree) = Node::parse(text) else { return Vec::new() };
        let written = tree.canonical();
        let mut fields = Vec::new();
        collect(keywords(&SHAPE), &mut Vec::new(), &mut fields);
        let is_assumed = |field: &Field| self.assumptions.iter().any(|known| known.field == field.path());
        let figures = fields.into_iter().filter(is_assumed).filter_map(|field| {
            let [low, high] = field.range.each_ref().map(|end| {
                let mut other = written.clone();
                field.put(&mut other, end);
                self.with_own_wear(other)
            });
            let range = field.range.each_ref().map(in_short);
            Some(AssumedRange {
                field: field.path(),
                range,
                settled_by: field.settled_by,
                checks: [low?, high?],
            })
        });
        self.states_of_wear(&written).into_iter().chain(figures).collect()
    }

    /// The check of another text, on plates as they are in this one.
    fn with_own_wear(&self, mut other: Value) -> Option<ShopCheck> {
        // A map names a file, which was read once.
        if let Some(record) = other.as_object_mut() {
            record.remove("wear");
        }
        Some(ShopCheck { surface: self.check.surface.clone(), ..read_again(&other)?.check })
    }

    /// The wear, where it is known by the name of a state at most.
    fn states_of_wear(&self, written: &Value) -> Option<AssumedRange> {
        const ENDS: [&str; 2] = ["fresh from lapping", "worn"];
        let by_name = match &written["wear"] {
            Value::Object(members) => members.keys().all(|name| name == "state"),
            _ => true,
        };
        let [low, high] = ENDS.map(|state| in_state(written, state));
        by_name.then_some(AssumedRange {
            field: "wear".into(),
            range: ENDS.map(|state| format!("\"{state}\"")),
            settled_by: "certificates and maps of your own plates",
            checks: [low?.check, high?.check],
        })
    }
}

impl Field {
    fn path(&self) -> String {
        let records = self.records.iter().map(|(name, _)| *name);
        records.chain([self.name]).collect::<Vec<_>>().join(".")
    }

    /// Writes a value for it into a setup.
    fn put(&self, setup: &mut Value, value: &Value) {
        let mut record = setup;
        for (name, known_by) in &self.records {
            record = &mut record[*name];
            *record = match (record.take(), known_by) {
                (Value::String(state), Some(known_by)) => json!({ *known_by: state }),
                (Value::Null, _) => json!({}),
                (written, _) => written,
            };
        }
        record[self.name] = value.clone();
    }
}

/// The fields below a record that the schema knows a plausible range of.
fn collect(
    schema: &'static Keywords,
    records: &mut Vec<(&'static str, Option<&'static str>)>,
    into: &mut Vec<Field>,
) {
    let properties = forms(schema).into_iter().filter_map(|form| form.get("properties").map(keywords));
    for (name, property) in properties.flatten() {
        let property = keywords(property);
        if let (Some([low, high]), Some(settled_by)) = (
            property.get("x-plausible").and_then(Value::as_array).map(Vec::as_slice),
            text(property, "x-settled-by"),
        ) {
            let range = [low.clone(), high.clone()];
            into.push(Field { records: records.clone(), name, range, settled_by });
        }
        records.push((name, text(property, "x-defaults-by")));
        collect(property, records, into);
        records.pop();
    }
}

/// A value, or what of a distribution is apart from one end to the other: `0° to 10°`, `standard deviation 0.2 K`.
fn in_short(value: &Value) -> String {
    let of = |family: &str, figure: &str| value[family][figure].as_str();
    match (of("rectangular", "from"), of("normal", "standard_deviation"), of("lognormal", "median")) {
        (Some(from), ..) => format!("{from} to {}", of("rectangular", "to").unwrap_or_default()),
        (_, Some(s), _) => format!("standard deviation {s}"),
        (_, _, Some(median)) => format!("median {median}"),
        _ => in_words(value),
    }
}
