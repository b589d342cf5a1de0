//! What `recall` says, for machines.

use super::*;

impl RecallReport<'_> {
    pub(super) fn as_document(&self) -> RecallDocument {
        let h = self.heights();
        RecallDocument {
            title: inert(&self.setup.title),
            traceability: self.setup.traceability.clone(),
            date: self.date.map(inert),
            answer: self.answer(),
            explanation: self.explanations(),
            unit: self.setup.unit.symbol().into(),
            as_on: self.question.today.to_string(),
            tolerance: h.of(self.tolerance.value),
            tolerance_name: inert(&self.tolerance.name),
            risk: self.question.risk,
            costs: self.question.costs,
            plates: self.by_urgency().map(|of| self.plate_document(&of)).collect(),
            refused: self
                .refused
                .iter()
                .map(|plate| RefusedDocument {
                    name: inert(&plate.name),
                    faults: plate.faults.iter().map(|fault| inert(&fault.to_string())).collect(),
                })
                .collect(),
            seed: self.question.settings.seed,
            setup_digest: self.setup.digest.clone(),
            history_digest: self.history.digest.clone(),
            version: crate::VERSION.into(),
        }
    }

    pub(super) fn plate_document(&self, of: &Of) -> PlateDocument {
        let day = |years: f64| self.day(years).to_string();
        let own = of.own.setup.as_ref().map_or(self.setup, |(_, setup)| setup);
        let reading = |reading: &RecordReading| ReadingDocument {
            left_out_lines: reading.left_out.iter().map(|&entry| of.rows[entry].line).collect(),
            send_out_by: reading.due.map(day),
        };
        let forecast = of.plan.forecast.iter().map(|(years, flatness, out)| ForecastDocument {
            date: day(*years),
            flatness: self.interval_document(flatness),
            out_probability: *out,
        });
        PlateDocument {
            name: inert(&of.record.name),
            tolerance: self.heights().of(of.tolerance.value),
            tolerance_name: inert(&of.tolerance.name),
            setup_digest: own.digest.clone(),
            usage: of.record.usage,
            send_out_by: of.plan.due.map(day),
            out_probability: of.plan.out_today(),
            flatness: self.interval_document(&of.plan.wear.today),
            wear_per_year: self.interval_document(&of.plan.wear.rate),
            entries: of.entries().map(|(entry, row, fit)| self.entry_document(entry, row, fit)).collect(),
            readings: of.plan.readings.iter().map(reading).collect(),
            forecast: forecast.collect(),
            by_cost: of.plan.by_cost.as_ref().map(|by_cost| self.cost_document(by_cost)),
        }
    }

    pub(super) fn interval_document(&self, interval: &Interval) -> IntervalDocument {
        let [estimate, from, to] = three(interval).map(|height| self.heights().of(height));
        IntervalDocument { estimate, from, to }
    }

    pub(super) fn entry_document(&self, entry: &Entry, row: &HistoryRow, fit: &EntryFit) -> EntryDocument {
        let h = self.heights();
        EntryDocument {
            line: row.line,
            date: entry.day.to_string(),
            kind: row.kind.name().into(),
            value: row.value.map(|value| h.of(value)),
            expanded_uncertainty: row.expanded.map(|expanded| h.of(expanded)),
            coverage_factor: row.factor,
            file: inert(&row.file),
            remark: inert(&row.remark),
            is_left_out: matches!(fit, EntryFit::LeftOut(_)),
            alone: fit.alone().map(|alone| self.interval_document(&alone)),
            with_all_others: fit.counted().map(|fit| self.interval_document(&fit.fitted)),
            p_value: p_value(fit),
        }
    }

    pub(super) fn cost_document(&self, by_cost: &CostPlan) -> CostPlanDocument {
        let check = |check: &CheckWorth| CheckDocument {
            check: match check.check {
                CheckKind::Spread => "spread",
                CheckKind::Readings => "readings",
                CheckKind::Certificate => "certificate",
                CheckKind::Perfect => "exact",
            }
            .into(),
            standard_uncertainty: check.standard_uncertainty.map(|u| self.heights().of(u)),
            worth: check.worth,
        };
        let reached = by_cost.least.filter(|(least, _)| least.is_reached);
        CostPlanDocument {
            least_cost_date: reached.map(|(least, _)| self.day(least.years).to_string()),
            acceptable_risk: by_cost.least.map(|(_, risk)| risk),
            years_between: by_cost.cycle.map(|cycle| cycle.years),
            cost_per_year: by_cost.cycle.map(|cycle| cycle.cost_per_year),
            stated_risk_costs_more: by_cost.risk_costs_more,
            checks: by_cost.checks.iter().map(check).collect(),
        }
    }
}

/// When plates go out. Heights are in `unit`; days are written year-month-day.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(title = "howflat recall")]
pub struct RecallDocument {
    /// What the check is called.
    title: String,
    /// Numbers and dates of what was used, and who checked.
    traceability: Traceability,
    /// The date of the report as the user gave it; null where none was given.
    date: Option<String>,
    /// What to send when, in one sentence.
    answer: String,
    /// What is to be said besides, a sentence or two each.
    explanation: Vec<String>,
    /// Unit of all heights.
    unit: String,
    /// The day for which all is said.
    as_on: String,
    /// The largest flatness deviation that is good.
    tolerance: f64,
    /// Where it comes from.
    tolerance_name: String,
    /// The probability of being out of tolerance at which a plate goes out.
    risk: f64,
    /// What being early and being late cost; null where it is not given.
    costs: Option<Costs>,
    /// The plates, the most urgent first.
    plates: Vec<PlateDocument>,
    /// Plates of which nothing is said, since a row cannot be used or the record contradicts itself.
    refused: Vec<RefusedDocument>,
    /// Seed of all random numbers.
    seed: u64,
    /// SHA-256 of what the setup says.
    setup_digest: String,
    /// SHA-256 of the history and of all files that it names.
    history_digest: String,
    /// Version of the program.
    version: String,
}

/// A plate of which nothing is said.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct RefusedDocument {
    /// What it is called.
    name: String,
    /// What is wrong, with line and column.
    faults: Vec<String>,
}

/// A way to read a record whose entries contradict one another.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct ReadingDocument {
    /// Lines of the history that do not count.
    left_out_lines: Vec<usize>,
    /// The day on which the risk is reached by it; null where it is not in the years that were looked at.
    send_out_by: Option<String>,
}

/// One plate.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct PlateDocument {
    /// What it is called; empty where the history names none.
    name: String,
    /// The largest flatness deviation that is good.
    tolerance: f64,
    /// Where that comes from.
    tolerance_name: String,
    /// SHA-256 of what the setup says by which it is checked.
    setup_digest: String,
    /// How much it is used, over the usual.
    usage: f64,
    /// The day on which the risk is reached, today where it is already; null where it is not in the years that were looked at.
    send_out_by: Option<String>,
    /// Probability of being out of tolerance today.
    out_probability: f64,
    /// The flatness deviation today.
    flatness: IntervalDocument,
    /// How much it grows in a year.
    wear_per_year: IntervalDocument,
    /// What is on record, in order of time.
    entries: Vec<EntryDocument>,
    /// Where entries contradict one another, the ways to read them, the one that holds first; else empty.
    readings: Vec<ReadingDocument>,
    /// What is to be expected.
    forecast: Vec<ForecastDocument>,
    /// What costs say; null where none were given.
    by_cost: Option<CostPlanDocument>,
}

/// An estimate with its 95 % interval (probabilistically symmetric).
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct IntervalDocument {
    /// The estimate.
    estimate: f64,
    /// Lower end.
    from: f64,
    /// Upper end.
    to: f64,
}

/// One row of the history.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct EntryDocument {
    /// Line of the history file.
    line: usize,
    /// The day, year-month-day.
    date: String,
    /// "certificate", "shop check" or "resurfacing".
    kind: String,
    /// The flatness deviation or the spread as written; null where there is none.
    value: Option<f64>,
    /// The U as written; null where there is none.
    expanded_uncertainty: Option<f64>,
    /// The coverage factor as taken; null where U is the half-width of limits, or absent.
    coverage_factor: Option<f64>,
    /// The file that was named, or empty.
    file: String,
    /// The remark.
    remark: String,
    /// Whether it does not count, since it contradicts others.
    is_left_out: bool,
    /// The flatness deviation by this entry alone; null where it was passed over.
    alone: Option<IntervalDocument>,
    /// The flatness deviation on that day by all entries that count; null where it does not.
    with_all_others: Option<IntervalDocument>,
    /// Chance of a finding at least as far from what those before it make likely; null for a resurfacing.
    p_value: Option<f64>,
}

/// A day ahead.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct ForecastDocument {
    /// The day, year-month-day.
    date: String,
    /// The flatness deviation.
    flatness: IntervalDocument,
    /// Probability of being out of tolerance.
    out_probability: f64,
}

/// What costs say.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct CostPlanDocument {
    /// The date of least expected cost; null where a recalibration costs more than it prevents, or where it lies beyond
    /// the years that were looked at.
    least_cost_date: Option<String>,
    /// The risk that the costs are worth.
    acceptable_risk: Option<f64>,
    /// Years from one recalibration to the next, from then on.
    years_between: Option<f64>,
    /// Cost a year, from then on.
    cost_per_year: Option<f64>,
    /// By how much the date of the stated risk costs more.
    stated_risk_costs_more: Option<f64>,
    /// What one more check today is worth, before its own cost.
    checks: Vec<CheckDocument>,
}

/// A check and what it is worth.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct CheckDocument {
    /// "spread", "readings", "certificate" or "exact".
    check: String,
    /// Its standard uncertainty, where it is one.
    standard_uncertainty: Option<f64>,
    /// By how much it lowers the expected cost.
    worth: f64,
}
