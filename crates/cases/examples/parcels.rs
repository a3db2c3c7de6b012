fn main() {
    for (l, v, s) in [
        (100, 8, 1),
        (100, 8, 2),
        (100, 8, 3),
        (100, 8, 4),
        (300, 15, 1),
        (300, 15, 2),
        (300, 15, 3),
        (300, 15, 4),
    ] {
        let r = cases::made_order(l, v, s);
        std::fs::write(
            format!("/tmp/h/plans/p{l}-{s}.mps"),
            purchasing::to_mps(&r).unwrap(),
        )
        .unwrap();
        let t = std::time::Instant::now();
        let p = purchasing::cheapest(
            &r,
            &purchasing::Settings {
                time_limit: Some(std::time::Duration::from_secs(40)),
                node_limit: None,
            },
        )
        .unwrap();
        println!(
            "{l} {v} {s} {} {} {} proven {} {:?}",
            p.landed,
            p.bound,
            p.parcels.len(),
            p.proven,
            t.elapsed()
        );
    }
}
