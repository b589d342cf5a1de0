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
        let written = tree.canonical();
        let states = WearState::all().into_iter();
        let surfaces = states.filter_map(|(name, _)| Some((name, in_state(&written, name)?.check.surface)));
        surfaces.filter(|(_, surface)| *surface != self.check.surface).collect()
    }
}

/// A setup with its plate in a state of wear.
pub(super) fn in_state(written: &Value, state: &str) -> Option<Setup> {
    let mut other = written.clone();
    other["wear"] = json!({ "state": state });
    read_again(&other)
}

/// A setup whose text has been read before, but for a figure; none of it names a file any more.
pub(super) fn read_again(written: &Value) -> Option<Setup> {
    Setup::read(&written.to_string(), &|name| Err(format!("{name} is not needed"))).ok()
}
