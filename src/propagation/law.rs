//! The law of propagation of uncertainty: the budget of a measurand.

use crate::model::formula::{Expansion, FormulaError};
use crate::model::measurement::{MeasurementModel, correlated_groups};
use crate::propagation::region::CoverageRegions;
use crate::quantity::correlation::Correlation;
use crate::quantity::distribution::Distribution;
use crate::quantity::student::t_quantile;
use schemars::JsonSchema;
use serde::{Serialize, Serializer};
use std::{collections::BTreeMap, fmt};

/// How far the Taylor series of the formula is followed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// The linear terms (GUM 5.1.2, eq. 10; 5.2.2, eq. 13).
    First,
    /// Also the next higher ones, for independent inputs (GUM 5.1.2, note).
    Second,
}

/// What the law of propagation says of all measurands of a model.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearResult {
    /// One budget a measurand.
    pub budgets: Vec<Budget>,
    /// Covariances of the measurands, `U_y = C U_x Cᵀ` (JCGM 102:2011, 6.2); each in the product of their units.
    pub covariance: Vec<Vec<f64>>,
    /// Correlation coefficients of the measurands; 0 with one whose standard uncertainty is 0.
    pub correlation: Vec<Vec<f64>>,
    /// Joint coverage regions, if there are several measurands: both as for normal ones (JCGM 102 6.5), the elliptical
    /// one by the chi-squared distribution, the rectangular one by Bonferroni's inequality.
    pub regions: Option<CoverageRegions>,
}

/// The budget of one measurand (GUM clause 5, and annex G for its coverage factor `k_p`, the quantile of t: G.3.2); what
/// rests on derivatives is not a number where the law does not apply. `u_c(y)` and `U_p = k_p u_c(y)` are those of the first order.
///
/// `ν_eff` is by the Welch-Satterthwaite formula (G.4.1), not rounded; infinite if all inputs' are. The formula itself makes no
/// provision for correlated inputs. Ours is the same approximation carried through with the
/// correlation taken as known: each `u(x_i)` scatters by itself, `s²(u_i) = u_i²/2ν_i`, and `∂u_c²/∂u_i = 2 p_i/u_i` with
/// `p_i = Σ_j c_i c_j u(x_i, x_j)`, so that `ν_eff = u_c⁴ / Σ p_i²/ν_i`, which is the formula where nothing is
/// correlated. Inputs that were evaluated together, from one set of readings, share one scatter and enter as one, with the
/// sum of their `p_i`: for them it is exact.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Budget {
    /// What is measured.
    pub measurand: String,
    /// Unit of the measurand.
    pub unit: String,
    /// Its inputs.
    pub inputs: Vec<BudgetRow>,
    /// The estimate of the measurand.
    pub estimate: f64,
    /// The combined standard uncertainty; null where the law of propagation does not apply, and so are the others below.
    #[schemars(with = "Option<f64>")]
    pub combined_standard_uncertainty: f64,
    /// Effective degrees of freedom (Welch-Satterthwaite); null where they are infinite.
    #[schemars(with = "Option<f64>")]
    pub effective_degrees_of_freedom: f64,
    /// Coverage probability of the expanded uncertainty.
    pub coverage_probability: f64,
    /// The degrees of freedom of the coverage factor: `ν_eff` truncated to the next lower whole number, as the GUM does in
    /// its examples (G.4.1, note 1, permits it), so that k is never too small; not truncated below 1.
    #[serde(skip)]
    pub coverage_degrees_of_freedom: f64,
    /// The coverage factor.
    #[schemars(with = "Option<f64>")]
    pub coverage_factor: f64,
    /// The expanded uncertainty.
    #[schemars(with = "Option<f64>")]
    pub expanded_uncertainty: f64,
    /// The same with the higher-order terms, if asked for.
    #[serde(skip)]
    pub second_order: Option<SecondOrder>,
    /// What the higher-order terms would add to `u_c²(y)`, where they were not asked for and can be had; in the square of
    /// the measurand's unit.
    #[serde(skip)]
    pub neglected_variance: Option<f64>,
    /// Why the law does not apply, if it does not.
    #[serde(skip)]
    pub no_law: Option<LawError>,
}

/// One input in a budget. `c_i = ∂f/∂x_i` is 0 for an input that is exactly known; its contribution is `u_i(y) = |c_i| u(x_i)`,
/// and its share `Σ_j c_i c_j u(x_i, x_j) / u_c²(y)`: shares add up to 1, and correlation can make one negative.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[schemars(rename = "BudgetRowDocument", description = "One input of a budget.")]
pub struct BudgetRow {
    /// The input quantity.
    pub name: String,
    /// Unit of the estimate and of the standard uncertainty.
    pub unit: String,
    /// The estimate.
    pub estimate: f64,
    /// The standard uncertainty.
    pub standard_uncertainty: f64,
    /// The distribution.
    pub distribution: String,
    /// Its limits or other parameters, by the names that files have for them, in the unit of the estimate; left out
    /// where it is none of the usual ones.
    #[serde(rename = "parameters", skip_serializing_if = "Option::is_none", serialize_with = "parameters")]
    #[schemars(with = "Option<BTreeMap<String, f64>>")]
    pub density: Option<Distribution>,
    /// Degrees of freedom; null where they are infinite.
    #[schemars(with = "Option<f64>")]
    pub degrees_of_freedom: f64,
    /// The sensitivity coefficient, in the measurand's unit per the input's; null where the law does not apply.
    #[schemars(with = "Option<f64>")]
    pub sensitivity: f64,
    /// The contribution to the combined standard uncertainty.
    #[schemars(with = "Option<f64>")]
    pub contribution: f64,
    /// The share in the combined variance.
    #[schemars(with = "Option<f64>")]
    pub share: f64,
}

fn parameters<S: Serializer>(density: &Option<Distribution>, serializer: S) -> Result<S::Ok, S::Error> {
    let named = density.iter().flat_map(|density| density.parameters());
    named.collect::<BTreeMap<_, _>>().serialize(serializer)
}

/// One input of a linear measurand.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearInput {
    /// Its name.
    pub name: String,
    /// The unit of its estimate and standard uncertainty.
    pub unit: String,
    /// The estimate `x_i`.
    pub estimate: f64,
    /// `u(x_i)`.
    pub standard_uncertainty: f64,
    /// What its density is called.
    pub distribution: String,
    /// The density itself, if it is one of the usual ones.
    pub density: Option<Distribution>,
    /// Of `u(x_i)`.
    pub degrees_of_freedom: f64,
    /// `c_i`, in the measurand's unit per the input's.
    pub sensitivity: f64,
}

/// What the terms of the next higher order add. For two inputs, as in GUM 5.1.2, note: `Σ_i Σ_j (½ f_ij² + f_i f_ijj)
/// u²(x_i) u²(x_j)`, i ≠ j. Like the note, it takes the inputs as independent.
///
/// For the terms with i = j the note takes the inputs as normal. Here each has its own skewness γ and kurtosis β: `f_i f_ii γ
/// u³ + ¼ f_ii² (β − 1) u⁴ + ⅓ f_i f_iii β u⁴`, the variance of the Taylor series of third degree up to `u⁴`. With γ = 0
/// and β = 3 these are the note's.
#[derive(Debug, Clone, PartialEq)]
pub struct SecondOrder {
    /// The terms that are not 0, one a pair of inputs.
    pub terms: Vec<SecondOrderTerm>,
    /// `u_c(y)` with them.
    pub combined_standard_uncertainty: f64,
    /// `k_p` times that; `k_p` is that of the first order.
    pub expanded_uncertainty: f64,
    /// By how much the expectation of Y lies above the estimate, `½ Σ f_ii u²(x_i)` (compare GUM F.2.4.4). The estimate
    /// is not corrected by it.
    pub expectation_shift: f64,
}

/// One pair of inputs in the higher-order terms.
#[derive(Debug, Clone, PartialEq)]
pub struct SecondOrderTerm {
    /// An input.
    pub first: String,
    /// Another one, or the same.
    pub second: String,
    /// What the pair adds to `u_c²(y)`, in the square of the measurand's unit; may be negative.
    pub variance: f64,
}

/// Why the law of propagation does not apply to a measurand.
#[derive(Debug, Clone, PartialEq)]
pub enum LawError {
    /// The formula or a derivative has no value at the estimates.
    Formula {
        /// Which measurand's, by name.
        measurand: String,
        /// Where and why.
        error: FormulaError,
    },
    /// The higher-order terms are known for independent inputs only.
    CorrelatedSecondOrder,
    /// The higher-order terms make the variance negative: the series does not converge over the inputs' uncertainties.
    NegativeVariance {
        /// Of which measurand.
        measurand: String,
    },
}

impl LinearResult {
    /// Propagates what is known of the inputs to each measurand of the model.
    ///
    /// `coverage_probability` lies between 0 and 1.
    ///
    /// # Errors
    ///
    /// See [`LawError`]; Monte Carlo may still apply.
    pub fn of(model: &MeasurementModel, coverage_probability: f64, order: Order) -> Result<Self, LawError> {
        let result = Self::where_it_applies(model, coverage_probability, order)?;
        match result.budgets.iter().find_map(|budget| budget.no_law.clone()) {
            Some(error) => Err(error),
            None => Ok(result),
        }
    }

    /// The same, but that the law does not apply to a measurand is no error: its budget says why, in
    /// [`Budget::no_law`].
    ///
    /// # Errors
    ///
    /// If a formula has no value at the estimates, or if terms of higher order are asked for of correlated inputs.
    pub fn where_it_applies(
        model: &MeasurementModel,
        coverage_probability: f64,
        order: Order,
    ) -> Result<Self, LawError> {
        let correlated = correlated_groups(model.correlation()).iter().any(|group| group.len() > 1);
        if order == Order::Second && correlated {
            return Err(LawError::CorrelatedSecondOrder);
        }
        let inputs = model.inputs();
        let estimates = model.estimates();
        let uncertain: Vec<bool> =
            inputs.iter().map(|input| input.knowledge.standard_uncertainty > 0.0).collect();
        let shapes: Vec<[f64; 2]> =
            inputs.iter().map(|input| input.knowledge.skewness_and_kurtosis()).collect();
        let mut budgets = Vec::new();
        for measurand in model.measurands() {
            let failed = |error| LawError::Formula { measurand: measurand.name.clone(), error };
            let linear = |estimate, sensitivities: &[f64]| {
                let rows: Vec<LinearInput> = inputs
                    .iter()
                    .zip(sensitivities)
                    .map(|(input, sensitivity)| LinearInput {
                        name: input.name.clone(),
                        unit: input.unit.clone(),
                        estimate: input.knowledge.estimate,
                        standard_uncertainty: input.knowledge.standard_uncertainty,
                        distribution: input.knowledge.distribution.name().to_owned(),
                        density: Some(input.knowledge.distribution),
                        degrees_of_freedom: input.knowledge.degrees_of_freedom,
                        sensitivity: *sensitivity,
                    })
                    .collect();
                let together = model.evaluated_together();
                let (name, unit) = (&measurand.name, &measurand.unit);
                let correlation = model.correlation();
                Budget::of_groups(name, unit, estimate, &rows, correlation, together, coverage_probability)
            };
            let estimate = measurand.formula.value(&estimates).map_err(failed)?;
            let expansion = || measurand.formula.expansion(&estimates, &uncertain).map_err(failed);
            let budget = match order {
                Order::First => {
                    measurand.formula.gradient(&estimates, &uncertain).map_err(failed).map(|(_, first)| {
                        let mut budget = linear(estimate, &first);
                        if !correlated && let Ok(expansion) = expansion() {
                            let terms = SecondOrder::terms(&budget, &expansion, &shapes);
                            budget.neglected_variance = Some(terms.iter().map(|term| term.variance).sum());
                        }
                        budget
                    })
                }
                Order::Second => expansion().and_then(|expansion| {
                    let mut budget = linear(estimate, &expansion.first);
                    budget.second_order = Some(SecondOrder::of(&budget, &expansion, &shapes)?);
                    Ok(budget)
                }),
            };
            budgets.push(budget.unwrap_or_else(|why| {
                let unknown = |(input, uncertain): (usize, &bool)| match *uncertain {
                    true if measurand.formula.uses(input) => f64::NAN,
                    _ => 0.0,
                };
                let sensitivities: Vec<f64> = uncertain.iter().enumerate().map(unknown).collect();
                Budget { no_law: Some(why), ..linear(estimate, &sensitivities) }
            }));
        }
        let covariance: Vec<Vec<f64>> = budgets
            .iter()
            .map(|a| budgets.iter().map(|b| covariance(a, b, model.correlation())).collect())
            .collect();
        let correlation = correlation_of(&covariance);
        let several = budgets.len() > 1 && budgets.iter().all(|budget| budget.no_law.is_none());
        let regions = several.then(|| CoverageRegions::normal(&covariance, coverage_probability));
        Ok(Self { budgets, covariance, correlation, regions })
    }
}

impl Budget {
    /// The budget of a linear measurand `y = estimate + Σ c_i (X_i − x_i)`, for which the law is exact; the inputs in the
    /// order of `correlation`.
    ///
    /// `coverage_probability` lies between 0 and 1.
    ///
    /// # Panics
    ///
    /// If `correlation` is one of another number of quantities.
    pub fn of_linear(
        measurand: &str,
        unit: &str,
        estimate: f64,
        inputs: &[LinearInput],
        correlation: &Correlation,
        coverage_probability: f64,
    ) -> Self {
        Self::of_groups(measurand, unit, estimate, inputs, correlation, &[], coverage_probability)
    }

    /// The same, of whose inputs those in each of the groups `together` were evaluated from one set of readings.
    ///
    /// # Panics
    ///
    /// As [`Budget::of_linear`].
    pub fn of_groups(
        measurand: &str,
        unit: &str,
        estimate: f64,
        inputs: &[LinearInput],
        correlation: &Correlation,
        together: &[Vec<usize>],
        coverage_probability: f64,
    ) -> Self {
        assert_eq!(inputs.len(), correlation.n_quantities(), "a correlation matrix of other inputs");
        let row = |input: &LinearInput| BudgetRow {
            name: input.name.clone(),
            unit: input.unit.clone(),
            estimate: input.estimate,
            standard_uncertainty: input.standard_uncertainty,
            distribution: input.distribution.clone(),
            density: input.density,
            degrees_of_freedom: input.degrees_of_freedom,
            sensitivity: input.sensitivity,
            contribution: input.sensitivity.abs() * input.standard_uncertainty,
            share: 0.0,
        };
        let mut budget = Self {
            measurand: measurand.to_owned(),
            unit: unit.to_owned(),
            inputs: inputs.iter().map(row).collect(),
            estimate,
            combined_standard_uncertainty: 0.0,
            effective_degrees_of_freedom: f64::INFINITY,
            coverage_probability,
            coverage_degrees_of_freedom: f64::INFINITY,
            coverage_factor: 0.0,
            expanded_uncertainty: 0.0,
            second_order: None,
            neglected_variance: None,
            no_law: None,
        };
        // Not `max`, which would make a zero of what is not a number.
        let variance = match covariance(&budget, &budget, correlation) {
            variance if variance < 0.0 => 0.0,
            variance => variance,
        };
        let parts: Vec<f64> =
            (0..inputs.len()).map(|i| budget.covariance_part(i, &budget, correlation)).collect();
        if variance != 0.0 {
            budget.inputs.iter_mut().zip(&parts).for_each(|(row, part)| row.share = part / variance);
        }
        let nu = budget.welch_satterthwaite(&parts, variance, together);
        budget.combined_standard_uncertainty = variance.sqrt();
        budget.effective_degrees_of_freedom = nu;
        budget.coverage_degrees_of_freedom = if nu < 1.0 { nu } else { nu.floor() };
        budget.coverage_factor =
            t_quantile(0.5 + 0.5 * coverage_probability, budget.coverage_degrees_of_freedom);
        budget.expanded_uncertainty = budget.coverage_factor * budget.combined_standard_uncertainty;
        budget
    }

    /// The same budget with its measurand in another unit, of which `factor` make one of the old.
    ///
    /// Inputs in the measurand's old unit go over with it; others keep theirs. Higher-order terms are not
    /// carried over.
    pub fn in_unit(&self, unit: &str, factor: f64) -> Self {
        let inputs = self.inputs.iter().map(|row| {
            let contribution = row.contribution * factor;
            if row.unit == self.unit {
                let (estimate, standard_uncertainty) =
                    (row.estimate * factor, row.standard_uncertainty * factor);
                let density = row.density.map(|density| density.scaled(factor));
                BudgetRow {
                    unit: unit.into(),
                    estimate,
                    standard_uncertainty,
                    density,
                    contribution,
                    ..row.clone()
                }
            } else {
                BudgetRow { sensitivity: row.sensitivity * factor, contribution, ..row.clone() }
            }
        });
        Self {
            unit: unit.into(),
            inputs: inputs.collect(),
            estimate: self.estimate * factor,
            combined_standard_uncertainty: self.combined_standard_uncertainty * factor,
            expanded_uncertainty: self.expanded_uncertainty * factor,
            second_order: None,
            neglected_variance: None,
            ..self.clone()
        }
    }

    /// `u_c(y)`, with the higher-order terms if they were asked for.
    pub fn standard_uncertainty(&self) -> f64 {
        let second = self.second_order.as_ref();
        second.map_or(self.combined_standard_uncertainty, |second| second.combined_standard_uncertainty)
    }

    /// The interval `y ± U_p`, by the higher-order terms if they were asked for.
    pub fn coverage_interval(&self) -> [f64; 2] {
        let expanded = self
            .second_order
            .as_ref()
            .map_or(self.expanded_uncertainty, |second| second.expanded_uncertainty);
        [self.estimate - expanded, self.estimate + expanded]
    }

    /// `c_i u(x_i)`, with its sign.
    fn signed(&self, i: usize) -> f64 {
        self.inputs[i].sensitivity * self.inputs[i].standard_uncertainty
    }

    /// What input i of this measurand has in common with all those of `other`: `Σ_j c_i c′_j u(x_i, x_j)`.
    fn covariance_part(&self, i: usize, other: &Self, correlation: &Correlation) -> f64 {
        let mine = self.signed(i);
        (0..other.inputs.len()).map(|j| mine * other.signed(j) * correlation.coefficient(i, j)).sum()
    }

    /// `ν_eff = u_c⁴ / Σ_g (Σ_{i∈g} p_i)²/ν_g` over the groups of inputs evaluated together and the others, each by itself.
    fn welch_satterthwaite(&self, parts: &[f64], variance: f64, together: &[Vec<usize>]) -> f64 {
        if variance == 0.0 {
            return f64::INFINITY;
        }
        let of_group = |group: &[usize]| {
            let shared: f64 = group.iter().map(|i| parts[*i]).sum();
            let nu = group.iter().map(|i| self.inputs[*i].degrees_of_freedom).fold(f64::INFINITY, f64::min);
            (shared / variance).powi(2) / nu
        };
        let alone = (0..self.inputs.len()).filter(|i| !together.iter().any(|group| group.contains(i)));
        let all: f64 = together.iter().map(|group| of_group(group)).sum();
        1.0 / (all + alone.map(|i| of_group(&[i])).sum::<f64>())
    }
}

impl SecondOrder {
    /// `shapes` are skewness and kurtosis of each input.
    fn of(budget: &Budget, expansion: &Expansion, shapes: &[[f64; 2]]) -> Result<Self, LawError> {
        let terms = Self::terms(budget, expansion, shapes);
        let more: f64 = terms.iter().map(|term| term.variance).sum();
        let variance = budget.combined_standard_uncertainty.powi(2) + more;
        if !(0.0..f64::INFINITY).contains(&variance) {
            return Err(LawError::NegativeVariance { measurand: budget.measurand.clone() });
        }
        let curved = |(i, row): (usize, &BudgetRow)| {
            0.5 * expansion.second[(i, i)] * row.standard_uncertainty * row.standard_uncertainty
        };
        Ok(Self {
            terms,
            combined_standard_uncertainty: variance.sqrt(),
            expanded_uncertainty: budget.coverage_factor * variance.sqrt(),
            expectation_shift: budget.inputs.iter().enumerate().map(curved).sum(),
        })
    }

    fn terms(budget: &Budget, expansion: &Expansion, shapes: &[[f64; 2]]) -> Vec<SecondOrderTerm> {
        let n = budget.inputs.len();
        let u = |i: usize| budget.inputs[i].standard_uncertainty;
        let (first, second, third) = (&expansion.first, &expansion.second, &expansion.third);
        let alone = |i: usize| {
            let ([skewness, kurtosis], u) = (shapes[i], u(i));
            let curvature = second[(i, i)];
            let cubed = first[i] * curvature * skewness * u.powi(3);
            let fourth =
                0.25 * curvature * curvature * (kurtosis - 1.0) + first[i] * third[(i, i)] * kurtosis / 3.0;
            // Moments may be infinite, also of an input that enters as a straight line.
            let bent = curvature != 0.0 || first[i] * third[(i, i)] != 0.0;
            if bent { cubed + fourth * u.powi(4) } else { 0.0 }
        };
        let one_way = |i: usize, j: usize| {
            (0.5 * second[(i, j)].powi(2) + first[i] * third[(i, j)]) * (u(i) * u(j)).powi(2)
        };
        let mut terms = Vec::new();
        for i in 0..n {
            for j in i..n {
                let variance = if i == j { alone(i) } else { one_way(i, j) + one_way(j, i) };
                if variance != 0.0 {
                    let [first, second] = [i, j].map(|k| budget.inputs[k].name.clone());
                    terms.push(SecondOrderTerm { first, second, variance });
                }
            }
        }
        terms
    }
}

/// The covariance of two measurands of the same inputs.
fn covariance(a: &Budget, b: &Budget, correlation: &Correlation) -> f64 {
    (0..a.inputs.len()).map(|i| a.covariance_part(i, b, correlation)).sum()
}

/// Correlation coefficients from covariances; 0 with what does not vary.
pub(super) fn correlation_of(covariance: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let n = covariance.len();
    let coefficient = |i: usize, j: usize| {
        let scale = (covariance[i][i] * covariance[j][j]).sqrt();
        match (i == j, scale == 0.0) {
            (true, _) => 1.0,
            (_, false) => (covariance[i][j] / scale).clamp(-1.0, 1.0),
            _ => 0.0,
        }
    };
    (0..n).map(|i| (0..n).map(|j| coefficient(i, j)).collect()).collect()
}

impl fmt::Display for LawError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Formula { measurand, error } => write!(f, "formula of {measurand}, {error}"),
            Self::CorrelatedSecondOrder => write!(
                f,
                "the higher-order terms of GUM 5.1.2 hold for independent inputs, and some of these are correlated; use order 1, or Monte Carlo"
            ),
            Self::NegativeVariance { measurand } => write!(
                f,
                "the higher-order terms make the variance of {measurand} negative: it is too far from linear for this; use Monte Carlo"
            ),
        }
    }
}

impl std::error::Error for LawError {}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::measurement::{Input, Knowledge};

    fn input(name: &str, estimate: f64, u: f64, nu: f64) -> Input {
        let distribution = Distribution::Normal { mean: estimate, standard_deviation: u };
        let knowledge = Knowledge { degrees_of_freedom: nu, ..Knowledge::of(distribution) };
        Input { name: name.into(), unit: "mm".into(), knowledge }
    }

    fn budget(formula: &str, inputs: Vec<Input>, pairs: &[(&str, &str, f64)], order: Order) -> Budget {
        let model = MeasurementModel::new(&[("y", "mm", formula)], inputs, pairs).unwrap();
        LinearResult::of(&model, 0.95, order).unwrap().budgets.remove(0)
    }

    #[test]
    fn full_correlation_adds_or_cancels() {
        let inputs = || vec![input("a", 3.0, 0.3, 5.0), input("b", 1.0, 0.2, 9.0)];
        for (r, expected) in [(1.0, 0.5), (-1.0, 0.1), (0.0, 0.13_f64.sqrt()), (0.5, 0.19_f64.sqrt())] {
            let sum = budget("a + b", inputs(), &[("a", "b", r)], Order::First);
            assert!((sum.combined_standard_uncertainty - expected).abs() < 1e-15, "{r}");
            assert!((sum.inputs.iter().map(|row| row.share).sum::<f64>() - 1.0).abs() < 1e-14);
        }
        let equal = vec![input("a", 3.0, 0.3, 5.0), input("b", 1.0, 0.3, 9.0)];
        let cancelled = budget("a - b", equal, &[("a", "b", 1.0)], Order::First);
        assert_eq!((cancelled.combined_standard_uncertainty, cancelled.coverage_factor > 1.9), (0.0, true));
    }

    /// `ν_eff` with correlation is ours: the delta method that leads to G.4.1, worked by hand.
    #[test]
    fn known_correlation_moves_the_degrees_of_freedom_smoothly() {
        let inputs = || vec![input("a", 0.0, 3.0, 4.0), input("b", 0.0, 4.0, 4.0), input("c", 0.0, 5.0, 9.0)];
        let nu = |r: f64| {
            budget("a + b + c", inputs(), &[("a", "b", r)], Order::First).effective_degrees_of_freedom
        };
        // p_a = 9 + 6, p_b = 16 + 6, p_c = 25.
        let expected = 62.0 * 62.0 / (15.0 * 15.0 / 4.0 + 22.0 * 22.0 / 4.0 + 625.0 / 9.0);
        assert!((nu(0.5) - expected).abs() < 1e-12);
        let independent = 50.0 * 50.0 / (81.0 / 4.0 + 256.0 / 4.0 + 625.0 / 9.0);
        assert!((nu(0.0) - independent).abs() < 1e-12);
        assert!((nu(1e-6) / independent - 1.0).abs() < 1e-5);
        assert!((nu(-1e-6) / independent - 1.0).abs() < 1e-5);
    }

    /// Of five readings of a and b taken together, a + b is read five times as well: 4 degrees of freedom, exactly.
    #[test]
    fn what_was_evaluated_together_has_the_degrees_of_freedom_of_its_readings() {
        for r in [0.0, 0.5, -0.9] {
            let inputs = vec![input("a", 0.0, 3.0, 4.0), input("b", 0.0, 4.0, 4.0)];
            let model = MeasurementModel::new(&[("y", "mm", "a + b")], inputs, &[("a", "b", r)]).unwrap();
            let model = model.with_evaluated_together(vec![vec![0, 1]]);
            let budget = LinearResult::of(&model, 0.95, Order::First).unwrap().budgets.remove(0);
            assert!((budget.effective_degrees_of_freedom - 4.0).abs() < 1e-12, "{r}");
        }
    }

    #[test]
    fn where_there_is_no_derivative_the_rest_of_the_budget_stands() {
        let inputs = || vec![input("a", 1.0, 0.1, 5.0), input("b", 1.0, 0.2, 5.0)];
        let measurands = [("range", "mm", "max(a, b) - min(a, b)"), ("sum", "mm", "a + b")];
        let model = MeasurementModel::new(&measurands, inputs(), &[]).unwrap();
        let result = LinearResult::where_it_applies(&model, 0.95, Order::First).unwrap();
        let [range, sum] = &result.budgets[..] else { panic!() };
        assert!(range.no_law.is_some() && range.combined_standard_uncertainty.is_nan());
        assert_eq!((range.estimate, range.inputs[0].standard_uncertainty), (0.0, 0.1));
        assert!(range.inputs[0].sensitivity.is_nan() && range.expanded_uncertainty.is_nan());
        assert!(sum.no_law.is_none() && (sum.combined_standard_uncertainty - 0.05_f64.sqrt()).abs() < 1e-15);
        assert!(result.covariance[0][1].is_nan() && result.regions.is_none());
        assert!(LinearResult::of(&model, 0.95, Order::First).is_err());
    }

    /// The variance of x² is `4x²u² + 4xμ₃ + μ₄ − u⁴`, exactly; with the central moments of a rectangle, `9/5 u⁴` and 0, and of
    /// an exponential, `2m³` and `9m⁴` (JCGM 101 table 1 has the densities; the moments by integration).
    #[test]
    fn the_second_order_has_the_moments_of_each_input() {
        let of = |distribution: Distribution| {
            let input = Input { name: "x".into(), unit: "1".into(), knowledge: Knowledge::of(distribution) };
            let model = MeasurementModel::new(&[("y", "1", "x^2")], vec![input], &[]).unwrap();
            let budget = |order| LinearResult::of(&model, 0.95, order).unwrap().budgets.remove(0);
            let second = budget(Order::Second).second_order.unwrap().combined_standard_uncertainty;
            let first = budget(Order::First);
            let neglected = first.neglected_variance.unwrap();
            let all = first.combined_standard_uncertainty.powi(2) + neglected;
            assert!((all.sqrt() / second - 1.0).abs() < 1e-12);
            second * second
        };
        let (x, u2) = (0.2_f64, 0.1_f64.powi(2) / 3.0);
        let rectangle = of(Distribution::Rectangular { low: x - 0.1, high: x + 0.1 });
        assert!((rectangle / (4.0 * x * x * u2 + 0.8 * u2 * u2) - 1.0).abs() < 1e-12);
        let m = 0.7_f64;
        let exponential = of(Distribution::Exponential { mean: m });
        assert!((exponential / (20.0 * m.powi(4)) - 1.0).abs() < 1e-12);
    }

    /// `x²` of a normal input has variance `4x²u² + 2u⁴` and mean `x² + u²`, exactly.
    #[test]
    fn the_second_order_is_exact_for_a_square() {
        let (x, u) = (0.3, 0.4_f64);
        let square = budget("x^2", vec![input("x", x, u, f64::INFINITY)], &[], Order::Second);
        let second = square.second_order.unwrap();
        let exact = (4.0 * x * x * u * u + 2.0 * u.powi(4)).sqrt();
        assert!((second.combined_standard_uncertainty - exact).abs() < 1e-15);
        assert!((second.expectation_shift - u * u).abs() < 1e-16);
    }

    /// exp of a normal input: first, second and third derivatives are all `e^x`, so the note's terms are `(½ + 1) e^2x u⁴`,
    /// those of the lognormal variance `e^(2x + u²)(e^(u²) − 1) = e^2x (u² + (3/2) u⁴ + …)`.
    #[test]
    fn the_second_order_has_the_third_derivatives() {
        let u = 0.01_f64;
        let grown = budget("exp(x)", vec![input("x", 1.0, u, f64::INFINITY)], &[], Order::Second);
        let variance = grown.second_order.unwrap().combined_standard_uncertainty.powi(2);
        let exact = (2.0 + u * u).exp() * (u * u).exp_m1();
        assert!((variance / exact - 1.0).abs() < 2.0 * u.powi(4), "{variance} {exact}");
    }

    #[test]
    fn what_does_not_apply_is_refused() {
        let model = |formula: &str, pairs: &[(&str, &str, f64)], u: f64| {
            let inputs = vec![input("a", 0.0, u, 5.0), input("b", 1.5, u, 5.0)];
            MeasurementModel::new(&[("y", "mm", formula)], inputs, pairs).unwrap()
        };
        let of = |model: &MeasurementModel, order| LinearResult::of(model, 0.95, order).unwrap_err();
        assert!(matches!(of(&model("abs(a)", &[], 0.1), Order::First), LawError::Formula { .. }));
        assert!(matches!(of(&model("b/a", &[], 0.1), Order::First), LawError::Formula { .. }));
        let correlated = model("a + b", &[("a", "b", 0.1)], 0.1);
        assert_eq!(of(&correlated, Order::Second), LawError::CorrelatedSecondOrder);
        let wild = model("sin(b + a - 1.2)", &[], 3.0);
        assert!(matches!(of(&wild, Order::Second), LawError::NegativeVariance { .. }));
    }

    #[test]
    fn one_degree_of_freedom_and_less_still_have_a_coverage_factor() {
        for (nu, expected) in [(1.9, 12.706), (1.0, 12.706), (0.8, 24.0)] {
            let k = budget("x", vec![input("x", 0.0, 1.0, nu)], &[], Order::First).coverage_factor;
            assert!((k / expected - 1.0).abs() < 0.1, "{nu}: {k}");
        }
    }
}
