//! What `lesson` says, for machines.

use super::*;

impl LessonReport<'_> {
    pub(super) fn as_document(&self) -> LessonDocument {
        let h = self.heights();
        let lesson = self.lesson;
        LessonDocument {
            title: text::inert(&self.setup.title),
            date: self.date.map(text::inert),
            answer: self.answer(),
            unit: self.setup.unit.symbol().into(),
            length_unit: self.setup.plan_unit.symbol().into(),
            dip_depth: h.of(lesson.depth),
            dip_sigma: self.plan(lesson.sigma),
            short_reach: self.plan(lesson.short_reach),
            long_reach: self.plan(lesson.long_reach),
            rear: self.plan(lesson.side.rear),
            front: self.plan(lesson.side.front),
            bow: h.of(lesson.carried.bow),
            flatness_of_bow: h.of(lesson.carried.flatness),
            tables: self.tables().iter().map(|(name, table)| TableDocument::new(name, table)).collect(),
            exercises: self
                .exercises()
                .map(|e| ExerciseDocument { question: e.question, answer: e.answer })
                .into(),
            setup_digest: self.setup.digest.clone(),
            version: crate::VERSION.into(),
        }
    }
}

/// The lesson of the corner dip for one stand and plate. Heights are in `unit`, lengths in `length_unit`.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(title = "howflat lesson")]
pub struct LessonDocument {
    /// What the setup is called.
    title: String,
    /// The date of the sheet as the user gave it; null where none was given.
    date: Option<String>,
    /// The lesson in a sentence.
    answer: String,
    /// Unit of all heights.
    unit: String,
    /// Unit of all lengths.
    length_unit: String,
    /// How deep the dip is under a foot's pad.
    dip_depth: f64,
    /// One sigma of the dip.
    dip_sigma: f64,
    /// The reach at which the stand is walked and carried.
    short_reach: f64,
    /// The longest reach of the survey.
    long_reach: f64,
    /// Where the rear of the stand is, ahead of its origin.
    rear: f64,
    /// Where its front is.
    front: f64,
    /// How high the middle of the bowed plate stands over its corners.
    bow: f64,
    /// Flatness deviation of that plate.
    flatness_of_bow: f64,
    /// The numbers behind each picture.
    tables: Vec<TableDocument>,
    /// Exercises with their answers.
    exercises: Vec<ExerciseDocument>,
    /// SHA-256 of what the setup says.
    setup_digest: String,
    /// Version of the program.
    version: String,
}

/// A table.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct TableDocument {
    /// Name of its CSV file, without ending.
    name: String,
    /// What it shows.
    caption: String,
    /// Its columns.
    columns: Vec<ColumnDocument>,
    /// Its rows, a text or a number for each column; null where a cell is empty.
    rows: Vec<Vec<Value>>,
}

/// A column of a table.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct ColumnDocument {
    /// Its name.
    name: String,
    /// Unit of its numbers; empty where they have none.
    unit: String,
}

/// An exercise.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct ExerciseDocument {
    /// What is asked.
    question: String,
    /// What is to be found.
    answer: String,
}

impl TableDocument {
    fn new(name: &str, table: &Table) -> Self {
        let cell = |cell: &Cell| match cell {
            Cell::Empty => Value::Null,
            Cell::Text(text) => Value::from(text.as_str()),
            Cell::Number(value, _) => Value::from(*value),
        };
        Self {
            name: name.into(),
            caption: table.caption.clone(),
            columns: table
                .columns
                .iter()
                .map(|column| ColumnDocument { name: column.header.clone(), unit: column.unit.clone() })
                .collect(),
            rows: table.rows.iter().map(|row| row.iter().map(cell).collect()).collect(),
        }
    }
}
