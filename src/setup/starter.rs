//! A setup file to begin with.

use serde_json::{Map, Value, json};

/// What has to be known for a setup, as a person types it: lengths with their units.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StarterAnswers {
    /// What the check is called.
    pub title: Option<String>,
    /// The plate's long side: `36 in`.
    pub length: String,
    /// The plate's short side.
    pub width: String,
    /// The plate's thickness.
    pub thickness: Option<String>,
    /// The plate's material: `granite`, `cast iron`.
    pub material: Option<String>,
    /// The grade it is to keep: `US A`, `ISO 8512 grade 1`.
    pub grade: Option<String>,
    /// The state of its surface: `in daily use`.
    pub state: Option<String>,
    /// Distance between the stand's two front feet.
    pub front_apart: String,
    /// Distance of its rear foot from the line of the front feet.
    pub front_to_rear: String,
    /// How far its tip can be from the column.
    pub longest_reach: Option<String>,
    /// One graduation of the indicator: `0.0001 in`, `0.001 mm`.
    pub graduation: String,
    /// How the stand moves: `parked`, `turned`, `carried`.
    pub stand: Option<String>,
    /// How plate, feet and block are cleaned: `wiped each time`.
    pub cleanliness: Option<String>,
}

/// A setup file with these answers in it, strict JSON, a member a line. What is not answered is left
/// out, so that its default holds. Whether the answers make sense, [`Setup::read`](super::Setup::read)
/// says.
pub fn starter(answers: &StarterAnswers) -> String {
    let given = |members: &[(&str, &Option<String>)]| -> Map<String, Value> {
        members
            .iter()
            .filter_map(|(name, answer)| Some((name.to_string(), Value::from((*answer).clone()?))))
            .collect()
    };
    let mut plate = json!({ "length": answers.length, "width": answers.width });
    let mut stand = json!({
        "feet": { "front_apart": answers.front_apart, "front_to_rear": answers.front_to_rear }
    });
    add(
        &mut plate,
        given(&[
            ("thickness", &answers.thickness),
            ("material", &answers.material),
            ("grade", &answers.grade),
        ]),
    );
    let reach = given(&[("longest", &answers.longest_reach)]);
    if !reach.is_empty() {
        stand["reach"] = reach.into();
    }
    let mut setup = Value::from(given(&[("title", &answers.title)]));
    setup["plate"] = plate;
    add(&mut setup, given(&[("wear", &answers.state)]));
    setup["stand"] = stand;
    setup["indicator"] = json!({ "graduation": answers.graduation });
    add(&mut setup, given(&[("cleanliness", &answers.cleanliness)]));
    let survey = given(&[("stand", &answers.stand)]);
    if !survey.is_empty() {
        setup["survey"] = survey.into();
    }
    format!("{setup:#}\n")
}

fn add(record: &mut Value, members: Map<String, Value>) {
    if let Some(record) = record.as_object_mut() {
        record.extend(members);
    }
}
