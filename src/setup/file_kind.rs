//! What kind of file a text is: a setup of a shop check, or a formula model.

use super::fault::{Fault, Faults, Position};
use super::tree::{Content, Node};

/// A kind of file that a user writes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FileKind {
    /// A shop check: a [`Setup`](super::Setup).
    ShopCheck,
    /// A formula model: a [`MeasurementSetup`](super::MeasurementSetup).
    FormulaModel,
}

/// Fields that only one kind of file has, each kind's first ones being those it cannot do without.
const SHOP_CHECK: [&str; 8] =
    ["plate", "stand", "indicator", "wear", "gauge_block", "temperature", "cleanliness", "survey"];
const FORMULA_MODEL: [&str; 4] = ["measurands", "inputs", "correlations", "simultaneous"];

impl FileKind {
    /// Tells the kind of a file by the names of its fields.
    ///
    /// # Errors
    ///
    /// A text that is no JSON, or has the fields of neither kind or of both.
    pub fn of(text: &str) -> Result<Self, Faults> {
        let tree = Node::parse(text)?;
        let has = |names: &[&str]| match &tree.content {
            Content::Record(members) => {
                members.iter().filter(|member| names.contains(&member.name.as_str())).count()
            }
            _ => 0,
        };
        match (has(&SHOP_CHECK), has(&FORMULA_MODEL)) {
            (1.., 0) => Ok(Self::ShopCheck),
            (0, 1..) => Ok(Self::FormulaModel),
            (0, 0) => Err(unclear(tree.at, "neither the one nor the other")),
            _ => Err(unclear(tree.at, "both at once")),
        }
    }
}

fn unclear(at: Option<Position>, found: &str) -> Faults {
    Faults(vec![Fault {
        field: "the file".into(),
        found: found.into(),
        must: "a shop check, with plate, stand and indicator, or a formula model, with measurands and inputs"
            .into(),
        fix: "compare it with the output of `howflat schema setup` and `howflat schema model`".into(),
        at,
    }])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_kind_is_told_by_its_fields() {
        assert_eq!(FileKind::of(r#"{"title": "a", "plate": 1}"#), Ok(FileKind::ShopCheck));
        assert_eq!(FileKind::of(r#"{"inputs": []}"#), Ok(FileKind::FormulaModel));
        for (text, found) in [
            (r#"{"title": "a"}"#, "neither the one nor the other"),
            ("[1]", "neither the one nor the other"),
            (r#"{"inputs": [], "stand": {}}"#, "both at once"),
        ] {
            assert_eq!(FileKind::of(text).unwrap_err()[0].found, found);
        }
        assert!(FileKind::of("{").is_err());
    }
}
