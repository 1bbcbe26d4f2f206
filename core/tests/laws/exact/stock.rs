//! Stock accounts: quantity and value are conserved whatever happens, in any order.

use super::{above_zero, plain};
use dropwise_core::exact::stock_average::AverageStock;
use dropwise_core::exact::stock_fifo::{FifoStock, Issue};
use dropwise_core::exact::stock_lot::{Lot, Movement, Shortfall};
use dropwise_core::{CoreError, Decimal};
use proptest::collection::vec;
use proptest::prelude::*;

/// One thing that happens to stock.
#[derive(Debug, Clone, Copy)]
enum Event {
    Receive {
        quantity: Decimal,
        value: Decimal,
    },
    Issue {
        quantity: Decimal,
        shortfall: Shortfall,
    },
    Adjust {
        change: Decimal,
    },
    /// Units of one earlier issue come back.
    GiveBack {
        which: usize,
        quantity: Decimal,
    },
    /// Units of one earlier receipt go back.
    SendBack {
        which: usize,
        quantity: Decimal,
    },
}

fn event() -> impl Strategy<Value = Event> {
    let quantity = || above_zero(1_000_000, 4);
    let shortfall = || prop_oneof![Just(Shortfall::Refuse), Just(Shortfall::Allow)];
    prop_oneof![
        3 => (quantity(), plain(10_000_000, 12)).prop_map(|(quantity, value)| Event::Receive { quantity, value }),
        4 => (quantity(), shortfall()).prop_map(|(quantity, shortfall)| Event::Issue { quantity, shortfall }),
        1 => (-100_000_i64..100_000).prop_map(|change| Event::Adjust { change: Decimal::new(change, 3) }),
        1 => (any::<usize>(), quantity()).prop_map(|(which, quantity)| Event::GiveBack { which, quantity }),
        1 => (any::<usize>(), quantity()).prop_map(|(which, quantity)| Event::SendBack { which, quantity }),
    ]
}

fn price_of(receipts: &[Lot], which: usize, quantity: Decimal) -> Option<Decimal> {
    receipts.get(which.checked_rem(receipts.len())?)?.worth(quantity).ok()
}

fn average(
    stock: AverageStock,
    event: Event,
    receipts: &mut Vec<Lot>,
) -> Result<(AverageStock, Movement), CoreError> {
    match event {
        Event::Receive { quantity, value } => {
            receipts.push(Lot { quantity, value });
            stock.receive(quantity, value)
        }
        Event::Issue { quantity, shortfall } => stock.issue(quantity, shortfall),
        Event::Adjust { change } => stock.adjust(change),
        Event::GiveBack { which, quantity } => {
            stock.receive(quantity, price_of(receipts, which, quantity).unwrap_or_default())
        }
        Event::SendBack { which, quantity } => {
            stock.send_back(quantity, price_of(receipts, which, quantity).unwrap_or_default())
        }
    }
}

fn fifo(
    stock: &mut FifoStock<usize>,
    event: Event,
    key: usize,
    issues: &mut Vec<Issue<usize>>,
) -> Result<Movement, CoreError> {
    match event {
        Event::Receive { quantity, value } => stock.receive(key, quantity, value),
        Event::Issue { quantity, shortfall } => {
            let issue = stock.issue(quantity, shortfall)?;
            let cost = issue.cost()?;
            issues.push(issue);
            Ok(Movement { quantity: -quantity, value: -cost, true_up: Decimal::ZERO })
        }
        Event::Adjust { change } if change > Decimal::ZERO => stock.find(key, change),
        Event::Adjust { .. } => Ok(Movement::default()),
        Event::GiveBack { which, quantity } => {
            let Some(position) = which.checked_rem(issues.len()) else { return Ok(Movement::default()) };
            stock.give_back(&mut issues[position], quantity, &key)
        }
        Event::SendBack { which, quantity } => {
            let keys: Vec<usize> = stock.layers().map(|(key, _)| *key).collect();
            let Some(position) = which.checked_rem(keys.len()) else { return Ok(Movement::default()) };
            stock.send_back(&keys[position], quantity)
        }
    }
}

/// The change a movement stands for.
fn change(moved: Movement) -> Lot {
    Lot { quantity: moved.quantity, value: moved.value + moved.true_up }
}

fn sound(on_hand: Lot) -> bool {
    let (quantity, value) = (on_hand.quantity, on_hand.value);
    if quantity.is_zero() {
        value.is_zero()
    } else {
        value.is_zero() || quantity.is_sign_positive() == value.is_sign_positive()
    }
}

proptest! {
    #[test]
    fn the_average_conserves_quantity_and_value(events in vec(event(), 1..60)) {
        let (mut stock, mut booked, mut receipts) = (AverageStock::EMPTY, Lot::EMPTY, Vec::new());
        for event in events {
            if let Ok((after, moved)) = average(stock, event, &mut receipts) {
                booked = booked.plus(change(moved)).unwrap();
                stock = after;
            }
            prop_assert_eq!(booked, stock.on_hand);
            prop_assert!(sound(stock.on_hand), "{:?}", stock);
        }
    }

    #[test]
    fn layers_conserve_quantity_and_value(events in vec(event(), 1..60)) {
        let (mut stock, mut booked, mut issues) = (FifoStock::default(), Lot::EMPTY, Vec::new());
        for (key, event) in events.into_iter().enumerate() {
            let before = (stock.clone(), issues.clone());
            if let Ok(moved) = fifo(&mut stock, event, key, &mut issues) {
                booked = booked.plus(change(moved)).unwrap();
            } else {
                prop_assert_eq!((&stock, &issues), (&before.0, &before.1));
            }
            prop_assert_eq!(booked, stock.on_hand());
            let layers = stock.layers().try_fold(stock.ahead(), |total, (_, lot)| total.plus(*lot)).unwrap();
            prop_assert_eq!(layers, stock.on_hand());
            prop_assert!(stock.layers().all(|(_, lot)| lot.quantity > Decimal::ZERO && lot.value >= Decimal::ZERO));
            prop_assert!(sound(stock.on_hand()), "{:?}", stock);
            prop_assert!(stock.ahead().quantity.is_zero() || stock.layers().next().is_none());
        }
    }

    #[test]
    fn an_issue_given_back_whole_leaves_no_trace(
        receipts in vec((above_zero(1_000, 2), plain(100_000, 4)), 1..6), part in 1..=100_i64,
    ) {
        let mut stock = FifoStock::default();
        for (key, (quantity, value)) in receipts.iter().enumerate() {
            stock.receive(key, *quantity, *value).unwrap();
        }
        let before = stock.clone();
        let wanted = stock.on_hand().quantity * Decimal::new(part, 2);
        let mut issue = stock.issue(wanted, Shortfall::Refuse).unwrap();
        stock.give_back(&mut issue, wanted, &0).unwrap();
        prop_assert_eq!(stock, before);
        prop_assert!(issue.cost().unwrap().is_zero());
    }

    #[test]
    fn giving_some_back_is_as_having_taken_less(
        receipts in vec((above_zero(1_000, 2), plain(10_000, 2)), 1..6), percent in 1..=100_i64, back in 1..100_i64,
    ) {
        let mut stock = FifoStock::default();
        for (key, (quantity, unit_cost)) in receipts.iter().enumerate() {
            stock.receive(key, *quantity, quantity * unit_cost).unwrap();
        }
        let mut once = stock.clone();
        let taken = stock.on_hand().quantity * Decimal::new(percent, 2);
        let returned = taken * Decimal::new(back, 2);
        let mut issue = stock.issue(taken, Shortfall::Refuse).unwrap();
        stock.give_back(&mut issue, returned, &0).unwrap();
        let less = once.issue(taken - returned, Shortfall::Refuse).unwrap();
        prop_assert_eq!((stock, issue), (once, less));
    }

    #[test]
    fn an_average_lies_between_the_prices_paid(
        receipts in vec((above_zero(1_000, 2), plain(10_000, 2)), 1..8), used in 0..100_i64,
    ) {
        let mut stock = AverageStock::EMPTY;
        for (quantity, unit_cost) in &receipts {
            stock = stock.receive(*quantity, quantity * unit_cost).unwrap().0;
            let part = stock.on_hand.quantity * Decimal::new(used, 2);
            if let Ok((after, _)) = stock.issue(part, Shortfall::Refuse) {
                stock = after;
            }
        }
        let prices = receipts.iter().map(|(_, unit_cost)| *unit_cost);
        let (least, most) = (prices.clone().min().unwrap(), prices.max().unwrap());
        let average = stock.unit_cost().unwrap();
        // What a cost loses in its twelfth decimal stays in the rest, which may be few units.
        let slack = Decimal::new(1, 6);
        prop_assert!(average >= least - slack && average <= most + slack, "{} {} {}", least, average, most);
    }

    #[test]
    fn both_methods_cost_the_same_when_everything_is_used(
        receipts in vec((above_zero(1_000, 2), plain(100_000, 4)), 1..8),
    ) {
        let (mut averaged, mut layered) = (AverageStock::EMPTY, FifoStock::default());
        for (key, (quantity, value)) in receipts.iter().enumerate() {
            averaged = averaged.receive(*quantity, *value).unwrap().0;
            layered.receive(key, *quantity, *value).unwrap();
        }
        let all = averaged.on_hand.quantity;
        let (_, moved) = averaged.issue(all, Shortfall::Refuse).unwrap();
        prop_assert_eq!(moved.cost(), layered.issue(all, Shortfall::Refuse).unwrap().cost().unwrap());
    }

    #[test]
    fn a_late_receipt_leaves_the_books_as_a_timely_one_would(
        used in above_zero(1_000, 2), left in plain(1_000, 2), unit_cost in plain(10_000, 2),
    ) {
        let bought = used + left;
        let price = bought * unit_cost;
        let (timely, _) = AverageStock::EMPTY.receive(bought, price).unwrap();
        let (timely, _) = timely.issue(used, Shortfall::Refuse).unwrap();
        let (late, guess) = AverageStock::EMPTY.issue(used, Shortfall::Allow).unwrap();
        let (late, arrival) = late.receive(bought, price).unwrap();
        prop_assert_eq!(late.on_hand, timely.on_hand);
        prop_assert_eq!(guess.value + arrival.true_up, -(used * unit_cost));
    }
}
