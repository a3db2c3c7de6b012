//! Piles of any size drawn from a seed: the same pile on every machine, of the kind that the files of the plan format hold.
//!
//! Everything in them is invented: three board series share some devices, each device has its ways to be put right, a few
//! vendors sell what is needed, some devices can be built at home.

use std::collections::BTreeMap;

use planning::{
    Break, Build, Count, Fault, Instance, Limits, Machine, Offer, Remedy, Scenario, Step, Vendor,
};

use crate::dice::Dice;

/// What to draw.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Draw {
    /// Machines in the pile.
    pub machines: usize,
    /// Where the coins come from.
    pub seed: u64,
    /// At most so many faults in one state of a machine.
    pub faults: usize,
    /// Every second machine has two or three possible states; otherwise every fault is known.
    pub mixed: bool,
}

/// Devices by kind: name, how many of them there are, on how many positions of a board, in sockets or not.
const KINDS: [(&str, usize, u32, bool); 11] = [
    ("video", 2, 1, true),
    ("sound", 2, 1, true),
    ("cpu", 2, 1, true),
    ("pla", 3, 1, true),
    ("ram", 3, 8, false),
    ("rom", 4, 2, true),
    ("io", 3, 2, true),
    ("logic", 10, 2, false),
    ("analog", 5, 2, false),
    ("mech", 3, 1, false),
    ("clock", 2, 1, false),
];

/// Kinds that can be built at home.
const BUILT: [&str; 3] = ["video", "sound", "pla"];

/// Draws a pile.
pub fn made_pile(draw: Draw) -> Instance {
    let mut maker = Maker {
        dice: Dice::new(draw.seed),
        instance: Instance {
            rate_per_minute: 12.0,
            ..Instance::default()
        },
        devices: Vec::new(),
    };
    maker.vendors();
    maker.devices();
    maker.parts_of_boards();
    let series: Vec<Vec<Position>> = (0..3).map(|_| maker.series()).collect();
    for number in 0..draw.machines {
        let machine = maker.machine(number, &series, draw);
        maker.instance.machines.push(machine);
    }
    let count = i64::try_from(draw.machines).unwrap_or(i64::MAX / 10_000);
    // money binds in piles of an odd seed
    let each = if draw.seed % 2 == 1 { 500 } else { 1_200 };
    maker.instance.limits = Limits {
        money: Some(each * count),
        minutes: Some(f64::from(
            u32::try_from(64 * draw.machines).unwrap_or(u32::MAX),
        )),
        least_working: None,
    };
    maker.instance
}

struct Device {
    name: String,
    kind: &'static str,
    positions: u32,
    socketed: bool,
}

/// A position of a board.
struct Position {
    part: String,
    device: usize,
}

struct Maker {
    dice: Dice,
    instance: Instance,
    devices: Vec<Device>,
}

impl Maker {
    fn vendors(&mut self) {
        for number in 1..=5 {
            let fee = i64::from(self.dice.pick(&[350_u32, 650, 790, 990, 1450]));
            let mut shipping = vec![Step { from: 0, fee }];
            if !self.dice.one_in(3) {
                let from = i64::from(self.dice.pick(&[3_000_u32, 5_000, 7_500, 10_000]));
                let fee = i64::from(self.dice.pick(&[0_u32, 195]));
                shipping.push(Step { from, fee });
            }
            self.instance.vendors.push(Vendor {
                id: format!("vendor-{number}"),
                hassle: 0,
                shipping,
            });
        }
    }

    fn devices(&mut self) {
        for (kind, how_many, positions, socketed) in KINDS {
            for number in 1..=how_many {
                self.devices.push(Device {
                    name: format!("{kind}-{number}"),
                    kind,
                    positions,
                    socketed: socketed && !self.dice.one_in(4),
                });
            }
        }
        for at in 0..self.devices.len() {
            self.remedies(at);
        }
    }

    fn remedies(&mut self, at: usize) {
        let Device {
            name,
            kind,
            socketed,
            ..
        } = &self.devices[at];
        let (name, kind, socketed) = (name.clone(), *kind, *socketed);
        let out = if socketed {
            6
        } else {
            self.dice.pick(&[20_u32, 35])
        };
        let gentle = if socketed {
            ("reseat", 4)
        } else {
            ("resolder", 12)
        };
        let chance = self.dice.pick(&[0.9, 0.95, 0.97]);
        self.remedy(&name, gentle.0, None, gentle.1, chance, &["contact"]);
        let simple = matches!(kind, "logic" | "analog" | "mech" | "clock");
        if simple {
            self.sold(&name, "new", (25, 400), 0.99, out, true);
        }
        if matches!(kind, "analog" | "mech" | "clock") {
            return;
        }
        for (health, chance) in [("a", 0.97), ("b", 0.82)] {
            let item = format!("{name}@{health}");
            let kind = format!("salvage@{health}");
            self.remedy(
                &name,
                &kind,
                Some(item),
                out + out / 2 + 2,
                chance,
                &["dead", "contact"],
            );
        }
        if simple {
            return;
        }
        self.sold(&name, "used", (700, 4_800), 0.85, out, false);
        if self.dice.one_in(2) {
            self.sold(&name, "nos", (1_200, 9_000), 0.97, out, false);
        }
        if self.dice.one_in(3) {
            self.sold(&name, "eq", (500, 2_500), 0.93, out, false);
        }
    }

    fn remedy(
        &mut self,
        device: &str,
        kind: &str,
        item: Option<String>,
        minutes: u32,
        works: f64,
        modes: &[&str],
    ) {
        self.instance.remedies.push(Remedy {
            id: format!("{device}.{kind}"),
            device: device.to_owned(),
            item,
            minutes,
            works,
            later: 0.0,
            modes: modes.iter().map(|&mode| mode.to_owned()).collect(),
        });
    }

    /// A remedy with something that is sold, and who sells it.
    fn sold(
        &mut self,
        device: &str,
        kind: &str,
        (low, high): (u32, u32),
        works: f64,
        minutes: u32,
        many: bool,
    ) {
        let item = format!("{device}:{kind}");
        let price = self.dice.between(low, high);
        self.remedy(
            device,
            kind,
            Some(item.clone()),
            minutes,
            works,
            &["dead", "contact"],
        );
        let sellers = if many {
            self.dice.between(2, 5)
        } else {
            self.dice.between(1, 4)
        };
        let first = self.dice.roll(5);
        for seller in 0..sellers {
            let each = price * self.dice.between(80, 125) / 100 + 1;
            let pack = if many {
                self.dice.pick(&[1, 1, 1, 5, 10])
            } else {
                1
            };
            let stock = if many { 99 } else { self.dice.between(1, 6) };
            self.offer((first + seller) % 5 + 1, &item, pack, stock, each);
        }
    }

    fn offer(&mut self, vendor: u32, item: &str, pack: u32, stock: u32, each: u32) {
        let mut breaks = vec![(pack, each)];
        if stock > 4 * pack {
            breaks.push((4 * pack, each * 9 / 10));
        }
        if stock > 10 * pack {
            breaks.push((10 * pack, each * 7 / 10));
        }
        self.instance.offers.push(Offer {
            vendor: format!("vendor-{vendor}"),
            item: item.to_owned(),
            pack,
            stock: Some(stock),
            breaks: breaks
                .into_iter()
                .map(|(from, each)| Break {
                    from,
                    each: each.into(),
                })
                .collect(),
        });
    }

    /// Boards that can be built at home, with their blank boards.
    fn parts_of_boards(&mut self) {
        let vendor = self.dice.between(1, 5);
        let each = self.dice.between(150, 400);
        self.offer(vendor, "pld-blank", 1, 99, each);
        let names: Vec<String> = self
            .devices
            .iter()
            .filter(|device| BUILT.contains(&device.kind))
            .map(|device| device.name.clone())
            .collect();
        for name in names {
            if self.dice.one_in(3) {
                continue;
            }
            let (board, built) = (format!("{name}:board"), format!("{name}:built"));
            let (vendor, each) = (self.dice.between(1, 5), self.dice.between(200, 400));
            let pack = self.dice.pick(&[3, 5, 10]);
            self.offer(vendor, &board, pack, 99, each);
            let works = self.dice.pick(&[0.92, 0.95]);
            self.remedy(
                &name,
                "home-built",
                Some(built.clone()),
                6,
                works,
                &["dead", "contact"],
            );
            let logic = self.dice.between(1, 10);
            let count = |item: String, n| Count { item, n };
            let uses = vec![
                count(board, 1),
                count("pld-blank".to_owned(), self.dice.between(1, 2)),
                count(format!("logic-{logic}:new"), self.dice.between(1, 3)),
            ];
            self.instance.builds.push(Build {
                id: format!("build-{name}"),
                makes: built,
                setup_minutes: self.dice.pick(&[45, 60, 90]),
                unit_minutes: self.dice.pick(&[35, 50]),
                uses,
            });
        }
    }

    /// The positions of one board series: one device of each kind, several of the small ones.
    fn series(&mut self) -> Vec<Position> {
        let mut positions = Vec::new();
        for (kind, how_many, ..) in KINDS {
            let of_kind: Vec<usize> = (0..self.devices.len())
                .filter(|&at| self.devices[at].kind == kind)
                .collect();
            let wanted = if how_many > 4 {
                4
            } else {
                how_many.div_ceil(2)
            };
            let first = self.dice.roll(u32::try_from(how_many).unwrap_or(1)) as usize;
            for step in 0..wanted {
                let device = of_kind[(first + step) % how_many];
                for _ in 0..self.devices[device].positions {
                    let part = format!("U{}", positions.len() + 1);
                    positions.push(Position { part, device });
                }
            }
        }
        positions
    }

    fn machine(&mut self, number: usize, series: &[Vec<Position>], draw: Draw) -> Machine {
        let board = &series[self.dice.roll(3) as usize];
        let value = i64::from(self.dice.between(80, 170)) * 100;
        let hold = i64::from(self.dice.between(8, 16));
        let states = if draw.mixed && number % 2 == 1 {
            self.dice.between(2, 3)
        } else {
            1
        };
        let chances: Vec<u32> = (0..states).map(|_| self.dice.between(20, 60)).collect();
        let total: u32 = chances.iter().sum();
        let scenarios: Vec<Scenario> = chances
            .iter()
            .map(|&chance| Scenario {
                chance: f64::from(chance) / f64::from(total),
                faults: self.faults(board, draw.faults),
            })
            .collect();
        let bad: Vec<&str> = scenarios
            .iter()
            .flat_map(|scenario| &scenario.faults)
            .map(|fault| fault.part.as_str())
            .collect();
        let mut given: BTreeMap<String, u32> = BTreeMap::new();
        for position in board
            .iter()
            .filter(|position| !bad.contains(&&position.part[..]))
        {
            let device = &self.devices[position.device];
            if !matches!(device.kind, "analog" | "mech" | "clock") {
                let health = if states > 1 { "b" } else { "a" };
                *given
                    .entry(format!("{}@{health}", device.name))
                    .or_default() += 1;
            }
        }
        Machine {
            id: format!("P-{:03}", number + 1),
            value,
            hold_value: value * hold / 100,
            sell_value: None,
            base_minutes: self.dice.pick(&[20, 40]),
            scenarios,
            donor: given
                .into_iter()
                .map(|(item, n)| Count { item, n })
                .collect(),
        }
    }

    fn faults(&mut self, board: &[Position], most: usize) -> Vec<Fault> {
        let wanted = self.dice.pick(&[1, 1, 2, 2, 3, 4, 5]).min(most);
        let mut faults: Vec<Fault> = Vec::new();
        while faults.len() < wanted {
            let at = self.dice.roll(u32::try_from(board.len()).unwrap_or(1)) as usize;
            let part = board[at].part.clone();
            if faults.iter().any(|fault| fault.part == part) {
                continue;
            }
            let mode = if self.dice.one_in(4) {
                "contact"
            } else {
                "dead"
            };
            faults.push(Fault {
                part,
                device: self.devices[board[at].device].name.clone(),
                mode: mode.to_owned(),
            });
        }
        faults
    }
}
