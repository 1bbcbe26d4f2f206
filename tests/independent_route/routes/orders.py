"""How much to order."""

from stockpyl import eoq, newsvendor

from .route import Route, number, text


def draw_eoq(rng):
    case = {
        "fixed_order_cost": text(rng, 1, 50),
        "holding_cost_per_unit_per_year": text(rng, 0.05, 5),
        "demand_per_year": text(rng, 20, 5000, 0),
    }
    if rng.random() < 0.5:
        return case | {"kind": "planned_backorders", "backorder_cost_per_unit_per_year": text(rng, 1, 30)}
    return case | {"kind": "plain"}


def ordered(case):
    k, h, d = (
        float(case[n]) for n in ["fixed_order_cost", "holding_cost_per_unit_per_year", "demand_per_year"]
    )
    if case["kind"] == "plain":
        quantity, cost = eoq.economic_order_quantity(k, h, d)
        return {"order_quantity": quantity, "cost_per_year": cost, "cycle_time_years": quantity / d}
    p = float(case["backorder_cost_per_unit_per_year"])
    quantity, share, cost = eoq.economic_order_quantity_with_backorders(k, h, p, d)
    return {"order_quantity": quantity, "backordered_fraction": share, "cost_per_year": cost}


def draw_packs(rng):
    case = {
        "fixed_order_cost": text(rng, 2, 20),
        "demand_per_year": text(rng, 50, 3000, 0),
        "pack_size_units": str(rng.integers(2, 30)),
    }
    if rng.random() < 0.5:
        return case | {"holding_cost_per_unit_per_year": text(rng, 0.2, 4)}
    price = number(rng, 2, 10)
    starts = [1, int(rng.integers(2, 10)), int(rng.integers(10, 40))]
    tiers = [{"from_packs": n, "unit_cost": f"{price * 0.95**i:.2f}"} for i, n in enumerate(starts)]
    return case | {"holding_cost_rate_per_year": text(rng, 0.1, 0.4), "tiers": tiers}


def packs(case):
    """Every number of packs up to a year's demand and beyond, tried out."""
    k, d, size = (float(case[n]) for n in ["fixed_order_cost", "demand_per_year", "pack_size_units"])

    def cost(n):
        if "tiers" not in case:
            return k * d / (n * size) + float(case["holding_cost_per_unit_per_year"]) * n * size / 2
        price = [float(t["unit_cost"]) for t in case["tiers"] if t["from_packs"] <= n][-1]
        return (
            price * d + k * d / (n * size) + float(case["holding_cost_rate_per_year"]) * price * n * size / 2
        )

    best = min(range(1, int(2 * d / size) + 60), key=lambda n: (round(cost(n), 9), n))
    return {"packs": best, "cost_per_year": cost(best)}


def draw_discounts(rng):
    price, step = number(rng, 0.5, 5), int(rng.integers(100, 600))
    tiers = [
        {"from_quantity": str(i * step), "unit_cost": f"{price * 0.96**i:.3f}"}
        for i in range(rng.integers(1, 5))
    ]
    return {
        "kind": str(rng.choice(["all_units", "incremental"])),
        "fixed_order_cost": text(rng, 2, 40),
        "holding_cost_rate_per_year": text(rng, 0.1, 0.4),
        "demand_per_year": text(rng, 100, 5000, 0),
        "tiers": tiers,
    }


def discounted(case):
    k, rate, d = (
        float(case[n]) for n in ["fixed_order_cost", "holding_cost_rate_per_year", "demand_per_year"]
    )
    breaks = [float(t["from_quantity"]) for t in case["tiers"]]
    prices = [float(t["unit_cost"]) for t in case["tiers"]]
    solve = getattr(eoq, f"economic_order_quantity_with_{case['kind']}_discounts")
    quantity, tier, cost = solve(k, rate, d, breaks, prices)
    return {"order_quantity": quantity, "tier_index": tier, "total_cost_per_year": cost}


def draw_once(rng):
    case = {"overage_cost_per_unit": text(rng, 0.1, 3), "underage_cost_per_unit": text(rng, 0.2, 9)}
    if rng.random() < 0.5:
        return case | {"kind": "poisson_cost", "demand_mean": number(rng, 0.5, 40)}
    mean = number(rng, 5, 500)
    return case | {
        "kind": "normal_cost",
        "demand_mean": mean,
        "demand_sd": mean * float(rng.uniform(0.05, 0.3)),
    }


def once(case):
    over, under = float(case["overage_cost_per_unit"]), float(case["underage_cost_per_unit"])
    if case["kind"] == "poisson_cost":
        level, cost = newsvendor.newsvendor_poisson(over, under, case["demand_mean"])
    else:
        level, cost = newsvendor.newsvendor_normal(over, under, case["demand_mean"], case["demand_sd"])
    return {
        "critical_ratio": under / (over + under),
        "order_up_to_level": float(level),
        "expected_cost": cost,
    }


ROUTES = [
    Route("economic_order_quantity", "stockpyl eoq", draw_eoq, ordered, 1e-9),
    Route("pack_size_eoq", "every pack count tried", draw_packs, packs, 1e-9),
    Route("quantity_discounts", "stockpyl eoq with discounts", draw_discounts, discounted, 1e-8),
    Route("newsvendor", "stockpyl newsvendor", draw_once, once, 1e-9),
]
