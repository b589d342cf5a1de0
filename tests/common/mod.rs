//! Shop checks built by hand, for tests that should not lean on the setup file.
#![allow(dead_code, reason = "each test takes what it needs")]

pub mod program;
pub mod schema;

use howflat::{
    quantity::distribution::Distribution,
    shop::{
        check::ShopCheck,
        cleanliness::Cleanliness,
        gauge_block::GaugeBlock,
        indicator::Indicator,
        plate::Plate,
        stand::Stand,
        survey::{Plan, StandUse, Station, Survey, Target, Zeroing},
        temperature::Temperature,
        wear::{Dip, DipPlace, FrontEdgeWear, MiddleWear, Surface, Waves, Wear},
    },
};

pub const INCH: f64 = 25.4;

pub fn exactly(value: f64) -> Distribution {
    Distribution::Constant { value }
}

pub fn between(low: f64, high: f64) -> Distribution {
    Distribution::Rectangular { low, high }
}

pub fn normal(mean: f64, standard_deviation: f64) -> Distribution {
    Distribution::Normal { mean, standard_deviation }
}

/// Exponential (gamma of shape 1) with the given mean.
pub fn depth(mean: f64) -> Distribution {
    Distribution::Gamma { shape: 1.0, scale: mean }
}

/// A 36 × 24 × 6 in granite plate.
pub fn plate() -> Plate {
    Plate {
        length: 36.0 * INCH,
        width: 24.0 * INCH,
        thickness: 6.0 * INCH,
        margin: INCH,
        expansion: exactly(6.5e-6),
        flatness_holds_bow: false,
    }
}

pub fn stand() -> Stand {
    Stand {
        feet: [[40.0, 35.0], [40.0, -35.0], [-50.0, 0.0]],
        pad_diameter: 10.0,
        reach: [60.0, 1100.0],
        height: 150.0,
        column_expansion: exactly(11.7e-6),
    }
}

pub fn block() -> GaugeBlock {
    GaugeBlock { length: 25.4, face: [9.0, 35.0], length_variation: 0.16, expansion: exactly(11.5e-6) }
}

pub fn indicator() -> Indicator {
    Indicator {
        graduation: 2.54,
        read_step: 0.508,
        error_limit: 2.54,
        error_travel: 50.8,
        hysteresis: between(0.0, 0.85),
        one_sided_approach: false,
        repeatability: 0.508,
        repeatability_dof: f64::INFINITY,
        zero_shift: 0.1,
        contact_angle: between(0.0, 20.0),
        cosine_corrected: false,
    }
}

/// An indicator, room and cleanliness without a fault.
pub fn undisturbed(mut check: ShopCheck) -> ShopCheck {
    check.indicator = Indicator {
        read_step: 0.0,
        error_limit: 0.0,
        hysteresis: exactly(0.0),
        one_sided_approach: true,
        repeatability: 0.0,
        zero_shift: 0.0,
        contact_angle: exactly(0.0),
        ..check.indicator
    };
    check.temperature = Temperature {
        top_to_bottom: exactly(0.0),
        column_rate: exactly(0.0),
        zero_drift: exactly(0.0),
        handling: exactly(0.0),
        fading: 10.0,
    };
    check.cleanliness = Cleanliness { film: 0.0, grain_chance: 0.0, grain: exactly(0.0) };
    check.gauge_block.length_variation = 0.0;
    check
}

/// A plate without wear or waves.
pub fn perfect() -> Surface {
    let none = Waves { standard_deviation: exactly(0.0), correlation_length: exactly(100.0) };
    Surface::Worn(Wear {
        amount: exactly(1.0),
        middle: MiddleWear {
            depth: exactly(0.0),
            x: exactly(0.0),
            y: exactly(0.0),
            half_length: exactly(1.0),
            half_width: exactly(1.0),
        },
        front_edge: FrontEdgeWear {
            depth: exactly(0.0),
            reach: exactly(1.0),
            x: exactly(0.0),
            half_length: exactly(1.0),
        },
        dips: Vec::new(),
        twist: exactly(0.0),
        long_wave: none.clone(),
        waviness: none,
    })
}

/// A plate in daily use.
pub fn worn(plate: &Plate) -> Surface {
    let (l, w, d) = (plate.length, plate.width, plate.diagonal());
    let dip = |chance: f64, radius: Distribution, place: DipPlace| Dip {
        chance,
        depth: Distribution::Gamma { shape: 0.7, scale: 3.0 / 0.7 },
        radius,
        place,
    };
    let anywhere = |share: f64| {
        let place = DipPlace::Anywhere { x: between(0.0, l), y: between(0.0, share * w) };
        dip(0.2, between(0.05 * w, 0.2 * w), place)
    };
    let from_edge = between(0.0, 0.3 * w);
    let corner = DipPlace::Corner { corner: None, from_end: from_edge, from_side: from_edge };
    // The survey says where.
    let under_foot = DipPlace::Near { spots: Vec::new(), off: normal(0.0, 15.0) };
    Surface::Worn(Wear {
        amount: Distribution::Lognormal { median: 0.6, spread: 0.9 },
        middle: MiddleWear {
            depth: Distribution::Gamma { shape: 0.7, scale: 2.0 / 0.7 },
            x: normal(l / 2.0, 0.08 * l),
            y: normal(0.45 * w, 0.08 * w),
            half_length: between(0.15 * l, 0.35 * l),
            half_width: between(0.15 * w, 0.35 * w),
        },
        front_edge: FrontEdgeWear {
            depth: Distribution::Gamma { shape: 0.7, scale: 1.2 / 0.7 },
            reach: between(0.05 * w, 0.18 * w),
            x: normal(l / 2.0, 0.1 * l),
            half_length: between(0.15 * l, 0.4 * l),
        },
        dips: vec![
            dip(0.25, between(0.05 * w, 0.15 * w), corner),
            dip(0.2, between(0.04 * w, 0.12 * w), under_foot),
            anywhere(0.3),
            anywhere(1.0),
            anywhere(1.0),
        ],
        twist: normal(0.0, 0.58),
        long_wave: Waves {
            standard_deviation: Distribution::Lognormal { median: 0.44, spread: 1.0 },
            correlation_length: between(0.15 * d, 0.65 * d),
        },
        waviness: Waves {
            standard_deviation: Distribution::Lognormal { median: 0.14, spread: 0.6 },
            correlation_length: between(0.14 * w, 0.22 * w),
        },
    })
}

pub fn target(name: &str, x: f64, y: f64) -> Target {
    Target { name: name.into(), at: [x, y] }
}

/// Eight far spots of a plate, read from its front left corner.
pub fn corner_to_corner(plate: &Plate) -> Plan {
    let (l, w, e) = (plate.length, plate.width, 50.0);
    Plan {
        stand_use: StandUse::Parked,
        stations: vec![Station {
            name: "front left".into(),
            at: [90.0, 90.0],
            heading: 33.0,
            targets: vec![
                target("back left", e, w - e),
                target("back middle", l / 2.0, w - e),
                target("back right", l - e, w - e),
                target("right middle", l - e, w / 2.0),
                target("front right", l - e, e),
                target("front middle", l / 2.0, e),
                target("middle", l / 2.0, w / 2.0),
            ],
        }],
        carried_reach: 120.0,
        passes: 1,
        lifted: false,
        zeroing: Zeroing::Once,
        closing_reading: true,
        drift_corrected: false,
        minutes_per_reading: 1.0,
        minutes_per_move: 1.0,
    }
}

/// A check of everything above; `change` may alter the plan first.
pub fn check_with(change: impl FnOnce(&mut Plan)) -> ShopCheck {
    let (plate, stand, gauge_block) = (plate(), stand(), block());
    let mut plan = corner_to_corner(&plate);
    change(&mut plan);
    let survey = Survey::lay_out(&plan, &plate, &stand, &gauge_block).expect("a possible survey");
    let mut surface = worn(&plate);
    if let Surface::Worn(wear) = &mut surface {
        wear.put_dips_under_feet(&survey);
    }
    ShopCheck {
        surface,
        plate,
        stand,
        indicator: indicator(),
        gauge_block,
        temperature: Temperature {
            top_to_bottom: normal(0.0, 0.2),
            column_rate: between(-0.2, 0.2),
            zero_drift: exactly(0.0),
            handling: between(0.0, 0.3),
            fading: 10.0,
        },
        cleanliness: Cleanliness {
            film: 0.5,
            grain_chance: 0.01,
            grain: Distribution::Lognormal { median: 8.0, spread: 0.4 },
        },
        survey,
    }
}
