//! `howflat zone`: a file of points in, their minimum zone out.

use super::{args::Zone, failure::Failure, files, hand_over::hand_over};
use howflat::{
    report::zone_report::ZoneReport,
    setup::PointUnits,
    shop::{flatness::FlatnessError, point_zone::PointZone},
};
use std::process::ExitCode;

/// Reads the points, finds their zone, and writes what is asked for.
pub fn zone(arguments: &Zone) -> Result<ExitCode, Failure> {
    let units = PointUnits { plan: arguments.plan_unit, height: arguments.height_unit };
    let file = files::read_points(&arguments.points, units)?;
    let zone = PointZone::of(&file.points).map_err(|why| {
        let n = file.points.len();
        let why = match why {
            FlatnessError::TooFewPoints => {
                format!("{n} points tell no flatness, as three always lie in one plane; give at least 4")
            }
            FlatnessError::OnOneLine => {
                "all points are on one line: they show straightness, not flatness; add points beside it"
                    .into()
            }
            FlatnessError::NotFinite => {
                "heights or distances are too large to compute with; check the units".into()
            }
        };
        Failure::input(&arguments.points, why)
    })?;
    let name = arguments.points.file_name().map_or("points".into(), |name| name.to_string_lossy());
    let name = if name == "-" { "points".into() } else { name };
    let date = arguments.output.date.as_deref();
    let report = ZoneReport { name: &name, file: &file, zone: &zone, date };
    hand_over(&arguments.output, &report)
}
