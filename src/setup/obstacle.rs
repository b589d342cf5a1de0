//! Says why a survey cannot be taken, by placement and target, and what to write instead.

use super::lengths::Lengths;
use crate::shop::plate::Plate;
use crate::shop::survey::{Impossible, Obstacle, Plan, StandUse};

/// A fault in the making: where it is shown, and its texts.
pub struct Said {
    /// The field where it is shown.
    pub place: String,
    /// What it is about.
    pub field: String,
    /// What stands there.
    pub found: String,
    /// What must.
    pub must: String,
    /// What to write instead.
    pub fix: String,
}

/// What is to be said of each obstacle. `by_hand`: the placements were written one by one. `nearer`: a place with a name
/// from which all can be read.
pub fn describe(
    obstacles: &[Impossible],
    plan: &Plan,
    plate: &Plate,
    lengths: Lengths,
    by_hand: bool,
    nearer: Option<&str>,
) -> Vec<Said> {
    let sides = lengths.place([plate.length, plate.width]);
    let mut said: Vec<Said> = Vec::new();
    if !by_hand {
        said.extend(short_reach(obstacles, plan, lengths, nearer));
    }
    for Impossible { station, target, why } in obstacles {
        if !said.is_empty() && !by_hand && matches!(why, Obstacle::OutOfReach { .. }) {
            continue;
        }
        if let Obstacle::FeetInLine = why {
            said.push(Said {
                place: "stand.feet".into(),
                field: "stand.feet".into(),
                found: "on one line".into(),
                must: "three feet that are not on one line".into(),
                fix: "write feet that form a triangle".into(),
            });
            continue;
        }
        let here = plan.stations.get(*station);
        let mut place = "survey".to_owned();
        let mut field = format!("survey: placement \"{}\"", here.map_or("", |here| &here.name));
        if by_hand {
            place = format!("survey.placements[{station}]");
        }
        // A parked stand that stands badly does so for every target.
        let of_the_stand = plan.stand_use == StandUse::Parked && matches!(why, Obstacle::FootOffPlate { .. });
        if let (false, Some(target)) = (of_the_stand, target) {
            let name = here.and_then(|here| here.targets.get(*target)).map_or("", |target| &target.name);
            field = format!("{field}, target \"{name}\"");
            if by_hand {
                place = format!("{place}.targets[{target}]");
            }
        }
        let (found, must, fix) = match why {
            Obstacle::TargetOffPlate { at } => (
                format!("at {}", lengths.place(*at)),
                format!("on the plate, which is {sides}"),
                "write a place on the plate, counted from its front left corner",
            ),
            Obstacle::BlockOverEdge { at, clearance } => (
                format!("at {}", lengths.place(*at)),
                format!(
                    "at least {} from every edge, half the longer side of the block's face",
                    lengths.text(*clearance)
                ),
                "move the target inwards",
            ),
            Obstacle::FootOffPlate { foot, at } => (
                format!("impossible with foot {} at {}", foot + 1, lengths.place(*at)),
                format!("such that every pad is on the plate, which is {sides}"),
                match plan.stand_use {
                    StandUse::Carried => "move the target or write another heading",
                    StandUse::Parked | StandUse::Turned => "move the stand further onto the plate",
                },
            ),
            Obstacle::OutOfReach { reach, limits } => {
                let [shortest, longest] = limits.map(|limit| lengths.text(limit));
                let must = if limits[1].is_finite() {
                    format!("from {shortest} to {longest} from the column, as far as the stand reaches")
                } else {
                    format!("at least {shortest} from the column, as near as the stand reaches")
                };
                let found = format!("{} from the column", lengths.text(*reach));
                (found, must, "write the stand.reach it has, move the stand, or leave the target out")
            }
            Obstacle::FootOnBlock { foot } => (
                format!("where foot {} stands", foot + 1),
                "clear of the stand's feet".into(),
                "move the target or the stand",
            ),
            Obstacle::UnderStand => (
                "under the stand".into(),
                "clear of its feet, its column and what is between them".into(),
                "move the target or the stand, or write stand.reach.shortest if this stand reads nearer to itself",
            ),
            Obstacle::FeetInLine | Obstacle::NothingToCompare => (
                "not enough to compare".into(),
                "two spots or more".into(),
                "add targets, or choose a pattern with more that the stand does not cover",
            ),
        };
        if !said.iter().any(|before| before.field == field && before.found == found) {
            said.push(Said { place, field, found, must, fix: fix.into() });
        }
    }
    said
}

/// Targets of a ready pattern that are too far for the stand: said once, of the reach, for nobody wrote the targets.
fn short_reach(
    obstacles: &[Impossible],
    plan: &Plan,
    lengths: Lengths,
    nearer: Option<&str>,
) -> Option<Said> {
    let too_far = obstacles.iter().filter_map(|obstacle| match obstacle.why {
        Obstacle::OutOfReach { reach, limits } if reach > limits[1] => Some((obstacle, reach, limits[1])),
        _ => None,
    });
    let (Impossible { station, target, .. }, reach, longest) = too_far.max_by(|a, b| a.1.total_cmp(&b.1))?;
    let station = plan.stations.get(*station)?;
    let target = station.targets.get((*target)?)?;
    let nearer = match nearer {
        Some(place) => {
            format!("put the stand where less is needed, as with \"survey\": {{ \"from\": \"{place}\" }}")
        }
        None => "name the spots that it reaches in survey.placements".into(),
    };
    Some(Said {
        place: "stand.reach.longest".into(),
        field: "stand.reach.longest".into(),
        found: lengths.text(longest),
        must: format!(
            "at least {}, for so far is \"{}\" from the column at \"{}\"",
            lengths.text(reach),
            target.name,
            station.name
        ),
        fix: format!("write the reach that it has, or {nearer}"),
    })
}
