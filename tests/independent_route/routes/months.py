"""The margin bridge and the variances, by putting one month's figures into the other one at a time."""

from fractions import Fraction
from math import floor

from .exact_numbers import plain, to_step
from .route import Route

FACTORS = ["price", "usage", "material_price", "hours", "rate"]


def draw_month(rng):
    services = {}
    for name in rng.choice(["wash", "one step", "full", "inside", "coating"], rng.integers(0, 5), replace=False):
        materials = rng.choice(["soap", "polish", "pads", "tape"], rng.integers(0, 4), replace=False)
        services[str(name)] = {
            "jobs": plain(rng, 1, 90, 0),
            "price": plain(rng, 40, 900),
            "materials": [
                {"name": str(m), "usage": plain(rng, 0, 90, 1), "price": plain(rng, 0, 2, 4)} for m in materials
            ],
            "labour_hours": plain(rng, 0, 12),
            "labour_rate": plain(rng, 15, 45),
        }
    return {"other_costs": plain(rng, 0, 9000), "services": services}


def draw_bridge(rng):
    return {"base_month": draw_month(rng), "actual_month": draw_month(rng)}


def card(service):
    return {
        "price": Fraction(service["price"]),
        "usage": {m["name"]: Fraction(m["usage"]) for m in service["materials"]},
        "material_price": {m["name"]: Fraction(m["price"]) for m in service["materials"]},
        "hours": Fraction(service["labour_hours"]),
        "rate": Fraction(service["labour_rate"]),
    }


def unit_margin(card):
    material = sum(
        (used * card["material_price"].get(name, 0) for name, used in card["usage"].items()), Fraction(0)
    )
    return card["price"] - material - card["hours"] * card["rate"]


def bridge(case):
    before, now = case["base_month"]["services"], case["actual_month"]["services"]
    names = sorted({*before, *now})
    jobs = lambda month, name: Fraction(month[name]["jobs"]) if name in month else Fraction(0)
    q0, q1 = {n: jobs(before, n) for n in names}, {n: jobs(now, n) for n in names}
    old = {n: card(before.get(n) or now[n]) for n in names}
    new = {n: card(now.get(n) or before[n]) for n in names}
    for n in names:
        # A material on one side only: none of it on the other, at the same price.
        for a, b in [(old[n], new[n]), (new[n], old[n])]:
            for material, price in a["material_price"].items():
                b["material_price"].setdefault(material, price)
                b["usage"].setdefault(material, Fraction(0))
    margin = lambda q, cards: sum((q[n] * unit_margin(cards[n]) for n in names), Fraction(0))
    before_all, now_all = sum(q0.values()), sum(q1.values())
    scaled = {n: q0[n] * now_all / before_all for n in names} if before_all else q1
    states = [margin(q0, old), margin(scaled, old), margin(q1, old)]
    mixed = {n: dict(old[n]) for n in names}
    for factor in FACTORS:
        for n in names:
            mixed[n][factor] = new[n][factor]
        states.append(margin(q1, mixed))
    other = [Fraction(case[month]["other_costs"]) for month in ("base_month", "actual_month")]
    steps = [b - a for a, b in zip(states, states[1:])] + [other[0] - other[1]]
    ends = [Fraction(to_step(states[0] - other[0])), Fraction(to_step(states[-1] - other[1]))]
    order = ["volume", "mix", "price", "material_usage", "material_price"]
    order += ["labour_efficiency", "labour_rate", "other"]
    return {
        "base_margin": to_step(ends[0]),
        "actual_margin": to_step(ends[1]),
        "change": to_step(ends[1] - ends[0]),
        "steps": dict(zip(order, dealt(steps, ends[1] - ends[0]))),
        "steps_exact": dict(zip(order, steps)),
    }


def dealt(steps, change):
    cents = [floor(step * 100) for step in steps]
    rests = [step * 100 - cent for step, cent in zip(steps, cents)]
    missing = int(change * 100) - sum(cents)
    order = sorted(range(len(steps)), key=lambda i: (-rests[i], i))
    for i in order[:missing] if missing >= 0 else order[missing:]:
        cents[i] += 1 if missing > 0 else -1
    return [to_step(Fraction(cent, 100)) for cent in cents]


def draw_cost(rng):
    return {
        "kind": "direct_material",
        "actual_quantity": plain(rng, 0, 900),
        "actual_price": plain(rng, 0, 9, 4),
        "standard_quantity": plain(rng, 0, 900),
        "standard_price": plain(rng, 0, 9, 4),
    }


def cost(case):
    aq, ap = Fraction(case["actual_quantity"]), Fraction(case["actual_price"])
    sq, sp = Fraction(case["standard_quantity"]), Fraction(case["standard_price"])
    return {"price_variance": aq * ap - aq * sp, "quantity_variance": aq * sp - sq * sp,
            "total_variance": aq * ap - sq * sp}  # fmt: skip


def draw_sales(rng):
    product = lambda i: {
        "name": f"service {i}",
        "budget_units": plain(rng, 1, 200, 0),
        "budget_price": plain(rng, 40, 900),
        "budget_contribution_per_unit": plain(rng, -20, 500),
        "actual_units": plain(rng, 0, 200, 0),
        "actual_price": plain(rng, 40, 900),
    }
    market = {"budget_market_units": plain(rng, 500, 9000, 0), "actual_market_units": plain(rng, 500, 9000, 0)}
    return {"products": [product(i) for i in range(rng.integers(1, 6))], "market": market}


def sales(case):
    """Plan, plan at the market's size, at our share of it, at our mix, at our prices."""
    f = lambda name: [Fraction(product[name]) for product in case["products"]]
    plan, sold, unit = f("budget_units"), f("actual_units"), f("budget_contribution_per_unit")
    growth = Fraction(case["market"]["actual_market_units"]) / Fraction(case["market"]["budget_market_units"])
    dot = lambda a, b: sum((x * y for x, y in zip(a, b)), Fraction(0))
    planned, by_market = dot(plan, unit), dot(plan, unit) * growth
    by_units, by_mix = dot(plan, unit) * sum(sold) / sum(plan), dot(sold, unit)
    return {
        "market_size_variance": by_market - planned,
        "market_share_variance": by_units - by_market,
        "sales_quantity_variance": by_units - planned,
        "sales_mix_variance": by_mix - by_units,
        "sales_volume_variance": by_mix - planned,
        "sales_price_variance": dot(sold, f("actual_price")) - dot(sold, f("budget_price")),
    }


ROUTES = [
    Route("margin_bridge", "replacing factors one by one, Python fractions", draw_bridge, bridge, 1e-12, 1e-9),
    Route("cost_variances", "Python fractions", draw_cost, cost, 1e-15),
    Route("sales_variances", "moving the plan step by step, Python fractions", draw_sales, sales, 1e-12, 1e-9),
]
