//! Taking a part out of a board to use it again: minutes, and whether it survives, by the rules of the trade.

use catalogue::{Library, Mount, Part};

/// Minutes to mark a part that came out and put it away. Common practice, no source.
const MARK_MINUTES: f64 = 1.0;
/// Legs of the part that the rules' minutes are for.
const LEGS: f64 = 16.0;

/// What taking a part out comes to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct TakingOut {
    pub(crate) minutes: f64,
    /// Chance that a good part comes out good.
    pub(crate) whole: f64,
}

/// What taking this part out comes to; one that is soldered in takes longer the more legs it has.
pub(crate) fn taking_out(library: &Library, part: &Part) -> TakingOut {
    let Some(rule) = library.handling(part.mount) else {
        return TakingOut {
            minutes: MARK_MINUTES,
            whole: 1.0,
        };
    };
    let device = part.device.as_deref().and_then(|id| library.device(id));
    let legs = device.map_or(0, |device| device.pins.len());
    let by_legs = match (part.mount, u32::try_from(legs)) {
        (Mount::Soldered, Ok(legs)) if legs > 0 => f64::from(legs) / LEGS,
        _ => 1.0,
    };
    TakingOut {
        minutes: rule.minutes * by_legs + MARK_MINUTES,
        whole: rule.survives,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The figures are those of `catalogue/rules/handling.toml`: 1 and 12 minutes, 0.995 and 0.93.
    #[test]
    fn by_the_way_it_sits_and_its_legs() {
        let text = "[board]\nid = 'b'\n\
                    [[part]]\nref = 'U1'\ndevice = 'z80a'\nmount = 'socket'\n\
                    [[part]]\nref = 'U2'\ndevice = 'z80a'\nmount = 'soldered'\n\
                    [[part]]\nref = 'U3'\ndevice = '4164'\nmount = 'soldered'\n";
        let library = Library::built_in();
        let board = catalogue::parse_profile_bytes(text.as_bytes(), "b.toml", library).unwrap();
        let check = |part: &str, minutes: f64, whole: f64| {
            let out = taking_out(library, board.part(part).unwrap());
            assert!((out.minutes - minutes).abs() < 1e-9, "{part}: {out:?}");
            assert!((out.whole - whole).abs() < 1e-9, "{part}: {out:?}");
        };
        check("U1", 2.0, 0.995);
        check("U2", 31.0, 0.93);
        check("U3", 13.0, 0.93);
    }
}
