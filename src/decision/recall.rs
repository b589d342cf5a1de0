//! When a plate goes out: the date at which the risk is reached, the date of least cost, and what one more check is
//! worth.

use crate::quantity::{day::DAYS_PER_YEAR, vector::dot};
use schemars::JsonSchema;
use serde::Serialize;

/// Probability that a plate is out of tolerance, from today on.
#[derive(Debug, Clone, PartialEq)]
pub struct OutOfTolerance {
    /// Years from each entry to the next.
    pub step: f64,
    /// The probability today, and after each step; it never falls, since wear is not undone.
    pub probability: Vec<f64>,
}

/// What being early and being late cost, in one currency. A recalibration is laboratory and transport; a bad part is one
/// that a plate out of tolerance lets pass, or a good one that it has scrapped.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[schemars(rename = "CostsDocument", description = "Costs in one currency.")]
pub struct Costs {
    /// One recalibration.
    pub recalibration: f64,
    /// A day without the plate.
    pub day: f64,
    /// How many days it is away.
    pub days_away: f64,
    /// A bad part.
    pub bad_part: f64,
    /// How many of these there are in a year while the plate is out of tolerance.
    pub bad_parts_a_year: f64,
}

/// The cheapest way to go on for ever.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CheapestCycle {
    /// Years from one recalibration to the next, in use.
    pub years: f64,
    /// Cost per year.
    pub cost_per_year: f64,
}

/// The date of least expected cost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeastCost {
    /// Years from today; as far as the steps go where [`Self::is_reached`] is not so.
    pub years: f64,
    /// Whether the risk that the costs are worth is reached then.
    pub is_reached: bool,
    /// Expected cost from today on, over that of a plate that costs the cheapest cycle's rate throughout.
    pub cost: f64,
}

impl OutOfTolerance {
    /// The probability so many years from today, linear between steps; after the last step that of the last.
    pub fn at(&self, years: f64) -> f64 {
        let place = (years / self.step).clamp(0.0, (self.probability.len() - 1) as f64);
        let below = (place as usize).min(self.probability.len().saturating_sub(2));
        let [a, b] = [below, below + 1].map(|k| self.probability[k.min(self.probability.len() - 1)]);
        a + (place - below as f64) * (b - a)
    }

    /// Years from today until the probability is first as large; `None` where it is not, within the steps.
    pub fn first_at(&self, probability: f64) -> Option<f64> {
        let k = self.probability.iter().position(|p| *p >= probability)?;
        let Some(before) = k.checked_sub(1) else { return Some(0.0) };
        let [a, b] = [self.probability[before], self.probability[k]];
        Some(self.step * (before as f64 + (probability - a) / (b - a)))
    }

    /// Expected years out of tolerance from today until so many years on: the integral of the probability.
    pub fn years_out(&self, years: f64) -> f64 {
        let mut sum = 0.0;
        for (k, pair) in self.probability.windows(2).enumerate() {
            let from = k as f64 * self.step;
            if years <= from {
                return sum;
            }
            let part = ((years - from) / self.step).min(1.0);
            sum += self.step * part * (pair[0] + 0.5 * part * (pair[1] - pair[0]));
        }
        let end = self.step * (self.probability.len() - 1) as f64;
        sum + (years - end).max(0.0) * self.probability.last().copied().unwrap_or(0.0)
    }

    /// The last year that the steps reach.
    pub fn horizon(&self) -> f64 {
        self.step * (self.probability.len() - 1) as f64
    }
}

impl Costs {
    /// What one recalibration costs, with the days without the plate.
    pub fn of_recalibration(&self) -> f64 {
        self.recalibration + self.day * self.days_away
    }

    /// What a year out of tolerance costs.
    pub fn of_year_out(&self) -> f64 {
        self.bad_part * self.bad_parts_a_year
    }

    /// The interval at which recalibrating costs least in the long run, for a plate that comes back each time
    /// with the chances of `new`: age replacement, by the renewal-reward theorem (Barlow and Proschan,
    /// Mathematical Theory of Reliability, 1965, chapter 4; from memory).
    ///
    /// Minimises `g(τ) = (C + b ∫₀^τ P) / (τ + a)`, with C and b as above and a the years away. Its derivative has
    /// the sign of `b P(τ)(τ + a) − C − b ∫₀^τ P`, which never falls as τ grows, so there is one minimum.
    /// `None` where it lies beyond the steps of `new`, as where a bad part costs less than preventing it.
    pub fn cheapest_cycle(&self, new: &OutOfTolerance) -> Option<CheapestCycle> {
        let (fixed, out) = (self.of_recalibration(), self.of_year_out());
        let away = self.days_away / DAYS_PER_YEAR;
        let slope = |years: f64| out * new.at(years) * (years + away) - fixed - out * new.years_out(years);
        let (mut low, mut high) = (0.0, new.horizon());
        if slope(high) < 0.0 || out <= 0.0 {
            return None;
        }
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if slope(middle) < 0.0 { low = middle } else { high = middle }
        }
        let years = 0.5 * (low + high);
        let cost_per_year = (fixed + out * new.years_out(years)) / (years + away);
        Some(CheapestCycle { years, cost_per_year })
    }

    /// When this plate should go out, if it afterwards costs the cheapest cycle's rate: as soon as a year in use costs more
    /// than that, `b P ≥ g*`.
    ///
    /// Where that is not reached within the steps, the years are those of the last step.
    pub fn least_cost(&self, plate: &OutOfTolerance, cycle: &CheapestCycle) -> LeastCost {
        let threshold = self.acceptable_risk(cycle);
        let reached = plate.first_at(threshold);
        let years = reached.unwrap_or_else(|| plate.horizon());
        LeastCost { years, is_reached: reached.is_some(), cost: self.cost_until(plate, cycle, years) }
    }

    /// Expected cost, as in [`LeastCost`], of sending the plate out so many years from today.
    pub fn cost_until(&self, plate: &OutOfTolerance, cycle: &CheapestCycle, years: f64) -> f64 {
        self.of_recalibration() + self.of_year_out() * plate.years_out(years) - cycle.cost_per_year * years
    }

    /// The risk that these costs are worth: the probability of being out of tolerance at which the plate
    /// should go out.
    pub fn acceptable_risk(&self, cycle: &CheapestCycle) -> f64 {
        cycle.cost_per_year / self.of_year_out()
    }

    /// What a check today is worth, before its own cost: by how much it lowers the expected cost, since the
    /// date is then chosen in the light of its outcome (expected value of sample information: Raiffa and Schlaifer,
    /// Applied Statistical Decision Theory, 1961; from memory).
    ///
    /// `states` has, for each step, the probability of each state today together with being out of tolerance then;
    /// its last list holds the states' probabilities. `outcomes` has each outcome's likelihood in each state.
    pub fn value_of_check(
        &self,
        step: f64,
        states: &[Vec<f64>],
        outcomes: &[Vec<f64>],
        cycle: &CheapestCycle,
    ) -> f64 {
        let Some((now, then)) = states.split_last() else { return 0.0 };
        let unseen =
            OutOfTolerance { step, probability: then.iter().map(|states| states.iter().sum()).collect() };
        let mut cost_with = 0.0;
        for likelihood in outcomes {
            let chance = dot(now, likelihood);
            if chance < 1e-12 {
                continue;
            }
            let probability = then.iter().map(|states| dot(states, likelihood) / chance).collect();
            cost_with += chance * self.least_cost(&OutOfTolerance { step, probability }, cycle).cost;
        }
        // Rounding of what is worth nothing.
        (self.least_cost(&unseen, cycle).cost - cost_with).max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Out of tolerance for certain from year 3 on.
    fn sudden() -> OutOfTolerance {
        OutOfTolerance { step: 0.5, probability: (0..21).map(|k| f64::from(u8::from(k >= 6))).collect() }
    }

    #[test]
    fn the_probability_is_read_between_steps() {
        let p = OutOfTolerance { step: 2.0, probability: vec![0.0, 0.5, 1.0] };
        assert_eq!((p.at(1.0), p.at(9.0), p.first_at(0.25)), (0.25, 1.0, Some(1.0)));
        assert!((p.years_out(4.0) - 2.0).abs() < 1e-12 && (p.years_out(5.0) - 3.0).abs() < 1e-12);
        assert!((p.years_out(1.0) - 0.125).abs() < 1e-12);
        assert_eq!(sudden().first_at(0.0), Some(0.0));
        assert_eq!(OutOfTolerance { step: 1.0, probability: vec![0.0, 0.1] }.first_at(0.2), None);
    }

    #[test]
    fn where_a_bad_part_is_cheap_nothing_goes_out() {
        let costs =
            Costs { recalibration: 1000.0, day: 0.0, days_away: 0.0, bad_part: 1.0, bad_parts_a_year: 10.0 };
        assert_eq!(costs.cheapest_cycle(&sudden()), None);
    }
}
