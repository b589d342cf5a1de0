//! A survey planned anew: where to put stand and block, and what that leaves open beside the check's own survey.

use crate::{
    propagation::{
        placement_choice::{Expected, Unread, choose_placements, placements_to_choose_from},
        posterior::CannotJudge,
    },
    shop::{check::ShopCheck, survey::Plan},
};

/// Most readings that are planned where it is not said how many.
const MOST_PLANNED: usize = 24;

/// A planned survey.
#[derive(Debug, Clone)]
pub struct Placements {
    /// How many placed readings there were to choose from.
    pub n_candidates: usize,
    /// How many readings were asked for, zeros and closing readings not counted.
    pub n_readings: usize,
    /// What is known of the flatness before anything is read.
    pub before: Expected,
    /// What the check's own survey leaves open; `None` where that cannot be computed.
    pub own: Option<Expected>,
    /// What the planned one leaves open.
    pub chosen: Expected,
}

/// Chooses placements for so many readings (as many as the check's own survey has, at most 24, where not said) on a grid of `step` mm.
///
/// What they leave open is that of the check that `as_written` makes of the plan: where places are told to a person, they
/// are rounded. `None` where this stand has no placement on this plate, or the plan cannot be written.
///
/// # Errors
///
/// Where the check cannot be judged at all.
pub fn placements<Written>(
    check: &ShopCheck,
    plan: &Plan,
    n_readings: Option<usize>,
    step: f64,
    seed: u64,
    as_written: impl FnOnce(&Plan) -> Option<(ShopCheck, Written)>,
) -> Result<Option<(Placements, Written)>, CannotJudge> {
    let n_readings = n_readings.unwrap_or_else(|| check.survey.compared().count().clamp(1, MOST_PLANNED));
    let candidates = placements_to_choose_from(check, plan, step);
    let unread = Unread::new(check, seed)?;
    let found = || {
        let plan = choose_placements(check, plan, &unread, &candidates, n_readings)?;
        let (placed, written) = as_written(&plan)?;
        let placements = Placements {
            n_candidates: candidates.iter().map(|candidate| candidate.station.targets.len() - 1).sum(),
            n_readings,
            before: unread.before(),
            own: unread.after(check),
            chosen: unread.after(&placed)?,
        };
        Some((placements, written))
    };
    Ok(found())
}
