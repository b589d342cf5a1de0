//! What being early and being late cost, as typed beside a history.

use super::fault::{Fault, did_you_mean, listing};
use crate::decision::recall::Costs;

/// Names as typed, with what each is.
const NAMES: [&str; 5] = ["recalibration", "day", "days-away", "bad-part", "bad-parts"];
/// Days that a plate is away where it is not stated: common practice, no source.
const DAYS_AWAY: f64 = 10.0;
/// Bad parts a year that a plate out of tolerance lets pass where it is not stated: one a month, an assumption.
const BAD_PARTS: f64 = 12.0;
/// Larger numbers are slips.
const LARGEST: f64 = 1e9;

/// Costs, and what was left out of them.
#[derive(Debug, Clone, PartialEq)]
pub struct TypedCosts {
    /// The costs.
    pub costs: Costs,
    /// What was taken for each name that was not given, in words.
    pub assumed: Vec<String>,
}

/// Costs as typed: `recalibration=450,day=60,days-away=10,bad-part=80,bad-parts=12`, in one currency; `day` is
/// a day without the plate and 0 where left out, `bad-parts` how many there are in a year while the plate is out of
/// tolerance.
pub fn costs(text: &str) -> Result<TypedCosts, Fault> {
    let fault = |found: String, must: String, fix: String| Fault {
        field: "the list of costs".into(),
        found,
        must,
        fix,
        at: None,
    };
    let example = || "write recalibration=450,day=60,bad-part=80 with your own numbers".to_string();
    let mut given: [Option<f64>; 5] = [None; 5];
    for part in text.split([',', ';']).map(str::trim).filter(|part| !part.is_empty()) {
        let Some((name, number)) = part.split_once('=') else {
            return Err(fault(format!("\"{part}\""), "names with a number each".into(), example()));
        };
        let name = name.trim().to_lowercase().replace([' ', '_'], "-");
        let Some(place) = NAMES.iter().position(|known| *known == name) else {
            let fix = match did_you_mean(&name, NAMES) {
                Some(likely) => format!("did you mean \"{likely}\"?"),
                None => example(),
            };
            return Err(fault(format!("\"{name}\""), listing(NAMES), fix));
        };
        let number = number.trim().parse::<f64>().ok().filter(|number| (0.0..=LARGEST).contains(number));
        let Some(number) = number else {
            let must = "a number of at least 0, without a currency".into();
            return Err(fault(format!("\"{part}\""), must, format!("write {name}=450")));
        };
        if given[place].replace(number).is_some() {
            return Err(fault(
                format!("\"{name}\" twice"),
                "each name once".into(),
                "keep one of them".into(),
            ));
        }
    }
    let [recalibration, day, days_away, bad_part, bad_parts] = given;
    let (Some(recalibration), Some(bad_part)) = (recalibration, bad_part) else {
        let missing = if recalibration.is_none() { "recalibration" } else { "bad-part" };
        return Err(fault(
            format!("without \"{missing}\""),
            "given with both recalibration and bad-part".into(),
            example(),
        ));
    };
    let costs = Costs {
        recalibration,
        day: day.unwrap_or(0.0),
        days_away: days_away.unwrap_or(DAYS_AWAY),
        bad_part,
        bad_parts_a_year: bad_parts.unwrap_or(BAD_PARTS),
    };
    if costs.of_recalibration() <= 0.0 || costs.of_year_out() <= 0.0 {
        let must = "costs of which neither side is 0".into();
        return Err(fault("nothing to choose between".into(), must, example()));
    }
    let taken = |given: Option<f64>, said: String| given.is_none().then_some(said);
    let assumed = [
        taken(day, "a day without the plate costs nothing (day)".into()),
        taken(
            days_away,
            format!("a plate is away for {DAYS_AWAY} days (days-away; common practice, no source)"),
        ),
        taken(
            bad_parts,
            format!(
                "a plate that is out makes {BAD_PARTS} bad parts a year (bad-parts; one a month, an assumption)"
            ),
        ),
    ];
    Ok(TypedCosts { costs, assumed: assumed.into_iter().flatten().collect() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn costs_as_typed() {
        let all = costs("recalibration = 450, Day=60; days away=5,bad_part=80,bad-parts=24").unwrap();
        assert_eq!((all.costs.of_recalibration(), all.costs.of_year_out()), (750.0, 1920.0));
        assert_eq!(all.assumed, [""; 0]);
        let few = costs("recalibration=450,bad-part=80").unwrap();
        assert_eq!((few.costs.of_recalibration(), few.costs.of_year_out()), (450.0, 960.0));
        assert_eq!(few.assumed.len(), 3);
        assert!(few.assumed[1].contains("10 days") && few.assumed[2].contains("12 bad parts"), "{few:?}");
        for (text, said) in [
            ("", "without \"recalibration\""),
            ("recalibration=450", "without \"bad-part\""),
            ("recalibration", "names with a number each"),
            ("recalibraton=4,bad-part=1", "did you mean \"recalibration\"?"),
            ("recalibration=€450,bad-part=1", "without a currency"),
            ("recalibration=-1,bad-part=1", "at least 0"),
            ("recalibration=1,recalibration=2,bad-part=1", "twice"),
            ("recalibration=0,bad-part=1", "neither side is 0"),
        ] {
            let fault = costs(text).unwrap_err().to_string();
            assert!(fault.contains(said), "{text}: {fault}");
        }
    }
}
