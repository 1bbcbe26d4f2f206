//! Many writers at once: nothing is lost, nothing is doubled, nobody is told it was our fault.

use dropwise::ids::fresh;
use end_to_end::cards::Cards;
use end_to_end::{Client, Fleet, World};
use serde_json::{Value, json};
use std::collections::HashSet;
use std::sync::{Arc, Barrier};

/// Runs `work` on so many threads that all begin at once, and gathers what they bring back.
fn at_once<T: Send + 'static>(many: usize, work: impl Fn(usize) -> T + Send + Sync + 'static) -> Vec<T> {
    let (work, start) = (Arc::new(work), Arc::new(Barrier::new(many)));
    let threads: Vec<_> = (0..many)
        .map(|n| {
            let (work, start) = (Arc::clone(&work), Arc::clone(&start));
            std::thread::spawn(move || {
                start.wait();
                work(n)
            })
        })
        .collect();
    threads.into_iter().map(|thread| thread.join().expect("a writer")).collect()
}

fn receipt(fleet: &Fleet, cards: &Cards, quantity: &str, amount: &str) -> Value {
    json!({"kind": "receipt", "happened_at": fleet.now(), "body":
        {"item_id": cards.product, "place_id": cards.van, "quantity": quantity, "total_amount": amount}})
}

/// Quantity on hand in the van and in all, and its value, as the books have them.
fn on_hand(world: &World, fleet: &Fleet, cards: &Cards) -> (String, String, String) {
    let mut owner = world.db.as_owner();
    let row = owner
        .query_one(
            "select trim_scale(l.quantity)::text, trim_scale(v.quantity)::text, trim_scale(v.amount)::text from stock_levels l
                    join stock_values v using (fleet_id, item_id)
                    where l.fleet_id = $1 and l.item_id = $2 and l.place_id = $3",
            &[&fleet.id.0, &cards.product, &cards.van],
        )
        .expect("a level");
    (row.get(0), row.get(1), row.get(2))
}

#[test]
fn sixty_four_writers_on_one_stock_row_add_up_exactly() {
    const WRITERS: usize = 64;
    const EACH: usize = 3;
    let world = World::new();
    let fleet = world.fleet("amber");
    let cards = Cards::create(&fleet.as_office());
    let clients = [fleet.as_owner(), fleet.as_office()];
    let body = receipt(&fleet, &cards, "0.1", "0.07");
    let statuses: Vec<u16> = at_once(WRITERS, move |n| {
        let client: &Client = &clients[n % 2];
        (0..EACH)
            .map(|_| {
                let id = fresh();
                // Whoever is told to come back later comes back, with the same id.
                for _ in 0..50 {
                    let answer = client.put(&format!("/v1/entries/{id}"), &body);
                    if answer.status != 503 {
                        return answer.status;
                    }
                    std::thread::sleep(std::time::Duration::from_millis(100));
                }
                503
            })
            .collect::<Vec<_>>()
    })
    .concat();
    let tally: HashSet<u16> = statuses.iter().copied().collect();
    assert_eq!(tally, HashSet::from([200]), "{statuses:?}");
    // 192 times 0.1 ml and 0.07.
    assert_eq!(on_hand(&world, &fleet, &cards), ("19.2".into(), "19.2".into(), "13.44".into()));
    let (entries, lines): (i64, i64) = {
        let row = world
            .db
            .as_owner()
            .query_one("select (select count(*) from entries), (select count(*) from stock_lines)", &[])
            .expect("counts");
        (row.get(0), row.get(1))
    };
    assert_eq!((entries, lines), (192, 192));
}

#[test]
fn eight_copies_of_one_entry_at_once_have_one_effect_and_equal_answers() {
    const KEYS: usize = 60;
    let world = World::new();
    let fleet = world.fleet("amber");
    let cards = Cards::create(&fleet.as_office());
    for _ in 0..KEYS {
        let (client, path, body) =
            (fleet.as_owner(), format!("/v1/entries/{}", fresh()), receipt(&fleet, &cards, "1", "2"));
        let answers = at_once(8, move |_| client.put(&path, &body).expect(200).text());
        assert_eq!(answers.iter().collect::<HashSet<_>>().len(), 1, "{answers:?}");
    }
    assert_eq!(on_hand(&world, &fleet, &cards), ("60".into(), "60".into(), "120".into()));
}

#[test]
fn of_two_edits_from_one_version_exactly_one_wins_and_the_other_is_told() {
    const RACES: usize = 150;
    let world = World::new();
    let fleet = world.fleet("amber");
    let cards = Cards::create(&fleet.as_office());
    let path = format!("/v1/cards/{}", cards.depot);
    for race in 0..RACES {
        let etag = fleet.as_office().get(&path).expect(200).etag();
        let (path, clients) = (path.clone(), [fleet.as_owner(), fleet.as_office()]);
        let outcomes = at_once(2, move |n| {
            let name = format!("Depot {race} of {n}");
            let answer = clients[n].patch(&path, &etag, &json!({"name": name}));
            (answer.status, name, answer.json())
        });
        let mut statuses: Vec<u16> = outcomes.iter().map(|(status, ..)| *status).collect();
        statuses.sort_unstable();
        assert_eq!(statuses, [200, 412], "race {race}");
        let winner = outcomes.iter().find(|(status, ..)| *status == 200).expect("a winner");
        let loser = outcomes.iter().find(|(status, ..)| *status == 412).expect("a loser");
        let standing = fleet.as_office().get(&format!("/v1/cards/{}", cards.depot)).expect(200).json();
        assert_eq!(standing["body"]["name"], json!(winner.1));
        assert_eq!(loser.2["current"], standing, "the loser is shown what stands");
    }
}

#[test]
fn an_edit_without_a_version_is_refused_and_so_is_one_from_long_ago() {
    let world = World::new();
    let fleet = world.fleet("amber");
    let cards = Cards::create(&fleet.as_office());
    let path = format!("/v1/cards/{}", cards.depot);
    let owner = fleet.as_owner();
    owner.send_json("PATCH", &path, &[], &json!({"name": "x"})).expect_problem(428, "version_missing");
    let first = owner.get(&path).expect(200).etag();
    owner.patch(&path, &first, &json!({"name": "x"})).expect(200);
    owner.patch(&path, &first, &json!({"name": "y"})).expect_problem(412, "edited_since");
    for odd in ["*", "W/\"2\"", "2", "\"two\"", "\"2\", \"3\"", "\"\""] {
        let answer = owner.patch(&path, odd, &json!({"name": "z"}));
        assert!([412, 422].contains(&answer.status), "{odd}: {}", answer.text());
    }
}

#[test]
fn ids_the_server_shows_count_nothing() {
    let world = World::new();
    let fleet = world.fleet("amber");
    let cards = Cards::create(&fleet.as_office());
    let other = world.fleet("birch");
    let other_cards = Cards::create(&other.as_office());
    // Work of one fleet moves no number the other can see.
    let seen = |fleet: &Fleet, cards: &Cards| {
        let card = fleet.as_owner().get(&format!("/v1/cards/{}", cards.depot)).expect(200);
        let trail = fleet.as_owner().get("/v1/device/trail").expect(200).json();
        let positions: Vec<Value> =
            trail["rows"].as_array().expect("rows").iter().map(|r| r["position"].clone()).collect();
        (card.etag(), positions)
    };
    let before = seen(&other, &other_cards);
    for _ in 0..20 {
        fleet
            .as_owner()
            .put(&format!("/v1/entries/{}", fresh()), &receipt(&fleet, &cards, "1", "2"))
            .expect(200);
    }
    assert_eq!(seen(&other, &other_cards), before);
}
