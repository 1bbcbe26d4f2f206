//! How long the exact room takes: one job's sheet, one month's bridge, long runs of stock events.
//!
//! Run with `cargo bench -p dropwise-core --bench exact`.

#![allow(
    missing_docs,
    clippy::unwrap_used,
    reason = "a bench may stop at the first surprise; criterion's macros write no documentation"
)]

use criterion::{Criterion, criterion_group, criterion_main};
use dropwise_core::Decimal;
use dropwise_core::exact::card_fee::CardTerms;
use dropwise_core::exact::job_sheet::{JobFacts, Priced, job_sheet};
use dropwise_core::exact::margin_bridge::{MaterialUse, Month, ServiceCard, bridge};
use dropwise_core::exact::overhead::OverheadRate;
use dropwise_core::exact::stock_average::AverageStock;
use dropwise_core::exact::stock_fifo::FifoStock;
use dropwise_core::exact::stock_lot::Shortfall;
use std::hint::black_box;

/// Events of one long run: receipts among many small uses, as a year of a busy item.
const EVENTS: u32 = 100_000;

/// One receipt to this many uses.
const USES_PER_RECEIPT: u32 = 40;

fn one_job(c: &mut Criterion) {
    let priced = |quantity, unit_cost| Priced { quantity, unit_cost };
    let labour = [
        priced(Decimal::from(312), Decimal::new(30_874_582, 6)),
        priced(Decimal::from(145), Decimal::new(3_703, 2)),
    ];
    let pads = [
        priced(Decimal::from(9), Decimal::new(8_731, 4)),
        priced(Decimal::from(7), Decimal::new(9_125, 4)),
        priced(Decimal::from(4), Decimal::new(11_402, 4)),
    ];
    let machines = [priced(Decimal::from(118), Decimal::new(213_333, 6))];
    let travel = [priced(Decimal::new(184, 1), Decimal::new(41, 2))];
    let terms =
        CardTerms { fee_fraction: Decimal::new(29, 3), fee_fixed: Decimal::new(30, 2), minor_unit_digits: 2 };
    let overhead = OverheadRate::estimated(Decimal::from(96_400), Decimal::from(6_850)).unwrap();
    let facts = JobFacts {
        net_revenue: Decimal::new(64_900, 2),
        labour_min: &labour,
        overtime_premium: Decimal::new(3_213, 2),
        product_cost: Decimal::new(7_613_576, 6),
        supply_cost: Decimal::new(2_145, 3),
        pad_cycles: &pads,
        machine_min: &machines,
        travel: &travel,
        card: Some((Decimal::new(70_200, 2), terms)),
        overhead: Some((overhead, Decimal::new(7_617, 3))),
        minor_unit_digits: 2,
    };
    c.bench_function("job_sheet", |b| b.iter(|| job_sheet(black_box(&facts)).unwrap()));
}

/// A month of twelve services with six materials each.
fn month(shift: u32) -> Month {
    let services = (0..12_u32).map(|service| {
        let materials = (0..6_u32).map(|material| {
            let used = MaterialUse {
                usage: Decimal::new((380 + shift + material).into(), 1),
                price: Decimal::new((1_105 + shift + service).into(), 4),
            };
            (format!("material {material}"), used)
        });
        let card = ServiceCard {
            jobs: Decimal::from(20 + shift + service),
            price: Decimal::from(300 + service),
            materials: materials.collect(),
            labour_hours: Decimal::new((460 + shift).into(), 2),
            labour_rate: Decimal::new((2_910 + shift).into(), 2),
        };
        (format!("service {service}"), card)
    });
    Month { other_costs: Decimal::from(6_200 + shift), services: services.collect() }
}

fn one_bridge(c: &mut Criterion) {
    let (base, actual) = (month(0), month(7));
    c.bench_function("margin_bridge, 12 services of 6 materials", |b| {
        b.iter(|| bridge(black_box(&base), black_box(&actual), 2).unwrap());
    });
}

fn long_runs(c: &mut Criterion) {
    let (bought, price) = (Decimal::from(950), Decimal::new(2_999, 2));
    let used = |event: u32| Decimal::new((125 + event % 250).into(), 1);
    let mut group = c.benchmark_group("100,000 stock events");
    group.sample_size(10);
    group.bench_function("moving average", |b| {
        b.iter(|| {
            let mut stock = AverageStock::EMPTY;
            for event in 0..EVENTS {
                stock = if event % USES_PER_RECEIPT == 0 {
                    stock.receive(bought, price + Decimal::new((event % 97).into(), 2)).unwrap().0
                } else {
                    stock.issue(used(event), Shortfall::Allow).unwrap().0
                };
            }
            black_box(stock)
        });
    });
    group.bench_function("first in, first out", |b| {
        b.iter(|| {
            let mut stock = FifoStock::default();
            let mut most_layers = 0;
            for event in 0..EVENTS {
                if event % USES_PER_RECEIPT == 0 {
                    let price = price + Decimal::new((event % 97).into(), 2);
                    stock.receive(event, bought, price).unwrap();
                } else {
                    stock.issue(used(event), Shortfall::Allow).unwrap();
                }
                most_layers = most_layers.max(stock.layers().count());
            }
            // Memory stays constant: a run holds its open layers and nothing of what is used up.
            assert!(most_layers < 40, "{most_layers} layers open");
            black_box(stock)
        });
    });
    group.finish();
}

criterion_group!(benches, one_job, one_bridge, long_runs);
criterion_main!(benches);
