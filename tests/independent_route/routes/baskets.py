"""Where to take stock from before buying it, and where to buy it."""

import math

import numpy as np
from scipy import optimize

from .route import Route, text

COVERED = 1e6  # worth more than any lane costs: as much as possible is moved, then as cheaply as possible


def draw_transfer(rng):
    places = lambda kind: [
        {"location": f"{kind}-{i}", "units": int(rng.integers(1, 40))} for i in range(rng.integers(1, 5))
    ]
    surplus, deficit = places("from"), places("to")
    lanes = [
        {"from": a["location"], "to": b["location"], "cost_per_unit": text(rng, 0.1, 20)}
        for a in surplus
        for b in deficit
        if rng.random() < 0.8
    ]
    return {"surplus": surplus, "deficit": deficit, "lanes": lanes}


def moved(case):
    lanes, deficit = case["lanes"], sum(p["units"] for p in case["deficit"])
    if not lanes:
        return {"units_transferred": 0, "units_to_buy": deficit, "transfer_cost": "0"}
    costs = np.array([float(lane["cost_per_unit"]) for lane in lanes])
    ends = [("from", p) for p in case["surplus"]] + [("to", p) for p in case["deficit"]]
    leaves = np.array([[float(lane[end] == p["location"]) for lane in lanes] for end, p in ends])
    limits = optimize.LinearConstraint(leaves, -np.inf, [p["units"] for _, p in ends])
    plan = optimize.milp(costs - COVERED, constraints=limits, integrality=np.ones(len(lanes)))
    units = np.round(plan.x)
    cost = sum(round(100 * c) * u for c, u in zip(costs, units)) / 100
    return {
        "units_transferred": int(units.sum()),
        "units_to_buy": deficit - int(units.sum()),
        "transfer_cost": f"{cost:.2f}",
    }


def draw_basket(rng):
    suppliers = [
        {
            "supplier": f"S{i}",
            "minimum_order_value": f"{5 * int(rng.integers(0, 20))}.00",
            "freight_charge": text(rng, 3, 15),
            "free_freight_from": None if rng.random() < 0.3 else f"{5 * int(rng.integers(8, 40))}.00",
        }
        for i in range(rng.integers(1, 4))
    ]
    needs, offers = [], []
    for i in range(rng.integers(1, 5)):
        needs.append({"product": f"product {i}", "need_units": int(rng.integers(1, 14))})
        price = 3 * (8 ** rng.random())
        for supplier in suppliers:
            if rng.random() < 0.2:
                continue
            size, each = int(rng.integers(1, 6)), price * rng.uniform(0.85, 1.15)
            starts = [1, *sorted(rng.choice(np.arange(2, 10), rng.integers(0, 3), replace=False).tolist())]
            tiers = [
                {"from_packs": n, "pack_price": f"{size * each * 0.93**t:.2f}"} for t, n in enumerate(starts)
            ]
            offer = {"product": f"product {i}", "supplier": supplier["supplier"], "pack_size_units": size}
            most = None if rng.random() < 0.7 else int(rng.integers(1, 9))
            offers.append(offer | {"price_tiers": tiers, "max_packs": most})
    return {"needs": needs, "suppliers": suppliers, "offers": offers}


def bought(case):
    """A mixed-integer programme: packs and a switch per price tier, and two switches per supplier."""
    suppliers = case["suppliers"]
    thresholds = [max(float(s["minimum_order_value"]), float(s["free_freight_from"] or 0)) for s in suppliers]
    index = {s["supplier"]: i for i, s in enumerate(suppliers)}
    need = {n["product"]: n["need_units"] for n in case["needs"]}
    columns = []  # (offer, supplier index, price, least packs, most packs)
    for number, offer in enumerate(case["offers"]):
        s, tiers = index[offer["supplier"]], offer["price_tiers"]
        cheapest = min(float(t["pack_price"]) for t in tiers)
        most = math.ceil(need[offer["product"]] / offer["pack_size_units"]) + tiers[-1]["from_packs"]
        most += math.ceil(thresholds[s] / cheapest)
        most = most if offer["max_packs"] is None else min(most, offer["max_packs"])
        ends = [t["from_packs"] - 1 for t in tiers[1:]] + [most]
        for tier, end in zip(tiers, ends):
            columns.append((number, s, float(tier["pack_price"]), tier["from_packs"], min(end, most)))
    n, m = len(columns), len(suppliers)
    width = 2 * n + 2 * m  # packs, tier switches, supplier used, freight free
    rows, low, high = [], [], []

    def row(entries, least, most):
        line = np.zeros(width)
        for at, value in entries:
            line[at] += value
        rows.append(line), low.append(least), high.append(most)

    for at, (_, s, _, least, most) in enumerate(columns):
        row([(at, 1), (n + at, -least)], 0, np.inf)
        row([(at, 1), (n + at, -max(most, 0))], -np.inf, 0)
        row([(n + at, 1), (2 * n + s, -1)], -np.inf, 0)
    for number in range(len(case["offers"])):
        row([(n + at, 1) for at, column in enumerate(columns) if column[0] == number], 0, 1)
    for product, units in need.items():
        sizes = [
            (at, case["offers"][c[0]]["pack_size_units"])
            for at, c in enumerate(columns)
            if case["offers"][c[0]]["product"] == product
        ]
        row(sizes, units, np.inf)
    for s, supplier in enumerate(suppliers):
        goods = [(at, column[2]) for at, column in enumerate(columns) if column[1] == s]
        row([*goods, (2 * n + s, -float(supplier["minimum_order_value"]))], 0, np.inf)
        free = supplier["free_freight_from"]
        row([*goods, (2 * n + m + s, -float(free or 0))], 0, np.inf)
        row([(2 * n + m + s, 1), (2 * n + s, -1)], -np.inf, 0)
    cost = np.zeros(width)
    cost[:n] = [column[2] for column in columns]
    cost[2 * n : 2 * n + m] = [float(s["freight_charge"]) for s in suppliers]
    cost[2 * n + m :] = [-float(s["freight_charge"]) for s in suppliers]
    upper = np.full(width, np.inf)
    upper[n:] = 1
    upper[2 * n + m :] = [0 if s["free_freight_from"] is None else 1 for s in suppliers]
    plan = optimize.milp(
        cost,
        constraints=optimize.LinearConstraint(np.array(rows), low, high),
        integrality=np.ones(width),
        bounds=optimize.Bounds(0, upper),
        options={"mip_rel_gap": 0},
    )
    if plan.status == 2:
        return {"status": "infeasible"}
    assert plan.status == 0, plan.message
    return {"status": "optimal", "total_cost": f"{plan.fun:.2f}"}


ROUTES = [
    Route("depot_van_transfer", "scipy milp (HiGHS)", draw_transfer, moved, 0.0),
    Route("supplier_basket", "scipy milp (HiGHS)", draw_basket, bought, 0.0),
]
