//! What a result is traced by: the numbers and dates of the instruments, and who checked.

use super::fault::Fault;
use crate::quantity::day::{Day, WrittenDay};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Numbers and dates of what was used, as records of a check carry them (ISO/IEC 17025:2017, 6.4.13 and 7.8.2).
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Traceability {
    /// What the plate is known by.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub plate: Option<Instrument>,
    /// What the indicator is known by.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub indicator: Option<Instrument>,
    /// What the gauge block is known by.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gauge_block: Option<Instrument>,
    /// The name of whoever checks.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1, max = 100))]
    pub checked_by: Option<String>,
}

/// What one instrument is known by.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Instrument {
    /// Its serial or inventory number.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1, max = 100))]
    pub serial: Option<String>,
    /// The number of its certificate.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1, max = 100))]
    pub certificate: Option<String>,
    /// The day of that certificate: `2025-03-01`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1, max = 40))]
    pub calibrated: Option<String>,
    /// The day by which it is to be calibrated again.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1, max = 40))]
    pub due: Option<String>,
}

impl Traceability {
    /// The instruments that are known by anything, with what they are called.
    pub fn instruments(&self) -> impl Iterator<Item = (&'static str, &Instrument)> {
        let all =
            [("plate", &self.plate), ("indicator", &self.indicator), ("gauge_block", &self.gauge_block)];
        all.into_iter().filter_map(|(name, instrument)| Some((name, instrument.as_ref()?)))
    }

    /// Those that were to be calibrated again before a day, with the day they were due.
    pub fn overdue(&self, on: Day) -> Vec<(&'static str, &Instrument, Day)> {
        let due = self.instruments().filter_map(|(name, it)| Some((name, it, day(it.due.as_deref()?)?)));
        due.filter(|(.., due)| *due < on).collect()
    }

    /// Days that are none, or that may be read in two ways, and a due date before its calibration. Places are the caller's.
    pub(super) fn faults(&self) -> Vec<Fault> {
        let mut faults = Vec::new();
        for (name, instrument) in self.instruments() {
            for (field, text) in [("calibrated", &instrument.calibrated), ("due", &instrument.due)] {
                let Some(text) = text.as_deref().filter(|text| day(text).is_none()) else { continue };
                faults.push(Fault {
                    field: format!("traceability.{name}.{field}"),
                    found: format!("\"{text}\""),
                    must: "a day that can be read in one way".into(),
                    fix: "write it as 2024-03-01".into(),
                    at: None,
                });
            }
            let days = [&instrument.calibrated, &instrument.due].map(|text| day(text.as_deref()?));
            if let [Some(calibrated), Some(due)] = days
                && due < calibrated
            {
                faults.push(Fault {
                    field: format!("traceability.{name}.due"),
                    found: due.to_string(),
                    must: format!("after the day of the certificate, {calibrated}"),
                    fix: "check both days".into(),
                    at: None,
                });
            }
        }
        faults
    }
}

fn day(text: &str) -> Option<Day> {
    match Day::read(text)? {
        WrittenDay::One(day, _) => Some(day),
        WrittenDay::Open { .. } => None,
    }
}
