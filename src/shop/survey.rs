//! The survey: where stand and block go, in what order, and how the zero is handled.

use super::{gauge_block::GaugeBlock, plate::Plate, stand::Stand};
use std::{f64::consts::FRAC_PI_2, fmt, ops::Range};

/// How the stand moves between readings. Three different checks, not one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StandUse {
    /// The feet stay put; the arm swings to each target.
    Parked,
    /// The stand is turned on its spot to point at each target, so its feet land elsewhere.
    Turned,
    /// Stand and block travel together, at a fixed reach and heading.
    Carried,
}

impl StandUse {
    /// All three, in the order they are listed to a user.
    pub const ALL: [Self; 3] = [Self::Parked, Self::Turned, Self::Carried];

    /// Its name as a setup file writes it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Parked => "parked",
            Self::Turned => "turned",
            Self::Carried => "carried",
        }
    }
}

/// When the indicator is set to zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Zeroing {
    /// Once, at the first target; the zero is carried through all passes.
    Once,
    /// At the first target of every pass.
    EachPass,
    /// At the first target of every station of the stand.
    EachStation,
}

/// A spot where the gauge block is read.
#[derive(Debug, Clone, PartialEq)]
pub struct Target {
    /// What people call it.
    pub name: String,
    /// Where it is, `[x, y]` in mm.
    pub at: [f64; 2],
}

/// The stand at one place, and the targets that are read from there.
#[derive(Debug, Clone, PartialEq)]
pub struct Station {
    /// What people call it.
    pub name: String,
    /// Where the stand's origin is, in mm. A carried stand has none of its own: it stands its reach
    /// behind each target.
    pub at: [f64; 2],
    /// Direction of the arm that the feet are set for, in degrees from +x towards the back. A
    /// turned stand points at its target instead.
    pub heading: f64,
    /// What is read from there, in order. The first is where the zero is set.
    pub targets: Vec<Target>,
}

/// A survey as it is planned.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// How the stand moves.
    pub stand_use: StandUse,
    /// The stations, in order.
    pub stations: Vec<Station>,
    /// Reach of a carried stand, in mm.
    pub carried_reach: f64,
    /// How many times all stations are gone through.
    pub passes: usize,
    /// Whether the stand is lifted before each further pass and put down anew, where it would else stay.
    pub lifted: bool,
    /// When the zero is set.
    pub zeroing: Zeroing,
    /// Whether each zero target is read again when its round ends.
    pub closing_reading: bool,
    /// Whether readings are corrected linearly in time by the closing reading.
    pub drift_corrected: bool,
    /// Time from one reading to the next, in minutes.
    pub minutes_per_reading: f64,
    /// Further time to put the stand down elsewhere, in minutes.
    pub minutes_per_move: f64,
}

impl Plan {
    /// Where a target (mm) is in the frame of the stand that reads it, in mm.
    pub fn in_stand_frame(&self, station: &Station, target: [f64; 2]) -> [f64; 2] {
        let (at, heading) = pose(self, station, target);
        in_frame(at, heading, target)
    }

    /// How far the tip is from the stand's origin for the reading of a spot (an index into [`Survey::spots`]), in mm;
    /// `None` where there is no such spot.
    pub fn reach(&self, spot: usize) -> Option<f64> {
        if self.stand_use == StandUse::Carried {
            return Some(self.carried_reach);
        }
        let spots = self
            .stations
            .iter()
            .flat_map(|station| station.targets.iter().map(move |target| (station, target)));
        let (station, target) = spots.into_iter().nth(spot)?;
        Some(libm::hypot(target.at[0] - station.at[0], target.at[1] - station.at[1]))
    }
}

/// One reading, with all the geometry it depends on.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Contact points of the three feet, in mm.
    pub feet: [[f64; 2]; 3],
    /// Weight of each foot's height in the datum at the tip; they add up to one.
    pub weights: [f64; 3],
    /// Where the block is, in mm.
    pub target: [f64; 2],
    /// Index into [`Survey::spots`].
    pub spot: usize,
    /// Which putting down of the stand this is, counted from 0 over the whole survey.
    pub seating: usize,
    /// Which zero it is read against, counted from 0; a round begins where a zero is set.
    pub round: usize,
    /// Time since the survey began, in minutes.
    pub minutes: f64,
    /// Whether it is a closing reading, taken for the drift alone.
    pub closing: bool,
}

/// A station and one of its targets: what several passes read again and average.
#[derive(Debug, Clone, PartialEq)]
pub struct Spot {
    /// Name of the station.
    pub station: String,
    /// Name of the target.
    pub target: String,
    /// Where the target is, in mm.
    pub at: [f64; 2],
    /// Which zero group it belongs to: spots of one group share a datum in every pass.
    pub group: usize,
}

/// A survey laid out: every reading in order, checked to be possible.
#[derive(Debug, Clone, PartialEq)]
pub struct Survey {
    /// How the stand moves.
    pub stand_use: StandUse,
    /// What is read, each once however many passes there are.
    pub spots: Vec<Spot>,
    /// All readings of all passes, in the order they are taken.
    pub readings: Vec<Reading>,
    /// Index into `readings` of the reading that sets each round's zero.
    pub zeros: Vec<usize>,
    /// Index into `readings` of each round's closing reading, where there is one.
    pub closings: Vec<Option<usize>>,
    /// How often the stand is put down in all.
    pub n_seatings: usize,
    /// How many zero groups the spots fall into.
    pub n_groups: usize,
    /// How many times every spot is read.
    pub n_passes: usize,
    /// Whether readings are corrected by their round's closing reading.
    pub drift_corrected: bool,
}

/// Why a planned reading cannot be taken.
#[derive(Debug, Clone, PartialEq)]
pub struct Impossible {
    /// Index of the station in the plan.
    pub station: usize,
    /// Index of the target at that station; none where the station itself is at fault.
    pub target: Option<usize>,
    /// What is wrong.
    pub why: Obstacle,
}

impl fmt::Display for Impossible {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "placement {}", self.station + 1)?;
        if let Some(target) = self.target {
            write!(f, ", target {}", target + 1)?;
        }
        f.write_str(match self.why {
            Obstacle::TargetOffPlate { .. } => ": the target is not on the plate",
            Obstacle::BlockOverEdge { .. } => ": the block would hang over an edge",
            Obstacle::UnderStand => ": the block would be under the stand",
            Obstacle::FootOffPlate { .. } => ": a foot would stand off the plate",
            Obstacle::OutOfReach { .. } => ": the target is out of reach",
            Obstacle::FootOnBlock { .. } => ": a foot would stand on the block",
            Obstacle::FeetInLine => ": the feet are on one line",
            Obstacle::NothingToCompare => ": there is nothing to compare with",
        })
    }
}

impl std::error::Error for Impossible {}

/// What stands in the way of a reading.
#[derive(Debug, Clone, PartialEq)]
pub enum Obstacle {
    /// The target is not on the plate, mm.
    TargetOffPlate {
        /// Where it was to be.
        at: [f64; 2],
    },
    /// The block's face would hang over an edge.
    BlockOverEdge {
        /// Where its middle was to be.
        at: [f64; 2],
        /// How near its middle may come to an edge, mm.
        clearance: f64,
    },
    /// The block would be under the stand, among its feet or at its column.
    UnderStand,
    /// A foot would stand off the plate.
    FootOffPlate {
        /// Which foot, counted from 0.
        foot: usize,
        /// Where it would stand, mm.
        at: [f64; 2],
    },
    /// The target is out of the stand's reach.
    OutOfReach {
        /// Distance asked for, mm.
        reach: f64,
        /// What the stand can do, mm.
        limits: [f64; 2],
    },
    /// Block and a foot would be in the same place.
    FootOnBlock {
        /// Which foot, counted from 0.
        foot: usize,
    },
    /// The feet stand on one line.
    FeetInLine,
    /// A station without targets, or a survey with fewer than two spots.
    NothingToCompare,
}

impl Survey {
    /// Lays a plan out reading by reading, or says everything that is impossible in it.
    pub fn lay_out(
        plan: &Plan,
        plate: &Plate,
        stand: &Stand,
        block: &GaugeBlock,
    ) -> Result<Self, Vec<Impossible>> {
        let faults = obstacles(plan, plate, stand, block);
        if !faults.is_empty() {
            return Err(faults);
        }
        let mut layout = Layout::new(plan, stand);
        for pass in 0..layout.survey.n_passes {
            layout.lift = if plan.lifted { pass } else { 0 };
            for (station, place) in plan.stations.iter().enumerate() {
                for target in 0..place.targets.len() {
                    layout.read(station, target);
                }
                let last = station + 1 == plan.stations.len();
                let round_ends = match plan.zeroing {
                    Zeroing::EachStation => true,
                    Zeroing::EachPass => last,
                    Zeroing::Once => last && pass + 1 == layout.survey.n_passes,
                };
                if round_ends {
                    layout.end_round();
                }
            }
        }
        Ok(layout.finish())
    }
}

/// What a survey takes, in the two things that cost time at the plate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Effort {
    /// How often the stand is put down.
    pub set_downs: usize,
    /// How often the tip is brought to the block and the dial looked at: readings, zeros and closing readings alike.
    pub indications: usize,
}

impl Survey {
    /// What it takes.
    pub fn effort(&self) -> Effort {
        Effort { set_downs: self.n_seatings, indications: self.readings.len() }
    }

    /// Indices of the readings that say something of the plate: no zeros, no closing readings.
    pub fn compared(&self) -> impl Iterator<Item = usize> {
        (0..self.readings.len())
            .filter(|reading| !self.zeros.contains(reading) && !self.readings[*reading].closing)
    }
}

impl Survey {
    /// Where in `readings` one round lies: from its zero to the reading before the next zero.
    pub fn round(&self, round: usize) -> Range<usize> {
        self.zeros[round]..self.zeros.get(round + 1).copied().unwrap_or(self.readings.len())
    }

    /// Every height (one a reading) less that of its round's zero.
    pub fn against_zeros(&self, heights: &[f64], against: &mut [f64]) {
        for ((value, height), reading) in against.iter_mut().zip(heights).zip(&self.readings) {
            *value = height - heights[self.zeros[reading.round]];
        }
    }

    /// The mean over all passes of what was read at each spot; closing readings do not count.
    pub fn spot_means(&self, readings: &[f64], spots: &mut [f64]) {
        spots.fill(0.0);
        for (value, reading) in readings.iter().zip(&self.readings).filter(|(_, reading)| !reading.closing) {
            spots[reading.spot] += value;
        }
        for spot in spots {
            *spot /= self.n_passes as f64;
        }
    }
}

impl Survey {
    /// Largest minus smallest height of what was read, as the shop has it: against each round's zero, corrected for
    /// drift if the survey says so, the mean of all passes at each spot; in µm.
    ///
    /// `written` in µm, one for each of [`Self::readings`]; `None` for what was not read. A zero that is not there
    /// is 0, and what cannot be corrected is not.
    pub fn spread_of(&self, written: &[Option<f64>]) -> f64 {
        let mut sums = vec![(0.0, 0.0); self.spots.len()];
        for (round, &zero) in self.zeros.iter().enumerate() {
            let set_to = written[zero].unwrap_or(0.0);
            let start = self.readings[zero].minutes;
            let closing = self.closings[round].filter(|_| self.drift_corrected);
            let rate = closing.and_then(|closing| {
                Some((written[closing]? - set_to) / (self.readings[closing].minutes - start))
            });
            for index in self.round(round).filter(|&index| !self.readings[index].closing) {
                let Some(value) = written[index].or((index == zero).then_some(0.0)) else { continue };
                let drifted = rate.unwrap_or(0.0) * (self.readings[index].minutes - start);
                let (sum, n) = &mut sums[self.readings[index].spot];
                *sum += value - set_to - drifted;
                *n += 1.0;
            }
        }
        let means = sums.iter().filter(|(_, n)| *n > 0.0).map(|(sum, n)| sum / n);
        let (low, high) =
            means.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), mean| (l.min(mean), h.max(mean)));
        (high - low).max(0.0)
    }

    /// This survey and then another one, made on the same plate with the same stand, used alike, and as often.
    pub fn followed_by(mut self, next: &Self) -> Self {
        let n_rounds = self.zeros.len();
        let n_readings = self.readings.len();
        let minutes = self.readings.last().map_or(0.0, |reading| reading.minutes + 1.0);
        self.readings.extend(next.readings.iter().map(|reading| Reading {
            spot: self.spots.len() + reading.spot,
            seating: self.n_seatings + reading.seating,
            round: n_rounds + reading.round,
            minutes: minutes + reading.minutes,
            ..reading.clone()
        }));
        self.spots
            .extend(next.spots.iter().map(|spot| Spot { group: self.n_groups + spot.group, ..spot.clone() }));
        self.zeros.extend(next.zeros.iter().map(|zero| n_readings + zero));
        self.closings.extend(next.closings.iter().map(|closing| closing.map(|index| n_readings + index)));
        self.n_seatings += next.n_seatings;
        self.n_groups += next.n_groups;
        self
    }
}

/// Where the stand's origin is and which way it points (radians) for one reading.
fn pose(plan: &Plan, station: &Station, target: [f64; 2]) -> ([f64; 2], f64) {
    let heading = station.heading.to_radians();
    match plan.stand_use {
        StandUse::Parked => (station.at, heading),
        StandUse::Turned => {
            let [dx, dy] = [target[0] - station.at[0], target[1] - station.at[1]];
            (station.at, libm::atan2(dy, dx))
        }
        StandUse::Carried => {
            let [cos, sin] = direction(heading);
            ([target[0] - plan.carried_reach * cos, target[1] - plan.carried_reach * sin], heading)
        }
    }
}

/// A point of the plate (mm) in the frame of a stand with its origin at `at` (mm) and this heading (radians).
fn in_frame(at: [f64; 2], heading: f64, point: [f64; 2]) -> [f64; 2] {
    let [cos, sin] = direction(heading);
    let [x, y] = [point[0] - at[0], point[1] - at[1]];
    [cos * x + sin * y, cos * y - sin * x]
}

/// Cosine and sine of a heading, exact on the axes so that a stand along an edge stays along it.
fn direction(heading: f64) -> [f64; 2] {
    let quarter = heading / FRAC_PI_2;
    if quarter.round() == quarter {
        match (quarter as i64).rem_euclid(4) {
            0 => [1.0, 0.0],
            1 => [0.0, 1.0],
            2 => [-1.0, 0.0],
            _ => [0.0, -1.0],
        }
    } else {
        [libm::cos(heading), libm::sin(heading)]
    }
}

/// A stand's feet on the plate (mm), for its origin (mm) and its heading (radians).
pub(super) fn stand_on(stand: &Stand, at: [f64; 2], heading: f64) -> [[f64; 2]; 3] {
    let [cos, sin] = direction(heading);
    stand.feet.map(|[x, y]| [at[0] + cos * x - sin * y, at[1] + sin * x + cos * y])
}

fn obstacles(plan: &Plan, plate: &Plate, stand: &Stand, block: &GaugeBlock) -> Vec<Impossible> {
    let mut found = Vec::new();
    if stand.weights([0.0, 0.0]).is_none() {
        found.push(Impossible { station: 0, target: None, why: Obstacle::FeetInLine });
        return found;
    }
    let n_spots: usize = plan.stations.iter().map(|station| station.targets.len()).sum();
    if n_spots < 2 {
        found.push(Impossible { station: 0, target: None, why: Obstacle::NothingToCompare });
    }
    // The block may be put down either way round, so half its longer side must stay clear.
    let clearance = block.face[0].max(block.face[1]) / 2.0;
    let pad = stand.pad_diameter / 2.0;
    for (s, station) in plan.stations.iter().enumerate() {
        if station.targets.is_empty() {
            found.push(Impossible { station: s, target: None, why: Obstacle::NothingToCompare });
        }
        for (t, target) in station.targets.iter().enumerate() {
            let mut fault = |why| found.push(Impossible { station: s, target: Some(t), why });
            if !plate.holds(target.at, 0.0) {
                fault(Obstacle::TargetOffPlate { at: target.at });
                continue;
            }
            if !plate.holds(target.at, clearance) {
                fault(Obstacle::BlockOverEdge { at: target.at, clearance });
            }
            let (at, heading) = pose(plan, station, target.at);
            let reach = libm::hypot(target.at[0] - at[0], target.at[1] - at[1]);
            let slack = 1e-9 * reach;
            if reach < stand.reach[0] - slack || reach > stand.reach[1] + slack {
                fault(Obstacle::OutOfReach { reach, limits: stand.reach });
            }
            for (foot, &spot) in stand_on(stand, at, heading).iter().enumerate() {
                if !plate.holds(spot, pad) {
                    fault(Obstacle::FootOffPlate { foot, at: spot });
                } else if libm::hypot(spot[0] - target.at[0], spot[1] - target.at[1])
                    < pad + block.face[0].min(block.face[1]) / 2.0
                {
                    fault(Obstacle::FootOnBlock { foot });
                }
            }
            // Where it is not stated how near the stand reaches, as near as its base lets the block come.
            let tip = in_frame(at, heading, target.at);
            let near = pad + block.face[0].min(block.face[1]) / 2.0;
            if stand.reach[0] == 0.0 && stand.distance_from_base(tip) < near * (1.0 - 1e-9) {
                fault(Obstacle::UnderStand);
            }
        }
    }
    found
}

/// The bookkeeping of [`Survey::lay_out`].
struct Layout<'a> {
    plan: &'a Plan,
    stand: &'a Stand,
    survey: Survey,
    minutes: f64,
    /// Station and target whose zero is in force, where the round has begun.
    zero: Option<(usize, usize)>,
    /// How often the stand was lifted between passes.
    lift: usize,
    /// Where the stand was last put down: station and, unless parked, target; and after how many lifts.
    seated: Option<[usize; 3]>,
}

impl<'a> Layout<'a> {
    fn new(plan: &'a Plan, stand: &'a Stand) -> Self {
        let mut spots = Vec::new();
        let mut n_groups = 0;
        for (s, station) in plan.stations.iter().enumerate() {
            if s == 0 || plan.zeroing == Zeroing::EachStation {
                n_groups += 1;
            }
            spots.extend(station.targets.iter().map(|target| Spot {
                station: station.name.clone(),
                target: target.name.clone(),
                at: target.at,
                group: n_groups - 1,
            }));
        }
        let survey = Survey {
            stand_use: plan.stand_use,
            spots,
            readings: Vec::new(),
            zeros: Vec::new(),
            closings: Vec::new(),
            n_seatings: 0,
            n_groups,
            n_passes: plan.passes.max(1),
            drift_corrected: plan.drift_corrected && plan.closing_reading,
        };
        Self { plan, stand, survey, minutes: 0.0, zero: None, lift: 0, seated: None }
    }

    fn read(&mut self, station: usize, target: usize) {
        if self.zero.is_none() {
            self.zero = Some((station, target));
            self.survey.zeros.push(self.survey.readings.len());
            self.survey.closings.push(None);
        }
        self.push(station, target, false);
    }

    fn end_round(&mut self) {
        if let Some((station, target)) = self.zero.take()
            && self.plan.closing_reading
        {
            let index = self.survey.readings.len();
            self.push(station, target, true);
            if let Some(closing) = self.survey.closings.last_mut() {
                *closing = Some(index);
            }
        }
        // A parked stand that is left alone between two passes has not been put down anew.
    }

    fn push(&mut self, station: usize, target: usize, closing: bool) {
        let place = &self.plan.stations[station];
        let at_target = place.targets[target].at;
        let (at, heading) = pose(self.plan, place, at_target);
        let feet = stand_on(self.stand, at, heading);
        let seat = match self.plan.stand_use {
            StandUse::Parked => [station, 0, self.lift],
            StandUse::Turned | StandUse::Carried => [station, target, self.lift],
        };
        if !self.survey.readings.is_empty() {
            self.minutes += self.plan.minutes_per_reading;
        }
        if self.seated != Some(seat) {
            if self.seated.is_some() {
                self.minutes += self.plan.minutes_per_move;
            }
            self.survey.n_seatings += 1;
            self.seated = Some(seat);
        }
        let spot = self.plan.stations[..station].iter().map(|s| s.targets.len()).sum::<usize>() + target;
        self.survey.readings.push(Reading {
            feet,
            // Checked before: the feet carry a plane.
            weights: super::stand::weights(feet, at_target).unwrap_or([f64::NAN; 3]),
            target: at_target,
            spot,
            seating: self.survey.n_seatings - 1,
            round: self.survey.zeros.len() - 1,
            minutes: self.minutes,
            closing,
        });
    }

    fn finish(self) -> Survey {
        self.survey
    }
}
