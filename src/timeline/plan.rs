//! A plan: what a session is to practise, how long, with how many treats. As a
//! TOML file it can be written by hand; every mistake in it is named.

mod draft;
pub mod form;
pub mod numbers;

use serde::{Deserialize, Serialize};

/// What the first field of a plan file says.
pub const PLAN_FORMAT: &str = "marklag.plan/1";
/// The longest session a plan may set, in minutes.
const LONGEST_MIN: f64 = 60.0;
/// The longest name, cue or sentence, in characters.
const LONGEST_TEXT: usize = 200;

/// What a session is to practise.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// [`PLAN_FORMAT`].
    pub format: String,
    /// The plan's name.
    pub name: String,
    /// The animal's name; empty where it was left out on purpose.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub animal: String,
    /// Who marks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub person: Option<String>,
    /// The taught sound that marks; all taught sounds when missing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bridge: Option<String>,
    /// The session's length limit in minutes.
    pub length_min: f64,
    /// Treats set aside for the session.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub treats: Option<u32>,
    /// How long after a session the trainer means to do the next, in minutes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub again_after_min: Option<f64>,
    /// The behaviours that the plan names.
    #[serde(default, rename = "behaviour", skip_serializing_if = "Vec::is_empty")]
    pub behaviours: Vec<Behaviour>,
    /// What is practised, in turn.
    pub practise: Vec<Practise>,
}

/// Something an animal is taught, in small steps.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Behaviour {
    /// Its name.
    pub name: String,
    /// The cue's word or sign; may be empty.
    #[serde(default)]
    pub cue: String,
    /// Whether it is on cue: then offers that nobody asked for earn nothing.
    #[serde(default)]
    pub on_cue: bool,
    /// Its steps, from the easiest on.
    #[serde(rename = "step")]
    pub steps: Vec<Step>,
}

/// One step of a behaviour.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Step {
    /// Its number, from 1.
    pub number: u32,
    /// What earns the mark, in a sentence.
    pub earns: String,
}

/// One thing that a session practises: pairing the bridge with food, or a step
/// of a behaviour.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Practise {
    /// The bridge is paired with food; no behaviour is asked.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub pairing: bool,
    /// The behaviour's name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub behaviour: Option<String>,
    /// The step to begin with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub step: Option<u32>,
}

/// What is wrong with a plan.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PlanError {
    /// The text is no TOML, or has fields that a plan does not have.
    #[error("line {line}: {why}")]
    Text {
        /// From 1.
        line: usize,
        /// What is wrong with it.
        why: String,
    },
    /// It reads, but makes no sense.
    #[error("{0}")]
    Sense(String),
}

impl Plan {
    /// Reads a plan file's text and checks it.
    pub fn parse(text: &str) -> Result<Self, PlanError> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let plan: Self = toml::from_str(text).map_err(|error| {
            let byte = error.span().map_or(0, |span| span.start);
            let line = text.bytes().take(byte).filter(|b| *b == b'\n').count() + 1;
            let why = error.message().trim_end_matches('.').replace('\n', " ");
            PlanError::Text { line, why }
        })?;
        plan.check()?;
        Ok(plan)
    }

    /// The plan as the text of a file.
    pub fn to_toml(&self) -> String {
        toml::to_string(self).unwrap_or_default()
    }

    /// Whether the plan makes sense; the first thing that does not is named.
    pub fn check(&self) -> Result<(), PlanError> {
        let no = |why: String| Err(PlanError::Sense(why));
        if self.format != PLAN_FORMAT {
            return no(format!(
                "format is {:?}; this program reads {PLAN_FORMAT:?}",
                self.format
            ));
        }
        one_line("name", &self.name)?;
        one_line("animal", &self.animal)?;
        if let Some(person) = &self.person {
            one_line("person", person)?;
        }
        if !(self.length_min > 0.0 && self.length_min <= LONGEST_MIN) {
            return no(format!(
                "length_min is {}; give minutes above 0, at most {LONGEST_MIN}",
                self.length_min
            ));
        }
        if let Some(min) = self.again_after_min
            && !(min > 0.0 && min.is_finite())
        {
            return no(format!(
                "again_after_min is {min}; give minutes above 0, or leave it out"
            ));
        }
        for (k, behaviour) in self.behaviours.iter().enumerate() {
            behaviour.check()?;
            if self.behaviours[..k]
                .iter()
                .any(|b| b.name == behaviour.name)
            {
                return no(format!(
                    "the behaviour {:?} is there twice; give each a name of its own",
                    behaviour.name
                ));
            }
        }
        if self.practise.is_empty() {
            return no("nothing is to be practised; add a [[practise]] table".to_owned());
        }
        self.practise.iter().try_for_each(|one| self.check_one(one))
    }

    fn check_one(&self, one: &Practise) -> Result<(), PlanError> {
        let no = |why: String| Err(PlanError::Sense(why));
        match (one.pairing, &one.behaviour, one.step) {
            (true, None, None) => Ok(()),
            (true, _, _) => {
                no("a [[practise]] with pairing = true names no behaviour and no step".to_owned())
            }
            (false, None, _) => {
                no("a [[practise]] needs a behaviour and a step, or pairing = true".to_owned())
            }
            (false, Some(name), step) => {
                let Some(behaviour) = self.behaviour(name) else {
                    let known: Vec<&str> =
                        self.behaviours.iter().map(|b| b.name.as_str()).collect();
                    return no(format!(
                        "practise names the behaviour {name:?}, which the plan does not have (it has: {})",
                        if known.is_empty() {
                            "none".to_owned()
                        } else {
                            known.join(", ")
                        }
                    ));
                };
                let last = behaviour.steps.len();
                match step {
                    Some(step) if (1..=last).contains(&(step as usize)) => Ok(()),
                    Some(step) => no(format!(
                        "practise names step {step} of {name:?}, which has steps 1 to {last}"
                    )),
                    None => no(format!(
                        "practise names {name:?} but no step of it; add step = 1"
                    )),
                }
            }
        }
    }

    /// A behaviour by its name.
    pub fn behaviour(&self, name: &str) -> Option<&Behaviour> {
        self.behaviours.iter().find(|b| b.name == name)
    }

    /// Whether a taught word of this name is the cue of one of the behaviours.
    pub fn is_cue(&self, word: &str) -> bool {
        self.behaviours.iter().any(|b| b.is_cue(word))
    }

    /// The behaviour of one thing that is practised, from 0; `None` for pairing.
    pub fn behaviour_of(&self, item: usize) -> Option<&Behaviour> {
        self.behaviour(self.practise.get(item)?.behaviour.as_deref()?)
    }

    /// Whether one thing that is practised, from 0, is pairing the bridge.
    pub fn is_pairing(&self, item: usize) -> bool {
        self.practise.get(item).is_some_and(|p| p.pairing)
    }

    /// What earns the mark at a step of something practised; empty for pairing.
    pub fn earns(&self, item: usize, step: u32) -> &str {
        self.behaviour_of(item)
            .and_then(|b| b.steps.iter().find(|s| s.number == step))
            .map_or("", |s| s.earns.as_str())
    }

    /// What something practised is called on a screen.
    pub fn title(&self, item: usize) -> &str {
        match self.practise.get(item) {
            Some(one) if one.pairing => "pairing the bridge",
            Some(one) => one.behaviour.as_deref().unwrap_or(""),
            None => "",
        }
    }

    /// The simplest plan: free work with one behaviour of one step.
    pub fn free(length_min: f64) -> Self {
        Self {
            format: PLAN_FORMAT.to_owned(),
            name: "no plan".to_owned(),
            animal: String::new(),
            person: None,
            bridge: None,
            length_min,
            treats: None,
            again_after_min: None,
            behaviours: vec![Behaviour {
                name: "practice".to_owned(),
                cue: String::new(),
                on_cue: false,
                steps: vec![Step {
                    number: 1,
                    earns: "what you look for".to_owned(),
                }],
            }],
            practise: vec![Practise {
                pairing: false,
                behaviour: Some("practice".to_owned()),
                step: Some(1),
            }],
        }
    }
}

impl Behaviour {
    /// Whether a taught word of this name is its cue; capitals make no difference.
    pub fn is_cue(&self, word: &str) -> bool {
        !self.cue.is_empty() && self.cue.to_lowercase() == word.to_lowercase()
    }

    fn check(&self) -> Result<(), PlanError> {
        let no = |why: String| Err(PlanError::Sense(why));
        one_line("a behaviour's name", &self.name)?;
        one_line("a cue", &self.cue)?;
        if self.name.is_empty() {
            return no("a behaviour has an empty name; name it".to_owned());
        }
        if self.steps.is_empty() {
            return no(format!(
                "the behaviour {:?} has no step; add one",
                self.name
            ));
        }
        for (wanted, step) in (1u32..).zip(&self.steps) {
            if step.number != wanted {
                return no(format!(
                    "the steps of {:?} are out of order: number {} stands where {wanted} belongs",
                    self.name, step.number
                ));
            }
            if step.earns.trim().is_empty() {
                return no(format!(
                    "step {wanted} of {:?} does not say what earns the mark",
                    self.name
                ));
            }
            one_line("what earns the mark", &step.earns)?;
        }
        Ok(())
    }
}

fn one_line(what: &str, text: &str) -> Result<(), PlanError> {
    if text.chars().count() > LONGEST_TEXT || text.chars().any(char::is_control) {
        return Err(PlanError::Sense(format!(
            "{what} is one line of at most {LONGEST_TEXT} characters"
        )));
    }
    Ok(())
}

#[cfg(test)]
#[path = "plan_tests.rs"]
mod tests;
