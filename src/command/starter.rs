//! `howflat new`: a setup file to start from, asked for or given as options.

use super::{
    args::New,
    failure::Failure,
    files,
    terminal::{print, say},
};
use howflat::setup::{Fault, QUESTIONS, Question, Starter};
use std::{
    io::{self, IsTerminal},
    path::Path,
    process::ExitCode,
};

/// Asks for what the options do not say, checks each answer, and writes the setup.
pub fn new(arguments: &New) -> Result<ExitCode, Failure> {
    // Said before anything is asked, so that no answers are lost over it.
    if let Some(path) = arguments.file.as_deref().filter(|path| path.exists()) {
        return Err(Failure::Use(format!(
            "{} exists already; give another name, or move it away",
            path.display()
        )));
    }
    let mut starter = given(arguments);
    if io::stdin().is_terminal() && io::stderr().is_terminal() {
        starter = asked(starter, arguments.file.as_deref())?;
    } else if let Some(question) = starter.missing() {
        return Err(Failure::Use(format!(
            "--{} is missing: {}. Give it as an option, or run in a terminal.",
            question.option, question.asks
        )));
    }
    let (settled, options) = (starter.settled(), starter.options());
    let text = starter
        .setup()
        .map_err(|faults| Failure::Use(format!("this does not make a setup:\n{}", told(&faults))))?;
    match &arguments.file {
        Some(path) => {
            files::write_new(path, &text).inspect_err(|_| say(&format!("the answers again: {options}")))?;
            let path = path.display();
            say(&format!("{path} is written; next: howflat simulate {path} --out report"));
        }
        None => print(&text)?,
    }
    if let Some(settled) = settled {
        say(&settled);
    }
    Ok(ExitCode::SUCCESS)
}

fn given(given: &New) -> Starter {
    [
        ("title", &given.title),
        ("length", &given.length),
        ("width", &given.width),
        ("thickness", &given.thickness),
        ("material", &given.material),
        ("grade", &given.grade),
        ("state", &given.state),
        ("front-apart", &given.front_apart),
        ("front-to-rear", &given.front_to_rear),
        ("longest-reach", &given.longest_reach),
        ("graduation", &given.graduation),
        ("stand", &given.stand),
        ("cleanliness", &given.cleanliness),
    ]
    .into_iter()
    .fold(Starter::default(), |starter, (option, answer)| starter.with(option, answer.as_deref()))
}

/// Puts the questions that are open; `back` goes back to the one before.
fn asked(given: Starter, file: Option<&Path>) -> Result<Starter, Failure> {
    // With the main things given as options, the rest is not asked for.
    let asks_all = QUESTIONS.iter().filter(|q| q.usual.is_none()).all(|q| given.answer(q).is_none());
    let open: Vec<&Question> = QUESTIONS
        .iter()
        .filter(|question| given.answer(question).is_none() && (asks_all || question.usual.is_none()))
        .collect();
    let mut starter = given;
    let mut at = 0;
    if !open.is_empty() {
        say("An empty line takes what stands in brackets; \"back\" goes back to the question before.");
    }
    while let Some(question) = open.get(at) {
        match question.usual {
            Some(usual) => say(&format!("{} [{usual}]:", starter.asks(question))),
            None => say(&format!("{}:", starter.asks(question))),
        }
        let mut line = String::new();
        if io::stdin().read_line(&mut line).map_err(Failure::Output)? == 0 {
            let file = file.map_or(String::new(), |path| format!("{} ", path.display()));
            return Err(Failure::Use(format!(
                "no more answers; nothing was written. To go on from here: howflat new {file}{}",
                starter.options()
            )));
        }
        if line.trim().eq_ignore_ascii_case("back") {
            at = at.saturating_sub(1);
            continue;
        }
        match starter.give(question, &line) {
            Ok(()) => {
                at += 1;
                if let (true, Some(settled)) = (question.option == "longest-reach", starter.settled()) {
                    say(&format!("  {settled}"));
                }
            }
            Err(faults) => say(&told(&faults)),
        }
    }
    Ok(starter)
}

fn told(faults: &[Fault]) -> String {
    // Where something stands in a file that nobody has seen is no help.
    let each = faults.iter().map(|fault| format!("  {}", Fault { at: None, ..fault.clone() }));
    each.collect::<Vec<_>>().join("\n")
}
