"""Units, dilutions and the value of stock."""

from collections import deque
from fractions import Fraction

import pint

from .exact_numbers import plain, to_step
from .route import Route

REGISTRY = pint.UnitRegistry(non_int_type=Fraction)
KINDS = [
    {"ml": "milliliter", "l": "liter", "us_gal": "US_liquid_gallon", "us_qt": "US_liquid_quart",
     "us_pt": "US_pint", "us_fl_oz": "US_fluid_ounce", "imp_gal": "imperial_gallon",
     "imp_fl_oz": "imperial_fluid_ounce"},
    {"g": "gram", "kg": "kilogram", "lb_av": "pound", "oz_av": "ounce"},
    {"m": "meter", "km": "kilometer", "mile": "mile", "ft": "foot", "inch": "inch", "mil": "thou",
     "mm": "millimeter", "um": "micrometer"},
    {"m2": "meter ** 2", "ft2": "foot ** 2", "in2": "inch ** 2"},
]  # fmt: skip


def draw_unit(rng):
    kind = sorted(KINDS[rng.integers(len(KINDS))])
    return {
        "value": plain(rng, 0.01, 9000, 3),
        "from_unit": str(rng.choice(kind)),
        "to_unit": str(rng.choice(kind)),
    }


def unit(case):
    names = {code: name for kind in KINDS for code, name in kind.items()}
    quantity = REGISTRY.Quantity(Fraction(case["value"]), names[case["from_unit"]])
    return {"value": Fraction(quantity.to(names[case["to_unit"]]).magnitude)}


def draw_dilution(rng):
    return {
        "product_parts": plain(rng, 1, 5, 1),
        "water_parts": plain(rng, 0, 300, 0),
        "ready_to_use_ml": plain(rng, 100, 20000, 0),
        "concentrate_pack_ml": plain(rng, 250, 5000, 3),
        "concentrate_pack_price": plain(rng, 5, 90),
    }


def dilution(case):
    p, w = Fraction(case["product_parts"]), Fraction(case["water_parts"])
    litres = Fraction(case["ready_to_use_ml"]) / 1000
    per_litre = Fraction(case["concentrate_pack_price"]) / Fraction(case["concentrate_pack_ml"]) * 1000
    return {
        "concentrate_ml": litres * 1000 / (1 + w / p),
        "dilution_factor": 1 + w / p,
        "cost_per_ready_to_use_litre": per_litre / (1 + w / p),
        "cost_of_batch_rounded": to_step(per_litre / (1 + w / p) * litres),
    }


def draw_events(rng):
    """Whole hundredths of a unit, and never more asked for than there is."""
    events, on_hand, receipts, issues = [], 0, {}, {}
    for seq in range(1, int(rng.integers(3, 25))):
        kind = str(rng.choice(["receipt", "issue", "issue", "write_off", "return_from_job"]))
        held = {name: left for name, left in issues.items() if left}
        if kind == "return_from_job" and held:
            name = str(rng.choice(sorted(held)))
            amount = int(rng.integers(1, held[name] + 1))
            issues[name] -= amount
            on_hand += amount
            event = {"type": kind, "issue_id": name}
        elif kind in ("issue", "write_off") and on_hand:
            amount = int(rng.integers(1, on_hand + 1))
            on_hand -= amount
            event = {"type": kind}
            if kind == "issue":
                event["issue_id"] = f"I{seq}"
                issues[f"I{seq}"] = amount
        else:
            amount = int(rng.integers(1, 400))
            on_hand += amount
            event = {"type": "receipt", "receipt_id": f"R{seq}", "unit_cost": plain(rng, 0, 20, 4)}
            receipts[f"R{seq}"] = amount
        events.append(event | {"seq": seq, "quantity": to_step(Fraction(amount, 100))})
    return {"events": events}


def steps(event):
    return int(Fraction(event["quantity"]) * 100)


def fifo(case):
    """One token per hundredth of a unit, each with its receipt and its price."""
    queue, issues, costs, used, written = deque(), {}, [], Fraction(0), Fraction(0)
    for event in case["events"]:
        count = steps(event)
        if event["type"] == "receipt":
            price = Fraction(event["unit_cost"]) / 100
            queue.extend((event["seq"], event["receipt_id"], price) for _ in range(count))
            continue
        if event["type"] == "return_from_job":
            moved = [issues[event["issue_id"]].pop() for _ in range(count)]
            queue = deque(sorted([*moved, *queue], key=lambda token: token[0]))
            sign = -1
        else:
            moved = [queue.popleft() for _ in range(count)]
            issues[event.get("issue_id")] = list(moved)
            sign = 1
        cost = sum((token[2] for token in moved), Fraction(0))
        costs.append({"seq": event["seq"], "cost": cost})
        written += cost if event["type"] == "write_off" else 0
        used += sign * cost if event["type"] != "write_off" else 0
    layers = {}
    for _, name, _ in queue:
        layers[name] = layers.get(name, 0) + 1
    return {
        "event_costs": costs,
        "cost_of_goods_used": used,
        "write_off_cost": written,
        "closing_quantity": Fraction(len(queue), 100),
        "closing_value": sum((token[2] for token in queue), Fraction(0)),
        "closing_layers": [
            {"receipt_id": name, "quantity": Fraction(count, 100)} for name, count in layers.items()
        ],
    }


def moving_average(case):
    """Quantity and average only, as a card in a drawer would be kept."""
    quantity, average, left_at, costs, averages = Fraction(0), Fraction(0), {}, [], []
    for event in case["events"]:
        moved = Fraction(event["quantity"])
        if event["type"] in ("receipt", "return_from_job"):
            back = event["type"] == "return_from_job"
            price = left_at[event["issue_id"]] if back else Fraction(event["unit_cost"])
            average = (quantity * average + moved * price) / (quantity + moved)
            quantity += moved
        else:
            price, quantity = average, quantity - moved
            left_at[event.get("issue_id")] = average
        if event["type"] != "receipt":
            costs.append({"seq": event["seq"], "cost": moved * price})
        averages.append({"seq": event["seq"], "unit_cost": average if quantity else None})
    return {
        "event_costs": costs,
        "average_unit_cost_after_event": averages,
        "closing_quantity": quantity,
        "closing_value": quantity * average,
    }


ROUTES = [
    Route("units", "Pint", draw_unit, unit, 1e-15),
    Route("dilution", "Python fractions", draw_dilution, dilution, 1e-15),
    Route("stock_costing_fifo", "a token per unit, Python fractions", draw_events, fifo, 0.0),
    Route("stock_costing_moving_average", "Python fractions", draw_events, moving_average, 1e-7, 1e-3),
]
