//! Every picture: drawn with invented data, and examined as a document.
//!
//! `HOWFLAT_PICTURES=folder cargo test --test charts` also writes them there, as SVG and PNG.

use howflat::report::chart::Mark;
use howflat::report::chart::bars::{Bar, Bars, Share};
use howflat::report::chart::curves::{Band, Curve, Curves, Tone};
use howflat::report::chart::histogram::{Density, Histogram, Interval, Outline};
use howflat::report::chart::plate_map::{MapStand, MapTarget, PlateMap};
use howflat::report::number::Digits;
use howflat::report::picture::png;
use rand_distr::{Distribution, Gamma, Normal};
use rand_philox::Philox;

/// Writes a picture where a person can look at it, if a folder is named.
fn show(name: &str, svg: &str) {
    if let Some(folder) = std::env::var_os("HOWFLAT_PICTURES") {
        let folder = std::path::PathBuf::from(folder);
        std::fs::write(folder.join(format!("{name}.svg")), svg).expect("the folder can be written to");
        let pixels = png(svg, 2.0).expect("a picture becomes pixels");
        std::fs::write(folder.join(format!("{name}.png")), pixels).expect("the folder can be written to");
    }
}

fn draws(seed: u32, n: usize, of: impl Distribution<f64>) -> Vec<f64> {
    let mut rng = Philox::new([seed, 0], 0);
    (0..n).map(|_| of.sample(&mut rng)).collect()
}

fn histogram_of_errors() -> String {
    let dips = draws(1, 100_000, Gamma::new(2.2, 2.1).expect("valid"));
    let noise = draws(2, 100_000, Normal::new(-2.0, 0.8).expect("valid"));
    let values: Vec<f64> = dips.iter().zip(&noise).map(|(a, b)| a + b).collect();
    let level: Vec<f64> = dips.iter().zip(&noise).map(|(a, b)| 0.35 * a + b).collect();
    Histogram {
        title: "How far the spread is from the plate's true flatness",
        axis: "spread minus true flatness",
        unit: "µm",
        counted: "surveys",
        name: "plain spread",
        values: &values,
        outlines: &[Outline { name: "spread off the best-fit plane", values: &level }],
        intervals: &[
            Interval { label: "95 %, symmetric", low: -2.1, high: 10.9 },
            Interval { label: "95 %, shortest", low: -2.6, high: 9.5 },
        ],
        marks: &[Mark { label: "mean 2.6 µm", at: 2.6 }, Mark { label: "no error", at: 0.0 }],
        density: None,
        digits: Digits::Decimals(1),
    }
    .svg()
}

fn histogram_of_a_budget() -> String {
    let values = draws(3, 20_000, Normal::new(50.000838, 0.000032).expect("valid"));
    let normal = |x: f64| {
        let z = (x - 50.000838) / 0.000034;
        (-0.5 * z * z).exp() / (0.000034 * std::f64::consts::TAU.sqrt())
    };
    Histogram {
        title: "Length of the end gauge",
        axis: "length",
        unit: "mm",
        counted: "trials",
        name: "Monte Carlo",
        values: &values,
        outlines: &[],
        intervals: &[Interval { label: "99 %", low: 50.000754, high: 50.000922 }],
        marks: &[Mark { label: "estimate 50.000838 mm", at: 50.000838 }],
        density: Some(Density { name: "t with 16 degrees of freedom, from the linear result", of: &normal }),
        digits: Digits::Decimals(6),
    }
    .svg()
}

fn bars_of_sources() -> String {
    let share = |value: f64, half: f64| Share { value, interval: Some([value - half, value + half]) };
    let bar = |label, first: f64, total: f64| Bar {
        label,
        first_order: share(first, 0.012),
        total: Some(share(total, 0.02)),
    };
    Bars {
        title: "Where the error of the spread comes from",
        axis: "share of the variance of the error",
        bars: &[
            bar("seating and repeatability", 0.031, 0.064),
            bar("corner dips under the feet", 0.412, 0.553),
            bar("wear in the middle", 0.187, 0.231),
            bar("front-edge wear", 0.082, 0.094),
            bar("dirt under foot or block", 0.0, 0.121),
            bar("bow from the temperature difference between top and bottom", 0.074, 0.077),
            bar("drift of the zero", -0.002, 0.004),
        ],
    }
    .svg()
}

fn bars_of_a_budget() -> String {
    let bar = |label, value| Bar { label, first_order: Share { value, interval: None }, total: None };
    Bars {
        title: "What makes up the uncertainty of one reading",
        axis: "share of the combined variance",
        bars: &[
            bar("repeatability", 0.22),
            bar("rear foot", 0.61),
            bar("front feet", 0.16),
            bar("reading", 0.01),
        ],
    }
    .svg()
}

/// Height of an invented worn plate, 36 by 24 in, in µin.
fn worn(x: f64, y: f64) -> f64 {
    let bump = |cx: f64, cy: f64, w: f64, h: f64| {
        let (dx, dy) = ((x - cx) / w, (y - cy) / h);
        (-0.5 * (dx * dx + dy * dy)).exp()
    };
    120.0
        - 260.0 * bump(19.0, 11.0, 8.0, 5.0)
        - 90.0 * bump(2.5, 2.0, 2.2, 2.0)
        - 60.0 * bump(18.0, 0.0, 11.0, 2.2)
        + 25.0 * (0.31 * x).sin() * (0.4 * y).cos()
        + 1.1 * x
}

fn grid(n: usize, length: f64) -> Vec<f64> {
    (0..n).map(|i| length * i as f64 / (n - 1) as f64).collect()
}

fn plate_with_parked_stand() -> String {
    let (x, y) = (grid(61, 36.0), grid(41, 24.0));
    let heights: Vec<f64> = y.iter().flat_map(|&b| x.iter().map(move |&a| worn(a, b))).collect();
    let at = [[33.5, 2.5], [2.5, 21.5], [18.0, 12.0], [33.5, 21.5], [18.0, 2.5], [18.0, 21.5], [33.5, 12.0]];
    let readings = ["0", "−20", "−220", "+60", "−70", "+10", "+40"];
    let labels = ["1", "2", "3", "4", "5", "6", "7"];
    let targets: Vec<MapTarget> =
        (0..7).map(|i| MapTarget { at: at[i], label: labels[i], reading: Some(readings[i]) }).collect();
    PlateMap {
        title: "A typical plate of this setup, and the survey",
        heights_are: "height above the best-fit plane",
        height_unit: "µin",
        length_unit: "in",
        x: &x,
        y: &y,
        heights: &heights,
        margin: 1.0,
        stands: &[MapStand {
            feet: [[4.9, 2.4], [2.9, 5.0], [1.8, 1.8]],
            origin: [3.0, 3.0],
            tips: at.to_vec(),
        }],
        targets: &targets,
    }
    .svg()
}

fn plate_with_carried_stand() -> String {
    let (x, y) = (grid(51, 1000.0), grid(31, 630.0));
    let heights: Vec<f64> =
        y.iter().flat_map(|&b| x.iter().map(move |&a| worn(a / 28.0, b / 26.5) * 0.0254)).collect();
    let mut stands = Vec::new();
    let mut at = Vec::new();
    for j in 0..3 {
        for i in 0..5 {
            let (x, y) = (170.0 + 190.0 * f64::from(i), 80.0 + 235.0 * f64::from(j));
            stands.push(MapStand {
                feet: [[x - 95.0, y + 45.0], [x - 95.0, y - 45.0], [x - 150.0, y]],
                origin: [x - 80.0, y],
                tips: vec![[x, y]],
            });
            at.push([x, y]);
        }
    }
    let labels: Vec<String> = (1..=15).map(|i| i.to_string()).collect();
    let targets: Vec<MapTarget> =
        at.iter().zip(&labels).map(|(&at, label)| MapTarget { at, label, reading: None }).collect();
    PlateMap {
        title: "Carried stand: fifteen readings at one heading",
        heights_are: "height",
        height_unit: "µm",
        length_unit: "mm",
        x: &x,
        y: &y,
        heights: &heights,
        margin: 12.0,
        stands: &stands,
        targets: &targets,
    }
    .svg()
}

fn risk_curves() -> String {
    let smooth = |x: f64| 100.0 / (1.0 + (-x).exp());
    let points = |of: &dyn Fn(f64) -> f64| -> Vec<[f64; 2]> {
        (0..=120).map(|i| f64::from(i) / 10.0).map(|x| [x, of(x)]).collect()
    };
    let bad_passes = points(&|x| 0.4 * smooth(1.1 * (x - 5.0)));
    let good_fails = points(&|x| 100.0 - smooth(1.4 * (x - 3.0)));
    let accepted = points(&|x| smooth(0.9 * (x - 5.5)));
    Curves {
        title: "What a limit on the spread would do",
        x_axis: "limit on the spread",
        x_unit: "µm",
        y_axis: "probability",
        y_unit: "%",
        y_range: Some([0.0, 100.0]),
        curves: &[
            Curve { name: "a bad plate passes", points: &bad_passes },
            Curve { name: "a good plate fails", points: &good_fails },
            Curve { name: "plates accepted", points: &accepted },
        ],
        bands: &[
            Band { label: "accept", from: 0.0, to: 3.1, tone: Tone::Within },
            Band { label: "undecided", from: 3.1, to: 7.4, tone: Tone::Undecided },
            Band { label: "out", from: 7.4, to: 12.0, tone: Tone::Out },
        ],
        limits: &[
            Mark { label: "accept up to 3.1 µm", at: 3.1 },
            Mark { label: "tolerance 5.1 µm", at: 5.1 },
            Mark { label: "out from 7.4 µm", at: 7.4 },
        ],
    }
    .svg()
}

fn operating_curve() -> String {
    let points: Vec<[f64; 2]> = (0..=60)
        .map(|i| f64::from(i) * 4.0)
        .map(|x| [x, 100.0 / (1.0 + ((x - 110.0) / 14.0).exp())])
        .collect();
    Curves {
        title: "How likely the check accepts a plate",
        x_axis: "true flatness deviation",
        x_unit: "µin",
        y_axis: "accepted",
        y_unit: "%",
        y_range: Some([0.0, 100.0]),
        curves: &[Curve { name: "this check", points: &points }],
        bands: &[],
        limits: &[Mark { label: "grade A, 200 µin", at: 200.0 }],
    }
    .svg()
}

#[test]
fn pictures() {
    show("risk_curves", &risk_curves());
    show("operating_curve", &operating_curve());
    show("plate_with_parked_stand", &plate_with_parked_stand());
    show("plate_with_carried_stand", &plate_with_carried_stand());
    show("bars_of_sources", &bars_of_sources());
    show("bars_of_a_budget", &bars_of_a_budget());
    show("histogram_of_errors", &histogram_of_errors());
    show("histogram_of_a_budget", &histogram_of_a_budget());
}
