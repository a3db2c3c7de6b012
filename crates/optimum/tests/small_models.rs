//! Small random models against plain enumeration.

use optimum::{Error, Model, Relation, Sense, Settings, Var, to_mps};
use proptest::prelude::*;

#[derive(Debug, Clone)]
struct Small {
    maximize: bool,
    costs: Vec<i32>,
    rows: Vec<(Vec<i32>, u8, i32)>,
}

fn small() -> impl Strategy<Value = Small> {
    (2usize..9).prop_flat_map(|n| {
        let row = (prop::collection::vec(-4i32..7, n), 0u8..3, -3i32..12);
        let costs = prop::collection::vec(-9i32..10, n);
        let rows = prop::collection::vec(row, 1..5);
        (any::<bool>(), costs, rows).prop_map(|(maximize, costs, rows)| Small {
            maximize,
            costs,
            rows,
        })
    })
}

fn relation(code: u8) -> Relation {
    [Relation::AtMost, Relation::AtLeast, Relation::Equal][usize::from(code)]
}

fn model(small: &Small) -> Model {
    let sense = if small.maximize {
        Sense::Maximize
    } else {
        Sense::Minimize
    };
    let mut model = Model::new(sense);
    let vars: Vec<Var> = small
        .costs
        .iter()
        .enumerate()
        .map(|(i, &cost)| model.binary(format!("v{i}"), f64::from(cost)))
        .collect();
    for (i, (terms, code, right)) in small.rows.iter().enumerate() {
        let terms = vars
            .iter()
            .copied()
            .zip(terms.iter().map(|&t| f64::from(t)));
        model.row(
            format!("row {i}"),
            terms,
            relation(*code),
            f64::from(*right),
        );
    }
    model
}

fn enumerate(small: &Small) -> Option<i32> {
    let n = small.costs.len();
    let dot = |terms: &[i32], mask: usize| -> i32 {
        (0..n)
            .filter(|i| mask >> i & 1 == 1)
            .map(|i| terms[i])
            .sum()
    };
    let keeps = |mask: usize| {
        small.rows.iter().all(|(terms, code, right)| match code {
            0 => dot(terms, mask) <= *right,
            1 => dot(terms, mask) >= *right,
            _ => dot(terms, mask) == *right,
        })
    };
    let worths = (0..1 << n)
        .filter(|&mask| keeps(mask))
        .map(|mask| dot(&small.costs, mask));
    if small.maximize {
        worths.max()
    } else {
        worths.min()
    }
}

proptest! {
    #[test]
    fn agrees_with_enumeration(small in small()) {
        let model = model(&small);
        match (model.solve(&Settings::default()), enumerate(&small)) {
            (Ok(solution), Some(best)) => {
                prop_assert!(solution.proven);
                prop_assert!((solution.objective - f64::from(best)).abs() < 1e-6);
                prop_assert_eq!(solution.objective, solution.bound);
                prop_assert_eq!(model.broken_at(&solution.values), None);
            }
            (Err(Error::Infeasible), None) => {}
            (found, wanted) => prop_assert!(false, "{:?} {:?}", found, wanted),
        }
    }
}

/// Open sites and serve customers: with a made-up but fixed pattern of costs.
fn sites() -> Model {
    let mut model = Model::new(Sense::Minimize);
    let open: Vec<Var> = (0..12)
        .map(|s| model.binary(format!("open {s}"), 90.0))
        .collect();
    for customer in 0..90u32 {
        let serve: Vec<Var> = (0..12u32)
            .map(|site| {
                let cost =
                    f64::from((customer * 37 + site * site * 23 + customer * site * 11) % 97);
                model.binary(format!("serve {customer} from {site}"), cost)
            })
            .collect();
        model.row(
            format!("customer {customer}"),
            serve.iter().map(|&v| (v, 1.0)),
            Relation::AtLeast,
            1.0,
        );
        for (&serve, &open) in serve.iter().zip(&open) {
            model.row(
                "open first",
                [(serve, 1.0), (open, -1.0)],
                Relation::AtMost,
                0.0,
            );
        }
    }
    model
}

#[test]
fn a_limit_leaves_a_valid_bound() {
    let proven = sites().solve(&Settings::default()).unwrap();
    let settings = Settings {
        node_limit: Some(1),
        start: Some(proven.values.clone()),
        ..Settings::default()
    };
    let limited = sites().solve(&settings).unwrap();
    assert!(limited.bound <= proven.objective + 1e-6);
    assert!(limited.objective >= proven.objective - 1e-6);
}

#[test]
fn writes_mps() {
    let mut model = Model::new(Sense::Maximize);
    let a = model.binary("lot a", 3.0);
    let b = model.real("filler", (0.0, f64::INFINITY), -1.5);
    model.row("need", [(a, 2.0), (b, 1.0)], Relation::AtMost, 4.0);
    let expected = "* x1 lot a\n* x2 filler\n* r1 need\nNAME two_lots\nOBJSENSE\n MAX\nROWS\n N cost\n L r1\nCOLUMNS\n \
                    MARKER 'MARKER' 'INTORG'\n x1 cost 3\n x1 r1 2\n MARKER 'MARKER' 'INTEND'\n x2 cost -1.5\n x2 r1 1\nRHS\n \
                    rhs r1 4\nBOUNDS\n LO bnd x1 0\n UP bnd x1 1\n LO bnd x2 0\n PL bnd x2\nENDATA\n";
    assert_eq!(to_mps(&model, "two lots"), expected);
}
