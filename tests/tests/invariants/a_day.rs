//! A day at the kerb, by hand: what goes in through the phone comes out as levels, wear, costs and margin.

use crate::invariants::desk::{Desk, entry};
use end_to_end::cards;
use serde_json::{Value, json};

#[test]
fn a_day_of_section_work_becomes_levels_wear_and_a_margin() {
    let desk = Desk::new("a-day");
    let of = desk.cards;
    // 2,000 ml for 80.00: 0.04 per ml. Two pads for 25.00: 12.50 each; 60 cycles, salvage 0.50: 0.20 a cycle.
    desk.receive(of.product, of.van, "2000", "80.00");
    desk.receive(of.pad_model, of.van, "2", "25.00");
    desk.receive(of.supply, of.van, "100", "20.00");
    let _ = desk
        .fleet
        .as_owner()
        .put(
            &format!("/v1/members/{}/pay-rates/2026-01-01", desk.fleet.technician.id),
            &json!({"hourly_amount": "24.00", "burden_share": "0.25"}),
        )
        .expect(200);
    desk.take("container_open", json!({"container_id": of.container}));
    // 40 drops at 0.05 ml = 2 ml = 0.08; 2 towels = 0.40; 30 min of machine at 1.75 an hour = 0.875.
    desk.take(
        "section_work",
        json!({"job_id": of.job, "section": "hood", "stage": "polishing", "pad_id": of.pad,
               "machine_id": of.machine, "machine_min": "30",
               "doses": [{"container_id": of.container, "count": 40}],
               "supplies": [{"item_id": of.supply, "quantity": "2"}]}),
    );
    // Two hours at 24.00 with a quarter on top: 60.00.
    desk.take_as_technician(
        "work_time",
        json!({"job_id": of.job, "what": "job", "starts_at": "2026-03-02T15:00:00Z", "ends_at": "2026-03-02T17:00:00Z"}),
    );
    cards::edit(&desk.fleet.as_owner(), desk.fleet.id.0, &json!({"travel_cost_per_km_amount": "0.70"}));
    desk.take("trip", json!({"place_id": of.van, "job_id": of.job, "distance_km": "12.5"}));

    let owner = desk.fleet.as_owner();
    let costs = owner.get(&format!("/v1/jobs/{}/costs", of.job)).expect(200).json();
    assert_eq!(sum(&costs, "product"), "0.08");
    assert_eq!(sum(&costs, "supply"), "0.4");
    assert_eq!(sum(&costs, "pad"), "0.2");
    assert_eq!(sum(&costs, "machine"), "0.875");
    assert_eq!(sum(&costs, "labour"), "60");
    assert_eq!(sum(&costs, "travel"), "8.75");
    // 240.50 − 70.305, to the cent.
    assert_eq!(costs["net_revenue_amount"], "240.5");
    assert_eq!(costs["cost_amount"], "70.31");
    assert_eq!(costs["margin_amount"], "170.19");
    assert!(costs["lines"].as_array().unwrap().iter().all(|line| line["entry_id"].is_string()));

    let office = desk.fleet.as_office().get(&format!("/v1/jobs/{}/costs", of.job)).expect(200).json();
    let lines = office["lines"].as_array().unwrap();
    assert!(lines.iter().all(|line| line["what"] != "labour"), "the office sees nobody's pay");

    let levels = owner.get("/v1/levels/containers").expect(200).json();
    let level = &levels["rows"][0];
    assert!((level["remaining_ml"].as_f64().unwrap() - 498.0).abs() < 1e-9, "{level}");
    let [low, high] = [0, 1].map(|end| level["interval_ml"][end].as_f64().unwrap());
    assert!(low < 498.0 && 498.0 < high && high <= 500.0);
    let pads = owner.get("/v1/levels/pads").expect(200).json();
    assert_eq!((&pads["rows"][0]["cycles"], &pads["rows"][0]["load_ml"]), (&json!(1), &json!("2")));

    cards::edit(&desk.fleet.as_office(), of.job, &json!({"state": "finished"}));
    let month = owner.get("/v1/months/2026-03").expect(200).json();
    assert_eq!(month["revenue_amount"], "240.5");
    assert_eq!(month["margin_amount"], "170.2", "the month is rounded once, from the exact sum 170.195");
    assert_eq!(month["unexplained_amounts"], json!({"rounding": "-0.01"}));
    desk.audit();
}

#[test]
fn a_weigh_in_shares_what_was_really_used_over_the_jobs_that_drew() {
    let desk = Desk::new("weighing");
    let of = desk.cards;
    desk.receive(of.product, of.van, "1000", "100.00");
    let second = desk.another_job();
    desk.take("container_open", json!({"container_id": of.container}));
    for (job, count) in [(of.job, 300), (second, 100)] {
        desk.take(
            "section_work",
            json!({"job_id": job, "section": "hood", "stage": "polishing",
                   "doses": [{"container_id": of.container, "count": count}]}),
        );
    }
    let before = desk.level();
    // 400 drops were taken for 20 ml; the scale says 40 ml are gone: 460 ml at 1.1 g/ml on a 62.5 g bottle.
    desk.take("weigh_in", json!({"container_id": of.container, "gross_g": "568.5"}));
    let after = desk.level();
    let more = before["remaining_ml"].as_f64().unwrap() - after["remaining_ml"].as_f64().unwrap();
    assert!(more > 15.0 && more < 20.5, "most of the 20 ml is believed: {more}");
    assert!(after["ml_per_dose"].as_f64().unwrap() > 0.08, "the drops turn out larger");
    let owner = desk.fleet.as_owner();
    let true_up = |job| -> f64 {
        let costs = owner.get(&format!("/v1/jobs/{job}/costs")).expect(200).json();
        sum(&costs, "true_up").parse().unwrap()
    };
    let (first, other) = (true_up(of.job), true_up(second));
    assert!((first / other - 3.0).abs() < 1e-3, "three parts to one: {first} {other}");
    assert!((first + other - more * 0.1).abs() < 1e-4, "at the average of 0.10 per ml");
    desk.audit();
}

#[test]
fn a_weigh_in_beyond_belief_is_kept_and_flagged_and_changes_nothing() {
    let desk = Desk::new("flagged");
    let of = desk.cards;
    desk.take("container_open", json!({"container_id": of.container}));
    let before = desk.level();
    desk.take("weigh_in", json!({"container_id": of.container, "gross_g": "200"}));
    let after = desk.level();
    assert_eq!(before["remaining_ml"], after["remaining_ml"]);
    assert_eq!((&after["flagged_weigh_ins"], &after["weigh_ins"]), (&json!(1), &json!(0)));
    desk.audit();
}

#[test]
fn a_reversed_entry_leaves_the_books_as_if_it_had_never_been() {
    let desk = Desk::new("reversal");
    let of = desk.cards;
    desk.receive(of.product, of.van, "1000", "100.00");
    desk.receive(of.pad_model, of.van, "1", "12.50");
    desk.take("container_open", json!({"container_id": of.container}));
    let before = (desk.level(), desk.costs(of.job));
    let work = desk.take(
        "section_work",
        json!({"job_id": of.job, "section": "roof", "stage": "polishing", "pad_id": of.pad,
               "doses": [{"container_id": of.container, "count": 25}]}),
    );
    assert_ne!(desk.costs(of.job)["cost_amount"], before.1["cost_amount"]);
    desk.take("reversal", json!({"entry_id": work, "why": "wrong section"}));
    let after = desk.costs(of.job);
    assert_eq!(after["cost_amount"], before.1["cost_amount"]);
    let level = desk.level();
    let (got, had) = (level["remaining_ml"].as_f64().unwrap(), before.0["remaining_ml"].as_f64().unwrap());
    assert!((got - had).abs() < 1e-9, "{got} {had}");
    desk.refuse("reversal", json!({"entry_id": work, "why": "again"}), "already_reversed");
    desk.audit();
}

#[test]
fn pads_retire_with_what_no_job_has_borne_and_stock_stays_whole() {
    let desk = Desk::new("retiring");
    let of = desk.cards;
    desk.receive(of.pad_model, of.van, "2", "25.00");
    desk.take(
        "section_work",
        json!({"job_id": of.job, "section": "hood", "stage": "polishing", "pad_id": of.pad}),
    );
    let gone = desk.take("pad_retire", json!({"pad_id": of.pad, "why": "failed"}));
    desk.refuse(
        "section_work",
        json!({"job_id": of.job, "section": "hood", "stage": "polishing", "pad_id": of.pad}),
        "pad_retired",
    );
    let owner = desk.fleet.as_owner();
    let month = |at: &str| owner.get(&format!("/v1/months/{at}")).expect(200).json();
    // 12.50 − 0.20 borne by the job.
    assert_eq!(month("2026-03")["unexplained_amounts"]["pad_retirement"], "12.3");
    desk.audit();
    desk.take("reversal", json!({"entry_id": gone, "why": "the other pad"}));
    assert_eq!(month("2026-03")["unexplained_amounts"]["pad_retirement"], "0");
    desk.take(
        "section_work",
        json!({"job_id": of.job, "section": "hood", "stage": "polishing", "pad_id": of.pad}),
    );
    desk.audit();
}

#[test]
fn stock_moves_counts_and_uses_below_zero_keep_quantity_and_value_whole() {
    let desk = Desk::new("stock");
    let of = desk.cards;
    desk.receive(of.product, of.depot, "1000", "50.00");
    desk.take(
        "stock_move",
        json!({"item_id": of.product, "from_place_id": of.depot, "to_place_id": of.van, "quantity": "400"}),
    );
    desk.take("stock_count", json!({"item_id": of.product, "place_id": of.van, "counted": "390"}));
    let owner = desk.fleet.as_owner();
    let month = owner.get("/v1/months/2026-03").expect(200).json();
    assert_eq!(month["unexplained_amounts"]["shrinkage"], "0.5");
    // More is used of the supply than was ever received: below zero, worth nothing known, trued up later.
    desk.take(
        "section_work",
        json!({"job_id": of.job, "section": "hood", "stage": "preparation",
               "supplies": [{"item_id": of.supply, "quantity": "3"}]}),
    );
    desk.audit();
    desk.receive(of.supply, of.van, "10", "5.00");
    let month = owner.get("/v1/months/2026-03").expect(200).json();
    assert_eq!(month["unexplained_amounts"]["price_true_up"], "1.5");
    desk.audit();
}

#[test]
fn what_cannot_be_is_refused_with_its_own_code_and_leaves_no_trace() {
    let desk = Desk::new("refusals");
    let of = desk.cards;
    let before = desk.books();
    let work = |changes: Value| {
        let mut body = json!({"job_id": of.job, "section": "hood", "stage": "polishing"});
        body.as_object_mut().unwrap().extend(changes.as_object().unwrap().clone());
        body
    };
    let nobody = dropwise::ids::fresh();
    for (kind, body, code) in [
        ("section_work", work(json!({"section": "tailgate"})), "no_such_section"),
        ("section_work", work(json!({"job_id": nobody})), "no_such_record"),
        (
            "section_work",
            work(json!({"doses": [{"container_id": of.container, "count": 5}]})),
            "container_not_open",
        ),
        ("section_work", work(json!({"doses": [{"container_id": nobody, "count": 5}]})), "no_such_record"),
        (
            "section_work",
            work(json!({"supplies": [{"item_id": of.product, "quantity": "1"}]})),
            "wrong_kind_of_item",
        ),
        ("section_work", work(json!({"supplies": [{"item_id": of.supply, "quantity": "-1"}]})), "bad_field"),
        ("section_work", work(json!({"machine_min": "5"})), "no_machine"),
        ("section_work", work(json!({"prise": "1"})), "bad_field"),
        ("weigh_in", json!({"container_id": of.container, "gross_g": "500"}), "container_not_open"),
        ("weigh_in", json!({"container_id": of.container, "gross_g": 500}), "bad_field"),
        ("receipt", json!({"item_id": of.product, "place_id": of.van, "quantity": "0"}), "nothing_moved"),
        ("receipt", json!({"item_id": of.product, "place_id": of.van, "quantity": "1e3"}), "bad_field"),
        ("receipt", json!({"item_id": of.product, "place_id": of.van, "quantity": "NaN"}), "bad_field"),
        (
            "receipt",
            json!({"item_id": of.product, "place_id": of.van, "quantity": format!("1{}", "0".repeat(400))}),
            "bad_field",
        ),
        (
            "receipt",
            json!({"item_id": of.product, "place_id": of.van, "quantity": "0.1234567890123456789012345678901234567890"}),
            "bad_field",
        ),
        (
            "stock_move",
            json!({"item_id": of.product, "from_place_id": of.van, "to_place_id": of.van, "quantity": "1"}),
            "same_place",
        ),
        (
            "work_time",
            json!({"what": "shop", "starts_at": "2026-03-02T15:00:00Z", "ends_at": "2026-03-02T15:00:00Z"}),
            "ends_before_it_starts",
        ),
        (
            "work_time",
            json!({"what": "shop", "starts_at": "2026-03-02T15:00:00Z", "ends_at": "2026-03-03T15:00:01Z"}),
            "too_long",
        ),
        (
            "work_time",
            json!({"what": "job", "starts_at": "2026-03-02T15:00:00Z", "ends_at": "2026-03-02T16:00:00Z"}),
            "no_such_record",
        ),
        ("trip", json!({"place_id": nobody, "distance_km": "3"}), "no_such_record"),
        ("reversal", json!({"entry_id": nobody, "why": "x"}), "no_such_record"),
    ] {
        desk.refuse(kind, body, code);
    }
    cards::edit(&desk.fleet.as_office(), of.job, &json!({"state": "settled"}));
    desk.refuse("section_work", work(json!({})), "job_settled");
    desk.fleet
        .as_office()
        .put(&format!("/v1/entries/{nobody}"), &entry("moonwalk", &json!({})))
        .expect_problem(422, "unknown_kind");
    assert_eq!(desk.books(), before, "nothing partial is ever stored");
}

#[test]
fn an_entry_sent_twice_changes_nothing_and_another_under_its_id_is_refused() {
    let desk = Desk::new("twice");
    let of = desk.cards;
    let id = dropwise::ids::fresh();
    let body = json!({"item_id": of.product, "place_id": of.van, "quantity": "10", "total_amount": "5.00"});
    let office = desk.fleet.as_office();
    let first = office.put(&format!("/v1/entries/{id}"), &entry("receipt", &body)).expect(200).json();
    let books = desk.books();
    assert_eq!(office.put(&format!("/v1/entries/{id}"), &entry("receipt", &body)).expect(200).json(), first);
    assert_eq!(desk.books(), books);
    let other = json!({"item_id": of.product, "place_id": of.van, "quantity": "11", "total_amount": "5.00"});
    office.put(&format!("/v1/entries/{id}"), &entry("receipt", &other)).expect_problem(409, "id_taken");
    assert_eq!(desk.books(), books);
}

#[test]
fn eight_copies_of_one_entry_at_once_have_one_effect() {
    let desk = Desk::new("copies");
    let of = desk.cards;
    let body = json!({"item_id": of.product, "place_id": of.van, "quantity": "1", "total_amount": "2.00"});
    let rounds = 12;
    for _ in 0..rounds {
        let path = format!("/v1/entries/{}", dropwise::ids::fresh());
        let answers: Vec<Value> = std::thread::scope(|scope| {
            let send = || desk.fleet.as_office().put(&path, &entry("receipt", &body)).expect(200).json();
            let senders: Vec<_> = (0..8).map(|_| scope.spawn(send)).collect();
            senders.into_iter().map(|sender| sender.join().unwrap()).collect()
        });
        assert!(answers.windows(2).all(|pair| pair[0] == pair[1]));
    }
    assert_eq!(desk.quantity(of.product), rounds.to_string());
    desk.audit();
}

#[test]
fn a_technician_writes_only_for_their_own_van_and_time() {
    let desk = Desk::new("own-van");
    let of = desk.cards;
    let tech = desk.fleet.as_technician();
    let put = |kind: &str, body: &Value| {
        tech.put(&format!("/v1/entries/{}", dropwise::ids::fresh()), &entry(kind, body))
    };
    put("receipt", &json!({"item_id": of.product, "place_id": of.other_van, "quantity": "1"}))
        .expect_problem(422, "no_such_record");
    put("trip", &json!({"place_id": of.other_van, "distance_km": "1"})).expect_problem(422, "no_such_record");
    let times = json!({"member_id": desk.fleet.owner.id, "what": "shop",
                       "starts_at": "2026-03-02T15:00:00Z", "ends_at": "2026-03-02T16:00:00Z"});
    put("work_time", &times).expect_problem(422, "not_your_time");
    let _ = put("trip", &json!({"place_id": of.van, "distance_km": "1"})).expect(200);
}

fn sum(costs: &Value, what: &str) -> String {
    let sums = costs["sums"].as_array().unwrap();
    let found = sums.iter().find(|sum| sum["what"] == what);
    found.map_or("none", |sum| sum["amount"].as_str().unwrap()).to_owned()
}
