//! Units, their symbols and the names of what they measure.

use std::fmt;

/// A unit in which values are kept. There are no prefixed units: 3.49 MHz is kept as 3 490 000 Hz.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Unit {
    /// V, voltage.
    Volt,
    /// A, current.
    Ampere,
    /// Hz, frequency.
    Hertz,
    /// s, time.
    Second,
    /// Ω, resistance.
    Ohm,
    /// W, power.
    Watt,
    /// F, capacitance.
    Farad,
    /// H, inductance.
    Henry,
    /// %, a share in hundredths; the value stays in per cent.
    Percent,
    /// °C, temperature.
    Celsius,
    /// K, absolute temperature.
    Kelvin,
    /// m, length.
    Metre,
    /// dB, level.
    Decibel,
    /// A plain number without a unit.
    One,
}

struct Row {
    unit: Unit,
    symbol: &'static str,
    quantity: &'static str,
    prefixes: bool,
    spellings: &'static [&'static str],
    other_names: &'static [&'static str],
}

/// One row per unit: symbol, quantity, whether SI prefixes go with it, other spellings of both.
#[rustfmt::skip]
const TABLE: [Row; 14] = [
    Row { unit: Unit::Volt, symbol: "V", quantity: "voltage", prefixes: true, spellings: &["v", "volt", "volts"], other_names: &[] },
    Row { unit: Unit::Ampere, symbol: "A", quantity: "current", prefixes: true, spellings: &["a", "amp", "amps", "ampere"], other_names: &[] },
    Row { unit: Unit::Hertz, symbol: "Hz", quantity: "frequency", prefixes: true, spellings: &["hz", "HZ", "hertz"], other_names: &[] },
    Row { unit: Unit::Second, symbol: "s", quantity: "time", prefixes: true, spellings: &["sec", "second", "seconds"], other_names: &["period", "duration"] },
    Row { unit: Unit::Ohm, symbol: "Ω", quantity: "resistance", prefixes: true, spellings: &["\u{2126}", "ohm", "ohms", "Ohm", "Ohms", "OHM", "R"], other_names: &[] },
    Row { unit: Unit::Watt, symbol: "W", quantity: "power", prefixes: true, spellings: &["w", "watt", "watts"], other_names: &[] },
    Row { unit: Unit::Farad, symbol: "F", quantity: "capacitance", prefixes: true, spellings: &["f", "farad"], other_names: &[] },
    Row { unit: Unit::Henry, symbol: "H", quantity: "inductance", prefixes: true, spellings: &["henry"], other_names: &[] },
    Row { unit: Unit::Percent, symbol: "%", quantity: "share", prefixes: false, spellings: &["percent"], other_names: &["percentage", "duty"] },
    Row { unit: Unit::Celsius, symbol: "°C", quantity: "temperature", prefixes: false, spellings: &["C", "c", "degC", "°c"], other_names: &[] },
    Row { unit: Unit::Kelvin, symbol: "K", quantity: "absolute temperature", prefixes: false, spellings: &["kelvin"], other_names: &[] },
    Row { unit: Unit::Metre, symbol: "m", quantity: "length", prefixes: true, spellings: &["metre", "metres"], other_names: &[] },
    Row { unit: Unit::Decibel, symbol: "dB", quantity: "level", prefixes: false, spellings: &["db", "DB"], other_names: &[] },
    Row { unit: Unit::One, symbol: "", quantity: "number", prefixes: true, spellings: &[], other_names: &["count"] },
];

impl Unit {
    /// Every unit, in order.
    pub const ALL: [Unit; 14] = {
        let mut all = [Unit::One; 14];
        let mut i = 0;
        while i < all.len() {
            all[i] = TABLE[i].unit;
            i += 1;
        }
        all
    };

    /// The symbol as printed: `V`, `Hz`, `Ω`; empty for [`Unit::One`].
    pub fn symbol(self) -> &'static str {
        self.row().symbol
    }

    /// What is measured in this unit: `voltage`, `frequency`, `time` ...
    pub fn quantity_name(self) -> &'static str {
        self.row().quantity
    }

    /// The unit with this symbol or usual spelling (`Ω`, `ohm`, `R`), without a prefix.
    pub fn from_symbol(text: &str) -> Option<Unit> {
        let text = text.trim();
        TABLE
            .iter()
            .find(|row| row.symbol == text || row.spellings.contains(&text))
            .map(|row| row.unit)
    }

    /// The unit in which a quantity of this name is kept: `voltage` is in volts.
    pub fn from_quantity_name(name: &str) -> Option<Unit> {
        let name = name.trim().to_lowercase();
        TABLE
            .iter()
            .find(|row| row.quantity == name || row.other_names.contains(&name.as_str()))
            .map(|row| row.unit)
    }

    /// Whether SI prefixes go with it (`mV`, but not `m%`).
    pub fn takes_prefix(self) -> bool {
        self.row().prefixes
    }

    /// `a voltage in V`, for messages.
    pub(crate) fn described(self) -> String {
        let name = self.quantity_name();
        let article = if name.starts_with(['a', 'e', 'i', 'o', 'u']) {
            "an"
        } else {
            "a"
        };
        match self.symbol() {
            "" => format!("{article} {name}"),
            symbol => format!("{article} {name} in {symbol}"),
        }
    }

    fn row(self) -> &'static Row {
        &TABLE[self as usize]
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.symbol())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_in_the_order_of_the_units() {
        for unit in Unit::ALL {
            assert_eq!(unit.row().unit, unit);
        }
    }

    #[test]
    fn names_and_symbols_lead_back() {
        for unit in Unit::ALL {
            assert_eq!(Unit::from_symbol(unit.symbol()), Some(unit));
            assert_eq!(Unit::from_quantity_name(unit.quantity_name()), Some(unit));
        }
        assert_eq!(Unit::from_symbol("ohm"), Some(Unit::Ohm));
        assert_eq!(Unit::from_symbol("furlong"), None);
        assert_eq!(Unit::from_quantity_name("colour"), None);
    }
}
