//! `howflat new`: a setup file to start from, asked for or given as options.

use crate::{
    args::New,
    failure::Failure,
    files,
    terminal::{print, say},
};
use howflat::setup::{Setup, StarterAnswers, starter};
use std::{
    io::{self, IsTerminal},
    process::ExitCode,
};

/// Asks for what the options do not say, checks the answers, and writes the setup.
pub fn new(arguments: &New) -> Result<ExitCode, Failure> {
    let asks = io::stdin().is_terminal() && io::stderr().is_terminal();
    let answers = answers(arguments, asks)?;
    let text = starter(&answers);
    Setup::read(&text, &|name| Err(format!("no file {name} belongs to a new setup"))).map_err(|faults| {
        let told: Vec<String> = faults.iter().map(ToString::to_string).collect();
        Failure::Use(format!("this does not make a setup:\n{}", told.join("\n")))
    })?;
    match &arguments.file {
        Some(path) => {
            files::write_new(path, &text)?;
            say(&format!("{0} is written; run: howflat simulate {0}", path.display()));
        }
        None => print(&text)?,
    }
    Ok(ExitCode::SUCCESS)
}

fn answers(given: &New, asks: bool) -> Result<StarterAnswers, Failure> {
    let needed = |option: &str, value: &Option<String>, question: &str| match value {
        Some(value) => Ok(value.clone()),
        None if asks => ask(question, None),
        None => Err(Failure::Use(format!(
            "--{option} is missing: {question}. Give it as an option, or run in a terminal."
        ))),
    };
    // On a terminal with nothing given, the rest is asked too; an empty answer leaves it out.
    let asks_all = asks && given.length.is_none() && given.graduation.is_none();
    let offered = |value: &Option<String>, question: &str, usual: &str| match value {
        None if asks_all => ask(question, Some(usual)).map(|answer| Some(answer).filter(|a| !a.is_empty())),
        value => Ok(value.clone()),
    };
    Ok(StarterAnswers {
        length: needed("length", &given.length, "the plate's long side, such as \"36 in\" or \"1000 mm\"")?,
        width: needed("width", &given.width, "its short side")?,
        thickness: offered(&given.thickness, "its thickness", "as usual for the size")?,
        material: offered(&given.material, "what it is made of", "granite")?,
        grade: offered(
            &given.grade,
            "the grade it is to keep, such as \"US A\" or \"ISO 8512 grade 1\"",
            "none",
        )?,
        state: offered(&given.state, "its state: fresh from lapping, in daily use, worn", "in daily use")?,
        front_apart: needed(
            "front-apart",
            &given.front_apart,
            "the distance between the stand's two front feet",
        )?,
        front_to_rear: needed("front-to-rear", &given.front_to_rear, "how far its rear foot is behind them")?,
        longest_reach: offered(&given.longest_reach, "its longest reach", "no limit")?,
        graduation: needed(
            "graduation",
            &given.graduation,
            "one graduation of the indicator, such as \"0.0001 in\"",
        )?,
        stand: offered(&given.stand, "how the stand moves: parked, turned, carried", "parked")?,
        cleanliness: offered(
            &given.cleanliness,
            "how all is cleaned: wiped each time, wiped once, not wiped",
            "wiped once",
        )?,
        title: offered(&given.title, "what the check is called", "made up from plate and stand")?,
    })
}

/// One question on standard error, one line from standard input. Without a usual answer it is put
/// again until it is answered.
fn ask(question: &str, usual: Option<&str>) -> Result<String, Failure> {
    loop {
        match usual {
            Some(usual) => say(&format!("{question} [{usual}]:")),
            None => say(&format!("{question}:")),
        }
        let mut line = String::new();
        let n_bytes = io::stdin().read_line(&mut line).map_err(Failure::Output)?;
        let answer = line.trim();
        if !answer.is_empty() || (usual.is_some() && n_bytes > 0) {
            return Ok(answer.to_string());
        }
        if n_bytes == 0 {
            return Err(Failure::Use("no more answers; nothing was written".into()));
        }
    }
}
