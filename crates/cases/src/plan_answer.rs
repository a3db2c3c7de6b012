//! The answer to a pile as JSON: the plan, its worth by the rules alone, how sure it is.

use std::time::{Duration, Instant};

use planning::{Choice, Kit, Plan, Settings, revalue, solve};
use serde_json::{Map, Value, json};

use crate::pile::Pile;

/// Solves a pile and values the plan again from the rules. Money is in coins, `value` and `bound` in whole currency.
///
/// # Errors
/// If there is no plan, or its worth by the rules is not what the plan says.
pub fn answer_pile(pile: &Pile, time_limit: Option<Duration>) -> Result<Value, String> {
    let settings = Settings {
        time_limit,
        ..Settings::default()
    };
    let started = Instant::now();
    let plan = solve(&pile.instance, &settings).map_err(|error| error.to_string())?;
    let seconds = started.elapsed().as_secs_f64();
    let worth = revalue(&pile.instance, &plan)?;
    if (worth.value - plan.value).abs() > 0.01 || worth.money != plan.money {
        return Err(format!(
            "the plan says {} for {}, by the rules it is {} for {}",
            plan.value, plan.money, worth.value, worth.money
        ));
    }
    Ok(json!({
        "name": pile.name,
        "value": worth.value / 100.0,
        "money": worth.money,
        "minutes": worth.minutes,
        "working": worth.working,
        "plan": shown(&plan),
        "bound": plan.bound / 100.0,
        "proven": plan.proven,
        "seconds": seconds,
    }))
}

/// In the fields that the files themselves use, with what is covered and by which remedies added.
fn shown(plan: &Plan) -> Value {
    let machines = plan.machines.iter().map(|decision| {
        let id = &decision.id;
        match &decision.choice {
            Choice::Hold => json!({"id": id, "do": "hold"}),
            Choice::Sell => json!({"id": id, "do": "sell"}),
            Choice::Donor => json!({"id": id, "do": "donor"}),
            Choice::Repair(kit) => repair(id, kit),
        }
    });
    let builds = plan.builds.iter().map(|(id, n)| json!({"id": id, "n": n}));
    let orders = plan.orders.iter().map(|order| {
        json!({"vendor": order.vendor, "item": order.item, "quantity": order.quantity, "cost": order.cost})
    });
    let shipping = plan
        .shipping
        .iter()
        .map(|(vendor, fee)| json!({"vendor": vendor, "fee": fee}));
    json!({
        "machines": machines.collect::<Value>(),
        "builds": builds.collect::<Value>(),
        "orders": orders.collect::<Value>(),
        "shipping": shipping.collect::<Value>(),
    })
}

fn repair(id: &str, kit: &Kit) -> Value {
    let items: Map<String, Value> = kit
        .items
        .iter()
        .map(|(item, n)| (item.clone(), json!(n)))
        .collect();
    let remedies = kit.remedies.iter().map(|chosen| {
        json!({"part": chosen.fault.part, "mode": chosen.fault.mode, "remedy": chosen.remedy})
    });
    json!({
        "id": id,
        "do": "repair",
        "kit": items,
        "chance": kit.chance,
        "minutes": kit.minutes,
        "covered": kit.covered,
        "remedies": remedies.collect::<Value>(),
    })
}
