//! The fields of a plan as texts, while it is filled in.

use super::{Behaviour, Plan, Practise, Step, numbers};

/// A field that a plan has once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Basic {
    Name,
    Animal,
    Person,
    Bridge,
    Minutes,
    Treats,
    Again,
}

/// Fields in form order.
pub(super) const BASICS: [Basic; 7] = [
    Basic::Name,
    Basic::Animal,
    Basic::Person,
    Basic::Bridge,
    Basic::Minutes,
    Basic::Treats,
    Basic::Again,
];

impl Basic {
    pub(super) fn label(self) -> &'static str {
        match self {
            Self::Name => "Plan",
            Self::Animal => "Animal",
            Self::Person => "Who marks",
            Self::Bridge => "Bridge",
            Self::Minutes => "Minutes",
            Self::Treats => "Treats",
            Self::Again => "Again after",
        }
    }

    pub(super) fn hint(self) -> &'static str {
        match self {
            Self::Name => {
                "The plan's name. With another name a plan that is changed is kept beside the old one."
            }
            Self::Animal => "With whom. The animal's behaviours are kept with its name.",
            Self::Person => "Whose marks these are; may be empty.",
            Self::Bridge => "Left or right: the taught sound that marks.",
            Self::Minutes => "The session's limit in minutes, at most 60. Shorter is fine.",
            Self::Treats => "How many treats you set aside; empty: not counted.",
            Self::Again => {
                "How long you mean to wait before the next session, in minutes; may be empty."
            }
        }
    }
}

/// Something of the plan that is practised.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Pick {
    Nothing,
    Pairing,
    /// The step with this mark of its own.
    Step(u32),
}

/// A step; its mark stays when steps come before it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct DraftStep {
    mark: u32,
    pub(super) earns: String,
}

/// A behaviour.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct DraftBehaviour {
    pub(super) name: String,
    pub(super) cue: String,
    pub(super) on_cue: bool,
    pub(super) steps: Vec<DraftStep>,
}

/// A plan as texts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Draft {
    basics: [String; 7],
    pub(super) behaviours: Vec<DraftBehaviour>,
    pub(super) practise: Vec<Pick>,
    next: u32,
}

/// Why there is no plan yet, and where to look.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Wrong {
    pub(super) place: Place,
    pub(super) why: String,
}

/// A place in a draft.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Place {
    Basic(Basic),
    Name(usize),
    Step(usize, usize),
    Practise,
    Whole,
}

impl Draft {
    /// The draft of a new plan.
    pub(super) fn empty() -> Self {
        let mut draft = Self {
            basics: Default::default(),
            behaviours: Vec::new(),
            practise: vec![Pick::Nothing],
            next: 1,
        };
        *draft.basic_mut(Basic::Minutes) = "5".to_owned();
        draft.add_behaviour();
        draft
    }

    /// The draft of a plan that is there.
    pub(super) fn of(plan: &Plan) -> Self {
        let number = |n: Option<f64>| n.map_or_else(String::new, |n| n.to_string());
        let mut draft = Self {
            basics: [
                plan.name.clone(),
                plan.animal.clone(),
                plan.person.clone().unwrap_or_default(),
                plan.bridge.clone().unwrap_or_default(),
                number(Some(plan.length_min)),
                number(plan.treats.map(f64::from)),
                number(plan.again_after_min),
            ],
            behaviours: Vec::new(),
            practise: Vec::new(),
            next: 1,
        };
        for behaviour in &plan.behaviours {
            draft.behaviours.push(DraftBehaviour {
                name: behaviour.name.clone(),
                cue: behaviour.cue.clone(),
                on_cue: behaviour.on_cue,
                steps: Vec::new(),
            });
            let b = draft.behaviours.len() - 1;
            for (s, step) in behaviour.steps.iter().enumerate() {
                draft.add_step(b, s);
                if let Some(new) = draft.behaviours[b].steps.last_mut() {
                    new.earns.clone_from(&step.earns);
                }
            }
        }
        draft.practise = plan.practise.iter().map(|one| draft.pick_of(one)).collect();
        draft
    }

    fn pick_of(&self, one: &Practise) -> Pick {
        if one.pairing {
            return Pick::Pairing;
        }
        let named = |b: &&DraftBehaviour| Some(&b.name) == one.behaviour.as_ref();
        let at = one
            .step
            .and_then(|n| usize::try_from(n).ok()?.checked_sub(1));
        let behaviour = self.behaviours.iter().find(named);
        let step = behaviour.zip(at).and_then(|(b, at)| b.steps.get(at));
        step.map_or(Pick::Nothing, |s| Pick::Step(s.mark))
    }

    pub(super) fn basic(&self, basic: Basic) -> &String {
        &self.basics[basic as usize]
    }

    pub(super) fn basic_mut(&mut self, basic: Basic) -> &mut String {
        &mut self.basics[basic as usize]
    }

    pub(super) fn add_behaviour(&mut self) {
        self.behaviours.push(DraftBehaviour {
            name: String::new(),
            cue: String::new(),
            on_cue: false,
            steps: Vec::new(),
        });
        self.add_step(self.behaviours.len() - 1, 0);
    }

    pub(super) fn add_step(&mut self, b: usize, s: usize) {
        let mark = self.next;
        if let Some(behaviour) = self.behaviours.get_mut(b) {
            let earns = String::new();
            let at = s.min(behaviour.steps.len());
            behaviour.steps.insert(at, DraftStep { mark, earns });
            self.next += 1;
        }
    }

    pub(super) fn remove_step(&mut self, b: usize, s: usize) {
        if let Some(behaviour) = self.behaviours.get_mut(b)
            && s < behaviour.steps.len()
        {
            behaviour.steps.remove(s);
        }
    }

    /// The steps that have words, of behaviours that have a name.
    fn named_steps(&self) -> impl Iterator<Item = (&DraftBehaviour, usize, &DraftStep)> {
        let named = self.behaviours.iter().filter(|b| !b.name.trim().is_empty());
        named.flat_map(|b| {
            let steps = b.steps.iter().filter(|s| !s.earns.trim().is_empty());
            steps.enumerate().map(move |(k, s)| (b, k + 1, s))
        })
    }

    /// All that can be picked to be practised.
    pub(super) fn picks(&self) -> Vec<Pick> {
        let steps = self.named_steps().map(|(_, _, s)| Pick::Step(s.mark));
        [Pick::Nothing, Pick::Pairing]
            .into_iter()
            .chain(steps)
            .collect()
    }

    /// The first step that is not practised yet, for another thing to practise.
    pub(super) fn next_pick(&self) -> Pick {
        let steps = self.named_steps().map(|(_, _, s)| Pick::Step(s.mark));
        let mut free = steps.filter(|pick| !self.practise.contains(pick));
        free.next().unwrap_or(Pick::Nothing)
    }

    fn step_of(&self, mark: u32) -> Option<(&DraftBehaviour, usize, &DraftStep)> {
        self.named_steps().find(|(_, _, s)| s.mark == mark)
    }

    pub(super) fn pick_words(&self, pick: Pick) -> String {
        match pick {
            Pick::Pairing => "pairing the bridge with food".to_owned(),
            Pick::Nothing => "nothing".to_owned(),
            Pick::Step(mark) => match self.step_of(mark) {
                Some((b, number, s)) => format!("{}, step {number}: {}", b.name.trim(), s.earns),
                None => "nothing".to_owned(),
            },
        }
    }

    /// The plan that this is, or the first thing that is wrong with it.
    pub(super) fn plan(&self) -> Result<Plan, Wrong> {
        let text = |basic: Basic| self.basic(basic).trim().to_owned();
        let some = |basic: Basic| Some(text(basic)).filter(|t| !t.is_empty());
        for (basic, why) in [
            (Basic::Name, "Give the plan a name."),
            (Basic::Animal, "Give the animal's name."),
        ] {
            if text(basic).is_empty() {
                return Err(wrong(Place::Basic(basic), why));
            }
        }
        let told = |basic: Basic| move |why: &str| wrong(Place::Basic(basic), why);
        let length_min = numbers::minutes(self.basic(Basic::Minutes));
        let treats = numbers::treats(self.basic(Basic::Treats));
        let again = numbers::again_after(self.basic(Basic::Again));
        let plan = Plan {
            name: text(Basic::Name),
            animal: text(Basic::Animal),
            person: some(Basic::Person),
            bridge: some(Basic::Bridge),
            length_min: length_min.map_err(told(Basic::Minutes))?,
            treats: treats.map_err(told(Basic::Treats))?,
            again_after_min: again.map_err(told(Basic::Again))?,
            behaviours: self.behaviours()?,
            practise: self.practise()?,
            ..Plan::free(5.0)
        };
        if let Some(idle) = plan.behaviours.iter().find(|b| {
            let mut named = plan.practise.iter().filter_map(|p| p.behaviour.as_ref());
            !named.any(|name| *name == b.name)
        }) {
            let why = format!(
                "{} is not practised in this plan: choose it here, or empty its name.",
                idle.name
            );
            return Err(wrong(Place::Practise, &why));
        }
        plan.check()
            .map_err(|error| wrong(place_of(&error.to_string()), &sentence(&error.to_string())))?;
        Ok(plan)
    }

    fn behaviours(&self) -> Result<Vec<Behaviour>, Wrong> {
        let mut all: Vec<Behaviour> = Vec::new();
        for (b, draft) in self.behaviours.iter().enumerate() {
            let name = draft.name.trim();
            if name.is_empty() {
                continue;
            }
            if all.iter().any(|other| other.name == name) {
                let why = "This name is there twice; give each a name of its own.";
                return Err(wrong(Place::Name(b), why));
            }
            let words = draft.steps.iter().map(|s| s.earns.trim());
            let words = words.filter(|earns| !earns.is_empty());
            let steps: Vec<Step> = (1..)
                .zip(words)
                .map(|(number, earns)| Step {
                    number,
                    earns: earns.to_owned(),
                })
                .collect();
            if steps.is_empty() {
                let why = "Say what earns the mark, in a sentence.";
                return Err(wrong(Place::Step(b, 0), why));
            }
            all.push(Behaviour {
                name: name.to_owned(),
                cue: draft.cue.trim().to_owned(),
                on_cue: draft.on_cue,
                steps,
            });
        }
        Ok(all)
    }

    fn practise(&self) -> Result<Vec<Practise>, Wrong> {
        let one = |pick: &Pick| match pick {
            Pick::Nothing => None,
            Pick::Pairing => Some(Practise {
                pairing: true,
                behaviour: None,
                step: None,
            }),
            Pick::Step(mark) => self.step_of(*mark).map(|(b, number, _)| Practise {
                pairing: false,
                behaviour: Some(b.name.trim().to_owned()),
                step: u32::try_from(number).ok(),
            }),
        };
        let all: Vec<Practise> = self.practise.iter().filter_map(one).collect();
        if all.is_empty() {
            let why = "Choose something to practise: left or right on the line above.";
            return Err(wrong(Place::Practise, why));
        }
        Ok(all)
    }
}

fn wrong(place: Place, why: &str) -> Wrong {
    let why = why.to_owned();
    Wrong { place, why }
}

/// Where to look for what [`Plan::check`] found.
fn place_of(error: &str) -> Place {
    match error.split([' ', ':']).next() {
        Some("length_min") => Place::Basic(Basic::Minutes),
        Some("again_after_min") => Place::Basic(Basic::Again),
        _ => Place::Whole,
    }
}

/// A field's name in a file is no word for a form.
fn sentence(error: &str) -> String {
    error
        .replace("length_min is", "The limit is")
        .replace("again_after_min is", "The wait is")
}
