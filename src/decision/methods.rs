//! Ways to a plate's flatness held beside each other: the check's own readings and other methods, on the same plates.

use super::wrong_calls::WrongCalls;
use crate::{
    propagation::{
        improvement_gain::Workshop,
        other_methods::{Instruments, Method, other_methods},
        simulation::WayKind,
    },
    quantity::sample::Summary,
    shop::{check::ShopCheck, survey::Effort},
};
use std::error::Error;

/// One way of getting at the flatness, and its error.
#[derive(Debug, Clone, PartialEq)]
pub struct MethodRow {
    /// How the plate is surveyed and read.
    pub what: Surveyed,
    /// What it takes.
    pub effort: Effort,
    /// How many closures it has.
    pub closures: usize,
    /// Its result minus the true flatness, in µm.
    pub error: Summary,
    /// What passes, in µm; `None` without a tolerance, or without a limit of local variation.
    pub limit: Option<f64>,
    /// What comparing the result with that does.
    pub calls: Option<WrongCalls>,
}

/// How a plate is surveyed and read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Surveyed {
    /// The setup's own check, read one way.
    ThisCheck(WayKind),
    /// Another method.
    Otherwise(Method),
}

/// The check's own ways of reading, then other methods, on the plates of a workshop that was drawn with the same seed.
///
/// A flatness is held against `tolerance`, a repeat reading against `local_variation` (both in µm).
///
/// # Errors
///
/// Where the check cannot be simulated.
pub fn methods(
    check: &ShopCheck,
    workshop: &Workshop,
    seed: u64,
    tolerance: Option<f64>,
    local_variation: Option<f64>,
) -> Result<Vec<MethodRow>, Box<dyn Error + Send + Sync>> {
    let own = workshop.results(&[])?;
    let calls = |results: &[f64], limit: Option<f64>| {
        Some(WrongCalls::of(&own.flatness, results, tolerance?, limit?))
    };
    let others = other_methods(check, &Instruments::default(), workshop.n_trials(), seed, &|_| {})?;
    let own_rows = own.ways.iter().map(|(way, results)| {
        let errors: Vec<f64> = results.iter().zip(own.flatness.iter()).map(|(r, f)| r - f).collect();
        MethodRow {
            what: Surveyed::ThisCheck(*way),
            effort: own.effort,
            closures: 0,
            error: Summary::of(&errors, 0.95),
            limit: tolerance,
            calls: calls(results, tolerance),
        }
    });
    let other_rows = others.into_iter().map(|other| {
        let limit = if other.method == Method::RepeatReading { local_variation } else { tolerance };
        MethodRow {
            what: Surveyed::Otherwise(other.method),
            effort: other.effort,
            closures: other.closures,
            calls: calls(&other.results, limit),
            error: other.error,
            limit,
        }
    });
    Ok(own_rows.chain(other_rows).collect())
}
