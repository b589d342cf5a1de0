//! What the readings so far say, and what to read next.

use super::{
    Refusal,
    question::{About, Draws, Typed},
    shown::{Shown, Signed},
    typed::{self, Doubted},
};
use crate::{
    decision::{
        conformance::Rule,
        judgement::{Judgement, Question},
    },
    propagation::{
        next_reading::{Candidate, NextReading, next_readings},
        posterior::Settings,
    },
    quantity::unit::{MICROMETRE, Measure},
    report::{Report, judge_report::JudgeReport, leaning::LeansOn, page::Page, unseen_words},
    setup::{AssumedRange, Readings},
    shop::survey::Station,
};
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

/// What readings say.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct JudgedAnswer {
    /// How many were read.
    pub n_readings: usize,
    /// How many independent draws of the flatness this rests on.
    pub effective_draws: f64,
    /// Whether it is what the command says, and not a first look.
    pub full: bool,
    /// The verdict, the estimate, what to read next, the map.
    pub shown: Shown,
    /// What to read next, as rows to be added to the walk; the first of a placement sets its zero.
    pub next: Vec<Typed>,
    /// What the readings of the walk that are still open would add, the one that tells most first; none by a first look.
    pub open: Vec<OpenReading>,
    /// Readings that can hardly be meant.
    pub doubted: Vec<Doubted>,
    /// The readings file.
    pub csv: String,
    /// The document of `howflat judge --json`, without its map.
    pub result: Value,
}

/// A reading of the walk that was not taken yet.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct OpenReading {
    /// Its row, from 0.
    pub row: usize,
    /// Standard uncertainty of the flatness (in the unit of heights) to be expected after it and those listed before it, if the stand
    /// is put down anew for them.
    pub standard_uncertainty_then: f64,
}

/// Judges what was typed so far.
pub fn judge(
    about: &About,
    readings: &[Typed],
    draws: Draws,
    between: &(dyn Fn() + Sync),
) -> Result<JudgedAnswer, Refusal> {
    with_report(about, readings, draws, None, between, |report, page| {
        let mut result = report.json();
        if let Some(members) = result.as_object_mut() {
            // It is there as a picture, and is most of the document.
            members.remove("map");
        }
        JudgedAnswer {
            n_readings: report.readings.rows.len(),
            effective_draws: report.judgement.posterior.effective_sample_size,
            full: draws == Draws::Full,
            shown: Shown::of(&page, &["map", "next", "leaning"]),
            next: next(&result),
            open: if draws == Draws::Full { open(readings, report) } else { Vec::new() },
            doubted: typed::doubted(report.readings, report.setup),
            csv: typed::csv(readings),
            result,
        }
    })
}

/// The report on it, as one page of HTML.
pub fn report(
    about: &About,
    readings: &[Typed],
    signed: Signed,
    between: &(dyn Fn() + Sync),
) -> Result<String, Refusal> {
    let html = |_: &JudgeReport, page| signed.html(page);
    with_report(about, readings, Draws::Full, signed.date(), between, html)
}

fn with_report<T>(
    about: &About,
    typed: &[Typed],
    draws: Draws,
    date: Option<&str>,
    between: &(dyn Fn() + Sync),
    made: impl Fn(&JudgeReport, Page) -> T,
) -> Result<T, Refusal> {
    let setup = about.setup()?;
    let readings: Readings = typed::read(typed, &setup)?;
    let rule = Rule::Proven { probability: 1.0 - setup.consumer_risk };
    let (settings, otherwise) = match draws {
        Draws::Full => (Settings::default(), setup.other_wear(&about.setup)),
        Draws::Few => (Settings::default().rough(), Vec::new()),
    };
    let assumed: Vec<_> = match draws {
        Draws::Full => {
            setup.assumed_ranges(&about.setup).into_iter().filter(AssumedRange::bears_on_readings).collect()
        }
        Draws::Few => Vec::new(),
    };
    let figures: Vec<_> = assumed.iter().map(|figure| &figure.checks).collect();
    let question = Question {
        tolerance: setup.tolerance.as_ref().map(|tolerance| tolerance.value),
        rule,
        before: setup.within_before,
        otherwise: &otherwise,
        figures: &figures,
        hollows: unseen_words::radii(setup.plan_unit),
        settings,
    };
    let judgement = Judgement::new(&readings.check, &readings.observations(), &question, &|_| between())
        .map_err(|why| why.to_string())?;
    let report = JudgeReport {
        setup: &setup,
        readings: &readings,
        tolerance: setup.tolerance.as_ref(),
        rule,
        settings,
        judgement: &judgement,
        leans_on: LeansOn::new(assumed, judgement.leanings.clone()),
        date,
    };
    Ok(made(&report, report.page()))
}

/// What is still open on the setup's walk, and what each of it would leave.
fn open(typed: &[Typed], report: &JudgeReport) -> Vec<OpenReading> {
    let plan = &report.setup.plan;
    let row_of = |station: &str, target: &str| {
        typed
            .iter()
            .position(|row| row.placement == station && row.target == target && row.reading.trim().is_empty())
    };
    let of_station = |station: &Station| {
        let (zero, others) = station.targets.split_first()?;
        let open = others.iter().filter(|target| row_of(&station.name, &target.name).is_some());
        let targets = std::iter::once(zero).chain(open).cloned().collect();
        Some(Candidate {
            stand_use: plan.stand_use,
            station: Station { targets, ..station.clone() },
            carried_reach: plan.carried_reach,
        })
    };
    let candidates: Vec<Candidate> = plan.stations.iter().filter_map(of_station).collect();
    let posterior = &report.judgement.posterior;
    let chosen = next_readings(&report.readings.check, posterior, &candidates, &[], typed.len());
    let worth = |next: NextReading| {
        let station = &candidates[next.candidate].station;
        let row = row_of(&station.name, &station.targets[next.target].name)?;
        let then = Measure { value: next.expected_standard_uncertainty, unit: MICROMETRE };
        Some(OpenReading { row, standard_uncertainty_then: then.to(report.setup.unit) })
    };
    chosen.into_iter().filter_map(worth).collect()
}

/// The readings that are advised, as rows.
fn next(result: &Value) -> Vec<Typed> {
    let row = |advised: &Value| {
        let text = |name: &str| advised[name].as_str().unwrap_or_default().to_string();
        let sets_zero = advised["sets_zero"].as_bool().unwrap_or(false);
        Typed {
            placement: text("placement"),
            target: text("target"),
            pass: advised["pass"].as_u64().map_or(String::new(), |pass| pass.to_string()),
            reading: if sets_zero { "0".into() } else { String::new() },
            time: String::new(),
            remark: if sets_zero { "set the zero here".into() } else { "advised".into() },
        }
    };
    result["next"].as_array().into_iter().flatten().map(row).collect()
}
