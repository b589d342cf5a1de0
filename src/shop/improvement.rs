//! What can be done to make a check better: each step a change of the check.

use super::{
    check::ShopCheck,
    stand_room::{carried_room, column_room},
    survey::{Impossible, Plan, StandUse, Station, Survey, Target, Zeroing},
};
use std::fmt;

/// One step that makes a check better, with its size.
///
/// Sizes left to themselves are those of [`Step::usual`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Step {
    /// The longest reach of each placement comes down to this share of what it was, or as near to it as the place
    /// allows: a parked or turned stand goes towards the middle of its targets, a carried one is set shorter.
    ShorterReach {
        /// Above 0, below 1.
        to: f64,
    },
    /// The feet stand this many times as far from the column.
    WiderFeet {
        /// Above 1.
        times: f64,
    },
    /// Another indicator: graduation, reading, error limit, hysteresis and repeatability come down to this share.
    FinerGraduation {
        /// Above 0, below 1.
        to: f64,
    },
    /// So many passes more, the stand lifted and put down anew before each, a parked one's zero set anew with it.
    FurtherPass {
        /// How many more.
        passes: usize,
    },
    /// Everything is read again with the stand turned, as placements of their own.
    TurnedStand {
        /// In degrees.
        by: f64,
    },
    /// The zero is read again at the end, and the drift it shows taken off.
    ClosingReading,
    /// The plate rests, covered, before it is read: temperature differences and rates come down to this share.
    OvernightSoak {
        /// Share that is left.
        leaves: f64,
    },
    /// Plate, feet and block are wiped each time one is put down.
    CleanerPlate {
        /// Standard deviation of a seat that is left, in µm.
        film: f64,
        /// Chance of a grain that is left.
        grain_chance: f64,
    },
    /// One target more halfway between each two that follow one another.
    MoreTargets,
    /// A better gauge block: its variation in length comes down to this share.
    BetterBlock {
        /// Above 0, below 1.
        to: f64,
    },
    /// The tip comes to every reading from the same side.
    OneSidedApproach,
    /// The contact arm is set with care: its angle comes down to this share.
    LevelArm {
        /// Above 0, below 1.
        to: f64,
    },
    /// Gloves, and a wait before the first reading: warmth of the hand comes down to this share.
    CoolHands {
        /// Share that is left.
        leaves: f64,
    },
}

impl Step {
    /// The steps and the sizes that are taken when it is not stated, in the order they are taken when several are.
    ///
    /// Sizes are common practice, no source, but for two: a plate of 100 to 300 mm follows the room with a time constant of 4 to
    /// 11 h, so that a night of 13 h leaves at most 0.3 of a difference; and 0.15 µm of film is what wiping by hand each
    /// time leaves (both derived from or stated in trade notes, no standard).
    pub const fn usual() -> [Self; 13] {
        [
            Self::ShorterReach { to: 0.5 },
            Self::WiderFeet { times: 1.5 },
            Self::FinerGraduation { to: 0.5 },
            Self::FurtherPass { passes: 1 },
            Self::TurnedStand { by: 90.0 },
            Self::ClosingReading,
            Self::OvernightSoak { leaves: 0.3 },
            Self::CleanerPlate { film: 0.15, grain_chance: 0.002 },
            Self::MoreTargets,
            Self::BetterBlock { to: 0.5 },
            Self::OneSidedApproach,
            Self::LevelArm { to: 0.25 },
            Self::CoolHands { leaves: 0.2 },
        ]
    }

    /// What it is called in a report.
    pub fn name(self) -> &'static str {
        match self {
            Self::ShorterReach { .. } => "shorter reach",
            Self::WiderFeet { .. } => "wider feet",
            Self::FinerGraduation { .. } => "finer graduation",
            Self::FurtherPass { .. } => "further pass, stand put down anew",
            Self::TurnedStand { .. } => "all again with the stand turned",
            Self::ClosingReading => "closing reading, drift taken off",
            Self::OvernightSoak { .. } => "overnight soak",
            Self::CleanerPlate { .. } => "wiping each time",
            Self::MoreTargets => "targets halfway between",
            Self::BetterBlock { .. } => "better gauge block",
            Self::OneSidedApproach => "approach from one side",
            Self::LevelArm { .. } => "contact arm set with care",
            Self::CoolHands { .. } => "gloves and a wait",
        }
    }

    /// Makes the change; what has no place on the plate any more is sorted out by [`taken`].
    fn change(self, check: &mut ShopCheck, plan: &mut Plan) -> Result<(), NotTaken> {
        match self {
            Self::ShorterReach { to } => return shorten(to, check, plan),
            Self::WiderFeet { times } => {
                for coordinate in check.stand.feet.as_flattened_mut() {
                    *coordinate *= times;
                }
                for station in &mut plan.stations {
                    make_room(check, plan.stand_use, plan.carried_reach, station);
                }
            }
            Self::FinerGraduation { to } => {
                let indicator = &mut check.indicator;
                for size in [
                    &mut indicator.graduation,
                    &mut indicator.read_step,
                    &mut indicator.error_limit,
                    &mut indicator.error_travel,
                    &mut indicator.repeatability,
                ] {
                    *size *= to;
                }
                indicator.hysteresis = indicator.hysteresis.scaled(to);
            }
            Self::FurtherPass { passes } => {
                plan.passes += passes;
                plan.lifted = true;
                if plan.stand_use == StandUse::Parked && plan.zeroing == Zeroing::Once {
                    plan.zeroing = Zeroing::EachPass;
                }
            }
            Self::TurnedStand { by } => return turn(by, check, plan),
            Self::ClosingReading => {
                if plan.closing_reading && plan.drift_corrected {
                    return Err(NotTaken::SoAlready);
                }
                (plan.closing_reading, plan.drift_corrected) = (true, true);
            }
            Self::OvernightSoak { leaves } => {
                let temperature = &mut check.temperature;
                for known in [&mut temperature.top_to_bottom, &mut temperature.column_rate] {
                    *known = known.scaled(leaves);
                }
            }
            Self::CleanerPlate { film, grain_chance } => {
                let clean = &mut check.cleanliness;
                if clean.film <= film && clean.grain_chance <= grain_chance {
                    return Err(NotTaken::SoAlready);
                }
                clean.film = clean.film.min(film);
                clean.grain_chance = clean.grain_chance.min(grain_chance);
            }
            Self::MoreTargets => plan.stations.iter_mut().for_each(fill_in),
            Self::BetterBlock { to } => check.gauge_block.length_variation *= to,
            Self::OneSidedApproach => {
                if check.indicator.one_sided_approach {
                    return Err(NotTaken::SoAlready);
                }
                check.indicator.one_sided_approach = true;
            }
            Self::LevelArm { to } => {
                check.indicator.contact_angle = check.indicator.contact_angle.scaled(to);
            }
            Self::CoolHands { leaves } => {
                check.temperature.handling = check.temperature.handling.scaled(leaves);
            }
        }
        Ok(())
    }
}

/// Why a step cannot be taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotTaken {
    /// The check is like that already.
    SoAlready,
    /// A stand that is turned on its spot points where its targets are.
    PointsAtTargets,
    /// Fewer than two targets of some placement would be left.
    NoRoom,
    /// There would be more readings than anybody takes.
    TooMany,
    /// The readings are too few for a plane to be taken off.
    CannotBeLevelled,
}

impl fmt::Display for NotTaken {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::SoAlready => "it is so already",
            Self::PointsAtTargets => "a turned stand points where its targets are",
            Self::NoRoom => "the plate has no room for it",
            Self::TooMany => "there would be more than 500 readings",
            Self::CannotBeLevelled => "so few readings cannot be levelled",
        })
    }
}

impl std::error::Error for NotTaken {}

/// Most readings in one survey.
const MOST_READINGS: usize = 500;

/// The check after all these steps, taken in the order given.
///
/// Targets that cannot be read any more (a foot in the way, out of reach) are left out, as anybody would.
pub fn taken(check: &ShopCheck, plan: &Plan, steps: &[Step]) -> Result<ShopCheck, NotTaken> {
    Ok(taken_with_plan(check, plan, steps)?.0)
}

/// [`taken`], and the plan of its survey.
pub fn taken_with_plan(
    check: &ShopCheck,
    plan: &Plan,
    steps: &[Step],
) -> Result<(ShopCheck, Plan), NotTaken> {
    let (mut check, mut plan) = (check.clone(), plan.clone());
    for step in steps {
        step.change(&mut check, &mut plan)?;
    }
    check.survey = lay_out_what_fits(&check, &mut plan)?;
    Ok((check, plan))
}

/// Lays a plan out without what is impossible in it.
fn lay_out_what_fits(check: &ShopCheck, plan: &mut Plan) -> Result<Survey, NotTaken> {
    let lay_out = |plan: &Plan| Survey::lay_out(plan, &check.plate, &check.stand, &check.gauge_block);
    let survey = lay_out(plan).or_else(|faults| {
        leave_out(plan, &faults);
        if plan.stations.iter().any(|station| station.targets.len() < 2) {
            return Err(NotTaken::NoRoom);
        }
        lay_out(plan).map_err(|_| NotTaken::NoRoom)
    })?;
    if survey.readings.len() > MOST_READINGS { Err(NotTaken::TooMany) } else { Ok(survey) }
}

fn leave_out(plan: &mut Plan, faults: &[Impossible]) {
    for (s, station) in plan.stations.iter_mut().enumerate() {
        let mut index = 0;
        station.targets.retain(|_| {
            index += 1;
            !faults.iter().any(|fault| fault.station == s && fault.target == Some(index - 1))
        });
    }
}

/// Brings the reach of every placement down.
fn shorten(to: f64, check: &ShopCheck, plan: &mut Plan) -> Result<(), NotTaken> {
    /// A move that shortens by less is none.
    const WORTH_IT: f64 = 0.97;
    if plan.stand_use == StandUse::Carried {
        let clear = check.stand.nearest_ahead(&check.gauge_block);
        let reach = (to * plan.carried_reach).max(clear).max(check.stand.reach[0]);
        if reach > WORTH_IT * plan.carried_reach {
            return Err(NotTaken::SoAlready);
        }
        plan.carried_reach = reach;
        return Ok(());
    }
    let mut shorter = false;
    let as_planned = plan.clone();
    for station in &mut plan.stations {
        let longest = |at: [f64; 2], targets: &[Target]| {
            targets.iter().map(|t| libm::hypot(t.at[0] - at[0], t.at[1] - at[1])).fold(0.0, f64::max)
        };
        let n = station.targets.len() as f64;
        let middle = [0, 1].map(|axis| station.targets.iter().map(|t| t.at[axis]).sum::<f64>() / n);
        let (start, before) = (station.at, longest(station.at, &station.targets));
        let on_the_way = |k: u32| {
            let share = f64::from(k) / 20.0;
            [0, 1].map(|axis| start[axis] + share * (middle[axis] - start[axis]))
        };
        let reach = |k: &u32| longest(on_the_way(*k), &station.targets);
        // Nearer to all targets, but on none of them: each stays readable.
        let allowed =
            |k: &u32| all_readable(check, &as_planned, &Station { at: on_the_way(*k), ..station.clone() });
        let shortest = || (1..=20).filter(allowed).min_by(|a, b| reach(a).total_cmp(&reach(b)));
        let best = (1..=20).find(|k| reach(k) <= to * before && allowed(k)).or_else(shortest);
        if let Some(k) = best.filter(|k| reach(k) < WORTH_IT * before) {
            station.at = on_the_way(k);
            shorter = true;
        }
    }
    if shorter { Ok(()) } else { Err(NotTaken::SoAlready) }
}

/// Whether every target can be read from a station of a plan, the block clear of the stand either way round.
fn all_readable(check: &ShopCheck, plan: &Plan, station: &Station) -> bool {
    let clear =
        |target: &Target| check.stand.clears(&check.gauge_block, plan.in_stand_frame(station, target.at));
    let alone = Plan { stations: vec![station.clone()], ..plan.clone() };
    let in_the_way = |faults: Vec<Impossible>| faults.iter().any(|fault| fault.target.is_some());
    let laid_out = Survey::lay_out(&alone, &check.plate, &check.stand, &check.gauge_block);
    station.targets.iter().all(clear) && !laid_out.is_err_and(in_the_way)
}

/// All placements once more, turned.
fn turn(by: f64, check: &ShopCheck, plan: &mut Plan) -> Result<(), NotTaken> {
    if plan.stand_use == StandUse::Turned {
        return Err(NotTaken::PointsAtTargets);
    }
    let same = |a: f64, b: f64| (a - b).rem_euclid(360.0).min((b - a).rem_euclid(360.0)) < 0.5;
    let alike = |a: &Station, b: &Station| {
        same(a.heading, b.heading) && (plan.stand_use == StandUse::Carried || a.at == b.at)
    };
    let mut further = Vec::new();
    for station in &plan.stations {
        let heading = station.heading + by;
        let mut turned = Station { name: format!("{}, turned", station.name), heading, ..station.clone() };
        make_room(check, plan.stand_use, plan.carried_reach, &mut turned);
        if !plan.stations.iter().any(|known| alike(known, &turned)) {
            further.push(turned);
        }
    }
    if further.is_empty() {
        return Err(NotTaken::SoAlready);
    }
    if plan.stand_use == StandUse::Parked && plan.stations.len() == 1 {
        plan.zeroing = Zeroing::EachStation;
    }
    plan.stations.extend(further);
    Ok(())
}

/// Moves a placement, or the targets of a carried stand, so that all feet and the block are on the plate.
fn make_room(check: &ShopCheck, stand_use: StandUse, carried_reach: f64, station: &mut Station) {
    let clamp = |at: &mut [f64; 2], room: [[f64; 2]; 2]| {
        for (coordinate, [low, high]) in at.iter_mut().zip(room) {
            *coordinate = coordinate.clamp(low, high);
        }
    };
    if stand_use != StandUse::Carried {
        if let Some(room) = column_room(check, stand_use, station.heading) {
            clamp(&mut station.at, room);
        }
        return;
    }
    let Some(room) = carried_room(check, carried_reach, station.heading) else { return };
    // Targets that are pushed to the same spot are one.
    let mut known: Vec<[f64; 2]> = Vec::new();
    station.targets.retain_mut(|target| {
        clamp(&mut target.at, room);
        let new = !known.contains(&target.at);
        known.push(target.at);
        new
    });
}

/// A target halfway between each two that follow one another.
fn fill_in(station: &mut Station) {
    let targets = std::mem::take(&mut station.targets);
    for (index, target) in targets.iter().enumerate() {
        station.targets.push(target.clone());
        if let Some(next) = targets.get(index + 1) {
            let at = [0, 1].map(|axis| (target.at[axis] + next.at[axis]) / 2.0);
            if !targets.iter().any(|known| known.at == at) {
                station.targets.push(Target { name: format!("{} to {}", target.name, next.name), at });
            }
        }
    }
}
