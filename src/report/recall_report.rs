//! The report on when plates go out for recalibration.

use super::{
    Report,
    chart::{
        Mark,
        course::{Course, Finding, Sign},
    },
    heights::Heights,
    number::{Digits, money, percent, plain, probability, share, short},
    page::{Annexed, Figure, LIMITS_OF_USE, Page, Part, ending, short_digest},
    picture::Svg,
    setup_words,
    table::{Cell, Column, Table},
    text::inert,
};
use crate::{
    decision::{
        recall::{Costs, LeastCost},
        recall_plan::{
            AS_NEW, CheckKind, CheckWorth, CostPlan, Entry, EntryFit, Found, PlatePlan, PlateRecord,
            RecallPlan, RecallQuestion, RecordReading,
        },
    },
    propagation::wear_history::{EventFit, Interval, UNFORESEEN, UNFORESEEN_MEAN, WearPrior},
    quantity::day::Day,
    setup::{EntryKind, HistoryFile, HistoryRow, OwnTerms, RefusedPlate, Setup},
    shop::grade::Tolerance,
};
use schemars::JsonSchema;
use serde::Serialize;

/// Everything that a report on recalls is made from.
#[derive(Debug, Clone)]
pub struct RecallReport<'a> {
    /// The setup of the shop checks.
    pub setup: &'a Setup,
    /// What is on record.
    pub history: &'a HistoryFile,
    /// Plates of which nothing is said, and why.
    pub refused: &'a [RefusedPlate],
    /// What was asked.
    pub question: &'a RecallQuestion,
    /// What was taken for costs that were not stated.
    pub assumed_costs: &'a [String],
    /// What the plates are to keep.
    pub tolerance: &'a Tolerance,
    /// When they go out.
    pub plan: &'a RecallPlan,
    /// The date of the report, as the user gave it.
    pub date: Option<&'a str>,
}

/// A finding that the history before it makes less likely than this is pointed out.
const SURPRISING: f64 = 0.01;
/// An estimate farther than this share of the tolerance from the last certificate's own value is explained.
const LEANING: f64 = 0.1;
/// A plate found within this share of its tolerance is called back later, by the staircase: ILAC-G24's own
/// example, from memory.
const STAIRCASE: f64 = 0.8;

/// One plate with all that is known of it.
#[derive(Clone, Copy)]
struct Of<'a> {
    record: &'a PlateRecord,
    rows: &'a [HistoryRow],
    own: &'a OwnTerms,
    plan: &'a PlatePlan,
    /// What it is to keep.
    tolerance: &'a Tolerance,
}

impl<'a> Of<'a> {
    /// Each entry, how it was written, and what came of it.
    fn entries(
        &self,
    ) -> impl DoubleEndedIterator<Item = (&'a Entry, &'a HistoryRow, &'a EntryFit)> + ExactSizeIterator {
        let Self { record, rows, plan, .. } = *self;
        record.entries.iter().zip(rows).zip(&plan.entries).map(|((entry, row), fit)| (entry, row, fit))
    }
}

impl Report for RecallReport<'_> {
    type Document = RecallDocument;

    fn page(&self) -> Page {
        let all: Vec<Of> = self.by_urgency().collect();
        let mut parts = Vec::new();
        if all.len() > 1 {
            parts.push(Part::Table(self.urgency_table(&all)));
        }
        parts.extend(self.explanations().into_iter().map(Part::Words));
        parts.extend([Part::Next("What to do".into()), Part::List(self.next_steps(&all))]);
        // The first reader sees the most urgent plate; the others are as long, and look alike.
        if let Some(first) = all.first() {
            let heading = if all.len() > 1 { "The most urgent plate in time" } else { "The plate in time" };
            parts.extend([Part::heading(heading), Part::Picture(self.picture(0, first))]);
        }
        if all.len() > 1 {
            let tables = vec![self.numbers_table(&all)];
            parts.push(Part::Annexed(Annexed { heading: "All plates".into(), picture: None, tables }));
        }
        parts.extend(all.iter().enumerate().map(|(place, of)| {
            let tables =
                [Some(self.history_table(of)), Some(self.forecast_table(of)), self.cost_table(of.plan)];
            Part::Annexed(Annexed {
                heading: if all.len() > 1 { name_of(of) } else { "The plate in numbers".into() },
                picture: (place > 0).then(|| self.picture(place, of)),
                tables: tables.into_iter().flatten().collect(),
            })
        }));
        parts.extend([
            Part::heading("How it was worked out"),
            Part::List(self.method()),
            Part::heading("What was taken for granted of the shop check"),
        ]);
        parts.extend(setup_words::granted(self.setup));
        parts.extend(ending(None, LIMITS_OF_USE, &REFERENCES));
        let mut facts = setup_words::facts(self.setup, Some(self.tolerance), self.date);
        facts.extend([
            ["history".to_string(), short_digest(&self.history.digest).to_string()],
            ["as on".to_string(), self.question.today.to_string()],
            ["run".to_string(), format!("seed {}", self.question.settings.seed)],
        ]);
        Page {
            kind: "When to send surface plates out".into(),
            title: self.setup.title.clone(),
            facts,
            answer: vec![self.answer()],
            parts,
            provenance: self.provenance(),
            for_signature: true,
            annex_on_request: true,
            ..Page::default()
        }
    }

    fn document(&self) -> RecallDocument {
        let h = self.heights();
        RecallDocument {
            title: inert(&self.setup.title),
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

    fn tables(&self) -> Vec<(String, Table)> {
        vec![("forecast".into(), self.forecast_csv())]
    }

    fn in_pixels(&self, picture: &str) -> bool {
        picture == picture_name(0)
    }
}

impl RecallReport<'_> {
    /// When to send what, in one sentence.
    pub fn answer(&self) -> String {
        let urgent: Vec<Of> = self.by_urgency().collect();
        let Some(first) = urgent.first() else { return "No plate is on record.".into() };
        if urgent.len() == 1 {
            return self.when(first) + &self.refused_sentence();
        }
        let due: Vec<String> =
            urgent.iter().filter(|of| of.plan.due == Some(0.0)).map(|of| name_of(of)).collect();
        let now = match &due[..] {
            [] => "none is due".to_string(),
            [one] => format!("{one} is due"),
            [first, ..] => format!("{} are due, {first} first", due.len()),
        };
        let next = urgent.iter().find(|of| of.plan.due.is_some_and(|years| years > 0.0));
        let next = match next.and_then(|of| Some((of, of.plan.due?))) {
            Some((of, years)) => format!("{} is next, on {}", name_of(of), self.day(years)),
            None => "no other becomes due in the years that were looked at".into(),
        };
        format!(
            "As on {}, of {} plates {now}; {next}. A plate is due when the probability that its flatness deviation exceeds {} \
             has reached {}.{}",
            self.question.today,
            urgent.len(),
            self.common_limit_text(),
            percent(self.question.risk),
            self.refused_sentence()
        )
    }

    /// That nothing is said of some plates, and where the reason stands; empty where all are answered.
    fn refused_sentence(&self) -> String {
        let plate = |plate: &RefusedPlate| {
            let lines: Vec<String> =
                plate.faults.iter().filter_map(|fault| Some(fault.at?.line.to_string())).collect();
            format!("{} (line {})", inert(&plate.name), lines.join(", "))
        };
        let plates: Vec<String> = self.refused.iter().map(plate).collect();
        if plates.is_empty() {
            return String::new();
        }
        format!(" Nothing is said of {}: see below.", plates.join(", "))
    }

    /// When one plate goes out.
    fn when(&self, of: &Of) -> String {
        let risk = percent(self.question.risk);
        let limit = self.limit_text(of.tolerance);
        match of.plan.due {
            Some(0.0) => format!(
                "{} is due: on {} its flatness deviation exceeds {limit} with a probability of {}, and {risk} is what \
                 is allowed.",
                if of.record.name.is_empty() { "The plate".into() } else { name_of(of) },
                self.question.today,
                probability(of.plan.out_today())
            ),
            Some(years) => format!(
                "Send {} out by {}: on that day the probability that its flatness deviation exceeds {limit} reaches \
                 {risk}.",
                name_of(of),
                self.day(years)
            ),
            None => format!(
                "No date: the probability that the flatness deviation exceeds {limit} stays below {risk} for {} years.",
                plain(of.plan.out.horizon(), Digits::Decimals(0))
            ),
        }
    }

    /// What comes after the answer: the flatness today, the wear, what is odd, what costs say.
    pub fn explanations(&self) -> Vec<String> {
        let mut said = Vec::new();
        let all: Vec<Of> = self.by_urgency().collect();
        if let [of] = all[..] {
            said.push(self.today(&of));
            said.extend(self.cost_sentences(of.plan));
        }
        said.extend(
            self.refused.iter().flat_map(|plate| &plate.faults).map(|fault| inert(&fault.to_string())),
        );
        said.extend(all.iter().filter_map(|of| self.contradiction(of)));
        said.extend(all.iter().flat_map(|of| self.oddities(of)));
        said.extend(all.iter().filter_map(|of| self.leaning(of)));
        said.extend(self.granted());
        said
    }

    /// The flatness today and the rate of wear.
    fn today(&self, of: &Of) -> String {
        let h = self.heights();
        let Interval { mean, ends: [low, high] } = of.plan.wear.today;
        let rate = of.plan.wear.rate;
        format!(
            "On {} the flatness deviation is estimated at {}, and lies between {} and {} with a probability of 95 %; it is out \
             with a probability of {}. It grows by {} a year (95 %: {} to {}).",
            self.question.today,
            h.text(mean),
            h.bare(low),
            h.text(high),
            probability(of.plan.out_today()),
            h.text(rate.mean),
            h.bare(rate.ends[0]),
            h.text(rate.ends[1])
        )
    }

    /// Entries that contradict one another: each way to read them, and which holds.
    fn contradiction(&self, of: &Of) -> Option<String> {
        let entry = |k: &usize| {
            let (entry, row) = (&of.record.entries[*k], &of.rows[*k]);
            format!("the {} of {} (line {})", row.kind.name(), entry.day, row.line)
        };
        let date = |due: Option<f64>| match due {
            Some(0.0) => "the plate is due now".to_string(),
            Some(years) => format!("it goes out by {}", self.day(years)),
            None => "no date is reached".into(),
        };
        let readings: Vec<String> = of
            .plan
            .readings
            .iter()
            .map(|reading| {
                let out: Vec<String> = reading.left_out.iter().map(entry).collect();
                format!("without {}, {}", out.join(" and "), date(reading.due))
            })
            .collect();
        (!readings.is_empty()).then(|| {
            format!(
                "Entries of {} contradict one another: {}. They are not averaged: the earliest date holds, and all that is said \
                 here goes with it, until it is known which is wrong. Look for a slip of the pen or of the unit, dirt, a \
                 resurfacing that is missing.",
                name_of(of),
                readings.join("; ")
            )
        })
    }

    /// Entries that were passed over, or that those before them make unlikely.
    fn oddities(&self, of: &Of) -> Vec<String> {
        let mut n_before = 0;
        let mut said = Vec::new();
        for (entry, row, fit) in of.entries() {
            let named = format!("{} of {} (line {})", row.kind.name(), entry.day, row.line);
            match fit {
                EntryFit::PassedOver => said.push(format!(
                    "The readings of {} (line {}) do not fit the setup and were passed over: look at them with howflat judge.",
                    entry.day, row.line
                )),
                EntryFit::Counted(EventFit { p_value: Some(p), .. }) if *p < SURPRISING => {
                    let p = short(p.max(1e-4), 1);
                    said.push(if n_before == 0 {
                        format!(
                            "The {named}, the first entry, is unlikely on a plate such as the setup describes (p = {p}): look \
                             for a slip of the pen or of the unit, and whether the setup is this plate's."
                        )
                    } else {
                        format!(
                            "The {named} is unlikely in view of the entries before it (p = {p}): look for a slip of the pen, \
                             dirt, or harm done to the plate in between."
                        )
                    });
                }
                _ => {}
            }
            n_before += usize::from(fit.counted().is_some());
        }
        said
    }

    /// Where the last certificate is so vague that the estimate is not its value: why a larger U can mean a later date.
    fn leaning(&self, of: &Of) -> Option<String> {
        let h = self.heights();
        let last = of.entries().rev().find(|(_, row, _)| row.kind == EntryKind::Certificate)?;
        let (entry, row, EntryFit::Counted(fit)) = last else { return None };
        let (says, taken) = (fit.alone.mean, fit.fitted.mean);
        let goes_with_others = fit.p_value.is_none_or(|p| p >= SURPRISING);
        (goes_with_others && (says - taken).abs() > LEANING * of.tolerance.value).then(|| {
            format!(
                "The certificate of {} (line {}) says {}, but with its uncertainty that leaves much open: together with the other \
                 entries and the plates that the setup describes the flatness deviation of that day is put at {}. The larger \
                 a U, the less its value counts, so that a larger U can make a date later as well as earlier.",
                entry.day,
                row.line,
                h.text(says),
                h.text(taken)
            )
        })
    }

    /// What was taken for granted of this history.
    fn granted(&self) -> Vec<String> {
        let mut said = Vec::new();
        if self.history.assumed_factor {
            said.push(
                "Where the history states no coverage factor, U was taken as expanded with k = 2, as most certificates \
                 have it."
                    .into(),
            );
        }
        said.extend(self.history.repeated.iter().map(|row| {
            let plate = if row.plate.is_empty() { String::new() } else { format!(" of {}", inert(&row.plate)) };
            let [first, second] = row.lines;
            format!(
                "The {} of {}{plate} stands in lines {first} and {second} with the same numbers, and counts once.",
                row.kind.name(),
                row.day
            )
        }));
        if !self.assumed_costs.is_empty() {
            said.push(format!(
                "Of the costs that were not stated it was assumed: {}.",
                self.assumed_costs.join("; ")
            ));
        }
        let is_bare = |of: &Of| of.record.entries.iter().any(|entry| entry.found == Found::Resurfaced(None));
        if let Some(of) = self.by_urgency().find(is_bare) {
            let h = self.heights();
            let [low, high] = AS_NEW.map(|share| h.bare(share * of.tolerance.value));
            said.push(format!(
                "A resurfacing without a value was taken to leave anything from {low} to {high} {}, all that passes. It may then \
                 have left {} just within, so that little wear is enough and the date comes early: write the value and the U \
                 that whoever did it found, or a row for the certificate that followed.",
                h.label(),
                name_of(&of)
            ));
        }
        if self.has_own(|own| own.usage.is_some()) {
            said.push(
                "Wear was taken to go with use: a plate in light use wears a third as fast as usual, one in heavy use three \
                 times as fast (common practice, no source), others as their hours to 40 a week."
                    .into(),
            );
        }
        said
    }

    fn cost_sentences(&self, plan: &PlatePlan) -> Vec<String> {
        let (Some(costs), Some(by_cost)) = (&self.question.costs, &plan.by_cost) else { return Vec::new() };
        let Some((least, risk)) = by_cost.least else {
            return vec![format!(
                "At these costs no date is the cheapest: a year out of tolerance costs {}, and a recalibration at {} costs more \
                 than it prevents (in the currency of the costs).",
                money(costs.of_year_out()),
                money(costs.of_recalibration())
            )];
        };
        let mut said = vec![match least.years {
            0.0 => format!(
                "By cost the plate should go out now: the risk is {}, and {} is what these costs are worth.",
                probability(plan.out_today()),
                probability(risk)
            ),
            years if !least.is_reached => format!(
                "By cost no date within {} years is best: the risk stays below the {} that these costs are worth.",
                plain(years, Digits::Decimals(0)),
                probability(risk)
            ),
            years => format!(
                "By cost the best date is {}, when the risk reaches the {} that these costs are worth{}.",
                self.day(years),
                probability(risk),
                match by_cost.risk_costs_more {
                    Some(more) if more >= 0.5 =>
                        format!("; the date above costs {} more, in the currency of the costs", money(more)),
                    _ => String::new(),
                }
            ),
        }];
        said.extend(self.check_sentence(by_cost));
        said
    }

    /// Which check is worth making before it goes out.
    fn check_sentence(&self, by_cost: &CostPlan) -> Option<String> {
        let worths: Vec<String> = by_cost
            .checks
            .iter()
            .map(|check| format!("{} {}", self.check_name(check), money(check.worth)))
            .collect();
        (!worths.is_empty()).then(|| {
            format!(
                "One more check today, before its own cost, is worth, in the currency of the costs: {}. Make one that costs less \
                 than that.",
                worths.join("; ")
            )
        })
    }

    fn check_name(&self, check: &CheckWorth) -> String {
        let with = check.standard_uncertainty.map(|u| format!(" (u = {})", self.heights().text(u)));
        let name = match check.check {
            CheckKind::Spread => "another shop check, its spread taken",
            CheckKind::Readings => "another shop check, its readings judged",
            CheckKind::Certificate => "a survey as good as the last certificate",
            CheckKind::Perfect => "knowing the flatness exactly",
        };
        format!("{name}{}", with.unwrap_or_default())
    }

    /// What is to be done, in the order in which it is.
    fn next_steps(&self, all: &[Of]) -> Vec<String> {
        let mut said = Vec::new();
        let due: Vec<String> = all.iter().filter(|of| of.plan.due == Some(0.0)).map(name_of).collect();
        match &due[..] {
            [] => {}
            [one] => said.push(format!(
                "Send {one} out now. Until it is back, use it for nothing that needs it to be within tolerance."
            )),
            [first, ..] => said.push(format!(
                "Send the {} plates out that are due, {first} first. Until they are back, use them for nothing that needs them to \
                 be within tolerance.",
                due.len()
            )),
        }
        let dated = all.iter().find_map(|of| Some((of, of.plan.due.filter(|years| *years > 0.0)?)));
        said.extend(
            dated.map(|(of, years)| {
                format!("Have {} away by {}: book in time.", name_of(of), self.day(years))
            }),
        );
        if all.len() > 1 && self.question.costs.is_some() {
            said.push("A shop check before then pays where it costs less than the table says.".into());
        }
        said.push(
            "Enter every certificate, shop check and resurfacing, and ask again: dates move with what is found.".into(),
        );
        said
    }

    /// The date of each plate, and why.
    fn urgency_table(&self, all: &[Of]) -> Table {
        let h = self.heights();
        let [with_tolerance, ..] = self.own_columns();
        let why = |of: &Of| {
            let Interval { mean, ends: [low, high] } = of.plan.wear.today;
            let [mean, low, high, rate] = [mean, low, high, of.plan.wear.rate.mean].map(|v| h.bare(v));
            let open = if of.plan.readings.is_empty() { "" } else { "; entries contradict one another" };
            format!("{mean} ({low} to {high}), {rate} a year{open}")
        };
        let by_cost =
            |of: &Of| of.plan.by_cost.as_ref().map_or(Cell::Empty, |by_cost| self.date_cell(by_cost));
        Table::of("The plates, the most urgent first (95 % intervals)", all.iter().copied())
            .text("plate", name_of)
            .text("send out by", |of| self.due_text(of.plan))
            .percent("out today", 1, |of| of.plan.out_today())
            .text(&format!("why: flatness today, and its growth, {}", h.label()), why)
            .when(with_tolerance, |table| table.height(h, "tolerance", |of| of.tolerance.value))
            .when(self.question.costs.is_some(), |table| {
                table.column(Column::text("by cost on"), by_cost).number(
                    "a shop check is worth",
                    CURRENCY,
                    Digits::Decimals(0),
                    |of| of.plan.by_cost.as_ref().and_then(worth_of_shop_check),
                )
            })
            .table()
    }

    fn date_cell(&self, by_cost: &CostPlan) -> Cell {
        by_cost.least.map_or("never".into(), |(least, _)| self.cost_date(least).into())
    }

    /// What the dates rest on, plate by plate.
    fn numbers_table(&self, all: &[Of]) -> Table {
        let h = self.heights();
        let [with_tolerance, with_setup, with_usage] = self.own_columns();
        let last = |of: &Of| {
            let last = of.record.entries.last().zip(of.rows.last());
            last.map_or(String::new(), |(entry, row)| format!("{} {}", entry.day, row.kind.name()))
        };
        let caption = format!(
            "When each plate reaches a probability of {} of exceeding {}, as on {} (95 % intervals)",
            percent(self.question.risk),
            self.common_limit_text(),
            self.question.today
        );
        Table::of(caption, all.iter().copied())
            .text("plate", name_of)
            .text("send out by", |of| self.due_text(of.plan))
            .percent("out today", 1, |of| of.plan.out_today())
            .heights(h, ["flatness today", "from", "to"], |of| three(&of.plan.wear.today))
            .height(h, "wear a year", |of| of.plan.wear.rate.mean)
            .text("last entry", last)
            .when(with_tolerance, |table| table.height(h, "tolerance", |of| of.tolerance.value))
            .when(with_setup, |table| {
                table.text("setup", |of| of.own.setup.as_ref().map_or(String::new(), |(file, _)| inert(file)))
            })
            .when(with_usage, |table| {
                table
                    .text("usage", |of| of.own.usage.as_ref().map_or("usual".into(), |(said, _)| inert(said)))
            })
            .table()
    }

    /// Whether plates have tolerances, setups and usages of their own.
    fn own_columns(&self) -> [bool; 3] {
        [
            self.has_own(|own| own.tolerance.is_some()),
            self.has_own(|own| own.setup.is_some()),
            self.has_own(|own| own.usage.is_some()),
        ]
    }

    fn history_table(&self, of: &Of) -> Table {
        let h = self.heights();
        let remark = |row: &HistoryRow, fit: &EntryFit| match fit {
            EntryFit::Counted(_) => row.remark.clone(),
            EntryFit::LeftOut(_) => "left out: contradicts others".into(),
            EntryFit::PassedOver => "passed over".into(),
        };
        let caption = "What was found, what it says of the flatness by itself, and what all entries together say (95 % \
                       intervals); p is the chance of a finding at least as far from what those before it make likely";
        Table::of(caption, of.entries())
            .text("date", |(entry, ..)| entry.day.to_string())
            .text("kind", |(_, row, _)| row.kind.name())
            .text("as written", |(_, row, _)| self.written(row))
            .heights(h, ["alone from", "to"], |(.., fit)| fit.alone().map(|alone| alone.ends))
            .heights(h, ["with all others", "from", "to"], |(.., fit)| {
                fit.counted().map(|fit| three(&fit.fitted))
            })
            .number("p", "", Digits::Decimals(2), |(.., fit)| p_value(fit))
            .text("remark", |(_, row, fit)| remark(row, fit))
            .table()
    }

    /// What a row says, in its own words.
    fn written(&self, row: &HistoryRow) -> String {
        let h = self.heights();
        let mut said = match (row.kind, row.value) {
            (EntryKind::ShopCheck, Some(spread)) => format!("spread {}", h.text(spread)),
            (_, Some(value)) => h.text(value),
            (EntryKind::Resurfacing, None) => "no value".into(),
            (_, None) => row.file.clone(),
        };
        if let Some(expanded) = row.expanded {
            said += &match row.factor {
                Some(k) => format!(", U = {} (k = {})", h.text(expanded), short(k, 3)),
                None => format!(", within {} either way", h.text(expanded)),
            };
        }
        said
    }

    fn forecast_table(&self, of: &Of) -> Table {
        // Every fourth, so that a page is not filled with it; all are in forecast.csv.
        Table::of("What is to be expected (95 % intervals)", of.plan.forecast.iter().step_by(4))
            .text("date", |(years, ..)| self.day(*years).to_string())
            .heights(self.heights(), ["flatness deviation", "from", "to"], |(_, flatness, _)| three(flatness))
            .percent("out of tolerance", 1, |(.., out)| *out)
            .table()
    }

    fn cost_table(&self, plan: &PlatePlan) -> Option<Table> {
        let (costs, by_cost) = (self.question.costs.as_ref()?, plan.by_cost.as_ref()?);
        let mut rows: Vec<(String, String)> = Vec::new();
        if let (Some(cycle), Some((least, risk))) = (by_cost.cycle, by_cost.least) {
            rows.extend([
                ("date of least expected cost".into(), self.cost_date(least)),
                ("risk that these costs are worth".into(), probability(risk)),
                ("years from one recalibration to the next, from then on".into(), short(cycle.years, 2)),
                ("cost a year, from then on".into(), money(cycle.cost_per_year)),
            ]);
        }
        let more = by_cost.risk_costs_more.map(money);
        rows.extend(more.map(|more| ("the date of the stated risk costs more by".into(), more)));
        rows.extend(by_cost.checks.iter().map(|check| {
            (format!("worth today, before its own cost: {}", self.check_name(check)), money(check.worth))
        }));
        let caption = format!(
            "What it costs where a recalibration, with the days without the plate, costs {} and a year out of tolerance {}",
            money(costs.of_recalibration()),
            money(costs.of_year_out())
        );
        let value = Column::numbers(&format!("value; amounts {CURRENCY}"), "");
        let table = Table::of(caption, rows).text("what", |(what, _)| what.clone());
        Some(table.column(value, |(_, value)| value.clone().into()).table())
    }

    /// Every day of every plate's forecast, for machines.
    fn forecast_csv(&self) -> Table {
        let (h, unit) = (self.heights(), self.setup.unit.symbol());
        let days = self.by_urgency().flat_map(|of| of.plan.forecast.iter().map(move |day| (of, day)));
        Table::of("", days)
            .text("plate", |(of, _)| name_of(of))
            .text("date", |(_, (years, ..))| self.day(*years).to_string())
            .number("flatness deviation", unit, Digits::Full, |(_, (_, flatness, _))| h.of(flatness.mean))
            .number("from", unit, Digits::Full, |(_, (_, flatness, _))| h.of(flatness.ends[0]))
            .number("to", unit, Digits::Full, |(_, (_, flatness, _))| h.of(flatness.ends[1]))
            .number("probability of being out", "", Digits::Full, |(_, (.., out))| *out)
            .table()
    }

    /// How it was worked out, in a sentence or two each.
    fn method(&self) -> Vec<String> {
        let h = self.heights();
        let WearPrior { median_rate, between_shops, between_plates, unevenness } = &self.question.prior;
        let factor = |spread: f64| short(libm::exp(spread), 2);
        let steps: Vec<String> = unevenness.iter().map(|step| h.bare(*step)).collect();
        let mut said = vec![
            format!(
                "Wear is a gamma process: it never goes back between resurfacings, and comes in steps of about {} {}, each as \
                 likely as the others. How fast it goes is each plate's own and fitted to its history: {} a year before any \
                 is seen, within a factor of {} from shop to shop and of {} from plate to plate (one standard deviation; common \
                 practice, no source). Plates of one history tell of their shop together.",
                steps.join(", "),
                h.label(),
                h.text(*median_rate),
                factor(*between_shops),
                factor(*between_plates)
            ),
            "All entries are fitted at once, each with its own uncertainty: a certificate by its U and k; a spread by what \
             simulated checks of this setup show on plates of every flatness; kept readings by what they say of the flatness, \
             the setup's own expectation taken out. A plate keeps its form while it deepens, so that the same stand in the same \
             places errs alike time and again."
                .to_string(),
            format!(
                "Before its first entry a plate is taken, with a probability of {}, for one of those that the setup describes. \
                 With the other {} it is unlike them: {} times as far out on average, and often much more (Lomax's law, density \
                 2 m²/(m + z)³ at a flatness deviation z with the mean m), so that no certificate counts as impossible. These two \
                 figures are assumptions; the more entries there are, the less they matter.",
                percent(1.0 - UNFORESEEN),
                percent(UNFORESEEN),
                plain(UNFORESEEN_MEAN, Digits::Decimals(0))
            ),
            "By the names of ILAC-G24 and OIML D 10: shop checks between calibrations are in-service checking \
             (\"black-box\" testing), the course of the findings is what a control chart shows, and the date by a fitted model is \
             of the other statistical approaches."
                .to_string(),
        ];
        said.extend(self.staircase());
        if let Some((mean, deviation)) = self.plan.spread_at_tolerance {
            said.push(format!(
                "On a plate just at the tolerance this shop check reads a spread of {} on average, with a standard deviation of \
                 {}.",
                h.text(mean),
                h.text(deviation)
            ));
        }
        said
    }

    /// What the simplest method of all would say of a single plate.
    fn staircase(&self) -> Option<String> {
        let mut all = self.by_urgency();
        let (Some(of), None) = (all.next(), all.next()) else { return None };
        let mut entries = of.rows.iter().zip(&of.plan.entries).rev();
        let found = entries.find(|(row, _)| row.kind == EntryKind::Certificate)?.1.alone()?.mean;
        let tolerance = of.tolerance.value;
        let says = if found > tolerance { "shorten" } else { "lengthen" };
        let near = found > STAIRCASE * tolerance && found <= tolerance;
        Some(format!(
            "The staircase, the simplest of their methods, looks at the last certificate only: at {} of the tolerance it says to \
             {} the interval.",
            share(found / tolerance, 0),
            if near { "keep" } else { says }
        ))
    }

    /// A plate's course in time, with what there is to be seen.
    fn picture(&self, place: usize, of: &Of) -> Figure {
        Figure {
            file: picture_name(place),
            svg: self.course(of),
            caption: "Every entry with its 95 % interval, what all of them together say, and what is to be expected; below, the \
                      probability of being out of tolerance."
                .into(),
        }
    }

    /// What was found, and what all entries together say of the time from one resurfacing to the next.
    fn found_and_fitted(&self, of: &Of) -> (Vec<Finding>, Vec<Vec<[f64; 4]>>) {
        let of_interval = |interval: &Interval| three(interval).map(|v| self.heights().of(v));
        let (mut found, mut fitted) = (Vec::new(), vec![Vec::new()]);
        for (entry, row, fit) in of.entries() {
            let Some(alone) = fit.alone() else { continue };
            let year = entry.day.years_since(self.question.today);
            let sign = match row.kind {
                EntryKind::Certificate => Sign::Certificate,
                EntryKind::ShopCheck => Sign::ShopCheck,
                EntryKind::Resurfacing => Sign::Resurfacing,
            };
            found.push(Finding { year, says: of_interval(&alone), sign });
            if sign == Sign::Resurfacing {
                fitted.push(Vec::new());
            }
            let Some(fit) = fit.counted() else { continue };
            let [mean, low, high] = of_interval(&fit.fitted);
            if let Some(part) = fitted.last_mut() {
                part.push([year, mean, low, high]);
            }
        }
        (found, fitted)
    }

    /// A plate's course in time, as a picture.
    fn course(&self, of: &Of) -> Svg {
        let h = self.heights();
        let (found, mut fitted) = self.found_and_fitted(of);
        let ahead = of.plan.forecast.iter().map(|(years, flatness, _)| {
            let [mean, low, high] = three(flatness).map(|v| h.of(v));
            [*years, mean, low, high]
        });
        let forecast: Vec<[f64; 4]> = ahead.collect();
        if let (Some(part), Some(first)) = (fitted.last_mut(), forecast.first()) {
            part.push(*first);
        }
        let out: Vec<[f64; 2]> = of.plan.forecast.iter().map(|(years, _, out)| [*years, *out]).collect();
        let limit = format!("tolerance {}", h.text(of.tolerance.value));
        let risk = format!("risk {}", percent(self.question.risk));
        let mut labels = vec![(0.0, format!("as on {}", self.question.today))];
        match of.plan.due {
            Some(0.0) => labels[0].1 += ": due",
            Some(years) => labels.push((years, format!("send out by {}", self.day(years)))),
            None => {}
        }
        let by_cost = of.plan.by_cost.as_ref().and_then(|by_cost| by_cost.least);
        let by_cost = by_cost.filter(|(least, _)| least.is_reached);
        labels.extend(by_cost.map(|(least, _)| (least.years, format!("by cost {}", self.cost_date(least)))));
        let days: Vec<Mark> = labels.iter().map(|(at, label)| Mark { label, at: *at }).collect();
        let title = match of.record.name.as_str() {
            "" => "The plate's flatness deviation over time".to_string(),
            name => format!("{name}: flatness deviation over time"),
        };
        Course {
            title: &title,
            unit: h.label(),
            origin: self.question.today,
            found: &found,
            fitted: &fitted,
            forecast: &forecast,
            limit: Mark { label: &limit, at: h.of(of.tolerance.value) },
            out: &out,
            risk: Mark { label: &risk, at: self.question.risk },
            days: &days,
        }
        .svg()
    }

    fn plate_document(&self, of: &Of) -> PlateDocument {
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

    fn interval_document(&self, interval: &Interval) -> IntervalDocument {
        let [estimate, from, to] = three(interval).map(|height| self.heights().of(height));
        IntervalDocument { estimate, from, to }
    }

    fn entry_document(&self, entry: &Entry, row: &HistoryRow, fit: &EntryFit) -> EntryDocument {
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

    fn cost_document(&self, by_cost: &CostPlan) -> CostPlanDocument {
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

    fn by_urgency(&self) -> impl Iterator<Item = Of<'_>> {
        self.plan.urgency.iter().map(|&index| {
            let plan = &self.plan.plates[index];
            let own = &self.history.own[plan.record];
            Of {
                record: &self.history.records[plan.record],
                rows: &self.history.rows[plan.record],
                own,
                plan,
                tolerance: own.tolerance.as_ref().unwrap_or(self.tolerance),
            }
        })
    }

    fn due_text(&self, plan: &PlatePlan) -> String {
        match plan.due {
            Some(0.0) => "due".into(),
            Some(years) => self.day(years).to_string(),
            None => format!("after {}", self.day(plan.out.horizon())),
        }
    }

    fn cost_date(&self, least: LeastCost) -> String {
        match least.years {
            years if !least.is_reached => format!("after {}", self.day(years)),
            0.0 => "now".into(),
            years => self.day(years).to_string(),
        }
    }

    fn day(&self, years: f64) -> Day {
        self.question.today.plus_years(years)
    }

    fn limit_text(&self, tolerance: &Tolerance) -> String {
        format!("{} ({})", self.heights().text(tolerance.value), inert(&tolerance.name))
    }

    /// The limit of all plates, or that each has its own.
    fn common_limit_text(&self) -> String {
        match self.by_urgency().next() {
            Some(of) if !self.has_own(|own| own.tolerance.is_some()) => self.limit_text(of.tolerance),
            _ => "its own tolerance".into(),
        }
    }

    /// Whether the history says something of a plate itself.
    fn has_own(&self, says: impl Fn(&OwnTerms) -> bool) -> bool {
        self.history.own.iter().any(says)
    }

    fn heights(&self) -> Heights {
        Heights { unit: self.setup.unit }
    }

    fn provenance(&self) -> String {
        format!(
            "howflat {}, setup {}, history {}, as on {}, seed {}.",
            crate::VERSION,
            short_digest(&self.setup.digest),
            short_digest(&self.history.digest),
            self.question.today,
            self.question.settings.seed
        )
    }
}

/// What a plate is called.
fn name_of(of: &Of) -> String {
    if of.record.name.is_empty() { "the plate".into() } else { inert(&of.record.name) }
}

/// The file of a plate's picture, by its place in the order of urgency.
fn picture_name(place: usize) -> String {
    match place {
        0 => "course".into(),
        place => format!("course-{}", place + 1),
    }
}

/// Mean, lower and upper end.
fn three(interval: &Interval) -> [f64; 3] {
    [interval.mean, interval.ends[0], interval.ends[1]]
}

/// How likely a finding at least as far out was, before it was made.
fn p_value(fit: &EntryFit) -> Option<f64> {
    match fit {
        EntryFit::Counted(fit) | EntryFit::LeftOut(fit) => fit.p_value,
        EntryFit::PassedOver => None,
    }
}

/// What the better of the shop checks is worth.
fn worth_of_shop_check(by_cost: &CostPlan) -> Option<f64> {
    let is_shop_check = |check: &&CheckWorth| matches!(check.check, CheckKind::Spread | CheckKind::Readings);
    by_cost.checks.iter().filter(is_shop_check).map(|check| check.worth).max_by(f64::total_cmp)
}

/// What amounts of money are in: that of the costs, which no one names.
const CURRENCY: &str = "in the costs' currency";

/// What the methods rest on.
const REFERENCES: [&str; 7] = [
    "Intervals between calibrations: ILAC-G24 / OIML D 10:2007 (methods by name).",
    "Wear as a gamma process: J. M. van Noortwijk, Reliability Engineering and System Safety 94, 2009, 2-21.",
    "Forward and backward through a history: L. R. Rabiner, Proceedings of the IEEE 77, 1989, 257-286.",
    "Recalibration at least cost: R. E. Barlow and F. Proschan, Mathematical Theory of Reliability, 1965, chapter 4 (age \
     replacement).",
    "What a check is worth: H. Raiffa and R. Schlaifer, Applied Statistical Decision Theory, 1961 (expected value of sample \
     information).",
    "Probability of being out of tolerance: JCGM 106:2012.",
    "Of these ILAC-G24, Barlow and Proschan, and Raiffa and Schlaifer are cited from memory.",
];

/// When plates go out. Heights are in `unit`; days are written year-month-day.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(title = "howflat recall")]
pub struct RecallDocument {
    /// What the check is called.
    title: String,
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
struct RefusedDocument {
    /// What it is called.
    name: String,
    /// What is wrong, with line and column.
    faults: Vec<String>,
}

/// A way to read a record whose entries contradict one another.
#[derive(Debug, Serialize, JsonSchema)]
struct ReadingDocument {
    /// Lines of the history that do not count.
    left_out_lines: Vec<usize>,
    /// The day on which the risk is reached by it; null where it is not in the years that were looked at.
    send_out_by: Option<String>,
}

/// One plate.
#[derive(Debug, Serialize, JsonSchema)]
struct PlateDocument {
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
struct IntervalDocument {
    /// The estimate.
    estimate: f64,
    /// Lower end.
    from: f64,
    /// Upper end.
    to: f64,
}

/// One row of the history.
#[derive(Debug, Serialize, JsonSchema)]
struct EntryDocument {
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
struct ForecastDocument {
    /// The day, year-month-day.
    date: String,
    /// The flatness deviation.
    flatness: IntervalDocument,
    /// Probability of being out of tolerance.
    out_probability: f64,
}

/// What costs say.
#[derive(Debug, Serialize, JsonSchema)]
struct CostPlanDocument {
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
struct CheckDocument {
    /// "spread", "readings", "certificate" or "exact".
    check: String,
    /// Its standard uncertainty, where it is one.
    standard_uncertainty: Option<f64>,
    /// By how much it lowers the expected cost.
    worth: f64,
}
