//! Every picture: drawn with invented data, and examined as a document.
//!
//! `HOWFLAT_PICTURES=folder cargo test --test main charts::` also writes them there, as SVG and PNG.

use howflat::report::chart::Mark;
use howflat::report::chart::bars::{Bar, BarUnit, Bars, Share};
use howflat::report::chart::curves::{Band, Curve, Curves, Tone};
use howflat::report::chart::histogram::{Density, Histogram, Interval, Outline};
use howflat::report::chart::map_pair::MapPair;
use howflat::report::chart::plate_map::{MapStand, MapTarget, PlateMap};
use howflat::report::chart::stand_view::StandView;
use howflat::report::font;
use howflat::report::number::Digits;
use howflat::report::picture::{Anchor, Face, Manner, Picture, PixelError, Svg, png};
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

fn histogram_of_errors() -> Svg {
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

fn histogram_of_a_budget() -> Svg {
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

/// A spread of readings is a whole number of read steps: each step its own bar.
fn histogram_of_readings() -> Svg {
    let values: Vec<f64> = draws(4, 5000, Normal::new(180.0, 40.0).expect("valid"))
        .iter()
        .map(|v| (v / 20.0).round() * 20.0)
        .collect();
    Histogram {
        title: "Spread of the readings",
        axis: "spread",
        unit: "µin",
        counted: "surveys",
        name: "plain spread",
        values: &values,
        outlines: &[],
        intervals: &[Interval { label: "95 %", low: 100.0, high: 260.0 }],
        marks: &[],
        density: None,
        digits: Digits::Decimals(0),
    }
    .svg()
}

fn bars_of_sources() -> Svg {
    let share = |value: f64, half: f64| Share { value, interval: Some([value - half, value + half]) };
    let bar = |label, first: f64, total: f64| Bar {
        label,
        first_order: share(first, 0.012),
        total: Some(share(total, 0.02)),
    };
    Bars {
        title: "Where the error of the spread comes from",
        axis: "share of the variance of the error",
        unit: BarUnit::Percent,
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

fn bars_of_a_budget() -> Svg {
    let bar = |label, value| Bar { label, first_order: Share { value, interval: None }, total: None };
    Bars {
        title: "What makes up the uncertainty of one reading",
        axis: "share of the combined variance",
        unit: BarUnit::Percent,
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

fn plate_with_parked_stand() -> Svg {
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

fn plate_with_carried_stand() -> Svg {
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

/// The stand turned on its spot near a corner, its feet elsewhere for each target.
fn plate_with_turned_stand() -> Svg {
    let (x, y) = (grid(61, 36.0), grid(41, 24.0));
    let heights: Vec<f64> = y.iter().flat_map(|&b| x.iter().map(move |&a| worn(a, b) / 100.0)).collect();
    let at = [[33.5, 2.5], [2.5, 21.5], [18.0, 12.0], [33.5, 21.5], [18.0, 2.5], [18.0, 21.5], [33.5, 12.0]];
    let turned = |[ox, oy]: [f64; 2], target: [f64; 2]| {
        let heading = (target[1] - oy).atan2(target[0] - ox);
        let (sin, cos) = heading.sin_cos();
        let foot = |[a, b]: [f64; 2]| [ox + a * cos - b * sin, oy + a * sin + b * cos];
        MapStand {
            feet: [[1.6, 1.4], [1.6, -1.4], [-2.0, 0.0]].map(foot),
            origin: [ox, oy],
            tips: vec![target],
        }
    };
    let stands: Vec<MapStand> = at.iter().map(|&target| turned([4.0, 4.0], target)).collect();
    let readings = ["0.0", "−0.2", "−2.2", "+0.6", "−0.7", "+0.1", "+0.4"];
    let labels = ["1", "2", "3", "4", "5", "6", "7"];
    let targets: Vec<MapTarget> =
        (0..7).map(|i| MapTarget { at: at[i], label: labels[i], reading: Some(readings[i]) }).collect();
    PlateMap {
        title: "Turned stand: the feet land elsewhere for each target",
        heights_are: "height",
        height_unit: "tenths",
        length_unit: "in",
        x: &x,
        y: &y,
        heights: &heights,
        margin: 1.0,
        stands: &stands,
        targets: &targets,
    }
    .svg()
}

/// A blank plate with stand and targets, as a reading sheet has it.
fn plate_without_heights() -> Svg {
    let at = [[33.5, 2.5], [2.5, 21.5], [18.0, 12.0]];
    let targets: Vec<MapTarget> =
        at.iter().zip(["1", "2", "3"]).map(|(&at, label)| MapTarget { at, label, reading: None }).collect();
    PlateMap {
        title: "Placement 1: stand, feet and targets in order",
        heights_are: "",
        height_unit: "",
        length_unit: "in",
        x: &[0.0, 36.0],
        y: &[0.0, 24.0],
        heights: &[],
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

/// An estimate that covers the working surface only, with targets in its corners.
fn estimate_and_uncertainty() -> Svg {
    let shift = |nodes: Vec<f64>| nodes.into_iter().map(|v| v + 1.0).collect::<Vec<f64>>();
    let (x, y) = (shift(grid(19, 34.0)), shift(grid(13, 22.0)));
    let heights: Vec<f64> = y.iter().flat_map(|&b| x.iter().map(move |&a| worn(a, b) / 100.0)).collect();
    let uncertainties: Vec<f64> = y
        .iter()
        .flat_map(|&b| x.iter().map(move |&a| 0.2 + 0.1 * (a / 5.0).sin() * (b / 7.0).cos()))
        .collect();
    let at = [
        [35.0, 1.0],
        [35.0, 23.0],
        [1.0, 23.0],
        [18.0, 1.0],
        [35.0, 12.0],
        [18.0, 23.0],
        [1.0, 12.0],
        [18.0, 12.0],
    ];
    let readings = ["0", "−6.2", "+0.6", "+1.2", "−7", "−4.4", "+2.2", "−1.6"];
    let labels = ["1", "2", "3", "4", "5", "6", "7", "8"];
    let targets: Vec<MapTarget> =
        (0..8).map(|i| MapTarget { at: at[i], label: labels[i], reading: Some(readings[i]) }).collect();
    MapPair {
        title: "What these readings say of the plate",
        height_unit: "tenths",
        length_unit: "in",
        sides: [36.0, 24.0],
        x: &x,
        y: &y,
        heights: &heights,
        uncertainties: &uncertainties,
        margin: 1.0,
        stands: &[MapStand {
            feet: [[4.9, 2.4], [2.9, 5.0], [1.8, 1.8]],
            origin: [3.0, 3.0],
            tips: at.to_vec(),
        }],
        targets: &targets,
        hatched: None,
    }
    .svg()
}

fn flat_plate() -> Svg {
    PlateMap {
        title: "A perfect plate",
        heights_are: "height",
        height_unit: "µm",
        length_unit: "mm",
        x: &[0.0, 250.0],
        y: &[0.0, 250.0],
        heights: &[0.0; 4],
        margin: 0.0,
        stands: &[],
        targets: &[MapTarget { at: [30.0, 30.0], label: "1", reading: Some("0") }],
    }
    .svg()
}

fn risk_curves() -> Svg {
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

fn operating_curve() -> Svg {
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

fn stand_in_a_dip() -> Svg {
    let surface: Vec<[f64; 2]> = (0..=120)
        .map(|i| f64::from(i) * 4.0 - 120.0)
        .map(|x| [x, -1.6 * (-0.5 * ((x + 50.0) / 22.0).powi(2)).exp()])
        .collect();
    StandView {
        title: "A dip under the rear foot makes a sound spot look low",
        length_unit: "mm",
        height_unit: "µm",
        heights_per_length: 1000.0,
        surface: &surface,
        rear_foot: -50.0,
        front_feet: 40.0,
        feet_are: ["rear foot", "front feet"],
        tip: 250.0,
        reading_is: "false reading",
        digits: Digits::Decimals(1),
        true_scale: None,
    }
    .svg()
}

fn all() -> Vec<(&'static str, Svg)> {
    vec![
        ("histogram_of_errors", histogram_of_errors()),
        ("histogram_of_a_budget", histogram_of_a_budget()),
        ("histogram_of_readings", histogram_of_readings()),
        ("bars_of_sources", bars_of_sources()),
        ("bars_of_a_budget", bars_of_a_budget()),
        ("plate_with_parked_stand", plate_with_parked_stand()),
        ("plate_with_carried_stand", plate_with_carried_stand()),
        ("plate_with_turned_stand", plate_with_turned_stand()),
        ("plate_without_heights", plate_without_heights()),
        ("estimate_and_uncertainty", estimate_and_uncertainty()),
        ("flat_plate", flat_plate()),
        ("risk_curves", risk_curves()),
        ("operating_curve", operating_curve()),
        ("stand_in_a_dip", stand_in_a_dip()),
    ]
}

/// What a picture must be, whatever it shows: a well-formed document with its text alternatives, made of
/// harmless elements only, every text within the picture and clear of every other.
fn check(name: &str, svg: &str) {
    let document = roxmltree::Document::parse(svg).unwrap_or_else(|e| panic!("{name}: {e}\n{svg}"));
    let root = document.root_element();
    assert_eq!(root.tag_name().name(), "svg", "{name}");
    assert_eq!(root.tag_name().namespace(), Some("http://www.w3.org/2000/svg"), "{name}");
    assert_eq!(root.attribute("role"), Some("img"), "{name}");
    let first: Vec<&str> =
        root.children().filter(|n| n.is_element()).take(2).map(|n| n.tag_name().name()).collect();
    assert_eq!(first, ["title", "desc"], "{name}");

    let drawn = ["g", "rect", "line", "polyline", "polygon", "circle", "path", "text"];
    for node in root.descendants().filter(|n| n.is_element()).skip(3) {
        assert!(drawn.contains(&node.tag_name().name()), "{name}: {}", node.tag_name().name());
        for attribute in node.attributes() {
            let (key, value) = (attribute.name(), attribute.value());
            assert!(
                !key.starts_with("on") && !key.contains("href") && !value.contains("url("),
                "{name}: {key}"
            );
            assert!(!value.contains("NaN") && !value.contains("inf"), "{name}: {key}={value}");
        }
        if node.tag_name().name() == "text" {
            assert_eq!(node.attribute("font-family"), Some("Howflat Sans, sans-serif"), "{name}");
            // Nothing smaller than 11 px, which prints at 7 points when 720 px are 160 mm.
            let size: f64 = node.attribute("font-size").expect("a size").parse().expect("a number");
            assert!(size / 8.0 >= 10.99, "{name}: {size}");
        }
    }
    assert!(svg.len() < 150_000, "{name} has {} bytes", svg.len());

    let texts = text_boxes(svg);
    let [width, height] =
        ["width", "height"].map(|key| root.attribute(key).expect("a size").parse::<f32>().expect("px"));
    assert_eq!(width, 720.0, "{name}");
    for (i, (text, [left, top, right, bottom])) in texts.iter().enumerate() {
        let inside = *left >= 0.0 && *top >= 0.0 && *right <= width && *bottom <= height;
        assert!(inside, "{name}: {text:?} at {left} {top} {right} {bottom} leaves {width} x {height}");
        for (other, [l, t, r, b]) in &texts[..i] {
            let apart = right <= l || r <= left || bottom <= t || b <= top;
            assert!(apart, "{name}: {text:?} covers {other:?}");
        }
    }
}

/// Each text and the box of its drawn outlines, in px.
fn text_boxes(svg: &str) -> Vec<(String, [f32; 4])> {
    use resvg::usvg;
    fn collect(group: &usvg::Group, found: &mut Vec<(String, [f32; 4])>) {
        for node in group.children() {
            match node {
                usvg::Node::Group(group) => collect(group, found),
                usvg::Node::Text(text) => {
                    let words = text.chunks().iter().map(|chunk| chunk.text()).collect();
                    let area = text.abs_bounding_box();
                    found.push((words, [area.left(), area.top(), area.right(), area.bottom()]));
                }
                _ => {}
            }
        }
    }
    let mut options = usvg::Options::default();
    options.fontdb_mut().load_font_data(font::REGULAR.to_vec());
    options.fontdb_mut().load_font_data(font::BOLD.to_vec());
    let tree = usvg::Tree::from_str(svg, &options).expect("SVG");
    let mut found = Vec::new();
    collect(tree.root(), &mut found);
    found
}

#[test]
fn every_picture_is_sound() {
    for (name, svg) in all() {
        show(name, &svg);
        check(name, &svg);
        assert!(text_boxes(&svg).len() > 5, "{name}");
    }
}

#[test]
fn a_picture_is_the_same_each_time() {
    let first = all();
    let others = std::thread::spawn(all).join().expect("no panic");
    assert_eq!(first, others);
    let [a, b] = [png(&first[0].1, 1.0), png(&others[0].1, 1.0)];
    assert_eq!(a, b);
}

#[test]
fn pixels_are_counted_by_the_scale() {
    let svg = bars_of_a_budget();
    let size = |scale: f32| {
        let file = png(&svg, scale).expect("PNG");
        assert_eq!(&file[1..4], b"PNG");
        // The header chunk's width (PNG specification, 11.2.2).
        u32::from_be_bytes([file[16], file[17], file[18], file[19]])
    };
    assert_eq!([size(1.0), size(2.0)], [720, 1440]);
    assert_eq!(png(&svg, 0.0), Err(PixelError::Size));
    assert_eq!(png(&svg, 1e9), Err(PixelError::Size));
    assert_eq!(png(&svg, f32::NAN), Err(PixelError::Size));
    assert!(matches!(png("no picture", 1.0), Err(PixelError::NotSvg(_))));
}

/// Without the machine's fonts: text leaves its mark all the same.
#[test]
fn text_becomes_pixels() {
    let mut with = Picture::new(200.0, 40.0);
    with.layer(Manner::Plain, |ink| {
        ink.text((10.0, 20.0), Anchor::Start, &Face::new(16.0, (0, 0, 0)), "Δ ≤ 5 µm → ×10⁻⁶");
    });
    let without = Picture::new(200.0, 40.0);
    let [with, without] =
        [with, without].map(|picture| png(&picture.finish("a", "b"), 1.0).expect("PNG").len());
    assert!(with > without + 300, "{with} {without}");
}

const HOSTILE: [&str; 7] = [
    "<script>alert('x')</script> ]]> &amp; & \" '",
    "--> <!-- </svg><image href=\"http://x\"/> <![CDATA[",
    "שלום עולם \u{202e}reversed\u{202c} مرحبا",
    "📐 flat? 😀😀😀 👩‍🔧",
    "\u{0}\u{1}\u{8}\u{1b}[31m\u{7f}\u{9b}\u{fffe}\u{ffff}\r\n\ttab",
    "",
    "an endless name without an end that goes on and on and on, far beyond any room that a picture has for it, \
     on and on and on and on and on and on and on and on and on and on and on and on and on and on and on and on",
];

#[test]
fn typed_text_is_inert() {
    for (i, text) in HOSTILE.into_iter().enumerate() {
        for (name, svg) in with_text(text) {
            show(&format!("typed_{i}_{name}"), &svg);
            check(name, &svg);
            png(&svg, 1.0).expect("PNG");
        }
    }
    let document = with_text(HOSTILE[0]).swap_remove(0).1;
    let document = roxmltree::Document::parse(&document).expect("well-formed");
    let title = document.descendants().find(|n| n.has_tag_name(("http://www.w3.org/2000/svg", "title")));
    assert_eq!(title.and_then(|n| n.text()), Some(HOSTILE[0]));
}

/// Every picture with the same text wherever a user's text may go.
fn with_text(text: &str) -> Vec<(&'static str, Svg)> {
    let values = draws(5, 500, Normal::new(1.0, 2.0).expect("valid"));
    let density = |x: f64| 0.2 * (-x * x).exp();
    let histogram = Histogram {
        title: text,
        axis: text,
        unit: text,
        counted: text,
        name: text,
        values: &values,
        outlines: &[Outline { name: text, values: &values[..100] }],
        intervals: &[
            Interval { label: text, low: -2.0, high: 4.0 },
            Interval { label: text, low: 0.0, high: 1.0 },
        ],
        marks: &[
            Mark { label: text, at: 1.0 },
            Mark { label: text, at: 1.5 },
            Mark { label: text, at: -1.0 },
        ],
        density: Some(Density { name: text, of: &density }),
        digits: Digits::Decimals(1),
    };
    let share = |value: f64| Share { value, interval: Some([value - 0.1, value + 0.1]) };
    let bars = Bars {
        title: text,
        axis: text,
        unit: BarUnit::Percent,
        bars: &[0.1, 0.7, -0.01].map(|v| Bar {
            label: text,
            first_order: share(v),
            total: Some(share(v + 0.1)),
        }),
    };
    let (x, y) = (grid(9, 30.0), grid(7, 20.0));
    let heights: Vec<f64> = y.iter().flat_map(|&b| x.iter().map(move |&a| a * b)).collect();
    let map = PlateMap {
        title: text,
        heights_are: text,
        height_unit: text,
        length_unit: text,
        x: &x,
        y: &y,
        heights: &heights,
        margin: 1.0,
        stands: &[],
        targets: &[
            MapTarget { at: [5.0, 5.0], label: text, reading: Some(text) },
            MapTarget { at: [15.0, 15.0], label: text, reading: Some(text) },
        ],
    };
    let pair = MapPair {
        title: text,
        height_unit: text,
        length_unit: text,
        sides: [30.0, 20.0],
        x: &x,
        y: &y,
        heights: &heights,
        uncertainties: &heights,
        margin: 1.0,
        stands: &[],
        targets: &[MapTarget { at: [15.0, 10.0], label: text, reading: Some(text) }],
        hatched: None,
    };
    let points: Vec<[f64; 2]> = (0..30).map(|i| f64::from(i) * 0.3).map(|x| [x, x.sin()]).collect();
    let curves = Curves {
        title: text,
        x_axis: text,
        x_unit: text,
        y_axis: text,
        y_unit: text,
        y_range: None,
        curves: &[
            Curve { name: text, points: &points },
            Curve { name: text, points: &[[0.0, 0.5], [9.0, 0.5]] },
        ],
        bands: &[
            Band { label: text, from: 0.0, to: 3.0, tone: Tone::Within },
            Band { label: text, from: 3.0, to: 9.0, tone: Tone::Out },
        ],
        limits: &[Mark { label: text, at: 3.0 }, Mark { label: text, at: 3.4 }],
    };
    let stand = StandView {
        title: text,
        length_unit: text,
        height_unit: text,
        heights_per_length: 1000.0,
        surface: &[[0.0, 0.0], [50.0, -1.0], [100.0, 0.0], [400.0, 0.0]],
        rear_foot: 50.0,
        front_feet: 140.0,
        feet_are: ["rear foot", "front feet"],
        tip: 320.0,
        reading_is: text,
        digits: Digits::Decimals(1),
        true_scale: None,
    };
    vec![
        ("histogram", histogram.svg()),
        ("bars", bars.svg()),
        ("map", map.svg()),
        ("pair", pair.svg()),
        ("curves", curves.svg()),
        ("stand", stand.svg()),
    ]
}

/// Every picture from the same few numbers, wherever numbers go.
fn with_numbers(v: &[f64]) -> Vec<(&'static str, Svg)> {
    let at = |i: usize| v.get(i % v.len().max(1)).copied().unwrap_or(f64::NAN);
    let density = |_: f64| at(3);
    let histogram = Histogram {
        title: "title",
        axis: "axis",
        unit: "µm",
        counted: "trials",
        name: "name",
        values: v,
        outlines: &[Outline { name: "other", values: &v[..v.len() / 2] }],
        intervals: &[Interval { label: "interval", low: at(0), high: at(1) }],
        marks: &[Mark { label: "mark", at: at(2) }],
        density: Some(Density { name: "density", of: &density }),
        digits: Digits::Significant(3),
    };
    let share = |i: usize| Share { value: at(i), interval: Some([at(i + 1), at(i + 2)]) };
    let bars: Vec<Bar> = (0..v.len().min(6))
        .map(|i| Bar { label: "source", first_order: share(i), total: Some(share(i + 3)) })
        .collect();
    let bars = Bars { title: "title", axis: "axis", unit: BarUnit::Percent, bars: &bars };
    let rising = |n: usize| {
        let mut axis: Vec<f64> = v.iter().copied().take(n).collect();
        axis.sort_by(f64::total_cmp);
        axis
    };
    let (x, y) = (rising(4), rising(3));
    let heights: Vec<f64> = (0..x.len() * y.len()).map(at).collect();
    let pair = MapPair {
        title: "title",
        height_unit: "µm",
        length_unit: "mm",
        sides: [at(5).abs() + at(6).abs(), at(6)],
        x: &x,
        y: &y,
        heights: &heights,
        uncertainties: &heights,
        margin: at(0),
        stands: &[],
        targets: &[],
        hatched: None,
    };
    let map = PlateMap {
        title: "title",
        heights_are: "height",
        height_unit: "µm",
        length_unit: "mm",
        x: &x,
        y: &y,
        heights: &heights,
        margin: at(0),
        stands: &[MapStand {
            feet: [[at(0), at(1)], [at(2), at(3)], [at(4), at(5)]],
            origin: [at(1), at(2)],
            tips: vec![[at(3), at(4)]],
        }],
        targets: &[],
    };
    let points: Vec<[f64; 2]> = v.windows(2).map(|pair| [pair[0], pair[1]]).collect();
    let curves = Curves {
        title: "title",
        x_axis: "x",
        x_unit: "",
        y_axis: "y",
        y_unit: "",
        y_range: Some([at(0), at(1)]),
        curves: &[Curve { name: "curve", points: &points }],
        bands: &[Band { label: "band", from: at(2), to: at(3), tone: Tone::Undecided }],
        limits: &[Mark { label: "limit", at: at(4) }],
    };
    let heights: Vec<[f64; 2]> = rising(5).into_iter().zip((0..5).map(at)).map(|(x, z)| [x, z]).collect();
    let stand = StandView {
        title: "title",
        length_unit: "mm",
        height_unit: "µm",
        heights_per_length: 1000.0,
        surface: &heights,
        rear_foot: at(0),
        front_feet: at(1),
        feet_are: ["rear foot", "front feet"],
        tip: at(2),
        reading_is: "reading",
        digits: Digits::Significant(2),
        true_scale: None,
    };
    vec![
        ("histogram", histogram.svg()),
        ("bars", bars.svg()),
        ("pair", pair.svg()),
        ("map", map.svg()),
        ("curves", curves.svg()),
        ("stand", stand.svg()),
    ]
}

#[test]
fn odd_numbers_break_nothing() {
    let few: [&[f64]; 9] = [
        &[],
        &[f64::NAN, f64::INFINITY],
        &[0.0],
        &[5.0; 40],
        &[1e300, -1e300, 1e308, -1e308],
        &[1e-300, 2e-300, 3e-300],
        &[1e9, 1e9 + 1e-6, 1e9 + 2e-6, 1e9],
        &[f64::MIN_POSITIVE, f64::MAX, 0.0, -0.0, 5e-324],
        &[-4.309_631_984_321_094_5e21, 0.0, -2.7e-133, -1.08e-10, 0.0, 0.0, 1.04e20],
    ];
    for values in few {
        for (name, svg) in with_numbers(values) {
            check(name, &svg);
        }
    }
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(64))]
    #[test]
    fn any_numbers_break_nothing(values in proptest::collection::vec(proptest::num::f64::ANY, 0..12)) {
        for (name, svg) in with_numbers(&values) {
            check(name, &svg);
        }
    }

    #[test]
    fn everyday_numbers_give_clear_pictures(
        values in proptest::collection::vec(-2000_i32..2000, 6..40),
        power in -6_i32..4,
    ) {
        let values: Vec<f64> = values.into_iter().map(|v| f64::from(v) * 10_f64.powi(power)).collect();
        for (name, svg) in with_numbers(&values) {
            check(name, &svg);
        }
    }
}
