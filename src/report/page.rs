//! A report as it is read: put together once, printed as terminal text, as Markdown, or as a page of HTML.
//!
//! | printer | what it is for | what it leaves out |
//! |---|---|---|
//! | [`Page::first_screen`] | the screen | all but the answer, what belongs to it, and what to do next |
//! | [`Page::terminal`] | the screen, in full | headings, pictures, tables that have a [`Part::Appendix`] sentence |
//! | [`Page::markdown`] | repositories and mails | nothing; pictures are files beside it |
//! | [`Page::html`] | to be read, printed and signed | nothing; pictures are inside it |
//!
//! What users typed may stand anywhere in it as it was typed: each printer makes it inert.

use super::{
    chart::curves::Tone,
    page_style,
    picture::Svg,
    table::{Cell, Table},
    text::{dates_whole, escape, escape_sentence, fill, inert, markdown, markdown_sentence, sentence},
};

/// A report, ready to be printed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Page {
    /// What kind of report it is: "Simulated shop check".
    pub kind: String,
    /// What it is about, as the user called it.
    pub title: String,
    /// The title block: what was looked at, when, by which run. Name and value.
    pub facts: Vec<[String; 2]>,
    /// What the answer is called; "The answer" where this is empty.
    pub answer_is: String,
    /// The answer, the shortest sentence that may stand alone first.
    pub answer: Vec<String>,
    /// What the answer means, where it is a verdict.
    pub verdict: Option<Tone>,
    /// What follows, in the order in which it is read.
    pub parts: Vec<Part>,
    /// Which run gave it, in a line.
    pub provenance: String,
    /// Whether it ends in lines for names, dates and signatures when it is printed.
    pub for_signature: bool,
    /// Whether its annex goes on paper only where that is asked for.
    pub annex_on_request: bool,
}

/// A part of a report.
#[derive(Clone, Debug, PartialEq)]
pub enum Part {
    /// Begins a section.
    Heading(String),
    /// Begins the section that says what to do next; it belongs to the answer.
    Next(String),
    /// Begins a section that has a sheet of paper to itself, at the end.
    Overleaf(String),
    /// A paragraph.
    Words(String),
    /// A paragraph that warns.
    Caution(String),
    /// Short items.
    List(Vec<String>),
    /// A table.
    Table(Table),
    /// The table that says what may be done: its second column means accept, its last one out.
    Card(Table),
    /// A table that is too long for a terminal, where a sentence stands instead; a page has it in an annex.
    Appendix(Table, String),
    /// What a first reader can do without; a page has it in an annex.
    Annexed(Annexed),
    /// Lines of ours to be copied as they stand; they hold nothing that a user typed but numbers and units.
    Lines(String),
    /// A picture.
    Picture(Figure),
}

/// A picture of a report.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// The file it is written to beside the report, without its ending.
    pub file: String,
    /// The SVG document, with its text alternative inside.
    pub svg: Svg,
    /// What there is to be seen, in a sentence.
    pub caption: String,
}

/// What a page has in its annex under a heading of its own.
#[derive(Clone, Debug, PartialEq)]
pub struct Annexed {
    /// What it is of.
    pub heading: String,
    /// The picture before its tables.
    pub picture: Option<Figure>,
    /// Its tables.
    pub tables: Vec<Table>,
}

impl Part {
    /// A picture, its file name without ending, and what there is to be seen.
    pub fn picture(file: impl Into<String>, svg: Svg, caption: impl Into<String>) -> Part {
        Part::Picture(Figure { file: file.into(), svg, caption: caption.into() })
    }

    /// Begins a section.
    pub fn heading(heading: &str) -> Part {
        Part::Heading(heading.to_string())
    }

    /// Short items.
    pub fn list(items: &[&str]) -> Part {
        Part::List(items.iter().map(|item| item.to_string()).collect())
    }
}

impl Page {
    /// The whole report as text for a terminal `width` columns wide, or for a pipe.
    pub fn terminal(&self, width: Option<usize>) -> String {
        self.lines(self.parts.iter(), width)
    }

    /// What fits on one screen: the answer, what stands before the first heading, what to do next, and cautions.
    pub fn first_screen(&self, width: Option<usize>) -> String {
        let mut belongs = true;
        let parts = self.parts.iter().filter(|part| {
            match part {
                Part::Heading(_) | Part::Overleaf(_) => belongs = false,
                Part::Next(_) => belongs = true,
                _ => {}
            }
            belongs || matches!(part, Part::Caution(_))
        });
        self.lines(parts, width)
    }

    fn lines<'a>(&self, parts: impl Iterator<Item = &'a Part>, width: Option<usize>) -> String {
        let filled = |said: &str| fill(&sentence(said), width);
        let mut out = vec![inert(&self.title)];
        out.extend(self.answer.iter().map(|said| filled(said)));
        for part in parts {
            match part {
                Part::Heading(_) | Part::Overleaf(_) | Part::Picture(_) => {}
                Part::Next(heading) => out.push(format!("{}:", inert(heading))),
                Part::Words(said) | Part::Caution(said) | Part::Appendix(_, said) => out.push(filled(said)),
                Part::List(items) => {
                    let items = items.iter().map(|item| filled(&format!("- {item}")));
                    out.push(items.collect::<Vec<_>>().join("\n"));
                }
                Part::Table(table) | Part::Card(table) => {
                    out.push(table.terminal(width).trim_end().to_string());
                }
                Part::Annexed(annexed) => {
                    out.push(format!("{}:", inert(&annexed.heading)));
                    let tables = annexed.tables.iter();
                    out.extend(tables.map(|table| table.terminal(width).trim_end().to_string()));
                }
                Part::Lines(lines) => out.push(lines.trim_end().to_string()),
            }
        }
        out.push(filled(&self.provenance));
        out.retain(|part| !part.is_empty());
        out.join("\n\n") + "\n"
    }

    /// The report in Markdown.
    pub fn markdown(&self) -> String {
        let mut out = vec![format!("# {}", markdown(&self.title))];
        out.extend(self.answer.iter().map(|said| markdown_sentence(said)));
        let facts =
            self.facts.iter().map(|[name, value]| format!("- {}: {}", markdown(name), markdown(value)));
        out.push(facts.collect::<Vec<_>>().join("\n"));
        for part in &self.parts {
            out.push(match part {
                Part::Heading(heading) | Part::Next(heading) | Part::Overleaf(heading) => {
                    format!("## {}", markdown(heading))
                }
                Part::Words(said) | Part::Caution(said) => markdown_sentence(said),
                Part::List(items) => {
                    let items = items.iter().map(|item| format!("- {}", markdown_sentence(item)));
                    items.collect::<Vec<_>>().join("\n")
                }
                Part::Table(table) | Part::Card(table) | Part::Appendix(table, _) => {
                    table.markdown().trim_end().to_string()
                }
                Part::Annexed(annexed) => {
                    let mut its = vec![format!("### {}", markdown(&annexed.heading))];
                    its.extend(annexed.picture.iter().map(markdown_picture));
                    its.extend(annexed.tables.iter().map(|table| table.markdown().trim_end().to_string()));
                    its.join("\n\n")
                }
                Part::Lines(lines) => {
                    let lines: Vec<String> =
                        lines.trim_end().lines().map(|line| format!("    {line}")).collect();
                    lines.join("\n")
                }
                Part::Picture(figure) => markdown_picture(figure),
            });
        }
        out.push(markdown_sentence(&self.provenance));
        out.retain(|part| !part.is_empty());
        out.join("\n\n") + "\n"
    }

    /// The report as one HTML file: it asks for nothing outside itself, runs nothing, and prints on A4 and Letter
    /// alike.
    pub fn html(&self) -> String {
        let (kind, title) = (escape(&self.kind), escape(&self.title));
        let mut page = format!(
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta http-equiv=\"Content-Security-Policy\" content=\"{CONTENT_POLICY}\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <meta name=\"color-scheme\" content=\"light dark\">\n<title>{kind}: {title}</title>\n\
             <style>\n{}</style>\n</head>\n<body>\n<header>\n<p class=\"kind\">{kind}</p>\n<h1>{title}</h1>\n",
            page_style::css()
        );
        let facts = self.facts.iter().map(|[name, value]| {
            format!(
                "<div><dt>{}</dt><dd>{}</dd></div>\n",
                escape(name),
                dates_whole(&escape_sentence(&inert(value)))
            )
        });
        if !self.facts.is_empty() {
            page += &format!("<dl class=\"facts\">\n{}</dl>\n", facts.collect::<String>());
        }
        let answer_is = if self.answer_is.is_empty() { "The answer" } else { &self.answer_is };
        let tone = self.verdict.map_or(String::new(), |tone| format!(" {}", tone.name()));
        page +=
            &format!("</header>\n<main>\n<section class=\"answer{tone}\">\n<h2>{}</h2>\n", escape(answer_is));
        page.extend(self.answer.iter().map(|said| paragraph(said)));
        let mut annex = Annex::behind(&self.parts);
        let mut numbers = Numbers::default();
        page.extend(self.parts.iter().map(|part| html_part(part, &mut numbers, &mut annex)));
        page += "</section>\n</main>\n<footer>\n";
        if self.for_signature {
            page += SIGNATURES;
        }
        let note = if self.annex_on_request && !annex.html.is_empty() { NOT_PRINTED } else { "" };
        page += &format!("{note}<p>{}</p>\n</footer>\n", escape_sentence(&self.provenance));
        if !annex.html.is_empty() {
            let checked = if self.annex_on_request { "" } else { " checked" };
            page += &format!(
                "<section class=\"annex\" aria-label=\"Annex\">\n<h2>Annex</h2>\n<p class=\"choice\"><label><input \
                 type=\"checkbox\"{checked}> Print the annex too</label></p>\n{}</section>\n",
                annex.html
            );
        }
        page + "</body>\n</html>\n"
    }

    /// The report's files by name: `report.md`, `report.html`, and each picture as SVG.
    pub fn files(&self) -> Vec<(String, Vec<u8>)> {
        let mut files = vec![
            ("report.md".to_string(), self.markdown().into_bytes()),
            ("report.html".to_string(), self.html().into_bytes()),
        ];
        let svg = |figure: &Figure| (format!("{}.svg", figure.file), figure.svg.as_bytes().to_vec());
        files.extend(self.figures().map(svg));
        files
    }

    /// Its pictures, those of the annex among them.
    pub fn figures(&self) -> impl Iterator<Item = &Figure> {
        self.parts.iter().filter_map(|part| match part {
            Part::Picture(figure) => Some(figure),
            Part::Annexed(annexed) => annexed.picture.as_ref(),
            _ => None,
        })
    }
}

/// How a report ends: what its figures are worth, its caution, and what its methods rest on.
pub fn ending(worth: Option<&str>, caution: &str, references: &[&str]) -> Vec<Part> {
    let mut parts = vec![Part::heading("Cautions and limits")];
    parts.extend(worth.map(|said| Part::Words(said.into())));
    parts.extend([Part::Caution(caution.into()), Part::heading("References"), Part::list(references)]);
    parts
}

/// Cautions that stand under every report.
pub const LIMITS_OF_USE: &str = "This is not a calibration. For a certificate, a dispute or a statement of grade go to a \
    laboratory accredited to ISO/IEC 17025. Surface plates are heavy: use a hoist or enough people, keep fingers from \
    under the stone, and set the plate on its three supports. Ammonia cleaners need fresh air and must never meet \
    bleach; they chill the stone, so wait before measuring. Local safety rules come first.";

/// The fact of a report's date, which is the user's to give: the program asks no clock.
pub fn date_fact(date: Option<&str>) -> [String; 2] {
    let date = date.map(inert).filter(|date| !date.is_empty());
    ["date".to_string(), date.unwrap_or_else(|| "not given".to_string())]
}

/// The first figures of a digest, as reports show it.
pub fn short_digest(digest: &str) -> &str {
    digest.get(..16).unwrap_or(digest)
}

/// Nothing may be fetched, run or sent; style sheets inside the page are its own.
pub(super) const CONTENT_POLICY: &str =
    "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'";

/// What paper says where the annex is not on it.
const NOT_PRINTED: &str = "<p class=\"unprinted\">The annex is not printed here; the page on the screen has it, and at its head \
     a box to print it too.</p>\n";

const SIGNATURES: &str = "<div class=\"sign\">\n<p>Checked by<i></i></p>\n<p>Date<i></i></p>\n<p>Signature<i></i></p>\n\
     <p>Released by<i></i></p>\n<p>Date<i></i></p>\n<p>Signature<i></i></p>\n</div>\n";

/// Tables of no more rows than this are kept on one printed page.
const KEPT_TOGETHER: usize = 16;

/// Pictures higher than this (px) are tall.
const TALL: f64 = 520.0;

fn markdown_picture(figure: &Figure) -> String {
    format!("![{}]({}.svg)", markdown_sentence(&figure.caption), figure.file)
}

fn html_picture(figure: &Figure, number: usize) -> String {
    // A tall picture gets more room on paper, or its type would be too small to read.
    let class = if figure.svg.height > TALL { " class=\"tall\"" } else { "" };
    format!(
        "<figure{class}>\n{}<figcaption><b>Figure {number}.</b> {}</figcaption>\n</figure>\n",
        figure.svg,
        escape_sentence(&figure.caption)
    )
}

/// How many tables and pictures there are so far.
#[derive(Default)]
struct Numbers {
    tables: usize,
    figures: usize,
}

impl Numbers {
    fn table(&mut self, table: &Table, is_card: bool) -> String {
        self.tables += 1;
        wrapped(table, self.tables, is_card)
    }

    fn figure(&mut self, figure: &Figure) -> String {
        self.figures += 1;
        html_picture(figure, self.figures)
    }
}

/// What stands behind everything else.
struct Annex {
    html: String,
    numbers: Numbers,
}

impl Annex {
    /// An empty one, which goes on counting where these parts end.
    fn behind(parts: &[Part]) -> Self {
        let count = |is: fn(&&Part) -> bool| parts.iter().filter(is).count();
        let tables = count(|part| matches!(part, Part::Table(_) | Part::Card(_)));
        let figures = count(|part| matches!(part, Part::Picture(_)));
        Self { html: String::new(), numbers: Numbers { tables, figures } }
    }

    /// Takes tables and a picture in, and says which numbers they have there.
    fn take(&mut self, Annexed { heading, picture, tables }: &Annexed) -> String {
        let mut what = Vec::new();
        self.html += &format!("<h3>{}</h3>\n", escape(heading));
        if let Some(figure) = picture {
            self.html += &self.numbers.figure(figure);
            what.push(format!("figure {}", self.numbers.figures));
        }
        let first = self.numbers.tables + 1;
        self.html.extend(tables.iter().map(|table| self.numbers.table(table, false)));
        match tables.len() {
            0 => {}
            1 => what.push(format!("table {first}")),
            _ => what.push(format!("tables {first} to {}", self.numbers.tables)),
        }
        format!("<p>{}: {} in the annex.</p>\n", escape(heading), what.join(" and "))
    }
}

fn html_part(part: &Part, numbers: &mut Numbers, annex: &mut Annex) -> String {
    match part {
        Part::Heading(heading) | Part::Next(heading) => {
            format!("</section>\n<section>\n<h2>{}</h2>\n", escape(heading))
        }
        Part::Overleaf(heading) => {
            format!("</section>\n<section class=\"overleaf\">\n<h2>{}</h2>\n", escape(heading))
        }
        Part::Words(said) => paragraph(said),
        Part::Caution(said) => format!("<p class=\"caution\">{}</p>\n", escape_sentence(said)),
        Part::List(items) => {
            let items = items.iter().map(|item| format!("<li>{}</li>\n", escape_sentence(item)));
            format!("<ul>\n{}</ul>\n", items.collect::<String>())
        }
        Part::Table(table) => numbers.table(table, false),
        Part::Card(table) => numbers.table(table, true),
        Part::Appendix(table, _) if table.rows.is_empty() => String::new(),
        Part::Appendix(table, _) => {
            annex.html += &annex.numbers.table(table, false);
            format!("<p>Table {} in the annex lists each of them.</p>\n", annex.numbers.tables)
        }
        Part::Annexed(annexed) => annex.take(annexed),
        Part::Lines(lines) => {
            let lines: Vec<String> = lines.trim_end().lines().map(escape_line).collect();
            format!("<pre tabindex=\"0\">{}</pre>\n", lines.join("\n"))
        }
        Part::Picture(figure) => numbers.figure(figure),
    }
}

/// A line with the spaces it begins with.
fn escape_line(line: &str) -> String {
    let inner = line.trim_start();
    format!("{}{}", " ".repeat(line.len() - inner.len()), escape_sentence(inner))
}

fn paragraph(said: &str) -> String {
    format!("<p>{}</p>\n", escape_sentence(said))
}

/// A table that can be scrolled sideways where the screen is too narrow for it, also by keyboard.
fn wrapped(table: &Table, number: usize, is_card: bool) -> String {
    let mut class = String::from("table");
    if is_card {
        class += " card";
    }
    if table.rows.len() <= KEPT_TOGETHER {
        class += " short";
    }
    // Numbers are set small where there are many of them beside each other, or long texts.
    let is_long = |cell: &Cell| matches!(cell, Cell::Text(text) if text.chars().count() > 60);
    if table.columns.len() > 6 || table.rows.iter().flatten().any(is_long) {
        class += " dense";
    }
    let caption = format!("<span><b>Table {number}.</b> {}</span>", escape_sentence(&table.caption));
    let shown = table.html_under(&caption);
    format!(
        "<div class=\"{class}\" role=\"region\" aria-label=\"Table {number}\" tabindex=\"0\">\n{shown}</div>\n"
    )
}
