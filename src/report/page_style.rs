//! How a page of a report looks: on a light screen, on a dark one, and on paper.

use super::style::{self, Colour};
use std::fmt::Write as _;

/// The style sheet of [`super::page::Page::html`].
///
/// Colours are those of the pictures. On a dark screen each of them is exchanged for its counterpart of
/// [`style::AFTER_DARK`], in the pictures as well: a rule outweighs what an element says of its own colour.
pub fn css() -> String {
    let dark = |light: Colour| {
        style::AFTER_DARK.iter().find(|(before, _)| *before == light).map_or(light, |&(_, after)| after)
    };
    let variables = |shade: &dyn Fn(Colour) -> Colour| -> String {
        NAMED.iter().map(|&(name, colour)| format!("--{name}: {};", style::hex(shade(colour)))).collect()
    };
    let mut sheet = format!(":root {{ color-scheme: light dark; {} }}\n", variables(&|colour| colour));
    sheet += SHEET;
    let _ = writeln!(sheet, "@media screen and (prefers-color-scheme: dark) {{");
    let _ = writeln!(sheet, ":root {{ {} }}", variables(&dark));
    for (before, after) in style::AFTER_DARK {
        let (before, after) = (style::hex(before), style::hex(after));
        let _ = writeln!(
            sheet,
            "svg [fill=\"{before}\"] {{ fill: {after}; }} svg [stroke=\"{before}\"] {{ stroke: {after}; }}"
        );
    }
    sheet + "}\n"
}

/// What the sheet calls the colours it uses.
const NAMED: [(&str, Colour); 8] = [
    ("paper", style::PAPER),
    ("ink", style::INK),
    ("muted", style::MUTED),
    ("grid", style::GRID),
    ("shade", style::paler(style::UNDECIDED)),
    ("within", style::WITHIN),
    ("undecided", style::UNDECIDED),
    ("out", style::OUT),
];

const SHEET: &str = "\
@page { margin: 16mm 14mm 18mm; @bottom-right { content: counter(page) \" / \" counter(pages); font: 8pt system-ui, sans-serif; color: #52606d; } }
* { box-sizing: border-box; }
body { font: 16px/1.5 system-ui, sans-serif; color: var(--ink); background: var(--paper); max-width: 46rem; margin: 0 auto; padding: 1.5rem 1rem 3rem; overflow-wrap: break-word; }
header { border-bottom: 3px solid var(--ink); padding-bottom: 1rem; }
.kind { margin: 0; color: var(--muted); }
h1 { font-size: 1.6rem; line-height: 1.25; margin: 0.2rem 0 1rem; text-wrap: balance; }
h2 { font-size: 1.2rem; line-height: 1.3; margin: 2.5rem 0 0.75rem; padding-top: 0.75rem; border-top: 1px solid var(--grid); break-after: avoid; }
h3 { font-size: 1rem; line-height: 1.3; margin: 1.5rem 0 0.5rem; break-after: avoid; }
p { margin: 0 0 0.75rem; orphans: 3; widows: 3; }
ul { margin: 0 0 0.75rem; padding-left: 1.2rem; }
li { margin-bottom: 0.3rem; break-inside: avoid; }
.facts { display: grid; grid-template-columns: repeat(auto-fill, minmax(20rem, 1fr)); gap: 0.35rem 2rem; margin: 0; font-size: 0.875rem; }
.facts div { display: grid; grid-template-columns: 7.5rem 1fr; gap: 0.5rem; }
.facts dt { color: var(--muted); }
.facts dd { margin: 0; min-width: 0; }
.answer { background: var(--shade); margin: 1.5rem 0 0; padding: 1rem 1.2rem 0.5rem; border-left: 5px solid var(--ink); }
.answer h2 { margin: 0; padding: 0; border: 0; font-size: 0.9rem; color: var(--muted); }
.answer.within { background: var(--within); }
.answer.undecided { background: var(--undecided); }
.answer.out { background: var(--out); }
.answer.out h2 { color: var(--ink); }
.answer p:first-of-type { font-size: 1.2rem; line-height: 1.4; font-weight: 600; }
figure { margin: 1.25rem 0; break-inside: avoid; }
figure svg { display: block; width: 100%; height: auto; }
figcaption, caption { font-size: 0.875rem; line-height: 1.4; color: var(--muted); text-align: left; }
figcaption { margin-top: 0.4rem; }
caption { caption-side: top; padding-bottom: 0.4rem; }
figcaption b, caption b { color: var(--ink); }
.table { overflow-x: auto; margin: 1.25rem 0; }
table { border-collapse: collapse; width: 100%; font-size: 0.875rem; line-height: 1.35; font-variant-numeric: tabular-nums lining-nums; }
.dense table { font-size: 0.78rem; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
th, td { padding: 0.3rem 0.6rem 0.3rem 0; text-align: left; vertical-align: top; font-weight: 400; border-bottom: 1px solid var(--grid); }
th:last-child, td:last-child { padding-right: 0; }
thead th { color: var(--muted); vertical-align: bottom; border-bottom: 1.5px solid var(--ink); }
.number { text-align: right; }
td.number, .whole { white-space: nowrap; }
.card table { font-size: 1rem; }
.card th, .card td { padding: 0.5rem 0.7rem; }
.card td { font-weight: 600; }
.card td:nth-child(2) { background: var(--within); }
.card td:nth-child(3) { background: var(--undecided); white-space: nowrap; }
.card td:last-child { background: var(--out); }
pre { font: 0.8rem/1.4 ui-monospace, monospace; border: 1px solid var(--grid); padding: 0.7rem 1rem; overflow-x: auto; break-inside: avoid; }
.caution { border: 2px solid var(--ink); padding: 0.7rem 1rem; break-inside: avoid; }
footer { margin-top: 2.5rem; padding-top: 0.75rem; border-top: 3px solid var(--ink); font-size: 0.8rem; color: var(--muted); }
.annex { margin-top: 2.5rem; }
.sign, .unprinted { display: none; }
:focus-visible { outline: 2px solid var(--ink); outline-offset: 2px; }
@media screen and (max-width: 40rem) {
caption span { display: inline-block; position: sticky; left: 0; max-width: calc(100vw - 2.4rem); }
.answer { padding: 0.8rem 0.7rem 0.3rem; }
.answer caption span { max-width: calc(100vw - 4rem); }
.card table { font-size: 0.8rem; line-height: 1.3; }
.card th, .card td { padding: 0.4rem 0.25rem; overflow-wrap: break-word; }
.card td:nth-child(3), .card td.number { white-space: normal; }
}
@media print {
body { font-size: 9.5pt; line-height: 1.4; max-width: none; padding: 0; }
h1 { font-size: 16pt; }
h2 { margin-top: 7mm; font-size: 12pt; }
.facts { grid-template-columns: 1fr 1fr; gap: 0.8mm 6mm; }
.facts div { grid-template-columns: 22mm 1fr; }
.answer { print-color-adjust: exact; break-inside: avoid; }
.answer p:first-of-type { font-size: 11.5pt; }
.card td { print-color-adjust: exact; }
.table { overflow: visible; }
.short { break-inside: avoid; }
caption { break-after: avoid; }
figure svg { width: auto; max-width: 100%; max-height: 98mm; margin: 0 auto; }
figure.tall svg { max-height: 140mm; }
table { font-size: 8.5pt; }
th, td { padding-top: 0.9mm; padding-bottom: 0.9mm; }
.card table { font-size: 9.5pt; }
figcaption, caption { font-size: 8.5pt; }
pre { font-size: 7.5pt; white-space: pre-wrap; }
.dense table { font-size: 7.2pt; line-height: 1.25; }
.dense th, .dense td { padding: 0.7mm 1.8mm 0.7mm 0; }
.sign { display: grid; grid-template-columns: 2fr 1fr 2fr; gap: 9mm 6mm; margin: 8mm 0 6mm; break-inside: avoid; color: var(--ink); }
.sign p { display: flex; gap: 2mm; align-items: flex-end; white-space: nowrap; margin: 0; }
.sign i { flex: 1; border-bottom: 0.3mm solid var(--muted); }
footer { break-inside: avoid; }
.annex, .overleaf { break-before: page; margin: 0; }
.annex h2, .overleaf h2 { margin-top: 0; }
.choice, body:has(.choice input:not(:checked)) .annex { display: none; }
body:has(.choice input:not(:checked)) .unprinted { display: block; }
}
";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_named_colour_has_a_counterpart_in_the_dark() {
        for (name, colour) in NAMED {
            assert!(style::AFTER_DARK.iter().any(|(before, _)| *before == colour), "{name}");
        }
    }

    #[test]
    fn the_sheet_fetches_nothing() {
        let sheet = css();
        assert!(!sheet.contains("url(") && !sheet.contains("@import") && !sheet.contains("</"), "{sheet}");
    }
}
