//! `howflat lesson`: the teaching sheet of the corner dip, for one stand and plate.

use super::{args::Lesson, failure::Failure, files, hand_over::hand_over};
use howflat::{
    report::lesson_report::{LessonReport, bow_height, dip_depth},
    shop,
};
use std::process::ExitCode;

/// Works the lesson out and prints or writes the sheet.
pub fn lesson(arguments: &Lesson) -> Result<ExitCode, Failure> {
    let setup = files::read_setup(&arguments.setup)?;
    let (depth, bow) = (dip_depth(setup.unit), bow_height(&setup));
    let lesson = shop::lesson::Lesson::new(&setup.check, &setup.plan, depth, bow).ok_or_else(|| {
        let why = "this stand has no front and rear along its arm, or the plate is too short to carry it along; write feet \
                   of which two stand side by side across the arm, or a longer plate";
        Failure::input(&arguments.setup, why)
    })?;
    let report = LessonReport { setup: &setup, lesson: &lesson, date: arguments.output.date.as_deref() };
    hand_over(&arguments.output, &report)
}
