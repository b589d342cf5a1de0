//! The same plate in another state: how much of an answer is assumption.

use super::checked::Setup;
use super::state::WearState;
use super::tree::Node;
use super::written::Named;
use crate::shop::wear::Surface;
use serde_json::{Value, json};

impl Setup {
    /// The surfaces that each named state of wear stands for on this setup's plate, but for the one that the setup has.
    ///
    /// `text` is the setup's own text.
    pub fn other_wear(&self, text: &str) -> Vec<(&'static str, Surface)> {
        let Ok(tree) = Node::parse(text) else { return Vec::new() };
        let states = WearState::all().into_iter().filter_map(|(name, _)| {
            let mut written: Value = tree.canonical();
            written["wear"] = json!({ "state": name });
            // The rest of the text has been read before; a state names no file.
            let other =
                Self::read(&written.to_string(), &|name| Err(format!("{name} is not needed"))).ok()?;
            Some((name, other.check.surface))
        });
        states.filter(|(_, surface)| *surface != self.check.surface).collect()
    }
}
