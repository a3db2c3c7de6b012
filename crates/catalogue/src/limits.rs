//! Limits of a reading: `{ quantity = "frequency", low = "3.49 MHz", high = "3.51 MHz" }`.

use toml::de::DeValue;
use units::{Limits, Quantity, Unit};

use crate::fields::Item;
use crate::problem::{Problems, list, nearest, shown};

/// Reads limits; a bare number is in the base unit.
pub(crate) fn read_limits(item: Item<'_>, problems: &mut Problems<'_>) -> Option<Limits> {
    let mut fields = item.fields("limits", problems)?;
    let span = fields.span.clone();
    let unit = fields
        .need("quantity", problems)
        .and_then(|item| read_unit(item, problems));
    let low = fields
        .take("low")
        .map(|item| read_limit(item, unit, problems));
    let high = fields
        .take("high")
        .map(|item| read_limit(item, unit, problems));
    fields.finish(problems);
    if low.is_none() && high.is_none() {
        problems.add(&span, "`low`, `high` or both", "neither of them");
        return None;
    }
    let limits = Limits {
        unit: unit?,
        low: low.flatten(),
        high: high.flatten(),
    };
    if let (Some(low), Some(high)) = (limits.low, limits.high)
        && low > high
    {
        let show = |value| Quantity {
            value,
            unit: limits.unit,
        };
        let found = format!("low `{}` above high `{}`", show(low), show(high));
        problems.add_with(
            &span,
            "a lower limit below the upper one",
            found,
            Some("exchange them".to_owned()),
        );
    }
    Some(limits)
}

fn read_unit(item: Item<'_>, problems: &mut Problems<'_>) -> Option<Unit> {
    let name = item.text("the name of a quantity such as `voltage`", problems)?;
    let unit = Unit::from_quantity_name(&name.value);
    if unit.is_none() {
        let names: Vec<&str> = Unit::ALL.iter().map(|unit| unit.quantity_name()).collect();
        let hint = nearest(&name.value, names.iter().copied())
            .or_else(|| Some(format!("known are {}", list(names))));
        problems.add_with(&name.span, "a known quantity", shown(&name.value), hint);
    }
    unit
}

fn read_limit(item: Item<'_>, unit: Option<Unit>, problems: &mut Problems<'_>) -> Option<f64> {
    let DeValue::String(_) = item.value else {
        return item.number("a limit such as `\"4.75 V\"`", |_| true, problems);
    };
    let text = item.text("", problems)?;
    match text.value.parse::<Quantity>() {
        Err(error) => {
            let hint = Some(error.hint).filter(|hint| !hint.is_empty());
            problems.add_with(&text.span, error.expected, shown(&text.value), hint);
            None
        }
        Ok(quantity) if unit.is_some_and(|unit| unit != quantity.unit) => {
            let expected = format!("a {}", unit.map_or("", Unit::quantity_name));
            problems.add(
                &text.span,
                expected,
                format!(
                    "the {} {}",
                    quantity.unit.quantity_name(),
                    shown(&text.value)
                ),
            );
            None
        }
        Ok(quantity) => Some(quantity.value),
    }
}
