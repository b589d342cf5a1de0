//! The law of propagation of uncertainty: the budget of a measurand.

use crate::model::formula::{Expansion, FormulaError};
use crate::model::measurement::{MeasurementModel, correlated_groups};
use crate::propagation::region::CoverageRegions;
use crate::quantity::correlation::Correlation;
use crate::quantity::student::t_quantile;
use std::fmt;

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

/// The budget of one measurand (GUM clause 5, and annex G for its coverage factor).
#[derive(Debug, Clone, PartialEq)]
pub struct Budget {
    /// What is measured.
    pub measurand: String,
    /// The unit of the estimate and of every uncertainty and contribution below.
    pub unit: String,
    /// One row an input, in the order of the model's.
    pub inputs: Vec<BudgetRow>,
    /// The estimate y, the formula at the estimates of the inputs.
    pub estimate: f64,
    /// `u_c(y)`, to first order.
    pub combined_standard_uncertainty: f64,
    /// `ν_eff` by the Welch-Satterthwaite formula (G.4.1), not rounded; infinite if all inputs' are.
    ///
    /// Inputs that are correlated enter as one, with their joint contribution and the least of their degrees of
    /// freedom, for which the formula itself makes no provision.
    pub effective_degrees_of_freedom: f64,
    /// The coverage probability p that was asked for.
    pub coverage_probability: f64,
    /// The degrees of freedom of the coverage factor: `ν_eff` truncated to the next lower whole number, as the GUM does in
    /// its examples (G.4.1, note 1, permits it), so that k is never too small; not truncated below 1.
    pub coverage_degrees_of_freedom: f64,
    /// `k_p`, the quantile of t with these degrees of freedom (G.3.2).
    pub coverage_factor: f64,
    /// `U_p = k_p u_c(y)`, to first order.
    pub expanded_uncertainty: f64,
    /// The same with the higher-order terms, if asked for.
    pub second_order: Option<SecondOrder>,
}

/// One input in a budget.
#[derive(Debug, Clone, PartialEq)]
pub struct BudgetRow {
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
    /// Of `u(x_i)`.
    pub degrees_of_freedom: f64,
    /// `c_i = ∂f/∂x_i`, in the measurand's unit per the input's; 0 for an input that is exactly known.
    pub sensitivity: f64,
    /// `u_i(y) = |c_i| u(x_i)`, in the measurand's unit.
    pub contribution: f64,
    /// Its part of `u_c²(y)`: `Σ_j c_i c_j u(x_i, x_j) / u_c²(y)`. These add up to 1; correlation can make one negative.
    pub share: f64,
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
    /// Of `u(x_i)`.
    pub degrees_of_freedom: f64,
    /// `c_i`, in the measurand's unit per the input's.
    pub sensitivity: f64,
}

/// What the terms of the next higher order add (GUM 5.1.2, note): `Σ_i Σ_j (½ f_ij² + f_i f_ijj) u²(x_i) u²(x_j)`.
///
/// Like the note, it takes the inputs as independent and, for the terms with i = j, as normal.
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
        let correlated = correlated_groups(model.correlation()).iter().any(|group| group.len() > 1);
        if order == Order::Second && correlated {
            return Err(LawError::CorrelatedSecondOrder);
        }
        let inputs = model.inputs();
        let estimates = model.estimates();
        let uncertain: Vec<bool> =
            inputs.iter().map(|input| input.knowledge.standard_uncertainty > 0.0).collect();
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
                        degrees_of_freedom: input.knowledge.degrees_of_freedom,
                        sensitivity: *sensitivity,
                    })
                    .collect();
                let (name, unit) = (&measurand.name, &measurand.unit);
                Budget::of_linear(name, unit, estimate, &rows, model.correlation(), coverage_probability)
            };
            budgets.push(match order {
                Order::First => {
                    let (estimate, first) =
                        measurand.formula.gradient(&estimates, &uncertain).map_err(failed)?;
                    linear(estimate, &first)
                }
                Order::Second => {
                    let expansion = measurand.formula.expansion(&estimates, &uncertain).map_err(failed)?;
                    let mut budget = linear(expansion.value, &expansion.first);
                    budget.second_order = Some(SecondOrder::of(&budget, &expansion)?);
                    budget
                }
            });
        }
        let covariance: Vec<Vec<f64>> = budgets
            .iter()
            .map(|a| budgets.iter().map(|b| covariance(a, b, model.correlation())).collect())
            .collect();
        let correlation = correlation_of(&covariance);
        let regions = (budgets.len() > 1).then(|| CoverageRegions::normal(&covariance, coverage_probability));
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
        assert_eq!(inputs.len(), correlation.n_quantities(), "a correlation matrix of other inputs");
        let row = |input: &LinearInput| BudgetRow {
            name: input.name.clone(),
            unit: input.unit.clone(),
            estimate: input.estimate,
            standard_uncertainty: input.standard_uncertainty,
            distribution: input.distribution.clone(),
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
        };
        let variance = covariance(&budget, &budget, correlation).max(0.0);
        let parts: Vec<f64> =
            (0..inputs.len()).map(|i| budget.covariance_part(i, &budget, correlation)).collect();
        if variance > 0.0 {
            budget.inputs.iter_mut().zip(&parts).for_each(|(row, part)| row.share = part / variance);
        }
        let nu = budget.welch_satterthwaite(&parts, variance, correlation);
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
                BudgetRow { unit: unit.into(), estimate, standard_uncertainty, contribution, ..row.clone() }
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
            ..self.clone()
        }
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

    /// `ν_eff = u_c⁴ / Σ u_g⁴/ν_g` over the groups of correlated inputs.
    fn welch_satterthwaite(&self, parts: &[f64], variance: f64, correlation: &Correlation) -> f64 {
        let of_group = |group: Vec<usize>| {
            let shared: f64 = group.iter().map(|i| parts[*i]).sum();
            let uncertain = group.iter().filter(|i| self.inputs[**i].contribution > 0.0);
            let nu = uncertain.map(|i| self.inputs[*i].degrees_of_freedom).fold(f64::INFINITY, f64::min);
            (shared / variance).powi(2) / nu
        };
        if variance == 0.0 {
            return f64::INFINITY;
        }
        1.0 / correlated_groups(correlation).into_iter().map(of_group).sum::<f64>()
    }
}

impl SecondOrder {
    fn of(budget: &Budget, expansion: &Expansion) -> Result<Self, LawError> {
        let n = budget.inputs.len();
        let square = |i: usize| budget.inputs[i].standard_uncertainty.powi(2);
        let term = |i: usize, j: usize| {
            (0.5 * expansion.second[(i, j)].powi(2) + expansion.first[i] * expansion.third[(i, j)])
                * square(i)
                * square(j)
        };
        let mut terms = Vec::new();
        for i in 0..n {
            for j in i..n {
                let variance = if i == j { term(i, i) } else { term(i, j) + term(j, i) };
                if variance != 0.0 {
                    let [first, second] = [i, j].map(|k| budget.inputs[k].name.clone());
                    terms.push(SecondOrderTerm { first, second, variance });
                }
            }
        }
        let more: f64 = terms.iter().map(|term| term.variance).sum();
        let variance = budget.combined_standard_uncertainty.powi(2) + more;
        if !(0.0..f64::INFINITY).contains(&variance) {
            return Err(LawError::NegativeVariance { measurand: budget.measurand.clone() });
        }
        Ok(Self {
            terms,
            combined_standard_uncertainty: variance.sqrt(),
            expanded_uncertainty: budget.coverage_factor * variance.sqrt(),
            expectation_shift: (0..n).map(|i| 0.5 * expansion.second[(i, i)] * square(i)).sum(),
        })
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
        match (i == j, scale > 0.0) {
            (true, _) => 1.0,
            (_, true) => (covariance[i][j] / scale).clamp(-1.0, 1.0),
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
    use crate::quantity::distribution::Distribution;

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

    #[test]
    fn correlated_inputs_enter_the_degrees_of_freedom_as_one() {
        let inputs = vec![input("a", 0.0, 3.0, 4.0), input("b", 0.0, 4.0, 4.0), input("c", 0.0, 5.0, 9.0)];
        let sum = budget("a + b + c", inputs, &[("a", "b", 0.5)], Order::First);
        let (both, all): (f64, f64) = (37.0, 62.0);
        let expected = all * all / (both * both / 4.0 + 625.0 / 9.0);
        assert!((sum.effective_degrees_of_freedom - expected).abs() < 1e-12);
        assert_eq!(sum.coverage_degrees_of_freedom, expected.floor());
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
