//! Reads a tree by the schema: all faults at once, all defaults put in and listed, every quantity in
//! the unit it is computed in.

use super::fault::{Fault, Position, did_you_mean, listing};
use super::kind;
use super::schema::SHAPE;
use super::shape::{
    Keywords, Limits, NOTHING, forms, has_form, is_known_by_name, is_leaf, keywords, tag, text, texts,
};
use super::share::{Share, Wholes};
use super::state;
use super::tree::{Content, Member, Node};
use super::wording::{example, example_beside, in_words, must, with_units};
use crate::quantity::distribution::{Distribution, ParameterError};
use crate::quantity::unit::{Dimension, Measure, ONE, UNITS, Unit};
use crate::shop::grade::Grade;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value, json};

/// A value that was taken because the setup does not say: the field `stand.pad_diameter`, say, as `10 mm`; `[]` in a field
/// stands for every item of a list.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
#[schemars(
    rename = "AssumptionDocument",
    description = "A value that was taken because the setup does not say."
)]
pub struct Assumption {
    /// Which field.
    pub field: String,
    /// What was taken.
    pub value: String,
    /// Why, or where it comes from.
    pub why: String,
}

/// What came of a part of the tree.
#[derive(Debug, Default)]
pub struct Walked {
    /// The part with all defaults in it. A quantity is `{"value", "written"}`, in its schema's unit.
    pub value: Value,
    /// Defaults that were taken, in the order of the fields.
    pub assumptions: Vec<Assumption>,
    /// Everything that is wrong.
    pub faults: Vec<Fault>,
    /// Whether the value holds a share of something that is missing or faulty.
    unsettled: bool,
}

/// Reads a whole file by the shape of its kind.
pub fn walk(tree: &Node, shape: &'static Value) -> Walked {
    let shape = keywords(shape);
    let wholes = Wholes { grade: grade_written(tree), ..Wholes::default() };
    let mut walked = Walker { wholes, shape }.node(tree, shape, &Place::default());
    walked.faults.sort_by_key(|fault| fault.at);
    walked
}

/// The grade that a plate is given, if it is one: shares of another grade go by the same table.
pub(super) fn grade_written(tree: &Node) -> Option<Grade> {
    let member = |node: &Node, name: &str| match &node.content {
        Content::Record(members) => {
            members.iter().find(|member| member.name == name).map(|member| member.node.clone())
        }
        _ => None,
    };
    match member(&member(tree, "plate")?, "grade")?.content {
        Content::Text(written) => Grade::ALL.into_iter().find(|grade| grade.name() == written),
        _ => None,
    }
}

/// Where a field comes in the order of fields, for sorting by.
pub fn field_order(path: &str) -> Vec<usize> {
    steps(path).map(|(index, _)| index).collect()
}

/// What a field of a shop check's setup means, in a sentence or two without what is taken when it is left out: as the
/// published schema describes it. `None` where there is no such field.
pub fn field_meaning(path: &str) -> Option<&'static str> {
    let n_steps = path.split('.').count();
    let (_, schema) = steps(path).nth(n_steps.checked_sub(1)?)?;
    let described = text(schema, "description")?;
    Some(described.split(" Left out:").next().unwrap_or(described))
}

/// The fields along a path: each with its place among its neighbours, and its schema.
fn steps(path: &str) -> impl Iterator<Item = (usize, &'static Keywords)> {
    let mut schema = keywords(&SHAPE);
    path.split('.').map_while(move |step| {
        let name = step.split('[').next().unwrap_or(step);
        let records = forms(schema).into_iter().filter_map(|form| form.get("properties").map(keywords));
        let (index, field) = records.into_iter().find_map(|record| {
            let index = record.keys().position(|key| key == name)?;
            Some((index, keywords(record.get(name)?)))
        })?;
        schema = field;
        if let (true, Some(items)) = (step.contains('['), schema.get("items")) {
            schema = keywords(items);
        }
        Some((index, field))
    })
}

struct Walker {
    /// What shares are taken of. Fields are walked in the order of `written.rs`, where these come
    /// before whatever may be a share of them.
    wholes: Wholes,
    /// Of the whole file.
    shape: &'static Keywords,
}

/// Where the walker is, and what holds there.
#[derive(Debug, Clone, Default)]
struct Place {
    path: String,
    /// Where a fault is shown if the node itself was not written.
    near: Option<Position>,
    /// What a state or class says for this record.
    stated: Option<Value>,
    /// Where that, or an unwritten value, comes from.
    source: String,
    /// Whether this is inside something whose default is already listed.
    listed: bool,
    /// Whether it may be left out.
    optional: bool,
    /// The unit of plain numbers here, as it is written for their record.
    unit: Option<String>,
    limits: Limits,
}

impl Walked {
    fn of(value: Value) -> Self {
        Self { value, ..Self::default() }
    }

    /// Adds what came of a part, but for its value, which is handed back.
    fn take(&mut self, part: Self) -> Value {
        self.assumptions.extend(part.assumptions);
        self.faults.extend(part.faults);
        self.unsettled |= part.unsettled;
        part.value
    }
}

impl Place {
    fn step(&self, step: &str) -> Self {
        let dot = if self.path.is_empty() || step.starts_with('[') { "" } else { "." };
        Self { path: format!("{}{dot}{step}", self.path), stated: None, ..self.clone() }
    }

    fn fault(
        &self,
        at: Option<Position>,
        found: impl Into<String>,
        must: impl Into<String>,
        fix: impl Into<String>,
    ) -> Fault {
        let (found, must, fix) = (found.into(), must.into(), fix.into());
        Fault { field: self.path.clone(), found, must, fix, at: at.or(self.near) }
    }

    fn refuse(&self, node: &Node, must: impl Into<String>, fix: impl Into<String>) -> Walked {
        Walked { faults: vec![self.fault(node.at, node.shown(), must, fix)], ..Walked::default() }
    }
}

impl Place {
    fn limits_of(&self, schema: &'static Keywords) -> Limits {
        Limits {
            at_least: text(schema, "x-at-least").or(self.limits.at_least),
            at_most: text(schema, "x-at-most").or(self.limits.at_most),
        }
    }
}

impl Walker {
    fn node(&mut self, node: &Node, schema: &'static Keywords, place: &Place) -> Walked {
        let mut place = place.clone();
        place.near = node.at.or(place.near);
        if let Some(limit) = text(schema, "x-at-least") {
            place.limits.at_least = Some(limit);
        }
        if let Some(limit) = text(schema, "x-at-most") {
            place.limits.at_most = Some(limit);
        }
        let mut walked = Walked::default();
        if node.at.is_none() && !place.listed && is_leaf(schema) {
            place.listed = true;
            walked.assumptions.push(Assumption {
                field: place.path.clone(),
                value: in_words(&node.canonical()),
                why: place.source.clone(),
            });
        }
        let part = if schema.contains_key("x-uncertain") {
            self.uncertain(node, schema, &place)
        } else if schema.contains_key("anyOf") || schema.contains_key("oneOf") {
            self.one_of(node, schema, &place)
        } else if schema.contains_key("x-unit") {
            self.quantity(node, schema, &place)
        } else if schema.contains_key("x-unit-name") {
            unit_name(node, schema, &place)
        } else if schema.contains_key("x-plain") {
            plain(node, schema, &place)
        } else if schema.contains_key("enum") || schema.contains_key("const") {
            choice(node, &[schema], &place)
        } else {
            match (&node.content, text(schema, "type")) {
                (Content::Record(members), Some("object")) => self.record(node, members, schema, &place),
                (Content::Text(_), Some("object")) if is_known_by_name(schema) => {
                    let member = Member {
                        name: text(schema, "x-defaults-by").unwrap_or_default().into(),
                        at: node.at,
                        node: node.clone(),
                    };
                    self.record(node, &[member], schema, &place)
                }
                (Content::List(items), Some("array")) => self.list(node, items, schema, &place),
                (Content::Text(written), Some("string")) => a_text(node, written, schema, &place),
                (Content::Number(number, _), Some("number" | "integer")) => {
                    a_number(node, *number, schema, &place)
                }
                (Content::Flag(flag), Some("boolean")) => Walked::of((*flag).into()),
                _ => place.refuse(node, must(schema, place.limits), instead(node, schema, &place)),
            }
        };
        walked.value = walked.take(part);
        walked
    }

    fn record(
        &mut self,
        node: &Node,
        members: &[Member],
        schema: &'static Keywords,
        place: &Place,
    ) -> Walked {
        let mut walked = Walked::default();
        let mut read = Map::new();
        let properties = schema.get("properties").map(keywords).unwrap_or(&NOTHING);
        let required: Vec<&str> = texts(schema, "required");
        let given = |name: &str| members.iter().find(|member| member.name == name);
        // What must be there and is there under another name is read as what is meant; its name is a fault of its own.
        let misnamed = |name: &str| {
            let unknown = members.iter().filter(|member| !properties.contains_key(&member.name));
            unknown.into_iter().find(|member| name_meant(member, properties) == Some(name))
        };
        let either: Vec<[&str; 2]> = match schema.get("x-either") {
            Some(Value::Array(pairs)) => pairs
                .iter()
                .filter_map(|pair| Some([pair.get(0)?.as_str()?, pair.get(1)?.as_str()?]))
                .collect(),
            _ => Vec::new(),
        };
        let own_unit = properties.get("unit").is_some_and(|unit| unit.get("x-unit-of-record").is_some());
        let place = &match given("unit").map(|member| &member.node.content) {
            Some(Content::Text(unit)) if own_unit => Place { unit: Some(unit.clone()), ..place.clone() },
            _ => place.clone(),
        };
        let (stated, stated_by) = match text(schema, "x-defaults-by") {
            Some(by) => meaning(by, given(by), properties),
            None => (place.stated.clone().unwrap_or_default(), place.source.clone()),
        };
        for (name, property) in properties {
            let property = keywords(property);
            let mut inner = place.step(name);
            inner.optional = !required.contains(&name.as_str());
            let member = given(name).or_else(|| misnamed(name).filter(|_| !inner.optional));
            let unwritten = if member.is_none() && either.iter().any(|[a, b]| a == name && given(b).is_some())
            {
                None
            } else if let Some(value) = stated.get(name) {
                inner.source.clone_from(&stated_by);
                Some(value)
            } else {
                property.get("default")
            };
            let part = match (member, unwritten) {
                (Some(member), _) => {
                    inner.near = member.at;
                    // Only a record of fields is filled up; a distribution is given whole or not at all.
                    inner.stated = stated.get(name).filter(|_| property.contains_key("properties")).cloned();
                    self.node(&member.node, property, &inner)
                }
                (None, Some(value)) => {
                    if stated.get(name).is_none() {
                        inner.source = text(property, "x-source").unwrap_or_default().into();
                    }
                    self.node(&Node::unwritten(value), property, &inner)
                }
                (None, None) if required.contains(&name.as_str()) => {
                    let beside = members.iter().find_map(|member| match &member.node.content {
                        Content::Text(written) => example_beside(property, written),
                        _ => None,
                    });
                    let fix = format!("add \"{name}\": {}", beside.unwrap_or_else(|| example(property)));
                    walked.faults.push(inner.fault(
                        node.at,
                        "missing",
                        must(property, inner.limits_of(property)),
                        fix,
                    ));
                    continue;
                }
                (None, None) => continue,
            };
            let value = walked.take(part);
            read.insert(name.clone(), value);
        }
        for member in members.iter().filter(|member| !properties.contains_key(&member.name)) {
            walked.faults.push(self.unknown(member, properties, &place.step(&member.name)));
        }
        for [a, b] in either {
            if let (Some(a), Some(b)) = (given(a), given(b)) {
                let fix = format!("keep \"{}\" or \"{}\" and remove the other", a.name, b.name);
                let found = format!("given beside {}", a.name);
                let must = format!("given instead of {}, or not at all", a.name);
                walked.faults.push(place.step(&b.name).fault(b.at, found, must, fix));
            }
        }
        walked.value = read.into();
        walked
    }

    fn list(&mut self, node: &Node, items: &[Node], schema: &'static Keywords, place: &Place) -> Walked {
        let count = |keyword: &str| schema.get(keyword).and_then(Value::as_u64).map(|n| n as usize);
        let (fewest, most) = (count("minItems").unwrap_or(0), count("maxItems").unwrap_or(usize::MAX));
        if !(fewest..=most).contains(&items.len()) {
            let found = format!("a list of {}", items.len());
            let fault =
                place.fault(node.at, found, must(schema, place.limits), format!("write {}", example(schema)));
            return Walked { faults: vec![fault], ..Walked::default() };
        }
        let mut walked = Walked::default();
        let mut read = Vec::new();
        for (index, item) in items.iter().enumerate() {
            let prefixed = schema.get("prefixItems").and_then(|items| items.get(index));
            let Some(item_schema) = prefixed.or_else(|| schema.get("items")) else { continue };
            let step = if item.at.is_some() { format!("[{index}]") } else { "[]".into() };
            let part = self.node(item, keywords(item_schema), &place.step(&step));
            read.push(walked.take(part));
        }
        // Items that nobody wrote are mostly alike.
        if node.at.is_none() && !place.listed {
            let mut kept = vec![Assumption {
                field: place.path.clone(),
                value: format!("{} of them", items.len()),
                why: place.source.clone(),
            }];
            for assumption in walked.assumptions.drain(..) {
                if !kept.contains(&assumption) {
                    kept.push(assumption);
                }
            }
            walked.assumptions = kept;
        }
        walked.value = read.into();
        walked
    }

    /// A value of which the schema knows several forms.
    fn one_of(&mut self, node: &Node, schema: &'static Keywords, place: &Place) -> Walked {
        let forms: Vec<&'static Keywords> =
            forms(schema).into_iter().filter(|form| has_form(node, form)).collect();
        let tags: Vec<(&'static str, &'static Keywords)> =
            forms.iter().filter_map(|form| tag(form)).collect();
        match (&node.content, forms.as_slice()) {
            (_, []) => place.refuse(node, must(schema, place.limits), format!("write {}", example(schema))),
            (Content::Text(_), forms)
                if forms.iter().all(|form| form.contains_key("const") || form.contains_key("enum")) =>
            {
                choice(node, forms, place)
            }
            (Content::Record(members), forms) if forms.len() > 1 && tags.len() == forms.len() => {
                let names = tags.iter().map(|(name, _)| *name);
                let all = || listing(names.clone().map(|name| format!("\"{name}\"")));
                let known = |member: &&Member| tags.iter().find(|(name, _)| *name == member.name);
                match (members.as_slice(), members.iter().find_map(|member| known(&member))) {
                    ([_], Some((_, form))) => self.node(node, form, place),
                    ([member], None) => {
                        let fix = match did_you_mean(&member.name, names.clone()) {
                            Some(name) => format!("write \"{name}\""),
                            None => format!("write one of these names in place of \"{}\"", member.name),
                        };
                        let place = place.step(&member.name);
                        let fault = place.fault(member.at, "not known", format!("one of {}", all()), fix);
                        Walked { faults: vec![fault], ..Walked::default() }
                    }
                    _ => {
                        let found = format!("an object with {} members", members.len());
                        let must = format!("an object with exactly one member, one of {}", all());
                        let fault = place.fault(node.at, found, must, format!("write {}", example(schema)));
                        Walked { faults: vec![fault], ..Walked::default() }
                    }
                }
            }
            (_, forms) => {
                let tries = forms.iter().map(|form| self.node(node, form, place));
                // The first of those with the fewest faults is most likely what was meant.
                tries.min_by_key(|walked| walked.faults.len()).unwrap_or_default()
            }
        }
    }

    fn uncertain(&mut self, node: &Node, schema: &'static Keywords, place: &Place) -> Walked {
        let inner = Place { limits: Limits::default(), ..place.clone() };
        let mut walked = self.one_of(node, schema, &inner);
        if !walked.faults.is_empty() || walked.unsettled {
            return walked;
        }
        let fault = match kind::distribution(&walked.value) {
            None => place.fault(
                node.at,
                node.shown(),
                must(schema, place.limits),
                format!("write {}", example(schema)),
            ),
            Some(Err(error)) => parameter_fault(node, error, place),
            Some(Ok(distribution)) => {
                let unit = forms(schema).iter().find_map(|form| text(form, "x-unit")).unwrap_or_default();
                match self.beyond(&distribution, unit, place.limits) {
                    None => return walked,
                    Some(found) => {
                        let found = match node.content {
                            Content::Text(_) => node.shown(),
                            _ => format!("{} ({found})", node.shown()),
                        };
                        place.fault(
                            node.at,
                            found,
                            must(schema, place.limits),
                            out_of_limits(unit, "check the numbers and their units"),
                        )
                    }
                }
            }
        };
        walked.faults.push(fault);
        walked
    }

    /// What about a distribution is beyond the limits of its quantity, if anything is.
    fn beyond(&self, distribution: &Distribution, unit: &str, limits: Limits) -> Option<String> {
        let unit = Unit::parse(unit).ok()?;
        let estimate = Measure { value: distribution.mean(), unit };
        if !limits.hold(estimate) {
            return Some(format!("estimate {estimate}"));
        }
        let [low, high] = limits.in_unit(unit);
        let standard_uncertainty = distribution.standard_uncertainty();
        let wide = standard_uncertainty > high - low || !standard_uncertainty.is_finite();
        wide.then(|| format!("standard uncertainty {}", Measure { value: standard_uncertainty, unit }))
    }

    fn quantity(&mut self, node: &Node, schema: &'static Keywords, place: &Place) -> Walked {
        let must = || must(schema, place.limits);
        let unit = text(schema, "x-unit").map(Unit::parse);
        let Some(Ok(unit)) = unit else { return place.refuse(node, must(), "") };
        let written = match &node.content {
            Content::Text(written) => written,
            Content::Number(_, digits) => return place.refuse(node, must(), with_units(digits, schema)),
            _ => return place.refuse(node, must(), format!("write {}", example(schema))),
        };
        let read = |value: f64| Walked::of(json!({ "value": value, "written": written }));
        let measure = match Share::parse(written) {
            Some((_, share)) if !texts(schema, "x-shares").contains(&share.words()[0]) => {
                return place.refuse(node, must(), format!("write {}", example(schema)));
            }
            Some((number, share)) => match self.wholes.of(share) {
                Some(whole) => Measure { value: number * whole.value, unit: whole.unit },
                // That has been said where the whole is missing or faulty.
                None => return Walked { unsettled: true, ..Walked::default() },
            },
            None => match Measure::parse_as(written, unit.dimension()) {
                Ok(measure) => measure,
                Err(error) => {
                    let share =
                        texts(schema, "x-shares").first().map(|share| format!("{} {share}", written.trim()));
                    let fix = match (Measure::parse(written), share) {
                        // "1/5" is a number, but where a share may stand it is half of one.
                        (_, Some(share)) if written.contains('/') && Share::parse(&share).is_some() => {
                            format!("write \"{share}\"")
                        }
                        (Ok(number), _) if number.unit == ONE => with_units(written.trim(), schema),
                        (Err(error), _) if error.must == "a known unit" && error.fix.contains("one of") => {
                            let known = UNITS.iter().filter(|known| known.dimension() == unit.dimension());
                            format!("write one of the units {}", listing(known))
                        }
                        _ => error.fix,
                    };
                    return place.refuse(node, must(), fix);
                }
            },
        };
        let value = measure.to(unit);
        if !place.limits.hold(measure) || !value.is_finite() {
            let mut found = node.shown();
            if Share::parse(written).is_some() {
                found = format!("{found} ({})", Measure { value, unit });
            }
            let fix =
                out_of_limits(text(schema, "x-unit").unwrap_or_default(), "check the number and its unit");
            let fault = place.fault(node.at, found, must(), fix);
            return Walked { faults: vec![fault], ..Walked::default() };
        }
        match text(schema, "x-whole") {
            Some("graduation") => self.wholes.graduation = Some(measure),
            Some("length") => self.wholes.length = Some(measure),
            Some("width") => self.wholes.width = Some(measure),
            _ => {}
        }
        read(value)
    }

    fn unknown(&self, member: &Member, properties: &'static Keywords, place: &Place) -> Fault {
        let path = elsewhere(&member.name, self.shape, "");
        let fix = match (also_called(member, properties), path, name_meant(member, properties)) {
            (Some(name), ..) | (None, None, Some(name)) => format!("write \"{name}\""),
            (None, Some(path), _) => format!("write it as {path}"),
            (None, None, None) => "remove it".into(),
        };
        place.fault(member.at, "an unknown field", format!("one of {}", listing(names(properties))), fix)
    }
}

/// The names of a record's fields.
fn names(properties: &'static Keywords) -> impl Iterator<Item = &'static str> {
    properties.keys().map(String::as_str).filter(|name| !name.starts_with('$'))
}

/// The field that goes by this name elsewhere.
fn also_called(member: &Member, properties: &'static Keywords) -> Option<&'static str> {
    let called = |(_, schema): &(&String, &'static Value)| {
        texts(keywords(schema), "x-also-called").contains(&member.name.as_str())
    };
    properties.iter().find(called).map(|(name, _)| name.as_str())
}

/// The field that is most likely meant by an unknown one.
fn name_meant(member: &Member, properties: &'static Keywords) -> Option<&'static str> {
    also_called(member, properties).or_else(|| did_you_mean(&member.name, names(properties)))
}

/// What a state or class says for the other members of its record, and whose word that is.
fn meaning(by: &str, member: Option<&Member>, properties: &'static Keywords) -> (Value, String) {
    let written = match member.map(|member| &member.node.content) {
        Some(Content::Text(name)) => Some(name.as_str()),
        _ => None,
    };
    let default = properties.get(by).and_then(|schema| text(keywords(schema), "default"));
    // An unknown name is a fault already; what the others would be is no second one.
    let known = [written, default].into_iter().flatten().find_map(|name| Some((name, state::meaning(name)?)));
    known.map_or_else(Default::default, |(name, (value, source))| {
        (value, format!("{by} \"{name}\": {source}"))
    })
}

/// What to do about a number that is out of limits.
fn out_of_limits(unit: &str, otherwise: &'static str) -> &'static str {
    match Unit::parse(unit).map(Unit::dimension) {
        Ok(Dimension::TemperatureDifference) => {
            "write the difference of two temperatures, such as \"0.2 K\", not a temperature"
        }
        _ => otherwise,
    }
}

/// Where in the file there is a field of this name.
fn elsewhere(name: &str, schema: &'static Keywords, path: &str) -> Option<String> {
    let properties = keywords(schema.get("properties")?);
    let path_of = |field: &str| if path.is_empty() { field.to_owned() } else { format!("{path}.{field}") };
    if properties.contains_key(name) {
        return Some(path_of(name));
    }
    properties.iter().find_map(|(field, schema)| elsewhere(name, keywords(schema), &path_of(field)))
}

fn choice(node: &Node, forms: &[&'static Keywords], place: &Place) -> Walked {
    let names = || {
        forms.iter().flat_map(|form| {
            let one = form.get("const").into_iter();
            let many = form.get("enum").and_then(Value::as_array).into_iter().flatten();
            one.chain(many).filter_map(Value::as_str)
        })
    };
    let must = format!("one of {}", listing(names().map(|name| format!("\"{name}\""))));
    match &node.content {
        Content::Text(written) if names().any(|name| name == written) => Walked::of(written.as_str().into()),
        Content::Text(written) => {
            let fix = match did_you_mean(written, names()) {
                Some(name) => format!("write \"{name}\""),
                None => "write one of these".into(),
            };
            place.refuse(node, must, fix)
        }
        _ => place.refuse(node, must, format!("write \"{}\"", names().next().unwrap_or_default())),
    }
}

fn plain(node: &Node, schema: &'static Keywords, place: &Place) -> Walked {
    let refuse = |fix: String| place.refuse(node, must(schema, place.limits), fix);
    let (value, written) = match &node.content {
        Content::Number(number, digits) => (*number, digits),
        Content::Text(written) => match in_unit_of_record(written, place.unit.as_deref(), schema) {
            Ok(value) => (value, written),
            Err(fix) => return refuse(fix),
        },
        _ => return refuse(instead(node, schema, place)),
    };
    if !keeps_limits(value, schema) {
        return refuse(format!("write {}", example(schema)));
    }
    Walked::of(json!({ "value": value, "written": written }))
}

/// A text with a unit as a number in the unit that is written for its record, or what to write instead.
fn in_unit_of_record(written: &str, unit: Option<&str>, schema: &Keywords) -> Result<f64, String> {
    let unit = unit.map(str::trim).filter(|unit| !["", "1"].contains(unit));
    let measure = Measure::parse(written);
    let Some(unit) = unit else {
        return match measure {
            Ok(Measure { value, unit: ONE }) => Ok(value),
            Ok(measure) => {
                Err(format!("add \"unit\": \"{}\" beside it, or write the number alone", measure.unit))
            }
            Err(error) => Err(error.fix),
        };
    };
    // In the very words of a unit that we need not know.
    let alone = written.trim().strip_suffix(unit).map(str::trim_end);
    if let Some(Ok(Measure { value, unit: ONE })) = alone.map(Measure::parse) {
        return Ok(value);
    }
    let measure = measure.map_err(|_| format!("write a number, or one with its unit: \"1 {unit}\""))?;
    if measure.unit == ONE {
        return Err(format!(
            "write the number without quotes, or with its unit: \"{} {unit}\"",
            written.trim()
        ));
    }
    match Unit::parse(unit) {
        // A temperature and a difference of temperatures are converted differently, and either may be meant.
        Ok(known)
            if known.dimension() == measure.unit.dimension()
                && (schema.contains_key("x-difference") || known.shares_zero(measure.unit)) =>
        {
            Ok(measure.to(known))
        }
        _ => Err(format!("write it in {unit}, the unit of this input")),
    }
}

/// What to write in place of something that is of the wrong kind.
fn instead(node: &Node, schema: &'static Keywords, place: &Place) -> String {
    const WITHOUT_END: [&str; 5] = ["inf", "infinite", "infinity", "∞", "none"];
    let without_end = matches!(&node.content,
        Content::Text(written) if WITHOUT_END.contains(&written.trim().to_lowercase().as_str()));
    let nothing = matches!(node.content, Content::Null);
    if let Some(number) = number_in_quotes(node).filter(|&number| is_number_of(number, schema)) {
        return format!("write {number} without quotes");
    }
    if let Some(number) = number_with_unit(node).filter(|&number| is_number_of(number, schema)) {
        return format!("write the number alone: {number}");
    }
    match text(schema, "x-left-out") {
        Some(taken) if nothing || without_end => format!("leave it out for {taken}"),
        _ if nothing && place.optional => format!("leave it out, or write {}", example(schema)),
        _ => format!("write {}", example(schema)),
    }
}

/// The number of a text that is nothing but one, or one in percent.
fn number_in_quotes(node: &Node) -> Option<f64> {
    let Content::Text(written) = &node.content else { return None };
    match written.trim().strip_suffix('%') {
        // As it is typed, not in all its bits.
        Some(percent) => format!("{}e-2", percent.trim_end()).parse().ok(),
        None => written.trim().parse().ok(),
    }
}

/// The number of a text that is one with a unit.
fn number_with_unit(node: &Node) -> Option<f64> {
    let Content::Text(written) = &node.content else { return None };
    Measure::parse(written).ok().map(|measure| measure.value)
}

fn unit_name(node: &Node, schema: &'static Keywords, place: &Place) -> Walked {
    let Some(Ok(unit)) = text(schema, "x-unit-name").map(Unit::parse) else {
        return place.refuse(node, "a unit", "");
    };
    let Content::Text(written) = &node.content else {
        return place.refuse(node, must(schema, place.limits), format!("write {}", example(schema)));
    };
    match Unit::parse(written) {
        Ok(given) if given.dimension() == unit.dimension() => {
            let value = Measure { value: 1.0, unit: given }.to(unit);
            Walked::of(json!({ "value": value, "written": written }))
        }
        _ => place.refuse(node, must(schema, place.limits), format!("write {}", example(schema))),
    }
}

fn a_text(node: &Node, written: &str, schema: &'static Keywords, place: &Place) -> Walked {
    let count = |keyword: &str| schema.get(keyword).and_then(Value::as_u64).map(|n| n as usize);
    let length = written.chars().count();
    if count("minLength").is_some_and(|fewest| length < fewest)
        || count("maxLength").is_some_and(|most| length > most)
    {
        let fix = match count("maxLength") {
            Some(most) if length > most => format!("shorten its {length} characters to {most} or fewer"),
            _ => "write a name of ordinary length".to_owned(),
        };
        return place.refuse(node, must(schema, place.limits), fix);
    }
    Walked::of(written.into())
}

fn a_number(node: &Node, number: f64, schema: &'static Keywords, place: &Place) -> Walked {
    if !is_number_of(number, schema) {
        return place.refuse(node, must(schema, place.limits), format!("write {}", example(schema)));
    }
    let whole = text(schema, "type") == Some("integer");
    Walked::of(if whole { (number as i64).into() } else { number.into() })
}

/// Whether a schema asks for a number, and takes this one.
fn is_number_of(number: f64, schema: &'static Keywords) -> bool {
    match text(schema, "type") {
        Some("number") => keeps_limits(number, schema),
        Some("integer") => keeps_limits(number, schema) && number.fract() == 0.0 && number.abs() < 1e15,
        _ => false,
    }
}

fn keeps_limits(number: f64, schema: &'static Keywords) -> bool {
    let limit = |keyword: &str| schema.get(keyword).and_then(Value::as_f64);
    number.is_finite()
        && limit("minimum").is_none_or(|low| number >= low)
        && limit("exclusiveMinimum").is_none_or(|low| number > low)
        && limit("maximum").is_none_or(|high| number <= high)
}

fn parameter_fault(node: &Node, error: ParameterError, place: &Place) -> Fault {
    // The engine's names for parameters, and numbers in its units, mean nothing to whoever wrote the file.
    let (must, fix) = match error.parameter {
        "low" | "high" => (
            "limits of which the first is below the second".to_owned(),
            "write the smaller limit first, or a single value for a quantity that is known",
        ),
        "inexactness" => (
            "limits_within from 0 to less than half of what lies between the limits".to_owned(),
            "write how far off either limit may be",
        ),
        parameter => {
            (format!("a distribution with its {} {}", parameter.replace('_', " "), error.must), error.fix)
        }
    };
    place.fault(node.at, node.shown(), must, fix)
}
