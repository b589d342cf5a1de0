//! A table, and four ways to print it.
//!
//! | printer | numbers | text |
//! |---|---|---|
//! | [`Table::terminal`] | rounded, ASCII minus | wrapped to the width |
//! | [`Table::markdown`] | rounded, ASCII minus | markup escaped |
//! | [`Table::csv`] | in full, ASCII | quoted; formulas disarmed |
//! | [`Table::html`] | rounded, set in type | markup escaped |

use comfy_table::presets::NOTHING;
use comfy_table::{CellAlignment, ColumnConstraint, ContentArrangement, LineStyle, Width};

use super::heights::Heights;
use super::number::{Digits, full, plain, typeset};
use super::text::{dates_whole, escape, inert, markdown, with_unit};

/// Rows under columns that have a name, a unit and an alignment.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    /// What the table shows.
    pub caption: String,
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its rows. A row that is too short is filled with empty cells; what is too long is left out.
    pub rows: Vec<Vec<Cell>>,
}

/// One column.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Name of the column.
    pub header: String,
    /// Unit of its numbers, as written; empty if they have none or differ.
    pub unit: String,
    /// Where its cells stand.
    pub align: Align,
}

impl Column {
    /// A column of text, to the left.
    pub fn text(header: &str) -> Column {
        Column { header: header.to_string(), unit: String::new(), align: Align::Left }
    }

    /// A column of numbers, to the right.
    pub fn numbers(header: &str, unit: &str) -> Column {
        Column { header: header.to_string(), unit: unit.to_string(), align: Align::Right }
    }
}

/// Where cells stand in their column.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Align {
    /// Text.
    Left,
    /// Numbers.
    Right,
}

/// What stands in a row under a column.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Nothing.
    Empty,
    /// Text, such as a name.
    Text(String),
    /// A number, and how many digits of it people are shown.
    Number(f64, Digits),
}

impl From<&str> for Cell {
    fn from(text: &str) -> Cell {
        Cell::Text(text.to_string())
    }
}

impl From<String> for Cell {
    fn from(text: String) -> Cell {
        Cell::Text(text)
    }
}

/// A table in the making: its rows are known, and its columns are added one by one, each with heading, unit and cells.
#[derive(Debug)]
pub struct Rows<R> {
    rows: Vec<R>,
    table: Table,
}

impl<R> Rows<R> {
    /// A column of cells of any kind.
    pub fn column(mut self, column: Column, cell: impl Fn(&R) -> Cell) -> Self {
        self.table.columns.push(column);
        self.rows.iter().zip(&mut self.table.rows).for_each(|(row, cells)| cells.push(cell(row)));
        self
    }

    /// A column of text.
    pub fn text<T: Into<Cell>>(self, header: &str, text: impl Fn(&R) -> T) -> Self {
        self.column(Column::text(header), |row| text(row).into())
    }

    /// A column of numbers, each or none.
    pub fn number<N>(self, header: &str, unit: &str, digits: Digits, number: impl Fn(&R) -> N) -> Self
    where
        N: Into<Option<f64>>,
    {
        let cell = |row: &R| number(row).into().map_or(Cell::Empty, |number| Cell::Number(number, digits));
        self.column(Column::numbers(header, unit), cell)
    }

    /// A column of whole numbers without a unit.
    pub fn count(self, header: &str, count: impl Fn(&R) -> usize) -> Self {
        self.number(header, "", Digits::Decimals(0), |row| count(row) as f64)
    }

    /// A column of shares, each or none, as percentages.
    pub fn percent<N>(self, header: &str, decimals: i32, share: impl Fn(&R) -> N) -> Self
    where
        N: Into<Option<f64>>,
    {
        self.number(header, "%", Digits::Decimals(decimals), |row| {
            share(row).into().map(|share| 100.0 * share)
        })
    }

    /// A column of heights (µm), each or none.
    pub fn height<N: Into<Option<f64>>>(self, h: Heights, header: &str, height: impl Fn(&R) -> N) -> Self {
        self.number(header, h.label(), h.digits(), |row| height(row).into().map(|height| h.of(height)))
    }

    /// Columns of heights (µm) that are known together or not at all.
    pub fn heights<N, const K: usize>(self, h: Heights, headers: [&str; K], of: impl Fn(&R) -> N) -> Self
    where
        N: Into<Option<[f64; K]>>,
    {
        let add = |table: Self, k: usize| table.height(h, headers[k], |row| of(row).into().map(|all| all[k]));
        (0..K).fold(self, add)
    }

    /// Columns that stand there only sometimes.
    pub fn when(self, is_so: bool, columns: impl FnOnce(Self) -> Self) -> Self {
        if is_so { columns(self) } else { self }
    }

    /// The table, complete.
    pub fn table(self) -> Table {
        self.table
    }
}

impl Cell {
    fn plain(&self) -> String {
        match self {
            Cell::Empty => String::new(),
            Cell::Text(text) => inert(text),
            Cell::Number(value, digits) => plain(*value, *digits),
        }
    }
}

impl Table {
    /// A table of these rows, to which columns are added.
    pub fn of<R>(caption: impl Into<String>, rows: impl IntoIterator<Item = R>) -> Rows<R> {
        let rows: Vec<R> = rows.into_iter().collect();
        let cells = rows.iter().map(|_| Vec::new()).collect();
        Rows { rows, table: Table { caption: caption.into(), columns: Vec::new(), rows: cells } }
    }

    /// Text for a terminal `width` columns wide; without a width, plain ASCII rules and no line is wrapped,
    /// for a pipe or a file.
    ///
    /// Only text is wrapped: a table whose numbers alone are too wide is wider than asked for.
    pub fn terminal(&self, width: Option<usize>) -> String {
        let rule = if width.is_some() { '─' } else { '-' };
        let mut table = comfy_table::Table::new();
        table.load_style(NOTHING.header_separator(LineStyle::none().fill(rule).junction(rule)));
        match width {
            Some(width) => {
                table.set_content_arrangement(ContentArrangement::Dynamic);
                table.set_width(width.clamp(1, usize::from(u16::MAX)) as u16);
            }
            None => {
                table.set_content_arrangement(ContentArrangement::Disabled);
            }
        }
        table.set_header(self.columns.iter().map(heading));
        for row in &self.rows {
            table.add_row(self.filled(row).map(Cell::plain));
        }
        for (i, column) in self.columns.iter().enumerate() {
            if let (Some(shown), Align::Right) = (table.column_mut(i), column.align) {
                shown.set_cell_alignment(CellAlignment::Right);
                // Numbers stay in one piece; a heading may be broken between words.
                let widest_word = heading(column).split(' ').map(|word| word.chars().count()).max();
                let widest =
                    self.rows.iter().filter_map(|row| row.get(i)).map(|cell| cell.plain().chars().count());
                let least = widest.max().max(widest_word).unwrap_or(0) + 2;
                shown.set_constraint(ColumnConstraint::LowerBoundary(Width::Fixed(least.min(1000) as u16)));
            }
        }
        let body = table.trim_fmt();
        let caption = inert(&self.caption);
        if caption.is_empty() { body + "\n" } else { format!("{caption}\n\n{body}\n") }
    }

    /// A Markdown table (the widespread extension with pipes), its caption in bold above it.
    pub fn markdown(&self) -> String {
        let headings = self.columns.iter().map(|column| markdown(&heading(column))).collect();
        let cells = |row: &Vec<Cell>| self.filled(row).map(|cell| markdown(&cell.plain())).collect();
        let rows: Vec<Vec<String>> = std::iter::once(headings).chain(self.rows.iter().map(cells)).collect();
        let width = |i: usize| rows.iter().map(|row| row[i].chars().count()).fold(3, usize::max);
        let widths: Vec<usize> = (0..self.columns.len()).map(width).collect();
        let mut out = String::new();
        if !inert(&self.caption).is_empty() {
            out += &format!("**{}**\n\n", markdown(&self.caption));
        }
        for (n, row) in rows.iter().enumerate() {
            for ((text, &width), column) in row.iter().zip(&widths).zip(&self.columns) {
                match column.align {
                    Align::Left => out += &format!("| {text:<width$} "),
                    Align::Right => out += &format!("| {text:>width$} "),
                }
            }
            out += "|\n";
            if n == 0 {
                for (&width, column) in widths.iter().zip(&self.columns) {
                    match column.align {
                        Align::Left => out += &format!("|{}", "-".repeat(width + 2)),
                        Align::Right => out += &format!("|{}:", "-".repeat(width + 1)),
                    }
                }
                out += "|\n";
            }
        }
        out
    }

    /// Comma-separated values (RFC 4180, but lines end in a line feed): a row of headings, and numbers in
    /// full. A number that is none, and an empty cell, are empty.
    ///
    /// Text that a spreadsheet would take for a formula gets an apostrophe in front.
    pub fn csv(&self) -> String {
        let mut writer = csv::Writer::from_writer(Vec::new());
        let disarmed = |text: &str| {
            let text = inert(text);
            // A number, with whatever sign, is no formula.
            if text.starts_with(['=', '+', '-', '@']) && text.parse::<f64>().is_err() {
                format!("'{text}")
            } else {
                text
            }
        };
        let headings = self.columns.iter().map(|column| match column.unit.as_str() {
            "" => disarmed(&column.header),
            unit => disarmed(&format!("{} ({unit})", column.header)),
        });
        // Writing into memory cannot fail, and all rows have as many cells as there are columns.
        let _ = writer.write_record(headings);
        for row in &self.rows {
            let _ = writer.write_record(self.filled(row).map(|cell| match cell {
                Cell::Empty => String::new(),
                Cell::Text(text) => disarmed(text),
                Cell::Number(value, _) if value.is_nan() => String::new(),
                Cell::Number(value, _) => full(*value),
            }));
        }
        let bytes = writer.into_inner().unwrap_or_default();
        String::from_utf8_lossy(&bytes).into_owned()
    }

    /// An HTML table. Cells of columns to the right have the class `number`; a text in the first column
    /// is the heading of its row.
    pub fn html(&self) -> String {
        self.html_under(&escape(&self.caption))
    }

    /// The same under another caption, which is HTML.
    pub(super) fn html_under(&self, caption: &str) -> String {
        let class = |column: &Column| match column.align {
            Align::Left => "",
            Align::Right => " class=\"number\"",
        };
        let mut out = String::from("<table>\n");
        if !caption.is_empty() {
            out += &format!("<caption>{caption}</caption>\n");
        }
        out += "<thead>\n<tr>";
        for column in &self.columns {
            out += &format!("<th scope=\"col\"{}>{}</th>", class(column), escape(&heading(column)));
        }
        out += "</tr>\n</thead>\n<tbody>\n";
        for row in &self.rows {
            out += "<tr>";
            for (i, (cell, column)) in self.filled(row).zip(&self.columns).enumerate() {
                let class = class(column);
                out += &match cell {
                    Cell::Empty => format!("<td{class}></td>"),
                    Cell::Number(value, digits) => format!("<td{class}>{}</td>", typeset(*value, *digits)),
                    Cell::Text(text) if i == 0 => {
                        format!("<th scope=\"row\"{class}>{}</th>", dates_whole(&escape(text)))
                    }
                    Cell::Text(text) => format!("<td{class}>{}</td>", dates_whole(&escape(text))),
                };
            }
            out += "</tr>\n";
        }
        out + "</tbody>\n</table>\n"
    }

    /// A row with exactly one cell for each column.
    fn filled<'a>(&self, row: &'a [Cell]) -> impl Iterator<Item = &'a Cell> {
        row.iter().chain(std::iter::repeat(&Cell::Empty)).take(self.columns.len())
    }
}

fn heading(column: &Column) -> String {
    inert(&with_unit(&column.header, &column.unit))
}

#[cfg(test)]
mod tests {
    use super::Digits::{Decimals, Significant};
    use super::*;

    fn budget() -> Table {
        Table {
            caption: "One reading".to_string(),
            columns: vec![
                Column::text("input quantity"),
                Column::numbers("estimate", "µm"),
                Column::numbers("standard uncertainty", "µm"),
                Column::numbers("degrees of freedom", ""),
                Column::text("distribution"),
            ],
            rows: vec![
                vec![
                    "surface under the rear foot".into(),
                    Cell::Number(-0.25, Decimals(2)),
                    Cell::Number(1.0 / 3.0, Significant(2)),
                    Cell::Number(f64::INFINITY, Decimals(0)),
                    "normal".into(),
                ],
                vec![
                    "thermal expansion of the column, per kelvin".into(),
                    Cell::Number(11.5e-6, Significant(3)),
                    Cell::Number(-6.5e-7, Significant(2)),
                    Cell::Number(9.0, Decimals(0)),
                ],
            ],
        }
    }

    fn hostile() -> Table {
        Table {
            caption: "<script>alert(1)</script> ]]> | *bold*".to_string(),
            columns: vec![Column::text("a|b\n# c"), Column::numbers("=1+1", "\u{1b}[31m")],
            rows: vec![
                vec!["=HYPERLINK(\"x\")".into(), "-\r\n@".into()],
                vec!["`code` & [link](x) _u_ <b>".into(), Cell::Number(f64::NAN, Decimals(1))],
                vec!["שלום \u{202e}abc 📐".into()],
                vec!["x".into(), "y".into(), "too much".into()],
            ],
        }
    }

    #[test]
    fn terminal_wraps_text_only() {
        insta::assert_snapshot!(budget().terminal(Some(78)), @r##"
One reading

 input quantity       estimate, µm       standard   degrees of   distribution
                                     uncertainty,      freedom
                                               µm
──────────────────────────────────────────────────────────────────────────────
 surface under the           -0.25           0.33          inf   normal
 rear foot
 thermal expansion         1.15e-5        -6.5e-7            9
 of the column, per
 kelvin
"##);
    }

    #[test]
    fn terminal_fits_the_width() {
        for width in [70, 80, 100, 140] {
            let text = budget().terminal(Some(width));
            assert!(text.lines().all(|line| line.chars().count() <= width), "{width}:\n{text}");
        }
        assert!(budget().terminal(Some(0)).contains("-0.25"));
    }

    #[test]
    fn a_pipe_gets_plain_lines() {
        insta::assert_snapshot!(budget().terminal(None), @r##"
One reading

 input quantity                                estimate, µm   standard uncertainty, µm   degrees of freedom   distribution
---------------------------------------------------------------------------------------------------------------------------
 surface under the rear foot                          -0.25                       0.33                  inf   normal
 thermal expansion of the column, per kelvin        1.15e-5                    -6.5e-7                    9
"##);
        assert_eq!(budget().terminal(None).lines().count(), 2 + 2 + 2);
    }

    #[test]
    fn markdown() {
        insta::assert_snapshot!(budget().markdown(), @r##"
**One reading**

| input quantity                              | estimate, µm | standard uncertainty, µm | degrees of freedom | distribution |
|---------------------------------------------|-------------:|-------------------------:|-------------------:|--------------|
| surface under the rear foot                 |        -0.25 |                     0.33 |                inf | normal       |
| thermal expansion of the column, per kelvin |      1.15e-5 |                  -6.5e-7 |                  9 |              |
"##);
        insta::assert_snapshot!(hostile().markdown(), @r##"
**&lt;script&gt;alert(1)&lt;/script&gt; \]\]&gt; \| \*bold\***

| a\|b \# c                                  | =1+1, \[31m |
|--------------------------------------------|------------:|
| =HYPERLINK("x")                            |         - @ |
| \`code\` &amp; \[link\](x) \_u\_ &lt;b&gt; |           - |
| שלום abc 📐                                 |             |
| x                                          |           y |
"##);
    }

    #[test]
    fn html() {
        insta::assert_snapshot!(budget().html(), @r##"
<table>
<caption>One reading</caption>
<thead>
<tr><th scope="col">input quantity</th><th scope="col" class="number">estimate, µm</th><th scope="col" class="number">standard uncertainty, µm</th><th scope="col" class="number">degrees of freedom</th><th scope="col">distribution</th></tr>
</thead>
<tbody>
<tr><th scope="row">surface under the rear foot</th><td class="number">−0.25</td><td class="number">0.33</td><td class="number">∞</td><td>normal</td></tr>
<tr><th scope="row">thermal expansion of the column, per kelvin</th><td class="number">1.15×10⁻⁵</td><td class="number">−6.5×10⁻⁷</td><td class="number">9</td><td></td></tr>
</tbody>
</table>
"##);
        insta::assert_snapshot!(hostile().html(), @r##"
<table>
<caption>&lt;script&gt;alert(1)&lt;/script&gt; ]]&gt; | *bold*</caption>
<thead>
<tr><th scope="col">a|b # c</th><th scope="col" class="number">=1+1, [31m</th></tr>
</thead>
<tbody>
<tr><th scope="row">=HYPERLINK(&quot;x&quot;)</th><td class="number">- @</td></tr>
<tr><th scope="row">`code` &amp; [link](x) _u_ &lt;b&gt;</th><td class="number">–</td></tr>
<tr><th scope="row">שלום abc 📐</th><td class="number"></td></tr>
<tr><th scope="row">x</th><td class="number">y</td></tr>
</tbody>
</table>
"##);
    }

    #[test]
    fn csv_has_every_digit() {
        insta::assert_snapshot!(budget().csv(), @r##"
input quantity,estimate (µm),standard uncertainty (µm),degrees of freedom,distribution
surface under the rear foot,-0.25,0.3333333333333333,inf,normal
"thermal expansion of the column, per kelvin",0.0000115,-6.5e-7,9,
"##);
        insta::assert_snapshot!(hostile().csv(), @r##"
a|b # c,'=1+1 ( [31m)
"'=HYPERLINK(""x"")",'- @
`code` & [link](x) _u_ <b>,
שלום abc 📐,
x,y
"##);
        let text = budget().csv();
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.expect("a row")).collect();
        assert_eq!(rows[0][2].parse::<f64>(), Ok(1.0 / 3.0));
        assert_eq!(rows[1][1].parse::<f64>(), Ok(11.5e-6));
        assert_eq!(rows[0][3].parse::<f64>(), Ok(f64::INFINITY));
    }

    #[test]
    fn nothing_reaches_the_terminal_as_an_escape() {
        assert!(!hostile().terminal(Some(80)).contains(|c: char| c.is_control() && c != '\n'));
    }

    #[test]
    fn an_empty_table_prints() {
        let empty = Table::default();
        assert_eq!(empty.html(), "<table>\n<thead>\n<tr></tr>\n</thead>\n<tbody>\n</tbody>\n</table>\n");
        assert_eq!(empty.terminal(Some(80)).trim(), "");
        assert_eq!(empty.markdown().trim(), "|\n|");
    }
}
