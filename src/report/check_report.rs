//! The report on a simulated shop check: how far it can be from the plate's true flatness.

use super::{
    Report,
    budget_table::budget_table,
    chart::{
        Mark,
        bars::{Bar, BarUnit, Bars, Share as BarShare},
        curves::{Band, Curve, Curves, Tone},
        histogram::{Histogram, Interval, Outline},
        plate_map::{MapTarget, PlateMap},
    },
    document::BudgetDocument,
    heights::Heights,
    leaning::{ErrorEndDocument, LeaningDocument, LeansOn},
    lever_view::LeverView,
    number::{Digits, about_percent, full, plain},
    page::{LIMITS_OF_USE, Page, Part, ending, short_digest},
    picture::Svg,
    setup_words,
    survey_marks::{in_plan, stands},
    table::{Cell, Column, Table},
    text, unseen_words,
};
use crate::{
    decision::{
        leaning::ErrorEnd,
        limits::{AcceptancePoint, Limits, OperatingPoint, acceptance},
        verdict_curve::VerdictPoint,
    },
    propagation::{
        law::Budget,
        monte_carlo::Validation,
        shares::Share,
        simulation::{ModelBased, Simulation, Way, WayKind},
    },
    quantity::{
        sample::Summary,
        unit::{MICROMETRE, MILLIMETRE, Measure},
    },
    setup::{Assumption, Setup},
    shop::visibility::{INVISIBLE, Visibility},
};
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// Everything a report on a simulated check is made from; every number it shows is here.
#[derive(Debug, Clone)]
pub struct CheckReport<'a> {
    /// The setup that was simulated.
    pub setup: &'a Setup,
    /// What the simulation found.
    pub simulation: &'a Simulation,
    /// What each way of reading can decide, in the order of the simulation's ways; empty without a
    /// tolerance.
    pub limits: Vec<Limits>,
    /// How often the verdict from readings passes a plate, by its flatness; empty without a tolerance.
    pub verdicts: Vec<VerdictPoint>,
    /// How far the error of the spread leans on what was assumed.
    pub leans_on: LeansOn<ErrorEnd>,
    /// The date of the report, as the user gave it.
    pub date: Option<&'a str>,
}

impl Report for CheckReport<'_> {
    type Document = CheckDocument;

    fn page(&self) -> Page {
        let mut answer = vec![self.answer()];
        answer.extend(self.card_sentence());
        answer.extend(self.leans_on.turning());
        answer.extend(self.blindness());
        let mut parts: Vec<Part> = self.card().map(Part::Card).into_iter().collect();
        parts.extend([Part::Next("What to do next".into()), Part::List(self.next_steps())]);
        parts.extend([
            Part::heading("How far the check is from the truth"),
            Part::Table(self.ways()),
            Part::Words(self.rule_sentence()),
            Part::picture(
                "histogram",
                self.histogram(),
                "Error of the check over all simulated plates, with its coverage intervals and its mean.",
            ),
        ]);
        parts.extend(self.leans_on.parts(self.heights()));
        parts.push(Part::heading("What was taken for granted"));
        parts.extend(setup_words::granted(self.setup));
        parts.extend([
            Part::heading("The budget of one reading"),
            Part::Table(self.budget()),
            Part::Table(self.linear()),
            Part::heading("Where the error comes from"),
            Part::Table(self.parts()),
            Part::picture(
                "shares",
                self.shares_picture(),
                "Share of each source in the variance of the spread's error; whiskers show what the number of trials \
                 leaves open.",
            ),
            Part::Table(self.shares()),
        ]);
        parts.extend(self.lever());
        if let (Some(card), Some(operating)) = (self.card_picture(), self.operating_picture()) {
            parts.extend([
                Part::heading("What the check can decide"),
                Part::picture("limits", card, "The chance that a plate is bad, given the spread that was read."),
                Part::picture(
                    "operating",
                    operating,
                    "Operating curve: the chance that a plate is accepted, against its true flatness. A good check falls \
                     steeply at the tolerance.",
                ),
            ]);
        }
        parts.extend(self.verdict_table().map(Part::Table));
        parts.extend([
            Part::heading("What the check sees of the plate"),
            Part::picture(
                "plate",
                self.plate(),
                "A plate of median flatness among those simulated, with feet, arm and targets drawn on it.",
            ),
            Part::Table(self.visibility()),
        ]);
        parts.extend(ending(Some(RESTS_ON_DESCRIPTION), LIMITS_OF_USE, &REFERENCES));
        let s = &self.simulation.settings;
        let mut facts = setup_words::facts(self.setup, self.setup.tolerance.as_ref(), self.date);
        facts.push(["run".into(), format!("{} trials, seed {}", s.n_trials, s.seed)]);
        Page {
            kind: "What a shop check of a surface plate can tell".into(),
            title: self.setup.title.clone(),
            facts,
            answer,
            parts,
            provenance: self.provenance(),
            for_signature: true,
            ..Page::default()
        }
    }

    fn document(&self) -> CheckDocument {
        let s = self.simulation;
        let h = self.heights();
        let summary = |summary: &Summary| summary.map(|value| h.of(value));
        let readings = s.ways.iter().enumerate().map(|(i, way)| {
            let (result, error) = (summary(&way.result), summary(&way.error));
            let limits = self.limits.get(i).map(|limits| self.limits_document(Some(limits)));
            (way_key(way.kind).to_string(), WayDocument { result, error, limits })
        });
        let hidden = s.visibilities.iter().filter(|v| v.spread < INVISIBLE);
        CheckDocument {
            title: text::inert(&self.setup.title),
            date: self.date.map(text::inert),
            answer: self.answer(),
            unit: self.setup.unit.symbol().into(),
            trials: s.settings.n_trials,
            seed: s.settings.seed,
            setup_digest: self.setup.digest.clone(),
            version: crate::VERSION.into(),
            stand: self.setup.check.survey.stand_use.name().into(),
            true_flatness: summary(&s.true_flatness),
            readings: readings.collect(),
            model_based: s.model_based.as_ref().map(|judged| ModelBasedDocument {
                trials: judged.n_trials,
                result: summary(&judged.result),
                error: summary(&judged.error),
                intervals_that_hold_the_truth: judged.n_covered,
                mean_width: h.of(judged.mean_width),
            }),
            fitted_rule: RuleDocument {
                constant: h.of(s.rule.constant),
                per_spread: s.rule.per_spread,
                per_levelled: s.rule.per_levelled,
                most_spread: h.of(s.rule.most_spread),
                most_levelled: h.of(s.rule.most_levelled),
            },
            error_of_form: summary(&s.form_error),
            error_of_disturbances: summary(&s.disturbance_error),
            cannot_see: hidden.map(|v| self.form_name(v)).collect(),
            visibility: s.visibilities.iter().map(|v| self.visibility_document(v)).collect(),
            shares: s.shares.clone(),
            share_trials: s.n_share_trials,
            limits: self.limits_document(self.limits.first()),
            verdicts: self.verdicts.iter().map(VerdictDocument::from).collect(),
            leans_on: self.leans_on.documents(h),
            acceptance: self.acceptances().iter().map(|rule| self.acceptance_document(rule)).collect(),
            budget: BudgetDocument::from(self.in_unit(&s.budget.of_reading)),
            linear: LinearDocument {
                budget: BudgetDocument::from(self.in_unit(&s.budget.of_difference)),
                validation: s.validation.in_unit(h.of(1.0)),
            },
            assumptions: self.setup.assumptions.clone(),
        }
    }

    fn tables(&self) -> Vec<(String, Table)> {
        let tables =
            [("budget", Some(self.budget())), ("limits", self.operating()), ("operating", self.acceptance())];
        tables.into_iter().filter_map(|(name, table)| Some((name.into(), table?))).collect()
    }

    fn in_pixels(&self, picture: &str) -> bool {
        picture == "histogram"
    }

    fn more_files(&self) -> Vec<(String, Vec<u8>)> {
        vec![("budget.md".into(), self.budget().markdown().into_bytes())]
    }
}

impl<'a> CheckReport<'a> {
    /// Puts a report together, judging the ways of reading against the setup's tolerance.
    pub fn new(setup: &'a Setup, simulation: &'a Simulation) -> Self {
        let judge = |way: &Way, tolerance: f64| {
            Limits::new(&simulation.flatness, &way.results, tolerance, setup.consumer_risk)
        };
        let limits = setup
            .tolerance
            .iter()
            .flat_map(|tolerance| simulation.ways.iter().map(|way| judge(way, tolerance.value)));
        Self {
            setup,
            simulation,
            limits: limits.collect(),
            verdicts: Vec::new(),
            leans_on: LeansOn::default(),
            date: None,
        }
    }

    /// The answer, in one sentence or two.
    pub fn answer(&self) -> String {
        let error = &self.simulation.ways[0].error;
        let [low, high] = error.interval_symmetric;
        let covered = about_percent(error.coverage_probability);
        let reach = if low >= 0.0 {
            format!(
                "between {} and {} more than the plate's true flatness",
                self.heights().bare(low),
                self.heights().text(high)
            )
        } else if high <= 0.0 {
            format!(
                "between {} and {} less than the plate's true flatness",
                self.heights().bare(-high),
                self.heights().text(-low)
            )
        } else {
            let (less, more) = (self.heights().text(-low), self.heights().text(high));
            format!("anything from {less} less to {more} more than the plate's true flatness")
        };
        let bias = match error.mean {
            mean if mean.abs() < self.resolution() => "neither too much nor too little".to_string(),
            mean if mean > 0.0 => format!("{} too much", self.heights().text(mean)),
            mean => format!("{} too little", self.heights().text(-mean)),
        };
        format!("In {covered} of such checks the spread reads {reach}; on average it reads {bias}.")
    }

    /// What may be done with a spread, in a sentence; `None` without a tolerance.
    pub fn card_sentence(&self) -> Option<String> {
        let tolerance = self.setup.tolerance.as_ref()?;
        let limits = self.limits.first()?;
        let name = format!("{} ({})", self.heights().text(tolerance.value), tolerance.name);
        let risk = about_percent(limits.risk);
        if !limits.decides {
            return Some(format!(
                "For {name} this check has nothing to decide: of plates as the setup describes them {} are bad, so it is \
                 the description that judges, not the reading. Describe a worse or a better plate to see what the check \
                 itself can prove.",
                about_percent(limits.bad_before_reading)
            ));
        }
        let accept = match limits.accept_at_or_below {
            Some(limit) => format!(
                "accept the plate up to a spread of {} ({} of good plates pass that)",
                self.heights().text(limit),
                limits.good_passed.map_or("none".into(), about_percent)
            ),
            None => "no spread, however small, proves the plate good".to_string(),
        };
        let grains = self.setup.check.cleanliness.grain_chance > 0.0;
        let anew = "wipe plate, feet and block, seat the stand anew and read again";
        let out = match (limits.out_at_or_above, limits.out_at_or_below) {
            (Some(from), Some(to)) => format!(
                "from {} to {} it is out. A larger spread proves less, as a grain under a foot makes any spread: {anew}",
                self.heights().bare(from),
                self.heights().text(to)
            ),
            (Some(limit), None) => format!("from {} on it is out", self.heights().text(limit)),
            (None, _) if grains => format!(
                "no spread, however large, proves it out, as a grain under a foot makes any spread: {anew}, and let \
                 \"howflat judge\" weigh the single readings"
            ),
            (None, _) => {
                "no spread, however large, proves it out; let \"howflat judge\" weigh the single readings"
                    .into()
            }
        };
        Some(format!("For {name} at {risk} risk: {accept}; {out}."))
    }

    /// What this survey cannot see, in a sentence; `None` where it sees every usual shape.
    pub fn blindness(&self) -> Option<String> {
        let shapes = &self.simulation.visibilities;
        let hidden: Vec<String> = shapes
            .iter()
            .filter(|shape| shape.spread < INVISIBLE)
            .map(|shape| self.form_name(shape))
            .collect();
        let weak: Vec<String> = shapes
            .iter()
            .filter(|shape| (INVISIBLE..0.5).contains(&shape.spread))
            .map(|shape| format!("{} ({} of it shows)", self.form_name(shape), about_percent(shape.spread)))
            .collect();
        let mut said = Vec::new();
        if !hidden.is_empty() {
            said.push(format!(
                "This check cannot see, however large: {}. A plate with such a form reads a spread of zero.",
                hidden.join("; ")
            ));
        }
        if !weak.is_empty() {
            said.push(format!("It sees little of: {}.", weak.join("; ")));
        }
        (!said.is_empty()).then(|| said.join(" "))
    }

    /// Use it, read these, send it out: what follows from the card.
    fn next_steps(&self) -> Vec<String> {
        let mut steps = Vec::new();
        let limits = self.limits.first().filter(|limits| limits.decides);
        if let Some(limit) = limits.and_then(|limits| limits.accept_at_or_below) {
            let limit = self.heights().text(limit);
            steps.push(format!(
                "Use it: read the plate; if the spread is {limit} or less, the plate may be used."
            ));
        }
        steps.push(
            "Read these: \"howflat sheet\" prints the spots; \"howflat judge\" says what the readings mean, which is more than \
             their spread does; \"howflat plan\" says what would make the check better."
                .into(),
        );
        steps.push(match limits.and_then(|limits| limits.out_at_or_above) {
            Some(limit) => {
                format!(
                    "Send it out: at a spread of {} or more, or when judge says out.",
                    self.heights().text(limit)
                )
            }
            None => {
                "Send it out: when judge says out, or stays undecided after the readings it asks for.".into()
            }
        });
        steps
    }

    /// What each way of reading gives and how wrong it is.
    fn ways(&self) -> Table {
        let s = self.simulation;
        let mut rows = vec![("true flatness of the plates".to_string(), s.true_flatness)];
        for way in &s.ways {
            rows.extend([(way_name(way.kind).into(), way.result), ("  its error".into(), way.error)]);
        }
        if let Some(ModelBased { n_trials, result, error, .. }) = s.model_based {
            let name = format!("model-based estimate (judge), {n_trials} checks");
            rows.extend([(name, result), ("  its error".into(), error)]);
        }
        let p = about_percent(s.settings.coverage_probability);
        let nothing = || "; no check was judged from its readings".into();
        let covered = s.model_based.as_ref().map_or_else(nothing, |judged| {
            let ModelBased { n_trials, n_covered, mean_width, .. } = judged;
            let width = self.heights().text(*mean_width);
            format!("; judge's intervals, {width} wide on average, hold the truth in {n_covered} of {n_trials} checks")
        });
        Table::of(format!("Ways of reading the same numbers ({p} intervals{covered})"), rows)
            .text("quantity", |(name, _)| name.clone())
            .summary(self.heights(), ["mean", "standard deviation"], |(_, summary)| *summary)
            .table()
    }

    /// The two parts of the spread's error: form and disturbances.
    fn parts(&self) -> Table {
        let rows = [
            ("form, read without any disturbance, minus true flatness", &self.simulation.form_error),
            ("disturbances: stand and block, indicator, heat, rounding", &self.simulation.disturbance_error),
        ];
        let caption =
            "Where the spread's error comes from: what the survey makes of the form, and what disturbs it";
        Table::of(caption, rows)
            .text("part", |(name, _)| *name)
            .height(self.heights(), "mean", |(_, s)| s.mean)
            .height(self.heights(), "standard deviation", |(_, s)| s.standard_deviation)
            .heights(self.heights(), ["symmetric from", "to"], |(_, s)| s.interval_symmetric)
            .table()
    }

    /// The accept / undecided / out card.
    fn card(&self) -> Option<Table> {
        let h = self.heights();
        let limits = self.limits.first()?;
        let unit = h.label();
        let caption = format!(
            "Accept / undecided / out for {} at {} risk ({} of the simulated plates are bad)",
            h.text(limits.tolerance),
            about_percent(limits.risk),
            about_percent(limits.bad_before_reading)
        );
        let limit = |value: Option<f64>| value.map_or(Cell::from("none"), |value| h.cell(value));
        let table = Table::of(caption, self.simulation.ways.iter().zip(&self.limits))
            .text("what was read", |(way, _)| way_name(way.kind))
            .column(Column::numbers("accept at or below", unit), |(_, l)| limit(l.accept_at_or_below))
            .column(Column::numbers("good plates that pass", ""), |(_, l)| {
                l.good_passed.map_or(Cell::Empty, |share| about_percent(share).into())
            })
            .text("undecided", |(_, l)| self.undecided(l))
            .column(Column::numbers("out at or above", unit), |(_, l)| {
                match (l.out_at_or_above, l.out_at_or_below) {
                    (Some(from), Some(to)) => format!("{} to {}", h.bare(from), h.bare(to)).into(),
                    (out, _) => limit(out),
                }
            });
        Some(table.table())
    }

    /// Between which readings a way of reading leaves it open.
    fn undecided(&self, limits: &Limits) -> String {
        let text = |value: f64| self.heights().bare(value);
        let mut undecided = match (limits.accept_at_or_below, limits.out_at_or_above) {
            (Some(accept), Some(out)) => format!("above {}, below {}", text(accept), text(out)),
            (Some(accept), None) => format!("above {}", text(accept)),
            (None, Some(out)) => format!("below {}", text(out)),
            (None, None) => "whatever was read".to_string(),
        };
        if let (Some(_), Some(to)) = (limits.out_at_or_above, limits.out_at_or_below) {
            undecided += &format!("; above {}", text(to));
        }
        undecided
    }

    /// What a limit of acceptance on the spread does, as it moves; `None` without a tolerance.
    pub fn operating(&self) -> Option<Table> {
        let limits = self.limits.first()?;
        let share = Digits::Decimals(3);
        let caption =
            format!("Accepting plates up to a spread, for {}", self.heights().text(limits.tolerance));
        let table = Table::of(caption, &limits.operating)
            .height(self.heights(), "limit", |point| point.limit)
            .number("a bad plate passes", "", share, |point| point.bad_accepted)
            .number("a good plate fails", "", share, |point| point.good_refused)
            .number("bad among passed", "", share, |point| point.bad_among_accepted);
        Some(table.table())
    }

    /// How often a plate is accepted, by its true flatness: where the spread is held against the tolerance itself, as
    /// shops do, and by each limit of the card. Empty without a tolerance.
    fn acceptances(&self) -> Vec<Acceptance> {
        let Some(tolerance) = self.limits.first().map(|limits| limits.tolerance) else { return Vec::new() };
        let by = |way: &Way, limit: f64| Acceptance {
            way: way.kind,
            limit,
            curve: acceptance(&self.simulation.flatness, &way.results, limit),
        };
        let spread = &self.simulation.ways[0];
        let card =
            self.simulation.ways.iter().zip(&self.limits).filter(|(way, _)| way.kind != WayKind::Levelled);
        let card = card.filter_map(|(way, limits)| Some(by(way, limits.accept_at_or_below?)));
        std::iter::once(by(spread, tolerance)).chain(card).collect()
    }

    /// How often the verdict of `judge` passes a plate, by its flatness; `None` where nothing was judged.
    pub fn verdict_table(&self) -> Option<Table> {
        let tolerance = self.setup.tolerance.as_ref().filter(|_| !self.verdicts.is_empty())?.value;
        let caption = format!(
            "Operating curve of the verdict that `judge` gives of such readings against {}: simulated plates of each \
             flatness alike, the good and the bad; what is neither within nor out is undecided",
            self.heights().text(tolerance)
        );
        let table = Table::of(caption, &self.verdicts)
            .heights(self.heights(), ["flatness from", "to"], |point| point.ratio.map(|r| r * tolerance))
            .count("plates judged", |point| point.n)
            .percent("found within", 0, |point| point.n_within as f64 / point.n as f64)
            .percent("95 % interval from", 0, |point| point.within_interval()[0])
            .percent("to", 0, |point| point.within_interval()[1])
            .percent("found out", 0, |point| point.n_out as f64 / point.n as f64);
        Some(table.table())
    }

    /// The operating curves' numbers; `None` without a tolerance.
    pub fn acceptance(&self) -> Option<Table> {
        let rules = self.acceptances();
        let caption = "Share of plates that are accepted, by true flatness";
        let table = Table::of(caption, rules.first()?.curve.iter().enumerate()).height(
            self.heights(),
            "true flatness",
            |(_, point)| point.flatness,
        );
        let by_rules = rules.iter().fold(table, |table, rule| {
            table.number(&self.rule_name(rule), "", Digits::Decimals(3), |(i, _)| rule.curve[*i].accepted)
        });
        Some(by_rules.table())
    }

    /// The chance that a plate is accepted, against its true flatness; `None` without a tolerance.
    pub fn operating_picture(&self) -> Option<Svg> {
        let tolerance = self.limits.first()?.tolerance;
        let rules = self.acceptances();
        let names: Vec<String> = rules.iter().map(|rule| self.rule_name(rule)).collect();
        let points: Vec<Vec<[f64; 2]>> = rules
            .iter()
            .map(|rule| rule.curve.iter().map(|p| [self.heights().of(p.flatness), p.accepted]).collect())
            .collect();
        let curves: Vec<Curve> =
            names.iter().zip(&points).map(|(name, points)| Curve { name, points }).collect();
        let label = format!("tolerance {}", self.heights().text(tolerance));
        let picture = Curves {
            title: "How often a plate is accepted",
            x_axis: "true flatness",
            x_unit: self.heights().label(),
            y_axis: "probability of acceptance",
            y_unit: "",
            y_range: Some([0.0, 1.0]),
            curves: &curves,
            bands: &[],
            limits: &[Mark { label: &label, at: self.heights().of(tolerance) }],
        };
        Some(picture.svg())
    }

    fn rule_name(&self, rule: &Acceptance) -> String {
        format!("{} up to {}", way_name(rule.way), self.heights().text(rule.limit))
    }

    /// Shares of the sources in the variance of the spread's error.
    fn shares(&self) -> Table {
        // What is nothing to three decimals is named in the caption.
        let (shown, small): (Vec<&Share>, Vec<&Share>) =
            self.simulation.shares.iter().partition(|s| s.total.max(s.first_order) >= 0.0005);
        let names: Vec<&str> = small.iter().map(|s| s.source.as_str()).collect();
        let rest =
            if small.is_empty() { String::new() } else { format!("; below 0.0005: {}", names.join(", ")) };
        let caption = format!(
            "Shares of the sources in the variance of the spread's error ({} trials each){rest}",
            self.simulation.n_share_trials
        );
        let digits = Digits::Decimals(3);
        Table::of(caption, shown)
            .text("source", |s| s.source.as_str())
            .number("alone (first order)", "", digits, |s| s.first_order)
            .number("u", "", digits, |s| s.first_order_u)
            .number("in all (total)", "", digits, |s| s.total)
            .number("u", "", digits, |s| s.total_u)
            .text("acts", |s| if s.interacts { "with others" } else { "" })
            .table()
    }

    /// The budget of one reading, in the unit of the report.
    pub fn budget(&self) -> Table {
        let budget = &self.simulation.budget;
        let reading = &self.setup.check.survey.readings[budget.reading];
        let spot = &self.setup.check.survey.spots[reading.spot];
        let caption = format!(
            "Budget of one reading: at \"{}\" from \"{}\", the least certain; a height over its zero",
            spot.target, spot.station
        );
        budget_table(&self.in_unit(&budget.of_reading), &caption)
    }

    /// The linear result for the spread: the difference of two readings.
    fn linear(&self) -> Table {
        let linear = &self.simulation.budget.of_difference;
        let comparison = &self.simulation.validation;
        let verdict = if comparison.linear_result_may_be_used { "may be used" } else { "may not be used" };
        let rows = [
            ("linear: difference of two readings, expanded uncertainty", linear.coverage_interval()),
            ("Monte Carlo, symmetric interval", self.simulation.ways[0].error.interval_symmetric),
        ];
        let caption = format!(
            "The spread's error as a linear budget would have it, beside Monte Carlo: the linear result {verdict} \
             (JCGM 101 clause 8: ends within {})",
            self.heights().text(comparison.delta)
        );
        Table::of(caption, rows)
            .text("way", |(name, _)| *name)
            .heights(self.heights(), ["from", "to"], |(_, ends)| *ends)
            .table()
    }

    /// What a form is called, its size in the plate's unit; a hollow between the spots with its place.
    fn form_name(&self, v: &Visibility) -> String {
        let Some((at, radius)) = v.hollow else {
            return v.shape.replace("80 mm", &self.setup.length_text(80.0));
        };
        let plate = &self.setup.check.plate;
        let across = self.setup.length_text(2.0 * radius);
        format!("{}: {across} across, {}", v.shape, unseen_words::place(at, [plate.length, plate.width]))
    }

    /// How the usual shapes look to the survey.
    fn visibility(&self) -> Table {
        let caption = "What the survey makes of a form: reading over true flatness, nothing disturbed";
        Table::of(caption, &self.simulation.visibilities)
            .text("form", |v| self.form_name(v))
            .number("spread", "", Digits::Decimals(2), |v| v.spread)
            .number("spread off the best-fit plane", "", Digits::Decimals(2), |v| v.levelled)
            .table()
    }

    /// Every trial as CSV, a line each: the plate's true flatness, and what each way of reading gives, in the report's
    /// unit and in full.
    pub fn trials_csv(&self) -> String {
        let unit = self.heights().label();
        let ways = &self.simulation.ways;
        let names = ways.iter().map(|way| format!("{} ({unit})", way_name(way.kind)));
        let header: Vec<String> = std::iter::once(format!("true flatness ({unit})")).chain(names).collect();
        let mut csv = header.join(",");
        csv.push('\n');
        for (trial, &flatness) in self.simulation.flatness.iter().enumerate() {
            let results = ways.iter().map(|way| way.results[trial]);
            let row: Vec<String> = std::iter::once(flatness)
                .chain(results)
                .map(|height| full(self.heights().of(height)))
                .collect();
            csv += &row.join(",");
            csv.push('\n');
        }
        csv
    }

    /// Histogram of the spread's error, with the other ways outlined over it.
    pub fn histogram(&self) -> Svg {
        let in_unit =
            |values: &[f64]| values.iter().map(|&value| self.heights().of(value)).collect::<Vec<_>>();
        let ways: Vec<(&str, Vec<f64>)> =
            self.simulation.ways.iter().map(|way| (way_name(way.kind), in_unit(&way.errors))).collect();
        let outlines: Vec<Outline> =
            ways[1..].iter().map(|(name, values)| Outline { name, values }).collect();
        let error = &self.simulation.ways[0].error;
        let p = about_percent(error.coverage_probability);
        let labels = [format!("{p}, symmetric"), format!("{p}, shortest")];
        let interval = |label, [low, high]: [f64; 2]| Interval {
            label,
            low: self.heights().of(low),
            high: self.heights().of(high),
        };
        let mean = format!("mean {}", self.heights().text(error.mean));
        Histogram {
            title: "How far the check is from the plate's true flatness",
            axis: "what is read minus true flatness",
            unit: self.heights().label(),
            counted: "checks",
            name: ways[0].0,
            values: &ways[0].1,
            outlines: &outlines,
            intervals: &[
                interval(&labels[0], error.interval_symmetric),
                interval(&labels[1], error.interval_shortest),
            ],
            marks: &[
                Mark { label: "no error", at: 0.0 },
                Mark { label: &mean, at: self.heights().of(error.mean) },
            ],
            density: None,
            digits: self.heights().digits(),
        }
        .svg()
    }

    /// Bars of the sources' shares.
    pub fn shares_picture(&self) -> Svg {
        let share =
            |value: f64, u: f64| BarShare { value, interval: Some([value - 2.0 * u, value + 2.0 * u]) };
        let bars: Vec<Bar> = self
            .simulation
            .shares
            .iter()
            .take(12)
            .map(|s| Bar {
                label: &s.source,
                first_order: share(s.first_order, s.first_order_u),
                total: Some(share(s.total, s.total_u)),
            })
            .collect();
        let title = "What the spread's error comes from";
        Bars {
            title,
            axis: "share of the variance of the spread's error",
            unit: BarUnit::Percent,
            bars: &bars,
        }
        .svg()
    }

    /// The chance that a plate is bad, against the spread that was read; `None` without a tolerance.
    pub fn card_picture(&self) -> Option<Svg> {
        let limits = self.limits.first()?;
        // Spreads have a long tail in which nothing changes any more.
        let end = limits
            .operating
            .get(limits.operating.len().saturating_sub(2))
            .map(|point| self.heights().of(point.limit))?;
        let steps: Vec<[f64; 2]> = limits
            .bad_given_result
            .iter()
            .flat_map(|group| {
                group.result.map(|result| [self.heights().of(result).min(end), group.probability])
            })
            .collect();
        let shown = || limits.operating.iter().filter(|point| self.heights().of(point.limit) <= end);
        let refused: Vec<[f64; 2]> = shown().map(|p| [self.heights().of(p.limit), p.good_refused]).collect();
        let accepted: Vec<[f64; 2]> = shown().map(|p| [self.heights().of(p.limit), p.bad_accepted]).collect();
        let [accept, out] =
            [limits.accept_at_or_below, limits.out_at_or_above].map(|l| l.map(|l| self.heights().of(l)));
        let mut bands = Vec::new();
        if let Some(accept) = accept {
            bands.push(Band { label: "accept", from: 0.0, to: accept, tone: Tone::Within });
        }
        let (from, to) = (accept.unwrap_or(0.0), out.unwrap_or(end));
        if from < to {
            bands.push(Band { label: "undecided", from, to, tone: Tone::Undecided });
        }
        if let Some(out) = out {
            let upper =
                limits.out_at_or_below.map_or(end.max(out), |upper| self.heights().of(upper).min(end));
            bands.push(Band { label: "out", from: out, to: upper.max(out), tone: Tone::Out });
            if upper.max(out) < end {
                bands.push(Band { label: "undecided", from: upper.max(out), to: end, tone: Tone::Undecided });
            }
        }
        let title = format!("What a spread proves about {}", self.heights().text(limits.tolerance));
        let picture = Curves {
            title: &title,
            x_axis: "spread that was read, or limit of acceptance",
            x_unit: self.heights().label(),
            y_axis: "probability",
            y_unit: "",
            y_range: Some([0.0, 1.0]),
            curves: &[
                Curve { name: "a plate with this spread is bad", points: &steps },
                Curve { name: "a bad plate passes this limit", points: &accepted },
                Curve { name: "a good plate fails this limit", points: &refused },
            ],
            bands: &bands,
            limits: &[],
        };
        Some(picture.svg())
    }

    /// The lever: what a dip of one unit under the rear of the stand does to the least certain reading; `None` for a stand
    /// that cannot be drawn from the side.
    fn lever(&self) -> Option<Part> {
        let check = &self.setup.check;
        let reading = &check.survey.readings[self.simulation.budget.reading];
        let reach = self.setup.plan.reach(reading.spot)?;
        let depth = Measure { value: 1.0, unit: self.setup.unit }.to(MICROMETRE);
        let depth_is = Measure { value: 1.0, unit: self.setup.unit };
        let svg = LeverView {
            title: &format!("The lever: a dip of {depth_is} under the rear of the stand"),
            setup: self.setup,
            stand: &check.stand,
            reach,
            depth,
            at_the_rear: true,
            to_true_scale: false,
        }
        .svg()?;
        let caption = format!(
            "The stand from the side with its arm straight ahead, at the reach of the least certain reading ({}). The \
             plate is flat but for the dip; heights are drawn enlarged.",
            self.setup.length_text(reach)
        );
        Some(Part::picture("stand", svg, caption))
    }

    /// A typical plate's form with the survey drawn on it.
    pub fn plate(&self) -> Svg {
        let typical = &self.simulation.typical;
        let plan_unit = self.setup.plan_unit;
        let survey = &self.setup.check.survey;
        let stands = stands(survey.readings.iter(), plan_unit);
        let labels: Vec<String> = (1..=survey.spots.len()).map(|n| n.to_string()).collect();
        let mut targets: Vec<MapTarget> = Vec::new();
        for (spot, label) in survey.spots.iter().zip(&labels) {
            let at = in_plan(spot.at, plan_unit);
            if !targets.iter().any(|target| target.at == at) {
                targets.push(MapTarget { at, label, reading: None });
            }
        }
        let heights: Vec<f64> = typical.heights.iter().map(|&height| self.heights().of(height)).collect();
        let to_plan = |mm: f64| Measure { value: mm, unit: MILLIMETRE }.to(plan_unit);
        let [x, y] = [&typical.grid.x, &typical.grid.y]
            .map(|nodes| nodes.iter().map(|&v| to_plan(v)).collect::<Vec<_>>());
        let title = format!(
            "A typical plate of this kind (flatness {}) and the survey",
            self.heights().text(typical.flatness)
        );
        PlateMap {
            title: &title,
            heights_are: "height over the middle plane",
            height_unit: self.heights().label(),
            length_unit: plan_unit.symbol(),
            x: &x,
            y: &y,
            heights: &heights,
            margin: to_plan(self.setup.check.plate.margin),
            stands: &stands,
            targets: &targets,
        }
        .svg()
    }

    /// How to use the fitted rule with a pocket calculator.
    fn rule_sentence(&self) -> String {
        let rule = &self.simulation.rule;
        let term = |factor: f64, of: &str| {
            let sign = if factor < 0.0 { "-" } else { "+" };
            format!(" {sign} {} x {of}", plain(factor.abs(), Digits::Decimals(3)))
        };
        let levelled = if rule.per_levelled == 0.0 {
            String::new()
        } else {
            let most = self.heights().text(rule.most_levelled);
            term(rule.per_levelled, &format!("the spread off the best-fit plane (at most {most})"))
        };
        let spread = format!("the spread (at most {})", self.heights().text(rule.most_spread));
        format!(
            "The fitted estimate is {}{}{levelled}, never below 0. It is fitted to simulated checks of plates as the \
             setup describes them, and is biased again on a plate of another kind.",
            self.heights().text(rule.constant),
            term(rule.per_spread, &spread),
        )
    }

    fn provenance(&self) -> String {
        let s = &self.simulation.settings;
        let digest = short_digest(&self.setup.digest);
        format!("howflat {}, setup {digest}, seed {}, {} trials.", crate::VERSION, s.seed, s.n_trials)
    }

    fn heights(&self) -> Heights {
        Heights { unit: self.setup.unit }
    }

    /// The smallest height that is shown as something, in µm.
    fn resolution(&self) -> f64 {
        let Digits::Decimals(places) = self.heights().digits() else { return 0.0 };
        Measure { value: 0.5 * libm::pow(10.0, f64::from(-places)), unit: self.setup.unit }.to(MICROMETRE)
    }

    /// A budget in µm in the report's unit.
    fn in_unit(&self, budget: &Budget) -> Budget {
        budget.in_unit(self.heights().label(), self.heights().of(1.0))
    }

    fn visibility_document(&self, v: &Visibility) -> VisibilityDocument {
        VisibilityDocument { form: self.form_name(v), spread: v.spread, levelled: v.levelled }
    }

    fn acceptance_document(&self, rule: &Acceptance) -> AcceptanceDocument {
        AcceptanceDocument {
            way: way_key(rule.way).into(),
            limit: self.heights().of(rule.limit),
            curve: rule.curve.iter().map(|p| [self.heights().of(p.flatness), p.accepted]).collect(),
        }
    }

    fn limits_document(&self, limits: Option<&Limits>) -> LimitsDocument {
        let height = |value: f64| self.heights().of(value);
        let operating = limits.iter().flat_map(|l| &l.operating);
        LimitsDocument {
            tolerance: limits.map(|l| height(l.tolerance)),
            tolerance_name: self.setup.tolerance.as_ref().map(|tolerance| tolerance.name.clone()),
            consumer_risk: self.setup.consumer_risk,
            accept_at_or_below: limits.and_then(|l| l.accept_at_or_below).map(height),
            good_passed: limits.and_then(|l| l.good_passed),
            out_at_or_above: limits.and_then(|l| l.out_at_or_above).map(height),
            out_at_or_below: limits.and_then(|l| l.out_at_or_below).map(height),
            bad_before_reading: limits.map(|l| l.bad_before_reading),
            operating: operating.map(|p| OperatingPoint { limit: height(p.limit), ..*p }).collect(),
        }
    }
}

/// What a simulation rests on.
const RESTS_ON_DESCRIPTION: &str = "These figures hold for plates, stands and rooms like the ones described above, and are \
    as good as that description. Wear and dirt that the setup does not state are taken from trade practice, for most of \
    which there is no published source. A plate of another kind is another matter.";

/// What the methods rest on, by clause.
const REFERENCES: [&str; 6] = [
    "Flatness as the minimum zone: ISO 1101:2017, 17.3; ISO 12781-1:2011.",
    "Budget of one reading: JCGM 100:2008 (GUM), 5.1.2 (law of propagation) and 7.2 (how a result is stated).",
    "Simulation: JCGM 101:2008, clause 7, and 7.7 for the coverage intervals; comparison with the linear result: clause 8.",
    "Chance that an accepted plate is bad: JCGM 106:2012, 9.3.2 (specific consumer's risk).",
    "A proof at 95 % unless agreed otherwise: ISO 14253-1:2017.",
    "Tolerances and defaults: the source beside each, in the tables above.",
];

/// A rule by which plates are accepted, and what it does.
struct Acceptance {
    /// What is read.
    way: WayKind,
    /// Up to which a plate is accepted, in µm.
    limit: f64,
    /// How often, by true flatness.
    curve: Vec<AcceptancePoint>,
}

/// What a way of reading is called.
pub(super) fn way_name(kind: WayKind) -> &'static str {
    match kind {
        WayKind::Spread => "spread",
        WayKind::Levelled => "spread off the best-fit plane",
        WayKind::Fitted => "fitted estimate",
    }
}

/// What it is called in a JSON document.
pub(super) fn way_key(kind: WayKind) -> &'static str {
    match kind {
        WayKind::Spread => "spread",
        WayKind::Levelled => "levelled",
        WayKind::Fitted => "fitted",
    }
}

/// What a simulation of a shop check found. Heights are in `unit`.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(title = "howflat simulate")]
pub struct CheckDocument {
    /// What the check is called.
    title: String,
    /// The date of the report as the user gave it; null where none was given.
    date: Option<String>,
    /// The answer, in a sentence.
    answer: String,
    /// Unit of all heights.
    unit: String,
    /// How many plates were drawn and checked.
    trials: u64,
    /// Seed of all random numbers.
    seed: u64,
    /// SHA-256 of what the setup says.
    setup_digest: String,
    /// Version of the program.
    version: String,
    /// Parked, turned or carried.
    stand: String,
    /// True flatness of the plates that were drawn.
    true_flatness: Summary,
    /// The ways of reading the same numbers, by name: spread, levelled, fitted.
    readings: BTreeMap<String, WayDocument>,
    /// The model-based estimate: the first of the checks, each judged from its readings as `judge` does.
    #[serde(skip_serializing_if = "Option::is_none")]
    model_based: Option<ModelBasedDocument>,
    /// The rule of the fitted way.
    fitted_rule: RuleDocument,
    /// The part of the spread's error that comes from form alone.
    error_of_form: Summary,
    /// The part of the spread's error that disturbances add.
    error_of_disturbances: Summary,
    /// Forms that this survey cannot see, however large.
    cannot_see: Vec<String>,
    /// How the usual forms look to this survey.
    visibility: Vec<VisibilityDocument>,
    /// Shares of the sources in the variance of the spread's error, largest first.
    shares: Vec<Share>,
    /// How many trials each share rests on.
    share_trials: u64,
    /// What a spread proves against the tolerance.
    limits: LimitsDocument,
    /// How often the verdict from readings passes a plate, by its flatness.
    verdicts: Vec<VerdictDocument>,
    /// The figures that were assumed, the one that moves the error of the spread farthest first.
    leans_on: Vec<LeaningDocument<ErrorEndDocument>>,
    /// How often a plate is accepted, by its true flatness; empty without a tolerance.
    acceptance: Vec<AcceptanceDocument>,
    /// The budget of one reading.
    budget: BudgetDocument,
    /// The linear result for the spread's error.
    linear: LinearDocument,
    /// Everything that was taken because the setup does not say.
    assumptions: Vec<Assumption>,
}

/// One way of reading.
#[derive(Debug, Serialize, JsonSchema)]
struct WayDocument {
    /// What it gives.
    result: Summary,
    /// What it gives minus the true flatness.
    error: Summary,
    /// What it proves against the tolerance; left out without one.
    #[serde(skip_serializing_if = "Option::is_none")]
    limits: Option<LimitsDocument>,
}

/// Verdicts on simulated plates of one range of flatness.
#[derive(Debug, Serialize, JsonSchema)]
struct VerdictDocument {
    /// Flatness deviation over tolerance: from, and up to.
    flatness_over_tolerance: [f64; 2],
    /// How many such plates were judged from their readings.
    judged: usize,
    /// How many were found within.
    within: usize,
    /// How many were found out.
    out: usize,
    /// A 95 % interval of the share found within.
    within_interval: [f64; 2],
}

impl From<&VerdictPoint> for VerdictDocument {
    fn from(point: &VerdictPoint) -> Self {
        Self {
            flatness_over_tolerance: point.ratio,
            judged: point.n,
            within: point.n_within,
            out: point.n_out,
            within_interval: point.within_interval(),
        }
    }
}

/// The model-based estimate of flatness, over some of the checks.
#[derive(Debug, Serialize, JsonSchema)]
struct ModelBasedDocument {
    /// How many checks were judged.
    trials: u64,
    /// The estimated flatness deviations.
    result: Summary,
    /// These minus the true flatness.
    error: Summary,
    /// How many of the 95 % intervals hold the true flatness.
    intervals_that_hold_the_truth: u64,
    /// How wide these intervals are on average.
    mean_width: f64,
}

/// flatness = constant + per_spread * spread + per_levelled * levelled spread
#[derive(Debug, Serialize, JsonSchema)]
struct RuleDocument {
    /// In the document's unit.
    constant: f64,
    /// Per unit of spread.
    per_spread: f64,
    /// Per unit of levelled spread.
    per_levelled: f64,
    /// The largest spread that counts, in the document's unit.
    most_spread: f64,
    /// The largest levelled spread that counts, in the document's unit.
    most_levelled: f64,
}

/// How one form looks to the survey: reading over true flatness.
#[derive(Debug, Serialize, JsonSchema)]
struct VisibilityDocument {
    /// Which form, in words.
    form: String,
    /// Its spread over its flatness.
    spread: f64,
    /// Its levelled spread over its flatness; null where readings cannot be levelled.
    levelled: Option<f64>,
}

/// What a reading proves against a tolerance.
#[derive(Debug, Serialize, JsonSchema)]
struct LimitsDocument {
    /// The largest flatness deviation that is good; null without a tolerance.
    tolerance: Option<f64>,
    /// Standard, grade and basis of the tolerance.
    tolerance_name: Option<String>,
    /// The risk at which a plate is still accepted.
    consumer_risk: f64,
    /// The largest reading that proves a plate good; null where none does.
    accept_at_or_below: Option<f64>,
    /// Share of the good plates that read this or less; null where no reading proves a plate good.
    good_passed: Option<f64>,
    /// The smallest reading that proves a plate bad; null where none does.
    out_at_or_above: Option<f64>,
    /// The largest reading that proves a plate bad; null where none does, or any larger one does.
    out_at_or_below: Option<f64>,
    /// Share of the simulated plates that are bad.
    bad_before_reading: Option<f64>,
    /// What happens as a limit of acceptance moves.
    operating: Vec<OperatingPoint>,
}

/// How often plates are accepted by one rule.
#[derive(Debug, Serialize, JsonSchema)]
struct AcceptanceDocument {
    /// What is read: spread, levelled or fitted.
    way: String,
    /// Up to which reading a plate is accepted.
    limit: f64,
    /// True flatness (mean of a group of simulated plates) and the share of these that is accepted.
    curve: Vec<[f64; 2]>,
}

/// The spread's error as the difference of two readings, by the law of propagation.
#[derive(Debug, Serialize, JsonSchema)]
struct LinearDocument {
    /// The budget of the difference.
    budget: BudgetDocument,
    /// Its comparison with Monte Carlo.
    validation: Validation,
}
