//! What a stand makes of forms that are known exactly: the numbers of the lesson on the corner dip.
//!
//! Nothing is drawn at random here. Every reading is that of `survey.rs`: the block's height less the plane of the
//! feet carried out to the tip, each averaged over its footprint.

use super::{
    check::ShopCheck,
    flatness::MinimumZone,
    form::{Bump, Form, face_variance, pad_variance},
    grid::{DEFAULT_NODES, Grid},
    stand::{Side, Stand, weights},
    survey::{Plan, StandUse, stand_on},
};

/// The lesson's numbers for one plate and stand. Heights in µm, lengths in mm.
#[derive(Debug, Clone, PartialEq)]
pub struct Lesson {
    /// The stand from the side.
    pub side: Side,
    /// How deep the dip is under a foot's pad in its middle.
    pub depth: f64,
    /// One sigma of the dip, across which it falls to 61 % of its depth.
    pub sigma: f64,
    /// A short reach, at which the stand is walked and carried.
    pub short_reach: f64,
    /// The longest reach of the survey.
    pub long_reach: f64,
    /// The stand walked over the dip.
    pub walk: Vec<Step>,
    /// The false reading against reach and foot spacing.
    pub lever: Vec<LeverRow>,
    /// The stand parked in a corner, tilted by the dip under its rear.
    pub tilt: Tilt,
    /// The stand carried over a bowed plate.
    pub carried: Carried,
    /// What can be done, the largest saving first.
    pub remedies: Vec<Remedy>,
    /// A height that is known, put under one foot.
    pub foil: FoilTrial,
}

/// One place of a stand that is walked over a dip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Where the stand's origin is along its way; the dip's middle is at 0.
    pub at: f64,
    /// Height of the plate under the block.
    pub block: f64,
    /// What the feet add to the reading: minus the plane of the feet at the tip.
    pub feet: f64,
}

impl Step {
    /// What the indicator shows, zeroed on flat ground.
    pub fn reading(&self) -> f64 {
        self.block + self.feet
    }
}

/// What the foot spacing is multiplied by in the lever's rows.
pub const SPACINGS: [f64; 3] = [0.5, 1.0, 1.5];

/// False readings at one reach.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeverRow {
    /// The reach.
    pub reach: f64,
    /// With the rear in the dip, one for each of [`SPACINGS`].
    pub rear: [f64; 3],
    /// With the front in the dip, likewise.
    pub front: [f64; 3],
}

/// A stand parked in the front left corner, its arm set for the far corner, its rear in a dip.
#[derive(Debug, Clone, PartialEq)]
pub struct Tilt {
    /// Where its origin is.
    pub at: [f64; 2],
    /// Its three contact points.
    pub feet: [[f64; 2]; 3],
    /// What the tilt adds to a reading at each spot: the far corner, its two neighbours, the middle.
    pub spots: Vec<TiltedSpot>,
    /// Weights of the rear in the datum at a point are affine in it: `[constant, per mm along x, per mm along y]` of
    /// what the tilt adds.
    pub plane: [f64; 3],
}

/// A spot that a tilted stand reads.
#[derive(Debug, Clone, PartialEq)]
pub struct TiltedSpot {
    /// What it is called.
    pub name: &'static str,
    /// Where it is.
    pub at: [f64; 2],
    /// What the tilt adds to its reading, before a zero is set.
    pub added: f64,
}

/// A stand carried along the middle line of a plate that is bowed all over.
#[derive(Debug, Clone, PartialEq)]
pub struct Carried {
    /// How far the plate's middle stands above its corners.
    pub bow: f64,
    /// True flatness of the working surface.
    pub flatness: f64,
    /// Place by place.
    pub places: Vec<CarriedPlace>,
}

/// One place of the carried stand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CarriedPlace {
    /// Where the block is, from the left edge.
    pub at: f64,
    /// Height of the plate there, over its corners.
    pub height: f64,
    /// What the indicator would show against a zero set on a true plane.
    pub raw: f64,
    /// What it shows, zeroed at the first place.
    pub reading: f64,
}

/// Something that makes the false reading smaller.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Remedy {
    /// What is done.
    pub what: RemedyKind,
    /// The false reading, or the standard uncertainty, without it.
    pub before: f64,
    /// The same with it.
    pub after: f64,
}

/// What can be done about the dip.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RemedyKind {
    /// Put the stand down where no foot is in the dip.
    MoveOut,
    /// Halve the reach, as far as the stand allows.
    HalveReach,
    /// Set the feet 1.5 times as far apart.
    WidenFeet,
    /// Wipe feet and plate each time.
    Wipe,
}

/// Something thin under the foot that stands alone, with the tip straight ahead at the short reach; then the foot is put down
/// without it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoilTrial {
    /// Whether the foot that stands alone is the rear.
    pub at_the_rear: bool,
    /// Weight of that foot in the datum.
    pub weight: f64,
    /// Its standard uncertainty: each length is measured to 1 mm.
    pub weight_u: f64,
    /// Standard uncertainty (µm) of what feet that are put down anew, and reading twice, do.
    pub hands_u: f64,
    /// Relative standard uncertainty of what the indicator makes of a height: its slant.
    pub gain_u: f64,
    /// Amplitude (µm) that the swing of the indicator's error has at most, and its wave number in 1/µm.
    pub swing: [f64; 2],
}

impl FoilTrial {
    /// What the indicator must show with a foil so thick (µm, with its standard uncertainty) under the foot, zeroed without it,
    /// and the standard uncertainty of that, in µm.
    pub fn predicted(&self, [thickness, u]: [f64; 2]) -> [f64; 2] {
        let reading = -self.weight * thickness;
        // A swing of rectangular amplitude and any phase, between two readings.
        let swing = self.swing[0] * self.swing[0] / 3.0 * (1.0 - libm::cos(self.swing[1] * reading));
        let parts = [self.weight * u, self.weight_u * thickness, self.hands_u, self.gain_u * reading];
        [reading, libm::sqrt(swing + parts.iter().map(|part| part * part).sum::<f64>())]
    }
}

/// Standard uncertainty of a length that a class takes off a stand with a rule, in mm (common practice, no source).
const BY_RULE: f64 = 1.0;

/// What a film under each foot is where all is wiped each time, in µm (0.1 to 0.2; common practice, no source).
const WIPED_FILM: f64 = 0.15;

/// Places of the walk, and of the lever.
const STEPS: usize = 120;
const REACHES: usize = 8;

impl Lesson {
    /// The lesson for a check, with a dip so deep (µm) and a bow so high (µm).
    ///
    /// `None` for a stand whose pair of feet stands one behind the other along the arm, so that it has no front and rear,
    /// and for a plate on which the stand with its reach cannot be carried along.
    pub fn new(check: &ShopCheck, plan: &Plan, depth: f64, bow: f64) -> Option<Self> {
        let side = check.stand.side()?;
        let spacing = side.front - side.rear;
        let sigma = OverDip::usual_sigma(&side);
        let n_spots = check.survey.spots.len();
        let reaches = (0..n_spots).filter_map(|spot| plan.reach(spot));
        let clear = side.front + spacing;
        let long_reach = reaches.fold(clear, f64::max);
        let short_reach = match plan.stand_use {
            StandUse::Carried => plan.carried_reach,
            StandUse::Parked | StandUse::Turned => check.stand.reach[0].max(clear).min(long_reach),
        };
        Some(Self {
            side,
            depth,
            sigma,
            short_reach,
            long_reach,
            walk: walk(check, &side, depth, sigma, short_reach),
            lever: lever(check, depth, clear, long_reach)?,
            tilt: tilt(check, &side, depth)?,
            carried: carried(check, &side, bow, short_reach)?,
            remedies: remedies(check, depth, long_reach)?,
            foil: foil(check, &side, short_reach)?,
        })
    }

    /// False reading with the tip straight ahead at a reach (mm) and the rear, or the front, in the dip: its depth times
    /// the weight there.
    pub fn false_reading(&self, stand: &Stand, reach: f64, at_the_rear: bool) -> Option<f64> {
        lifted(stand, &self.side, reach, at_the_rear).map(|weight| weight * self.depth)
    }
}

/// A stand over a dip that lies at 0, its arm along the way: what is under each of its points, and what it shows. The way is
/// walked with every length in mm and every height in µm.
#[derive(Debug, Clone, PartialEq)]
pub struct OverDip {
    /// The stand from the side.
    pub side: Side,
    /// Weights of its rear and its front in the datum at the tip.
    pub weights: [f64; 2],
    /// Heights of the plate under the rear, the front and the block.
    pub heights: [f64; 3],
    /// What it shows here.
    pub step: Step,
}

impl OverDip {
    /// A stand at a place, with a dip so deep and so wide (one sigma) at 0. `None` for a stand without front and rear.
    pub fn new(check: &ShopCheck, [depth, sigma]: [f64; 2], at: f64, reach: f64) -> Option<Self> {
        let side = check.stand.side()?;
        let pad = pad_variance(check.stand.pad_diameter);
        let form = lane(depth, sigma, pad);
        let rear = lifted(&check.stand, &side, reach, true)?;
        let [block, feet] = read(check, &form, [at, 0.0], reach);
        let under = |x: f64| form.height([at + x, 0.0], pad);
        Some(Self {
            side,
            weights: [rear, 1.0 - rear],
            heights: [under(side.rear), under(side.front), block],
            step: Step { at, block, feet },
        })
    }

    /// One sigma of a dip of the lesson, for this stand: a fifth of the distance of its feet.
    pub fn usual_sigma(side: &Side) -> f64 {
        0.2 * (side.front - side.rear)
    }
}

/// A stand carried along the middle line of a plate that is bowed so high (µm), at a reach (mm); see [`Carried`]. `None` where the
/// plate is too short for it.
pub fn carried_on_bow(check: &ShopCheck, bow: f64, reach: f64) -> Option<Carried> {
    carried(check, &check.stand.side()?, bow, reach)
}

/// Weight of the rear, or of the front, in the datum of a tip straight ahead.
fn lifted(stand: &Stand, side: &Side, reach: f64, rear: bool) -> Option<f64> {
    let weight = stand.weights([reach, 0.0])?[side.single];
    Some(if rear == side.single_is_rear { weight } else { 1.0 - weight })
}

/// A lane worn across the way, so that a pad in its middle stands `depth` low.
fn lane(depth: f64, sigma: f64, pad: f64) -> Form {
    // So long that it is the same all along.
    const ENDLESS: f64 = 1e9;
    let height = -depth * ((sigma * sigma + pad) / (sigma * sigma)).sqrt();
    Form { bumps: vec![Bump { height, centre: [0.0, 0.0], sigma: [sigma, ENDLESS] }], ..Form::default() }
}

/// Height under the block, and minus the plane of the feet at the tip, of a stand that points along the plate.
fn read(check: &ShopCheck, form: &Form, at: [f64; 2], reach: f64) -> [f64; 2] {
    let feet = stand_on(&check.stand, at, 0.0);
    let tip = [at[0] + reach, at[1]];
    let pad = pad_variance(check.stand.pad_diameter);
    let weights = weights(feet, tip).unwrap_or([f64::NAN; 3]);
    let plane: f64 = feet.iter().zip(weights).map(|(&foot, w)| w * form.height(foot, pad)).sum();
    [form.height(tip, face_variance(check.gauge_block.face)), -plane]
}

fn walk(check: &ShopCheck, side: &Side, depth: f64, sigma: f64, reach: f64) -> Vec<Step> {
    let form = lane(depth, sigma, pad_variance(check.stand.pad_diameter));
    let (from, to) = (-reach - 3.5 * sigma, -side.rear + 3.5 * sigma);
    // The three places where block, front and rear are in the dip's middle belong to it.
    let mut places: Vec<f64> = (0..=STEPS).map(|i| from + (to - from) * i as f64 / STEPS as f64).collect();
    places.extend([-reach, -side.front, -side.rear]);
    places.sort_by(f64::total_cmp);
    let step = |at: f64| {
        let [block, feet] = read(check, &form, [at, 0.0], reach);
        Step { at, block, feet }
    };
    places.into_iter().map(step).collect()
}

fn scaled(stand: &Stand, factor: f64) -> Stand {
    Stand { feet: stand.feet.map(|foot| foot.map(|v| v * factor)), ..stand.clone() }
}

fn lever(check: &ShopCheck, depth: f64, shortest: f64, longest: f64) -> Option<Vec<LeverRow>> {
    let longest = longest.max(2.0 * shortest);
    let row = |i: usize| {
        let reach = shortest + (longest - shortest) * i as f64 / REACHES as f64;
        let mut row = LeverRow { reach, rear: [0.0; 3], front: [0.0; 3] };
        for (k, factor) in SPACINGS.into_iter().enumerate() {
            let stand = scaled(&check.stand, factor);
            let side = stand.side()?;
            row.rear[k] = depth * lifted(&stand, &side, reach, true)?;
            row.front[k] = depth * lifted(&stand, &side, reach, false)?;
        }
        Some(row)
    };
    (0..=REACHES).map(row).collect()
}

fn tilt(check: &ShopCheck, side: &Side, depth: f64) -> Option<Tilt> {
    let plate = &check.plate;
    let farthest = check.stand.feet.iter().map(|foot| libm::hypot(foot[0], foot[1])).fold(0.0, f64::max);
    let clearance = farthest + check.stand.pad_diameter / 2.0;
    let at = [clearance.min(plate.length / 3.0), clearance.min(plate.width / 3.0)];
    // The block may be put down either way round.
    let inset = plate.margin.max(check.gauge_block.face[0].max(check.gauge_block.face[1]) / 2.0);
    let [near, far] = [[inset, inset], [plate.length - inset, plate.width - inset]];
    let heading = libm::atan2(far[1] - at[1], far[0] - at[0]);
    let feet = stand_on(&check.stand, at, heading);
    let added = |tip: [f64; 2]| {
        let weight = weights(feet, tip)?[side.single];
        Some(depth * if side.single_is_rear { weight } else { 1.0 - weight })
    };
    let spots = [
        ("front right", [far[0], near[1]]),
        ("back left", [near[0], far[1]]),
        ("back right", far),
        ("middle", [(near[0] + far[0]) / 2.0, (near[1] + far[1]) / 2.0]),
    ];
    let spots = spots.into_iter().map(|(name, at)| Some(TiltedSpot { name, at, added: added(at)? }));
    let [base, along, back] = [added([0.0, 0.0])?, added([1.0, 0.0])?, added([0.0, 1.0])?];
    Some(Tilt { at, feet, spots: spots.collect::<Option<_>>()?, plane: [base, along - base, back - base] })
}

fn carried(check: &ShopCheck, side: &Side, bow: f64, reach: f64) -> Option<Carried> {
    const PLACES: usize = 25;
    let plate = &check.plate;
    let curvature = 8.0 * bow / (plate.diagonal() * plate.diagonal());
    let form = Form { curvature: [curvature; 2], middle: plate.middle(), ..Form::default() };
    let corner = form.height([0.0, 0.0], 0.0);
    let pad = check.stand.pad_diameter / 2.0;
    let behind = check.stand.feet.iter().map(|foot| -foot[0]).fold(-side.rear, f64::max);
    let face = check.gauge_block.face[0].max(check.gauge_block.face[1]) / 2.0;
    let (first, last) = (behind + pad + reach, plate.length - face);
    if last <= first {
        return None;
    }
    let mut places: Vec<CarriedPlace> = Vec::new();
    for i in 0..PLACES {
        let at = first + (last - first) * i as f64 / (PLACES - 1) as f64;
        let [block, feet] = read(check, &form, [at - reach, plate.width / 2.0], reach);
        let raw = block + feet;
        let zero = places.first().map_or(raw, |place| place.raw);
        let height = form.height([at, plate.width / 2.0], 0.0) - corner;
        places.push(CarriedPlace { at, height, raw, reading: raw - zero });
    }
    let points = Grid::over(plate.working_surface(), DEFAULT_NODES).points();
    let heights: Vec<f64> = points.iter().map(|&point| form.height(point, 0.0)).collect();
    let flatness =
        MinimumZone::new(&points).map_or(f64::NAN, |zone| zone.solve(&heights, &mut zone.scratch()).flatness);
    Some(Carried { bow, flatness, places })
}

fn remedies(check: &ShopCheck, depth: f64, reach: f64) -> Option<Vec<Remedy>> {
    let stand = &check.stand;
    let false_reading = |stand: &Stand, reach: f64| {
        let side = stand.side()?;
        Some(depth * lifted(stand, &side, reach, true)?.abs())
    };
    let now = false_reading(stand, reach)?;
    let shorter = (reach / 2.0).max(stand.reach[0]).min(reach);
    let by_film = libm::sqrt(stand.weights([reach, 0.0])?.iter().map(|w| w * w).sum());
    let film = check.cleanliness.film;
    let mut remedies = vec![
        Remedy { what: RemedyKind::MoveOut, before: now, after: 0.0 },
        Remedy { what: RemedyKind::HalveReach, before: now, after: false_reading(stand, shorter)? },
        Remedy {
            what: RemedyKind::WidenFeet,
            before: now,
            after: false_reading(&scaled(stand, 1.5), reach)?,
        },
        Remedy { what: RemedyKind::Wipe, before: film * by_film, after: film.min(WIPED_FILM) * by_film },
    ];
    remedies.sort_by(|a, b| (b.before - b.after).total_cmp(&(a.before - a.after)));
    Some(remedies)
}

fn foil(check: &ShopCheck, side: &Side, reach: f64) -> Option<FoilTrial> {
    let spacing = side.front - side.rear;
    let arm = (reach - side.front) / spacing;
    let indicator = &check.indicator;
    let weights = check.stand.weights([reach, 0.0])?;
    let hysteresis = if indicator.one_sided_approach { 0.0 } else { indicator.hysteresis.mean() / 2.0 };
    let once = check.cleanliness.film.powi(2) * weights.iter().map(|w| w * w).sum::<f64>()
        + indicator.repeatability.powi(2)
        + hysteresis * hysteresis
        + indicator.read_step.powi(2) / 12.0;
    let [angle, u] = [indicator.contact_angle.mean(), indicator.contact_angle.standard_uncertainty()];
    let slant = indicator.gain(angle) - 1.0;
    Some(FoilTrial {
        at_the_rear: side.single_is_rear,
        weight: weights[side.single],
        // Of −(reach − front) / (front − rear); the front's weight is one minus that.
        weight_u: BY_RULE / spacing * libm::sqrt(1.0 + (1.0 + arm) * (1.0 + arm) + arm * arm),
        hands_u: libm::sqrt(2.0 * once),
        gain_u: libm::hypot(slant, indicator.gain(angle + u) - indicator.gain(angle)),
        swing: [indicator.error_limit, std::f64::consts::TAU / indicator.error_travel],
    })
}
