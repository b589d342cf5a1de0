//! States and classes that stand for figures: what each name means, in the words of the setup file.

use super::written::Named;
use crate::shop::indicator::IndicatorClass;
use serde_json::{Value, json};

/// A state of a plate's surface.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WearState {
    /// A plate that came back from lapping and has not been worked on.
    Fresh,
    /// A plate that is worked on every day, by people who spread the work.
    DailyUse,
    /// A plate that has been worked on for years, mostly in the same places.
    Worn,
}

impl Named for WearState {
    const TITLE: &'static str = "state_of_the_plate";

    fn all() -> Vec<(&'static str, Self)> {
        vec![("fresh from lapping", Self::Fresh), ("in daily use", Self::DailyUse), ("worn", Self::Worn)]
    }
}

/// How plate, feet and block are cleaned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CleanState {
    /// Before each time a foot or the block is put down.
    EachTime,
    /// Once, before the check.
    Once,
    /// Not at all.
    Never,
}

impl Named for CleanState {
    const TITLE: &'static str = "cleaning";

    fn all() -> Vec<(&'static str, Self)> {
        vec![("wiped each time", Self::EachTime), ("wiped once", Self::Once), ("not wiped", Self::Never)]
    }
}

/// What the state or class called `name` stands for, as if it had been written out, and where that
/// comes from.
pub(super) fn meaning(name: &str) -> Option<(Value, &'static str)> {
    let named = |(known, _): &(&str, _)| *known == name;
    if let Some((_, state)) = WearState::all().into_iter().find(named) {
        return Some((wear(state), WEAR_SOURCE));
    }
    if let Some((_, state)) = CleanState::all().into_iter().find(|(known, _)| *known == name) {
        let (film, grain_chance) = match state {
            CleanState::EachTime => ("0.15 µm", 0.002),
            CleanState::Once => ("0.5 µm", 0.01),
            CleanState::Never => ("1 µm", 0.05),
        };
        let source = "0.1 to 0.2 µm cleaned and wiped by hand each time, 0.5 to 1 µm wiped once; common practice, no source";
        return Some((json!({ "film": film, "grain_chance": grain_chance }), source));
    }
    let class = IndicatorClass::ALL.iter().find(|class| class.name == name)?;
    let limit = |value: f64| match class.graduation {
        Some(_) => format!("{value} µm"),
        None if value > 0.0 && value < 1.0 => format!("1/{} graduation", 1.0 / value),
        None => format!("{value} graduation"),
    };
    let meaning = json!({
        "error_limit": limit(class.error_limit),
        "hysteresis": { "rectangular": { "from": limit(0.0), "to": limit(class.hysteresis) } },
        "repeatability": limit(class.repeatability),
    });
    Some((meaning, "limits of the indicator's class"))
}

/// Depths of wear: a few tenths where use is spread, thousandths where it is always in one place (a
/// calibration laboratory's page with a stained wear map). How that is shared out among middle,
/// front edge, corners, twist and waves is common practice, no source.
const WEAR_SOURCE: &str = "a few tenths of depth where use is spread, thousandths where it is always in one place; \
     how it is shared out is common practice, no source";

fn wear(state: WearState) -> Value {
    let (middle, front_edge, dip) = match state {
        WearState::Fresh => ("0.15 of grade AA", "0.1 of grade AA", "0.2 of grade AA"),
        WearState::DailyUse => ("2 µm", "1.2 µm", "3 µm"),
        WearState::Worn => ("6 µm", "4 µm", "6 µm"),
    };
    let (near_corner, under_stand, anywhere) = match state {
        WearState::Fresh => (0.1, 0.1, 0.08),
        WearState::DailyUse => (0.25, 0.2, 0.2),
        WearState::Worn => (0.5, 0.4, 0.4),
    };
    let (twist, long_wave, waviness) = match state {
        WearState::Fresh => ("0.12 of grade AA", "0.11 of grade AA", "0.07 µm"),
        WearState::DailyUse => ("0.2 of grade AA", "0.15 of grade AA", "0.14 µm"),
        WearState::Worn => ("0.3 of grade AA", "0.25 of grade AA", "0.25 µm"),
    };
    // From hardly any to several times as much as usual: plates that are unlike the others must be
    // possible, or their readings are taken for something else.
    let depth = |mean: &str| json!({ "gamma": { "mean": mean, "shape": 0.7 } });
    let height = |median: &str, spread: f64| json!({ "lognormal": { "median": median, "spread": spread } });
    let lies = |chance: f64| json!({ "chance": chance, "depth": depth(dip) });
    let mut along_front = lies(anywhere);
    along_front["y"] = json!({ "rectangular": { "from": "0 of the width", "to": "0.3 of the width" } });
    json!({
        "amount": { "lognormal": { "median": 0.6, "spread": 0.9 } },
        "middle": { "depth": depth(middle) },
        "front_edge": { "depth": depth(front_edge) },
        "corner_dips": [lies(near_corner)],
        "stand_dips": [lies(under_stand)],
        "dips": [along_front, lies(anywhere), lies(anywhere)],
        "twist": { "normal": { "mean": "0 µm", "standard_deviation": twist } },
        "long_wave": { "standard_deviation": height(long_wave, 1.0) },
        "waviness": { "standard_deviation": height(waviness, 0.6) },
    })
}
