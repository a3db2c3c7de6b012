//! Small boards and stories drawn at random, the same for the same seed.

use std::{collections::BTreeMap, fmt::Write as _, sync::Arc};

use catalogue::{Profile, Site};
use diagnosis::{
    Action, BenchStep, Chip, Machine, Measure, Places, Shown, Situation, Supply, Treatment, Truth,
};
use units::Component;

/// A small generator of numbers (SplitMix64: Steele, Lea & Flood, OOPSLA 2014).
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        Dice(seed.wrapping_mul(0x2545_f491_4f6c_dd1d) ^ 0x5851_f42d_4c95_7f2d)
    }

    fn number(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number from 0 to below `count`.
    pub(crate) fn below(&mut self, count: usize) -> usize {
        (self.number() % count as u64) as usize
    }

    /// True with a chance in hundredths.
    pub(crate) fn odds(&mut self, hundredths: usize) -> bool {
        self.below(100) < hundredths
    }

    pub(crate) fn pick<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        &list[self.below(list.len())]
    }

    fn chance(&mut self, list: &[f64]) -> f64 {
        *self.pick(list)
    }
}

/// Which features a board may have, and how large it is.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Size {
    pub(crate) parts: usize,
    /// One chip mode each, no place modes, little noise.
    pub(crate) plain: bool,
    pub(crate) functions: usize,
    pub(crate) machines: usize,
    pub(crate) epochs: usize,
    pub(crate) findings: usize,
}

impl Size {
    /// A small one, different from seed to seed.
    pub(crate) fn small(dice: &mut Dice) -> Self {
        let machines = 1 + usize::from(dice.odds(35));
        Size {
            parts: if machines == 2 { 2 } else { 2 + dice.below(3) },
            plain: false,
            functions: 1 + dice.below(3),
            machines,
            epochs: 1 + dice.below(4),
            findings: 2 + dice.below(4),
        }
    }

    /// Many parts with one mode each.
    pub(crate) fn wide(parts: usize) -> Self {
        Size {
            parts,
            plain: true,
            functions: 4,
            machines: 1,
            epochs: 2,
            findings: 3,
        }
    }
}

/// A board as a person would write it.
pub(crate) fn board(dice: &mut Dice, size: Size) -> String {
    let mut draft = Draft::new(dice, size);
    let mut text = String::new();
    let unmodelled = dice.chance(&[0.0, 0.05, 0.2]);
    let _ = write!(
        text,
        "[board]\nid = \"b\"\nunmodelled = {unmodelled}\n\n[[block]]\nid = \"one\"\n\n[[block]]\nid = \"two\"\n"
    );
    if draft.rail {
        let leak = dice.chance(&[0.0, 0.0, 0.05]);
        let fed = if dice.odds(20) && draft.parts.len() > 2 {
            "\"U1\", \"U2\""
        } else {
            "\"U1\""
        };
        let _ = write!(
            text,
            "\n[[rail]]\nname = \"+5V\"\nvolts = 5.0\ntolerance = 0.05\nfed_by = [{fed}]\nleak = {leak}\n"
        );
    }
    if draft.second {
        let _ = write!(
            text,
            "\n[[rail]]\nname = \"-5V\"\nvolts = -5.0\ntolerance = 0.05\nfed_by = [\"U2\"]\n"
        );
    }
    draft.outside(dice, &mut text);
    for index in 0..draft.parts.len() {
        draft.part(dice, index, &mut text);
    }
    draft.event(dice, &mut text);
    for index in 0..size.functions {
        draft.function(dice, index, &mut text);
    }
    for index in 0..1 + dice.below(3) {
        draft.check(dice, index, &mut text);
    }
    text
}

/// A board in the making.
struct Draft {
    size: Size,
    rail: bool,
    /// A second rail.
    second: bool,
    /// The first two positions hold the same chip.
    twins: bool,
    /// The chip modes of the first position.
    first_chip: String,
    /// Chip modes and place modes of each part.
    parts: Vec<(Vec<String>, Vec<String>)>,
}

const CHANCES: [f64; 5] = [0.02, 0.05, 0.1, 0.2, 0.3];

impl Draft {
    fn new(dice: &mut Dice, size: Size) -> Self {
        let rail = dice.odds(55);
        let parts = (0..size.parts)
            .map(|_| {
                let chip = if size.plain { 1 } else { dice.below(3) };
                let place = if size.plain {
                    0
                } else {
                    usize::from(dice.odds(35))
                };
                let place = if place == 1 && dice.odds(20) {
                    2
                } else {
                    place
                };
                let names = |from: &[&str], count: usize| -> Vec<String> {
                    from[..count].iter().map(|&name| name.to_owned()).collect()
                };
                (
                    names(&["dead", "weak"], chip),
                    names(&["oxide", "crack"], place),
                )
            })
            .collect();
        let second = rail && !size.plain && dice.odds(15);
        let mut draft = Draft {
            size,
            rail,
            second,
            parts,
            twins: false,
            first_chip: String::new(),
        };
        draft.twins = !size.plain && dice.odds(25);
        if draft.twins {
            draft.parts[1].0 = draft.parts[0].0.clone();
        }
        draft
    }

    fn functions(&self) -> Vec<String> {
        (0..self.size.functions).map(|i| format!("f{i}")).collect()
    }

    /// A function or a rail, anyhow named.
    fn target(&self, dice: &mut Dice) -> String {
        if self.second && dice.odds(15) {
            (*dice.pick(&["-5V", "-5V.present", "-5V.high"])).to_owned()
        } else if self.rail && dice.odds(35) {
            (*dice.pick(&["+5V", "+5V.present", "+5V.high"])).to_owned()
        } else {
            dice.pick(&self.functions()).clone()
        }
    }

    fn outside(&self, dice: &mut Dice, text: &mut String) {
        if !dice.odds(if self.size.plain { 10 } else { 25 }) {
            return;
        }
        let mut serves = vec![dice.pick(&self.functions()).clone()];
        if self.rail && dice.odds(60) {
            serves = if dice.odds(50) {
                vec!["+5V".to_owned()]
            } else {
                vec!["+5V".to_owned(), serves[0].clone()]
            };
        }
        let _ = write!(
            text,
            "\n[[outside]]\nid = \"brick\"\nserves = {serves:?}\nchance = {}\n",
            dice.chance(&CHANCES)
        );
    }

    fn part(&mut self, dice: &mut Dice, index: usize, text: &mut String) {
        let mount = dice.pick(&["socket", "soldered", "plug"]);
        let _ = write!(
            text,
            "\n[[part]]\nref = \"U{}\"\nblock = \"{}\"\nmount = \"{mount}\"\noptional = {}\n",
            index + 1,
            dice.pick(&["one", "two"]),
            dice.odds(20)
        );
        let (chip, place) = self.parts[index].clone();
        let start = text.len();
        for id in &chip {
            self.mode(dice, index, id, false, text);
        }
        if index == 0 {
            self.first_chip = text[start..].to_owned();
        } else if index == 1 && self.twins {
            // the same chip as in the first position
            text.truncate(start);
            text.push_str(&self.first_chip);
        }
        for id in &place {
            self.mode(dice, index, id, true, text);
        }
    }

    fn mode(&self, dice: &mut Dice, part: usize, id: &str, place: bool, text: &mut String) {
        let chance = if dice.odds(8) {
            0.0
        } else {
            dice.chance(&CHANCES)
        };
        let _ = write!(text, "[[part.mode]]\nid = \"{id}\"\nchance = {chance}\n");
        if place {
            text.push_str("where = \"place\"\n");
            if dice.odds(70) {
                let more = dice.pick(&["", ", resolder = 0.9", ", clean = 0.4"]);
                let reseat = dice.chance(&[0.5, 0.7]);
                let _ = writeln!(text, "cured_by = {{ reseat = {reseat}{more} }}");
            }
        }
        if self.rail && part == 0 && dice.odds(30) {
            text.push_str("rail = \"high\"\n");
        }
        if self.size.plain {
            return;
        }
        if dice.odds(20) {
            let target = if self.rail && dice.odds(40) {
                "rail = \"+5V\"".to_owned()
            } else {
                format!("function = \"{}\"", dice.pick(&self.functions()))
            };
            let _ = writeln!(
                text,
                "spoils = [{{ {target}, chance = {} }}]",
                dice.chance(&[0.3, 0.5, 1.0])
            );
        }
        if dice.odds(15) {
            let _ = writeln!(text, "spares = [\"{}\"]", dice.pick(&self.functions()));
        }
        if dice.odds(12) {
            let _ = writeln!(text, "shows = {}", dice.chance(&[0.3, 0.6]));
        }
        if dice.odds(12) {
            let _ = writeln!(text, "after = \"{} min\"", dice.pick(&[5, 10]));
        }
    }

    /// Some mode of some part, `U1.dead`.
    fn some_mode(&self, dice: &mut Dice, chip_only: bool) -> Option<String> {
        let modes: Vec<String> = self
            .parts
            .iter()
            .enumerate()
            .flat_map(|(index, (chip, place))| {
                let places = place.iter().filter(move |_| !chip_only);
                chip.iter()
                    .chain(places)
                    .map(move |id| format!("U{}.{id}", index + 1))
            })
            .collect();
        (!modes.is_empty()).then(|| dice.pick(&modes).clone())
    }

    fn event(&self, dice: &mut Dice, text: &mut String) {
        for index in 0..usize::from(dice.odds(50)) + usize::from(dice.odds(15)) {
            let scope = dice.pick(&["machine", "lot"]);
            let mut causes = Vec::new();
            for _ in 0..1 + dice.below(3) {
                let Some(mode) = self.some_mode(dice, false) else {
                    return;
                };
                causes.push(format!(
                    "{{ mode = \"{mode}\", chance = {} }}",
                    dice.chance(&[0.2, 0.5, 0.8])
                ));
            }
            let _ = write!(
                text,
                "\n[[event]]\nid = \"e{index}\"\nchance = {}\nscope = \"{scope}\"\ncauses = [{}]\n",
                dice.chance(&[0.1, 0.3]),
                causes.join(", ")
            );
        }
    }

    fn function(&self, dice: &mut Dice, index: usize, text: &mut String) {
        let mut needs = Vec::new();
        let of = self.size.functions;
        for part in 0..self.parts.len() {
            // on a wide board each part serves one or two functions
            let named = if self.size.plain {
                part % of == index || dice.odds(10)
            } else {
                dice.odds(55)
            };
            if named {
                needs.push(format!("\"U{}\"", part + 1));
            }
        }
        if !self.size.plain
            && dice.odds(25)
            && let Some(mode) = self.some_mode(dice, false)
        {
            needs.push(format!(
                "{{ mode = \"{mode}\", chance = {} }}",
                dice.chance(&[0.4, 0.7])
            ));
        }
        if index > 0 && dice.odds(60) {
            let earlier = dice.below(index);
            needs.push(if dice.odds(if self.size.plain { 15 } else { 40 }) {
                format!(
                    "{{ function = \"f{earlier}\", chance = {} }}",
                    dice.chance(&[0.5, 0.9])
                )
            } else {
                format!("\"f{earlier}\"")
            });
        }
        if self.rail && dice.odds(50) {
            let rail = dice.pick(&["+5V", "+5V.present", "+5V.high"]);
            needs.push(if dice.odds(25) {
                format!("{{ rail = \"{rail}\", chance = 0.6 }}")
            } else {
                format!("\"{rail}\"")
            });
        }
        let leak = dice.chance(&[0.0, 0.0, 0.03]);
        let _ = write!(
            text,
            "\n[[function]]\nid = \"f{index}\"\nneeds = [{}]\nleak = {leak}\n",
            needs.join(", ")
        );
    }

    fn check(&self, dice: &mut Dice, index: usize, text: &mut String) {
        let powered = if dice.odds(80) {
            "\"powered\""
        } else {
            "\"lid-off\""
        };
        let _ = write!(
            text,
            "\n[[check]]\nid = \"c{index}\"\nminutes = {}\nset_up = [{powered}]\nblunder = {}\n",
            1 + dice.below(5),
            dice.chance(&[0.0, 0.0, 0.04])
        );
        if dice.odds(25) {
            let _ = writeln!(text, "requires = [\"{}\"]", self.target(dice));
        }
        if dice.odds(15) {
            text.push_str("repeats = \"same\"\n");
        }
        if dice.odds(20)
            && let Some(mode) = self.some_mode(dice, true)
        {
            let _ = writeln!(
                text,
                "harms = [{{ when = \"{}\", mode = \"{mode}\", chance = {} }}]",
                self.target(dice),
                dice.chance(&[0.2, 0.5])
            );
        }
        if dice.odds(35) {
            text.push_str("outcomes = { start = \"start\", black = \"black\", junk = \"junk\" }\n");
            let mut rows = Vec::new();
            for shows in ["{ black = 0.7, junk = 0.3 }", "{ junk = 0.9, start = 0.1 }"]
                .iter()
                .take(1 + dice.below(2))
            {
                let mut fails = vec![self.target(dice)];
                if dice.odds(40) {
                    fails.push(self.target(dice));
                }
                rows.push(format!("{{ fails = {fails:?}, shows = {shows} }}"));
            }
            let _ = writeln!(
                text,
                "tells = [{}, {{ otherwise = true, shows = {{ start = 0.9, junk = 0.1 }} }}]",
                rows.join(", ")
            );
            return;
        }
        let _ = write!(
            text,
            "tells = \"{}\"\nfalse_pass = {}\nfalse_fail = {}\n",
            self.target(dice),
            dice.chance(&[0.0, 0.01, 0.1]),
            dice.chance(&[0.0, 0.02, 0.1])
        );
        if dice.odds(30) {
            text.push_str(
                "limits = { quantity = \"voltage\", low = \"4.75 V\", high = \"5.25 V\" }\n",
            );
        }
    }
}

/// A story on a board: machines and what was done and seen.
pub(crate) fn story(dice: &mut Dice, profile: Profile, size: Size) -> Situation {
    let mut writer = Writer::new(dice, &profile, size);
    for epoch in 0..size.epochs {
        if epoch > 0 {
            writer.act(dice);
        }
        let share = size.findings.div_ceil(size.epochs);
        for _ in 0..share {
            writer.look(dice);
        }
    }
    if dice.odds(30) && size.epochs < 4 {
        writer.act(dice);
    }
    if dice.odds(8) {
        writer.settle(dice);
    }
    let (machines, steps) = (writer.machines, writer.steps);
    let mut lots = BTreeMap::new();
    if dice.odds(20)
        && profile
            .events
            .iter()
            .any(|event| event.scope == catalogue::Scope::Lot)
    {
        let event = profile
            .events
            .iter()
            .find(|event| event.scope == catalogue::Scope::Lot)
            .expect("one");
        if machines.iter().any(|machine| machine.lot.is_some()) {
            lots.insert(
                "lot-1".to_owned(),
                BTreeMap::from([(event.id.clone(), dice.odds(60))]),
            );
        }
    }
    Situation {
        profiles: BTreeMap::from([(profile.id.clone(), Arc::new(profile))]),
        machines,
        lots,
        steps,
    }
}

/// A story in the making.
struct Writer<'a> {
    profile: &'a Profile,
    machines: Vec<Machine>,
    steps: Vec<BenchStep>,
    /// Minutes, if this story has times.
    time: Option<f64>,
    persons: bool,
    /// By machine and part: whether a chip sits there.
    sits: Vec<Vec<bool>>,
    /// Marks of loose chips and the part they came from.
    loose: Vec<(String, usize)>,
    marks: usize,
}

impl<'a> Writer<'a> {
    fn new(dice: &mut Dice, profile: &'a Profile, size: Size) -> Self {
        let mut machines = Vec::new();
        for index in 0..size.machines {
            let mule = index == 1 && dice.odds(25);
            let mut machine = Machine {
                tag: format!("T-{}", index + 1),
                profile: profile.id.clone(),
                mule,
                lot: (!mule && dice.odds(60)).then(|| "lot-1".to_owned()),
                ..Machine::default()
            };
            for event in profile.events.iter().filter(|_| !mule) {
                if event.scope == catalogue::Scope::Machine && dice.odds(25) {
                    machine.known.insert(event.id.clone(), dice.odds(60));
                }
            }
            for part in &profile.parts {
                if !mule && dice.odds(6) {
                    machine.empty.push(part.reference.clone());
                }
            }
            if dice.odds(20) {
                machine.outside = Some(
                    profile
                        .outside
                        .iter()
                        .filter(|_| dice.odds(50))
                        .map(|outside| outside.id.clone())
                        .collect(),
                );
            }
            machines.push(machine);
        }
        let sits = machines
            .iter()
            .map(|machine| {
                let parts = profile.parts.iter();
                parts
                    .map(|part| !machine.empty.contains(&part.reference))
                    .collect()
            })
            .collect();
        Writer {
            profile,
            machines,
            steps: Vec::new(),
            time: dice.odds(30).then_some(100.0),
            persons: dice.odds(25),
            sits,
            loose: Vec::new(),
            marks: 0,
        }
    }

    fn push(&mut self, dice: &mut Dice, action: Action) {
        if let Some(time) = &mut self.time {
            *time += dice.chance(&[0.0, 1.0, 5.0, 20.0, 31.0]);
        }
        // now and then a step without its time
        let untold = dice.odds(12);
        self.steps.push(BenchStep {
            time: self.time.filter(|_| !untold),
            action,
        });
    }

    fn tag(&self, dice: &mut Dice) -> (usize, String) {
        let index = dice.below(self.machines.len());
        (index, self.machines[index].tag.clone())
    }

    fn look(&mut self, dice: &mut Dice) {
        let (_, machine) = self.tag(dice);
        if dice.odds(6) {
            let supply = self.supply(dice, true);
            self.push(
                dice,
                Action::Power {
                    machine: machine.clone(),
                    supply,
                },
            );
        }
        if dice.odds(6) {
            self.push(
                dice,
                Action::SetUp {
                    machine: machine.clone(),
                },
            );
        }
        let check = dice.pick(&self.profile.checks);
        let powered = check.set_up.iter().any(|set_up| set_up == "powered");
        let shown = match () {
            () if dice.odds(4) => Shown::Skipped,
            () if !check.requires.is_empty() && dice.odds(20) => Shown::Cannot,
            () if check.limits.is_some() && dice.odds(70) => Shown::Reading {
                value: dice.chance(&[5.0, 4.8, 4.74, 4.5, 5.24, 5.6]),
                components: (0..1 + usize::from(dice.odds(20)))
                    .map(|_| Component {
                        percent: dice.chance(&[0.5, 2.0]),
                        counts: 2.0,
                        digit: 0.01,
                    })
                    .collect(),
            },
            () => Shown::Outcome(dice.pick(&check.outcomes).id.clone()),
        };
        let repeats = 1 + usize::from(dice.odds(25));
        let supply = self.supply(dice, powered);
        let minutes_on = (powered && dice.odds(25)).then(|| dice.chance(&[2.0, 5.0, 7.0, 12.0]));
        let names = [None, Some("ann"), Some("bert")];
        let person = (*dice.pick(&names)).filter(|_| self.persons);
        for _ in 0..repeats {
            let measure = Measure {
                machine: machine.clone(),
                check: check.id.clone(),
                shown: shown.clone(),
                person: person.map(str::to_owned),
                minutes_on,
                supply,
            };
            self.push(dice, Action::Measure(measure));
        }
    }

    fn supply(&self, dice: &mut Dice, powered: bool) -> Supply {
        let may = powered && !self.profile.rails.is_empty();
        if may && dice.odds(15) {
            Supply::Bench
        } else {
            Supply::Usual
        }
    }

    fn new_mark(&mut self) -> String {
        self.marks += 1;
        format!("dot-{}", self.marks)
    }

    /// Marks a chip that comes out, or not.
    fn out(&mut self, dice: &mut Dice, part: usize) -> Option<String> {
        let mark = dice.odds(70).then(|| self.new_mark())?;
        self.loose.push((mark.clone(), part));
        Some(mark)
    }

    fn act(&mut self, dice: &mut Dice) {
        let (index, machine) = self.tag(dice);
        let part = dice.below(self.profile.parts.len());
        let reference = self.profile.parts[part].reference.clone();
        match dice.below(7) {
            0 if self.sits[index][part] => {
                let mark = self.out(dice, part);
                self.sits[index][part] = false;
                self.push(
                    dice,
                    Action::Pull {
                        machine,
                        part: reference,
                        mark,
                    },
                );
            }
            1 | 2 => self.fit(dice, index, part),
            3 if self.twins(index) => {
                let [a, b] =
                    [0, 1].map(|p| (machine.clone(), self.profile.parts[p].reference.clone()));
                self.push(dice, Action::Swap { a, b });
            }
            3 | 4 if self.machines.len() == 2 && self.sits[0][part] && self.sits[1][part] => {
                let a = (self.machines[0].tag.clone(), reference.clone());
                let b = (self.machines[1].tag.clone(), reference);
                self.push(dice, Action::Swap { a, b });
            }
            5 if dice.odds(50) => self.push(dice, Action::Mend { machine }),
            _ => {
                let treatment =
                    *dice.pick(&[Treatment::Reseat, Treatment::Resolder, Treatment::Clean]);
                let places = if dice.odds(30) {
                    Places::Block("one".to_owned())
                } else {
                    Places::Parts(vec![reference])
                };
                self.push(
                    dice,
                    Action::Treat {
                        machine,
                        treatment,
                        places,
                    },
                );
            }
        }
    }

    /// Whether the chips of the first two positions are of one kind and both there.
    fn twins(&self, index: usize) -> bool {
        self.alike(0, 1) && self.sits[index][0] && self.sits[index][1]
    }

    /// Whether two positions hold chips of one kind.
    fn alike(&self, a: usize, b: usize) -> bool {
        let chips = |part: usize| {
            let modes = self.profile.parts[part].modes.iter();
            modes.filter(|mode| mode.site == Site::Chip)
        };
        chips(a).eq(chips(b))
    }

    fn fit(&mut self, dice: &mut Dice, index: usize, part: usize) {
        let machine = self.machines[index].tag.clone();
        let stranger = dice.odds(20);
        let kept = self
            .loose
            .iter()
            .position(|&(_, from)| from == part || stranger && self.alike(from, part));
        let chip = match kept {
            Some(kept) if dice.odds(70) => Chip::Marked(self.loose.remove(kept).0),
            _ => Chip::New {
                works: dice.chance(&[1.0, 0.9, 0.8]),
            },
        };
        let old_mark = if self.sits[index][part] {
            self.out(dice, part)
        } else {
            None
        };
        self.sits[index][part] = true;
        let part = self.profile.parts[part].reference.clone();
        self.push(
            dice,
            Action::Fit {
                machine,
                part,
                chip,
                old_mark,
            },
        );
    }

    fn may_be_unmodelled(&self, index: usize) -> bool {
        let tag = &self.machines[index].tag;
        let mended =
            |step: &BenchStep| matches!(&step.action, Action::Mend { machine } if machine == tag);
        self.profile.unmodelled > 0.0
            && !self.machines[index].mule
            && !self.steps.iter().any(mended)
    }

    fn settle(&mut self, dice: &mut Dice) {
        let (index, machine) = self.tag(dice);
        let part = &self.profile.parts[dice.below(self.profile.parts.len())];
        let position = self
            .profile
            .parts
            .iter()
            .position(|other| other.reference == part.reference)
            .expect("a part");
        let truth = match dice.below(3) {
            0 if self.may_be_unmodelled(index) => Truth::Unmodelled,
            1 => {
                let mode = dice.pick(&part.modes);
                if mode.site == Site::Chip && !self.sits[index][position] {
                    Truth::Works
                } else {
                    Truth::Mode {
                        part: part.reference.clone(),
                        mode: mode.id.clone(),
                    }
                }
            }
            _ => Truth::Works,
        };
        self.push(
            dice,
            Action::Settle {
                machine: Some(machine),
                truth,
            },
        );
    }
}
