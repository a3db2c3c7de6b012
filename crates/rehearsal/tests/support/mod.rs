//! Small boards with their costs.

use catalogue::{Library, Mount, Profile, Site};
use diagnosis::{Economy, RemedyCost, Treatment};
use rehearsal::{How, Terms};

/// Reads a board of `tests/data`.
pub(crate) fn board(name: &str) -> Profile {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data")
        .join(format!("{name}.toml"));
    let text = std::fs::read_to_string(path).expect("a board");
    catalogue::parse_profile(&text, name, &Library::default())
        .unwrap_or_else(|problems| panic!("{problems:?}"))
}

/// Minutes at 0.20, a machine worth 100 or 10; each chip 8 to 14, socketed ones quickly changed; sockets reseated.
pub(crate) fn terms(profile: &Profile) -> Terms {
    let mut remedies = Vec::new();
    let mut how = Vec::new();
    for (index, part) in profile.parts.iter().enumerate() {
        let has = |site| {
            part.modes
                .iter()
                .any(|mode| mode.site == site && mode.chance > 0.0)
        };
        if has(Site::Chip) {
            remedies.push(RemedyCost {
                part: part.reference.clone(),
                site: Site::Chip,
                minutes: if part.mount == Mount::Soldered {
                    20.0
                } else {
                    4.0
                },
                money: 8.0 + 2.0 * index as f64,
                works: 1.0,
                title: "replaced".to_owned(),
            });
            how.push(How::Fit);
        }
        if has(Site::Place) {
            remedies.push(RemedyCost {
                part: part.reference.clone(),
                site: Site::Place,
                minutes: 1.0,
                money: 0.0,
                works: 0.95,
                title: "reseated".to_owned(),
            });
            how.push(How::Treat(Treatment::Reseat));
        }
    }
    let set_ups = [
        ("powered", 1.0),
        ("lid-off", 3.0),
        ("oscilloscope", 4.0),
        ("dummy-load", 3.0),
        ("chip-tester", 2.0),
    ];
    let economy = Economy {
        rate_per_minute: 0.2,
        worth: 100.0,
        hold: 10.0,
        retest_minutes: 3.0,
        remedies,
        set_up_minutes: set_ups
            .map(|(name, minutes)| (name.to_owned(), minutes))
            .into(),
        harm_cost: 24.0,
        ..Economy::default()
    };
    Terms::new(profile, economy, how).expect("terms")
}
