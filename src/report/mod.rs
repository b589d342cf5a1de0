//! One result in, text or pixels out.

pub mod budget_report;
pub mod budget_table;
pub mod chart;
pub mod check_report;
pub mod document;
pub mod font;
pub mod heights;
pub mod judge_report;
pub mod leaning;
pub mod lesson_report;
pub mod lever_view;
pub mod number;
pub mod page;
mod page_style;
pub mod picture;
pub mod plan_report;
pub mod reading_sheet;
pub mod recall_report;
pub mod setup_words;
pub mod style;
pub mod survey_marks;
pub mod table;
pub mod text;
pub mod unseen_words;
pub mod zone_report;

use page::Page;
use picture::{PixelError, png};
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;
use table::Table;

/// One result, in every form in which it leaves the program.
pub trait Report {
    /// The result as a plain value in the user's units, unrounded.
    type Document: Serialize + JsonSchema;

    /// Whether a screen has all of it at once, even where that is not asked for.
    const IS_SHORT: bool = false;

    /// The report as it is read.
    fn page(&self) -> Page;

    /// The result as machines have it.
    fn document(&self) -> Self::Document;

    /// The JSON document; its schema is [`Self::json_schema`].
    fn json(&self) -> Value {
        serde_json::to_value(self.document()).unwrap_or_default()
    }

    /// The JSON Schema of [`Self::json`].
    fn json_schema() -> Value {
        schemars::schema_for!(Self::Document).to_value()
    }

    /// Tables beside the page, for machines, by file name without ending.
    fn tables(&self) -> Vec<(String, Table)>;

    /// Whether a picture of the page, by its file name without ending, is wanted in pixels as well.
    fn in_pixels(&self, picture: &str) -> bool;

    /// Files that are neither page nor document, table or picture, by name.
    fn more_files(&self) -> Vec<(String, Vec<u8>)> {
        Vec::new()
    }

    /// Every file of the report, by name, complete; `page` is [`Self::page`], put together once for all that show it.
    ///
    /// # Errors
    ///
    /// If a picture cannot be turned into pixels.
    fn files(&self, page: &Page) -> Result<Vec<(String, Vec<u8>)>, PixelError> {
        let mut files = page.files();
        files.push(("result.json".into(), format!("{:#}\n", self.json()).into_bytes()));
        let tables = self.tables().into_iter();
        files.extend(tables.map(|(name, table)| (format!("{name}.csv"), table.csv().into_bytes())));
        for figure in page.figures().filter(|figure| self.in_pixels(&figure.file)) {
            files.push((format!("{}.png", figure.file), png(&figure.svg, 2.0)?));
        }
        files.extend(self.more_files());
        Ok(files)
    }
}
