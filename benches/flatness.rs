//! The cost of one minimum zone on worn plates, by number of points, and of what stands beside it.
//!
//! `cargo bench --bench flatness`; `benches/flatness_peer.py` solves the same heights with SciPy and runs this beside
//! it. Each call gets the heights of another plate, so that no branch can be learnt by heart. The fastest sample is
//! the one that other programs disturbed least.

#![allow(clippy::print_stdout)]

use divan::Bencher;
use howflat::shop::{
    flatness::MinimumZone, grid::Grid, least_squares_plane::LeastSquaresPlane, smooth_zone::SmoothZone,
};
use std::f64::consts::TAU;

fn main() {
    let sets = plates(&grid(247));
    let zone = MinimumZone::new(&grid(247).points()).expect("a grid");
    let sum: f64 = sets.iter().map(|heights| zone.solve(heights, &mut zone.scratch()).flatness).sum();
    println!("mean flatness of {} plates on 247 points: {:.9} µm", sets.len(), sum / sets.len() as f64);
    divan::main();
}

#[divan::bench(args = [9, 49, 247, 1000], sample_size = 512)]
fn minimum_zone(bencher: Bencher, n_points: usize) {
    let zone = MinimumZone::new(&grid(n_points).points()).expect("a grid");
    let mut scratch = zone.scratch();
    each_plate(bencher, n_points, |heights| zone.solve(heights, &mut scratch).flatness);
}

/// Growth beyond what a survey needs.
#[divan::bench(args = [4000, 16_000, 64_000], sample_size = 8)]
fn growth(bencher: Bencher, n_points: usize) {
    let zone = MinimumZone::new(&grid(n_points).points()).expect("a grid");
    let mut scratch = zone.scratch();
    each_plate(bencher, n_points, |heights| zone.solve(heights, &mut scratch).flatness);
}

/// With what the surface rises between the nodes.
#[divan::bench(args = [49, 247, 1000], sample_size = 512)]
fn smooth_zone(bencher: Bencher, n_points: usize) {
    let zone = SmoothZone::new(&grid(n_points)).expect("a grid");
    let mut scratch = zone.scratch();
    each_plate(bencher, n_points, |heights| zone.flatness(heights, &[], &mut scratch));
}

#[divan::bench(args = [9, 49, 247, 1000], sample_size = 512)]
fn range_off_least_squares_plane(bencher: Bencher, n_points: usize) {
    let plane = LeastSquaresPlane::new(&grid(n_points).points()).expect("a grid");
    each_plate(bencher, n_points, |heights| {
        let [low, high] = plane.residual_limits(heights);
        high - low
    });
}

#[divan::bench(args = [247, 1000])]
fn preparation(bencher: Bencher, n_points: usize) {
    let points = grid(n_points).points();
    bencher.bench(|| MinimumZone::new(&points).expect("a grid"));
}

fn each_plate(bencher: Bencher, n_points: usize, mut judge: impl FnMut(&[f64]) -> f64) {
    let sets = plates(&grid(n_points));
    let mut turn = sets.iter().cycle();
    bencher.bench_local(|| turn.next().map(|heights| judge(heights)));
}

// --- plates ------------------------------------------------------------------------------------

const LENGTH: f64 = 914.4;
const WIDTH: f64 = 609.6;

/// Evenly spaced nodes, 25 mm from the edges.
fn grid(n_points: usize) -> Grid {
    let (n_columns, n_rows) = match n_points {
        9 => (3, 3),
        49 => (7, 7),
        247 => (19, 13),
        1000 => (40, 25),
        4000 => (80, 50),
        16_000 => (160, 100),
        _ => (320, 200),
    };
    let nodes = |side: f64, count: usize| {
        (0..count).map(|i| 25.0 + (side - 50.0) * i as f64 / (count - 1) as f64).collect()
    };
    Grid { x: nodes(LENGTH, n_columns), y: nodes(WIDTH, n_rows) }
}

/// Heights of worn plates at the nodes, in µm: half a megabyte of them, or eight.
fn plates(grid: &Grid) -> Vec<Vec<f64>> {
    let n_plates = (65_536 / grid.n_nodes()).clamp(8, 1024);
    (0..n_plates).map(|plate| heights(plate, grid)).collect()
}

/// A number from 0 to 1 for each plate and purpose, the same in any language.
fn part(plate: usize, purpose: usize) -> f64 {
    ((plate + 1) as f64 * (2.0 * purpose as f64 + 3.1).sqrt()).fract()
}

/// Wear in the middle, along the front edge and in one corner, a twist, a bow and some waves.
fn heights(plate: usize, grid: &Grid) -> Vec<f64> {
    let part = |purpose| part(plate, purpose);
    let depth = |purpose| -libm::log(part(purpose).max(1e-3));
    let (middle, front, dip) = (2.0 * depth(0), depth(1), depth(2));
    let (twist, bow) = (2.0 * part(3) - 1.0, 3.0 * part(4) - 1.5);
    let centre = [LENGTH * (0.4 + 0.2 * part(5)), WIDTH * (0.4 + 0.2 * part(6))];
    let reach = 30.0 + 60.0 * part(7);
    let corner = [30.0 + 80.0 * part(8), 30.0 + 80.0 * part(9)];
    let waves: Vec<[f64; 3]> = (0..12)
        .map(|k| [0.02 * part(10 + 3 * k) - 0.01, 0.02 * part(11 + 3 * k) - 0.01, TAU * part(12 + 3 * k)])
        .collect();
    let bell = |x: f64, y: f64| libm::exp(-(x * x + y * y) / 2.0);
    let height = |[x, y]: [f64; 2]| {
        let (u, v) = (2.0 * x / LENGTH - 1.0, 2.0 * y / WIDTH - 1.0);
        let worn = middle * bell((x - centre[0]) / (0.22 * LENGTH), (y - centre[1]) / (0.22 * WIDTH))
            + front * bell(u / 0.6, 0.0) * libm::exp(-y / 60.0)
            + dip * bell((x - corner[0]) / reach, (y - corner[1]) / reach);
        let wavy: f64 = waves.iter().map(|[kx, ky, phase]| 0.1 * libm::cos(kx * x + ky * y + phase)).sum();
        twist * u * v + bow * (u * u + v * v) / 2.0 + wavy - worn
    };
    grid.points().into_iter().map(height).collect()
}
