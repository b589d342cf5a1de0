//! One measurand: its result both ways, in words, tables and pictures.

use super::*;

impl<'a> MeasurandReport<'a> {
    pub(super) fn of_model(
        setup: &'a MeasurementSetup,
        evaluation: &'a Evaluation,
        index: usize,
        measurand: &'a Measurand,
    ) -> Self {
        let trials = || {
            let trials = evaluation.monte_carlo.as_ref()?.measurands.get(index)?;
            Some(TrialsReport {
                summary: trials.summary,
                values: Cow::Borrowed(&trials.values),
                convergence: trials.convergence,
                validation: *evaluation.validations.get(index)?,
                interval: evaluation.settings.interval,
            })
        };
        // Of several measurands each has the inputs that its own formula uses.
        let mut budget = evaluation.linear.budgets[index].clone();
        let mut uses = (0..budget.inputs.len()).map(|input| measurand.formula.uses(input));
        budget.inputs.retain(|_| uses.next() == Some(true));
        // What the user called things goes everywhere from here, machines' documents included.
        budget.measurand = text::inert(&budget.measurand);
        budget.unit = text::inert(&budget.unit);
        budget.inputs.iter_mut().for_each(|row| row.unit = text::inert(&row.unit));
        let limits = setup.limits.get(index).copied().flatten();
        Self { budget, formula: Some(measurand.formula.source()), limits, trials: trials() }
    }

    /// All that is said of it; `same` is another one that has the same budget and was told before.
    pub(super) fn parts(&self, suffix: &str, same: Option<&MeasurandReport>) -> Vec<Part> {
        let name = self.name();
        let mut parts = vec![Part::Heading(format!("Budget of {name}"))];
        parts.extend(self.formula.map(|formula| Part::Words(format!("Model: {name} = {formula}"))));
        if let Some(other) = same {
            parts.push(Part::Words(format!(
                "By the law of propagation its budget is that of {}, row by row: {}.",
                other.name(),
                result(&self.budget)
            )));
        } else {
            let caption =
                format!("Share of each input in the combined variance of {name}, by the law of propagation.");
            let bars = self.contributions();
            parts.push(Part::Table(self.table()));
            parts.extend(bars.map(|bars| Part::picture(format!("contributions{suffix}"), bars, caption)));
        }
        parts.extend(self.higher_terms().map(Part::Table));
        parts.extend(self.comparison().map(Part::Table));
        parts.extend(self.settled().map(Part::Words));
        parts.extend(self.conformity().map(Part::Words));
        let caption =
            format!("Values of {name} by Monte Carlo, and the density of the linear result over them.");
        let histogram = self.histogram();
        parts.extend(histogram.map(|svg| Part::picture(format!("histogram{suffix}"), svg, caption)));
        parts
    }

    /// What is measured, how well, and by which of the two ways, in a sentence.
    pub(super) fn answer(&self) -> String {
        let (name, unit) = (self.name(), self.unit());
        let p = percent(self.budget.coverage_probability);
        let Some(trials) = &self.trials else { return format!("{}.", self.linear()) };
        let [low, high] = trials.interval.of(&trials.summary).map(|end| plain(end, self.digits()));
        let kind = kind_name(trials.interval);
        let lies = format!(
            "{name} lies between {low} and {high}{unit} with a probability of {p} ({kind} interval by Monte Carlo)"
        );
        match (&trials.validation, &self.budget.no_law) {
            (Some(validation), _) if validation.linear_result_may_be_used => match self.combined() > 0.0 {
                true => {
                    format!("{}; Monte Carlo agrees: {low} to {high}{unit} ({kind} interval).", self.linear())
                }
                false => format!("{}.", self.linear()),
            },
            (Some(validation), _) if !validation.is_decided => format!(
                "{lies}; whether the linear result, {}{unit}, may be used instead is not decided, for the trials are too few.",
                Rounded::of(self.budget.estimate, self.expanded(), 2)
            ),
            (Some(_), _) => format!(
                "{lies}; the linear result, {}{unit}, may not be used instead.",
                Rounded::of(self.budget.estimate, self.expanded(), 2)
            ),
            (None, Some(LawError::Formula { error, .. })) => format!(
                "{lies}; there is no result by the law of propagation (column {} of the formula: {}).",
                error.column, error.problem
            ),
            (None, Some(why)) => format!("{lies}; there is no result by the law of propagation ({why})."),
            (None, None) => format!("{lies}."),
        }
    }

    pub(super) fn name(&self) -> &str {
        &self.budget.measurand
    }

    /// Unit behind a number, with its space; nothing for a pure number.
    pub(super) fn unit(&self) -> String {
        behind(&self.budget.unit)
    }

    /// Unit of a column or an axis.
    pub(super) fn plain_unit(&self) -> &str {
        if self.budget.unit == "1" { "" } else { &self.budget.unit }
    }

    /// The uncertainty that numbers are rounded by.
    pub(super) fn scale(&self) -> f64 {
        let summary = self.trials.as_ref().map(|trials| &trials.summary);
        let known = [summary.map(|s| s.standard_deviation), Some(self.budget.standard_uncertainty())];
        let interval = || summary.map_or(0.0, |s| 0.25 * (s.interval_symmetric[1] - s.interval_symmetric[0]));
        known.into_iter().flatten().find(|u| u.is_finite() && *u > 0.0).unwrap_or_else(interval)
    }

    /// As many digits as values of the measurand are worth.
    pub(super) fn digits(&self) -> Digits {
        Digits::worth(self.budget.estimate, self.scale(), 3)
    }

    pub(super) fn expanded(&self) -> f64 {
        let [low, high] = self.budget.coverage_interval();
        0.5 * (high - low)
    }

    pub(super) fn combined(&self) -> f64 {
        self.budget.standard_uncertainty()
    }

    /// The result by the law of propagation, as the beginning of a sentence.
    pub(super) fn linear(&self) -> String {
        let (name, unit) = (self.name(), self.unit());
        let p = percent(self.budget.coverage_probability);
        let estimate = significant(self.budget.estimate, 15);
        if self.combined() > 0.0 {
            let rounded = Rounded::of(self.budget.estimate, self.expanded(), 2);
            let k = self.budget.coverage_factor;
            return format!("{name} = {rounded}{unit}, an expanded uncertainty for {p} (k = {k:.2})");
        }
        if self.budget.inputs.iter().all(|row| row.standard_uncertainty == 0.0) {
            return format!(
                "{name} = {estimate}{unit} exactly, since all its inputs are taken as exactly known"
            );
        }
        format!("{name} = {estimate}{unit}, with an uncertainty of 0 by the law of propagation")
    }

    /// What is to be said where the terms that the law leaves out weigh more than those it has.
    pub(super) fn too_far_from_linear(&self) -> Option<String> {
        let budget = &self.budget;
        let u = budget.combined_standard_uncertainty;
        let neglected = budget.neglected_variance;
        let uncertain = budget.inputs.iter().any(|row| row.standard_uncertainty > 0.0);
        let what = match neglected {
            _ if u == 0.0 && uncertain && budget.second_order.is_none() => format!(
                "To first order the uncertainty of {} is 0, though its inputs are uncertain: all their contributions vanish or \
                 cancel at the estimates",
                self.name()
            ),
            Some(more) if u > 0.0 && more.abs() > u * u => format!(
                "The terms of the next higher order (GUM 5.1.2, note) are larger than those of the first in the variance of \
                 {}: they come to {} times as much",
                self.name(),
                plain(more / (u * u), Digits::Significant(2))
            ),
            _ => return None,
        };
        let instead = match neglected {
            Some(more) if u * u + more > 0.0 => format!(
                "; with them the combined standard uncertainty is {}{}. Use --order 2, or Monte Carlo.",
                plain(libm::sqrt(u * u + more), Digits::Significant(3)),
                self.unit()
            ),
            _ => ". Use Monte Carlo.".to_string(),
        };
        Some(what + &instead)
    }

    /// The budget in the columns of the GUM.
    pub(super) fn table(&self) -> Table {
        budget_table(&self.budget, &format!("Budget of {}", self.name()))
    }

    /// The terms of the next higher order, if they were asked for.
    pub(super) fn higher_terms(&self) -> Option<Table> {
        /// Terms below this part of the variance are left to the JSON document.
        const NOTHING: f64 = 1e-6;
        let second = self.budget.second_order.as_ref()?;
        let least = NOTHING * second.combined_standard_uncertainty.powi(2);
        let unit = self.unit();
        let caption = format!(
            "Terms of the next higher order (GUM 5.1.2, note, with each input's own third and fourth moment): with them the \
             combined standard uncertainty is {}{unit} and \
             the expanded uncertainty {}{unit}; the expectation lies {}{unit} from the estimate",
            plain(second.combined_standard_uncertainty, Digits::Significant(3)),
            plain(second.expanded_uncertainty, Digits::Significant(3)),
            plain(second.expectation_shift, Digits::Significant(2)),
        );
        let digits = Digits::Significant(3);
        let root = |variance: f64| libm::sqrt(variance.abs()).copysign(variance);
        let table = Table::of(caption, second.terms.iter().filter(|term| term.variance.abs() > least))
            .text("input", |term| term.first.as_str())
            .text("with", |term| term.second.as_str())
            .number("adds to the variance", "", digits, |term| term.variance)
            .number("its square root", self.plain_unit(), digits, |term| root(term.variance))
            .table();
        (!table.rows.is_empty()).then_some(table)
    }

    /// Both ways beside each other, with the verdict of JCGM 101 clause 8.
    pub(super) fn comparison(&self) -> Option<Table> {
        let trials = self.trials.as_ref()?;
        let (s, digits, unit) = (&trials.summary, self.digits(), self.plain_unit());
        let order = if self.budget.second_order.is_some() { "with higher-order terms" } else { "linear" };
        let law = trials.validation.map(|_| {
            let way = format!("law of propagation, {order}");
            (way, self.budget.estimate, self.combined(), self.budget.coverage_interval())
        });
        let by_trials = [("symmetric", s.interval_symmetric), ("shortest", s.interval_shortest)];
        let by_trials = by_trials.map(|(kind, ends)| {
            (format!("Monte Carlo, {kind} interval"), s.mean, s.standard_deviation, ends)
        });
        let (p, name, n) = (percent(self.budget.coverage_probability), self.name(), trials.values.len());
        let caption = match &trials.validation {
            None => format!("{p} of {name} by Monte Carlo ({n} trials)"),
            Some(validation) => format!(
                "Two ways to {p} of {name} ({n} trials): {}",
                self.agreement(validation, kind_name(trials.interval))
            ),
        };
        let table = Table::of(caption, law.into_iter().chain(by_trials))
            .text("way", |(way, ..)| way.clone())
            .number("estimate", unit, digits, |(_, estimate, ..)| *estimate)
            .number("standard uncertainty", unit, Digits::Significant(3), |(_, _, u, _)| *u)
            .number("from", unit, digits, |(.., ends)| ends[0])
            .number("to", unit, digits, |(.., ends)| ends[1]);
        Some(table.table())
    }

    /// Whether the result by the law may be used, and by how much it misses that of the trials.
    pub(super) fn agreement(&self, validation: &Validation, judged: &str) -> String {
        let verdict = match (validation.is_decided, validation.linear_result_may_be_used) {
            (false, _) => "is not shown to be fit for use",
            (true, true) => "may be used",
            (true, false) => "may not be used",
        };
        let digits_asked = match validation.significant_digits {
            1 => "1 significant digit".to_string(),
            n => format!("{n} significant digits"),
        };
        let far = |d: f64| plain(d, Digits::Significant(2));
        let unit = self.unit();
        let luck = match validation.is_decided {
            true => String::new(),
            false => format!(
                "; the ends by Monte Carlo scatter by {} and {}{unit} from run to run, which is too much to tell: more \
                 trials are needed, or fewer digits, as with --digits 1",
                far(validation.end_scatter[0]),
                far(validation.end_scatter[1])
            ),
        };
        format!(
            "the result by the law {verdict} (JCGM 101 clause 8: the ends of the {judged} interval are {} and {}{unit} apart, \
             and {}{unit} is allowed for {digits_asked} of the standard uncertainty{luck})",
            far(validation.d_low),
            far(validation.d_high),
            plain(validation.delta, Digits::Significant(1)),
        )
    }

    /// How likely it keeps its limits: by the law where it may be used or stands alone, else by Monte Carlo.
    pub(super) fn judged(&self) -> Option<Judged> {
        let budget = &self.budget;
        let law = budget.no_law.is_none().then_some(ByLaw {
            estimate: budget.estimate,
            standard_uncertainty: self.combined(),
            degrees_of_freedom: budget.effective_degrees_of_freedom,
        });
        let decides = self.trials.as_ref().is_none_or(|trials| {
            trials.validation.is_some_and(|validation| validation.linear_result_may_be_used)
        });
        let trials = self.trials.as_ref().map(|trials| match trials.summary.mean {
            mean if mean.is_finite() => (mean, &*trials.values),
            _ => (budget.estimate, &*trials.values),
        });
        self.limits?.judge(law, trials, decides)
    }

    /// The same in words.
    pub(super) fn conformity(&self) -> Option<String> {
        let (limits, judged) = (self.limits?, self.judged()?);
        let (name, unit, asked) = (self.name(), self.unit(), percent(limits.asked));
        let limit = |limit: f64| format!("{}{unit}", significant(limit, 10));
        let kept = match limits.tolerance {
            [Some(low), Some(high)] => format!("the limits {} and {}", limit(low), limit(high)),
            [Some(low), None] => format!("the lower limit {}", limit(low)),
            [_, high] => format!("the upper limit {}", limit(high.unwrap_or(f64::NAN))),
        };
        let accepted =
            judged.acceptance.map(|ends| match ends.map(|end| end.map(|end| plain(end, self.digits()))) {
                [Some(low), Some(high)] => format!("from {low} to {high}{unit}"),
                [Some(low), None] => format!("from {low}{unit}"),
                [_, high] => format!("up to {}{unit}", high.unwrap_or_default()),
            });
        let accepted = match (accepted, judged.guard_band) {
            (Some(accepted), Some(band)) => format!(
                " Estimates {accepted} keep each limit, for itself, with {asked} (guard band {}{unit}).",
                plain(band, Digits::Significant(2))
            ),
            (Some(accepted), None) => format!(" Estimates {accepted} are accepted, as the file has it."),
            (None, _) if limits.prior.is_some() => {
                " There are no acceptance limits to tell global risks by: write them as \
                                                     \"acceptance\"."
                    .to_string()
            }
            (None, _) => String::new(),
        };
        let global = judged.global_risks.zip(limits.prior).map_or(String::new(), |(risks, prior)| {
            format!(
                " Of all that are measured ({}), {} conform; so accepted, {} would be accepted and not conform (global \
                 consumer's risk), and {} rejected though they conform (global producer's risk).",
                described(&prior, &self.budget.unit),
                probability(risks.conforming),
                probability(risks.consumers),
                probability(risks.producers),
            )
        });
        Some(format!(
            "Conformity (JCGM 106): {name} keeps {kept} with a probability of {}: {}. Accepted, it fails to conform with {} \
             (specific consumer's risk); rejected, it conforms with {} (specific producer's risk).{accepted}{global}",
            probability(judged.probability),
            match judged.verdict {
                Verdict::Undecided => format!("undecided, where {asked} is asked for"),
                verdict => conforms(verdict).to_string(),
            },
            probability(1.0 - judged.probability),
            probability(judged.probability),
        ))
    }

    /// How well adaptive trials have settled, in a sentence.
    pub(super) fn settled(&self) -> Option<String> {
        let c = self.trials.as_ref()?.convergence?;
        let reached = c.reached.iter().copied().fold(0.0, f64::max);
        let unit = self.unit();
        let figure = |value: f64| plain(value, Digits::Significant(2));
        let outcome = if c.has_settled {
            "is reached"
        } else {
            "is not reached, and the trials ended at the largest number allowed"
        };
        let plural = if c.significant_digits == 1 { "digit" } else { "digits" };
        Some(format!(
            "Trials were run until {} significant {plural} of the standard uncertainty of {} would stand (JCGM 101 7.9): twice \
             the standard deviation of the least settled figure is {}{unit}; the aim of {}{unit} (numerical tolerance \
             {}{unit}, a fifth of it for the comparison) {outcome}.",
            c.significant_digits,
            self.name(),
            figure(reached),
            figure(c.aimed_at),
            figure(c.delta),
        ))
    }

    /// How the result may be stated (GUM 7.2.2 to 7.2.4 for the linear result).
    pub(super) fn statement(&self) -> String {
        let (name, unit) = (self.name(), self.unit());
        let p = percent(self.budget.coverage_probability);
        let may_be_used = |t: &&TrialsReport| t.validation.is_some_and(|v| v.linear_result_may_be_used);
        if let Some(trials) = self.trials.as_ref().filter(|t| !may_be_used(t)) {
            let s = &trials.summary;
            // What has no standard deviation is stated by its interval alone.
            let standard = match s.standard_deviation.is_finite() {
                true => Rounded::of(s.mean, s.standard_deviation, 2),
                false => Rounded {
                    estimate: plain(self.budget.estimate, self.digits()),
                    uncertainty: String::new(),
                },
            };
            let with = match standard.uncertainty.as_str() {
                "" => String::new(),
                u => format!(" with a standard uncertainty of {u}{unit}"),
            };
            let [low, high] = trials.interval.of(s).map(|end| plain(end, self.digits()));
            return format!(
                "To state: {name} = {}{unit}{with}; the {} coverage interval for {p} runs \
                 from {low}{unit} to {high}{unit}, by propagation of distributions with {} Monte Carlo trials.",
                standard.estimate,
                kind_name(trials.interval),
                trials.values.len(),
            );
        }
        if self.combined() == 0.0 {
            return format!("To state: {}.", self.linear());
        }
        let combined = Rounded::of(self.budget.estimate, self.combined(), 2);
        let expanded = Rounded::of(self.budget.estimate, self.expanded(), 2);
        let nu = self.budget.coverage_degrees_of_freedom;
        let from = if nu.is_finite() {
            format!("the t-distribution with {} degrees of freedom", plain(nu, Digits::Full))
        } else {
            "the normal distribution".to_string()
        };
        format!(
            "To state: {name} = ({expanded}){unit}, where the number after the sign is an expanded uncertainty U = k u_c, with \
             the combined standard uncertainty u_c = {}{unit} and the coverage factor k = {:.2} from {from}; the interval \
             has a coverage probability of about {p}. Or, with the standard uncertainty alone: {name} = {}{unit}, the \
             number in brackets being u_c in units of the last digits.",
            combined.uncertainty,
            self.budget.coverage_factor,
            combined.concise(),
        )
    }

    /// Histogram of the trials with the density of the linear result over it; none without trials.
    pub(super) fn histogram(&self) -> Option<Svg> {
        let trials = self.trials.as_ref()?;
        let budget = &self.budget;
        let digits = self.digits();
        let s = &trials.summary;
        let p = percent(s.coverage_probability);
        let labels = [format!("{p}, symmetric"), format!("{p}, shortest"), format!("{p}, by the law")];
        let interval = |label, [low, high]: [f64; 2]| Interval { label, low, high };
        let mut intervals = vec![
            interval(labels[0].as_str(), s.interval_symmetric),
            interval(labels[1].as_str(), s.interval_shortest),
        ];
        if budget.no_law.is_none() {
            intervals.push(interval(labels[2].as_str(), budget.coverage_interval()));
        }
        if trials.interval == IntervalKind::Shortest {
            intervals.swap(0, 1);
        }
        let nu = budget.coverage_degrees_of_freedom;
        let (y, u) = (budget.estimate, self.combined());
        let shape = if nu.is_finite() {
            format!("t with {} degrees of freedom, by the law of propagation", plain(nu, Digits::Full))
        } else {
            "normal, by the law of propagation".to_string()
        };
        let density = |x: f64| t_density((x - y) / u, nu) / u;
        let mean = format!("mean {}{}", typeset(s.mean, digits), self.unit());
        let mark = [Mark { label: &mean, at: s.mean }];
        let title = format!("{} by Monte Carlo", self.name());
        let histogram = Histogram {
            title: &title,
            axis: self.name(),
            unit: self.plain_unit(),
            counted: "trials",
            name: "Monte Carlo",
            values: &trials.values,
            outlines: &[],
            intervals: &intervals,
            marks: if s.mean.is_finite() { &mark } else { &[] },
            density: (u > 0.0).then_some(Density { name: &shape, of: &density }),
            digits,
        };
        Some(histogram.svg())
    }

    /// Bars of the inputs' shares in the combined variance; none where there is no such variance.
    pub(super) fn contributions(&self) -> Option<Svg> {
        let u = self.budget.combined_standard_uncertainty;
        if u.is_nan() || u == 0.0 {
            return None;
        }
        let bars: Vec<Bar> = self
            .budget
            .inputs
            .iter()
            .filter(|row| row.standard_uncertainty > 0.0)
            .map(|row| Bar {
                label: &row.name,
                first_order: Share { value: row.share, interval: None },
                total: None,
            })
            .collect();
        let mut largest = bars;
        largest.sort_by(|a, b| b.first_order.value.abs().total_cmp(&a.first_order.value.abs()));
        largest.truncate(16);
        let title = format!("What the uncertainty of {} comes from", self.name());
        Some(
            Bars {
                title: &title,
                axis: "share of the combined variance",
                unit: BarUnit::Percent,
                bars: &largest,
            }
            .svg(),
        )
    }
}

pub(super) fn kind_name(kind: IntervalKind) -> &'static str {
    match kind {
        IntervalKind::Symmetric => "symmetric",
        IntervalKind::Shortest => "shortest",
    }
}
