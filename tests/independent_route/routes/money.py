"""Rounding, sharing, pay, fees and prices, against Python's decimals and fractions."""

from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal
from fractions import Fraction
from math import ceil, floor

from iso4217 import Currency

from .exact_numbers import plain, to_step
from .route import Route


def draw_rounding(rng):
    return {"value": plain(rng, -1e6, 1e6, int(rng.integers(0, 9))), "decimal_places": int(rng.integers(-3, 7))}


def rounding(case):
    value, step = Decimal(case["value"]), Decimal(1).scaleb(-case["decimal_places"])
    rounded = lambda mode: str(value.quantize(step, mode) + 0)
    return {"half_up": rounded(ROUND_HALF_UP), "half_even": rounded(ROUND_HALF_EVEN)}


def draw_shares(rng):
    digits = int(rng.choice([0, 2, 3]))
    weights = [plain(rng, 0, 100, int(rng.integers(0, 4))) for _ in range(rng.integers(1, 9))]
    return {"total": plain(rng, -1e4, 1e4, digits), "weights": [*weights, "1"], "minor_unit_digits": digits}


def shares(case):
    total, digits = Fraction(case["total"]), case["minor_unit_digits"]
    weights = [Fraction(weight) for weight in case["weights"]]
    quotas = [abs(total) * 10**digits * weight / sum(weights) for weight in weights]
    dealt = [floor(quota) for quota in quotas]
    by_rest = sorted(range(len(quotas)), key=lambda i: (dealt[i] - quotas[i], i))
    for i in by_rest[: int(abs(total) * 10**digits) - sum(dealt)]:
        dealt[i] += 1
    sign = -1 if total < 0 else 1
    return {"shares": [to_step(Fraction(sign * share, 10**digits), digits) for share in dealt]}


def draw_currency(rng):
    kept = [currency for currency in Currency if currency.exponent is not None]
    return {"currency": str(rng.choice([c.code for c in kept])), "amount": plain(rng, -1e5, 1e5, 5)}


def minor_units(case):
    digits = Currency(case["currency"]).exponent
    counted = to_step(Fraction(case["amount"]) * 10**digits, 0)
    return {"minor_unit_digits": digits, "minor_units": int(counted)}


def draw_card(rng):
    digits = int(rng.choice([0, 2]))
    return {
        "target_net": plain(rng, 0, 3000, digits),
        "fee_fraction": plain(rng, 0, 0.09, 4),
        "fee_fixed": plain(rng, 0, 1, digits),
        "minor_unit_digits": digits,
    }


def card_fee(case):
    """Tries every charge from the wanted amount upwards."""
    digits, target = case["minor_unit_digits"], Fraction(case["target_net"])
    fraction, fixed = Fraction(case["fee_fraction"]), Fraction(case["fee_fixed"])
    fee = lambda charge: Fraction(to_step(charge * fraction + fixed, digits))
    charge = target
    while charge - fee(charge) < target:
        charge += Fraction(1, 10**digits)
    unrounded = (target + fixed) / (1 - fraction)
    return {
        "unrounded_charge": unrounded,
        "charge": to_step(charge, digits),
        "fee": to_step(fee(charge), digits),
        "net_received": to_step(charge - fee(charge), digits),
        "charge_by_rounding_the_formula": to_step(unrounded, digits),
    }


def draw_price(rng):
    return {
        "total_cost": plain(rng, 1, 900),
        "target_margin_fraction": plain(rng, 0, 0.8, 3),
        "card_fee_fraction": plain(rng, 0, 0.09, 4),
        "card_fee_fixed": plain(rng, 0, 1),
        "minor_unit_digits": 2,
    }


def target_price(case):
    cost, margin = Fraction(case["total_cost"]), Fraction(case["target_margin_fraction"])
    fraction, fixed = Fraction(case["card_fee_fraction"]), Fraction(case["card_fee_fixed"])
    exact = (cost + fixed) / (1 - margin - fraction)
    price = Fraction(ceil(exact * 100), 100)
    fee = Fraction(to_step(price * fraction + fixed))
    return {
        "price_unrounded": exact,
        "price": to_step(price),
        "card_fee": to_step(fee),
        "profit": to_step(price - cost - fee),
        "achieved_margin_fraction": (price - cost - fee) / price,
        "equivalent_markup_on_cost": margin / (1 - margin),
    }


def draw_week(rng):
    hours = lambda: plain(rng, 0.5, 30)
    case = {
        "work": [{"hours": hours(), "hourly_rate": plain(rng, 9, 60)} for _ in range(rng.integers(1, 4))],
        "piece_rate_earnings": plain(rng, 0, 900),
        "piece_rate_hours": hours(),
        "bonus": plain(rng, 0, 200),
        "overtime_threshold_hours": "40",
        "overtime_multiplier": str(rng.choice(["1.5", "2"])),
    }
    if rng.random() < 0.3:
        case["guaranteed_hourly_rate"] = plain(rng, 10, 40)
    return case


def overtime(case):
    hours = sum(Fraction(w["hours"]) for w in case["work"]) + Fraction(case["piece_rate_hours"])
    earned = sum(Fraction(w["hours"]) * Fraction(w["hourly_rate"]) for w in case["work"])
    earned += Fraction(case["piece_rate_earnings"])
    earned = max(earned, hours * Fraction(case.get("guaranteed_hourly_rate", "0")))
    paid = earned + Fraction(case["bonus"])
    beyond = max(0, hours - Fraction(case["overtime_threshold_hours"]))
    premium = (Fraction(case["overtime_multiplier"]) - 1) * paid / hours * beyond
    return {
        "total_hours": hours,
        "total_remuneration": paid,
        "regular_rate": paid / hours,
        "overtime_hours": Fraction(beyond),
        "overtime_premium": premium,
        "overtime_premium_rounded": to_step(premium),
        "total_pay": to_step(paid + premium),
    }


def draw_taxes(rng):
    rate = lambda high: plain(rng, 0, high, 4)
    return {
        "gross_wages": plain(rng, 0, 9000),
        "year_to_date_wages_before": plain(rng, 0, 20000),
        "social_security_rate": rate(0.08),
        "social_security_wage_base": plain(rng, 0, 30000, 0),
        "medicare_rate": rate(0.02),
        "federal_unemployment_rate": rate(0.01),
        "federal_unemployment_wage_base": "7000",
        "state_unemployment_rate": rate(0.08),
        "state_unemployment_wage_base": plain(rng, 7000, 40000, 0),
    }


def taxes(case):
    """Taxes the year with this pay, less the year without it."""
    before, gross = Fraction(case["year_to_date_wages_before"]), Fraction(case["gross_wages"])
    result, total = {}, Fraction(0)
    for name in ["social_security", "medicare", "federal_unemployment", "state_unemployment"]:
        base = Fraction(case.get(f"{name}_wage_base", 10**12))
        taxed = min(before + gross, base) - min(before, base)
        result[name] = to_step(taxed * Fraction(case[f"{name}_rate"]))
        total += Fraction(result[name])
    return {**result, "employer_payroll_tax_total": to_step(total)}


def draw_mileage(rng):
    leg = lambda: {"miles": plain(rng, 0, 90, 1), "rate_per_mile": plain(rng, 0, 1, 3)}
    return {"legs": [leg() for _ in range(rng.integers(0, 12))]}


def mileage(case):
    amount = sum((Fraction(leg["miles"]) * Fraction(leg["rate_per_mile"]) for leg in case["legs"]), Fraction(0))
    return {"amount": to_step(amount), "amount_exact": amount}


def draw_asset(rng):
    salvage = plain(rng, 0, 9000)
    asset = {"cost": to_step(Fraction(salvage) + Fraction(plain(rng, 1, 40000))), "salvage_value": salvage}
    if rng.random() < 0.5:
        years, months = int(rng.integers(1, 15)), int(rng.integers(1, 13))
        return asset | {"method": "straight_line", "life_years": str(years), "months_in_first_year": str(months)}
    used = [plain(rng, 0, 500, 1) for _ in range(rng.integers(1, 12))]
    return asset | {"method": "units_of_production", "life_units": plain(rng, 500, 3000, 1), "units_used": used}


def depreciation(case):
    salvage, cost = Fraction(case["salvage_value"]), Fraction(case["cost"])
    base = left = cost - salvage
    if case["method"] == "straight_line":
        years, months = int(case["life_years"]), int(case["months_in_first_year"])
        wanted = [base * months / 12 / years] + [base / years] * (years - 1) + [base]
        wanted = wanted if months < 12 else wanted[1:]
    else:
        wanted = [base * Fraction(used) / Fraction(case["life_units"]) for used in case["units_used"]]
    charges, values = [], []
    for charge in wanted:
        charge = min(Fraction(to_step(charge)), left)
        left -= charge
        charges.append(to_step(charge))
        values.append(to_step(left + salvage))
    return {"depreciable_base": to_step(base), "schedule": charges, "closing_book_values": values}


def draw_overhead(rng):
    return {
        "estimated_overhead": plain(rng, 1000, 300000),
        "estimated_base": plain(rng, 100, 9000, 1),
        "actual_base": plain(rng, 100, 9000, 1),
        "actual_overhead": plain(rng, 1000, 300000),
    }


def overhead(case):
    rate = Fraction(case["estimated_overhead"]) / Fraction(case["estimated_base"])
    applied = to_step(rate * Fraction(case["actual_base"]))
    under = Fraction(case["actual_overhead"]) - Fraction(applied)
    return {"predetermined_rate": rate, "applied_overhead": applied, "under_applied": to_step(under)}


def draw_break_even(rng):
    cost = plain(rng, 1, 200)
    return {
        "price_per_unit": to_step(Fraction(cost) + Fraction(plain(rng, 1, 300))),
        "variable_cost_per_unit": cost,
        "fixed_costs": plain(rng, 0, 20000),
        "target_profit_after_tax": plain(rng, 0, 9000),
        "tax_rate": plain(rng, 0, 0.5),
        "units_sold": plain(rng, 0, 300, 0),
    }


def break_even(case):
    price, cost = Fraction(case["price_per_unit"]), Fraction(case["variable_cost_per_unit"])
    fixed, sold = Fraction(case["fixed_costs"]), Fraction(case["units_sold"])
    profit = Fraction(case["target_profit_after_tax"]) / (1 - Fraction(case["tax_rate"]))
    units, wanted = fixed / (price - cost), (fixed + profit) / (price - cost)
    return {
        "contribution_ratio": (price - cost) / price,
        "break_even_units_exact": units,
        "break_even_units": str(ceil(units)),
        "break_even_revenue": units * price,
        "target_units_exact": wanted,
        "target_units": str(ceil(wanted)),
        "operating_income": sold * (price - cost) - fixed,
        "margin_of_safety_revenue": (sold - units) * price,
    }


FRACTIONS = "Python fractions"
ROUTES = [
    Route("rounding", "Python decimal, quantize", draw_rounding, rounding, 0.0),
    Route("cents_allocation", FRACTIONS, draw_shares, shares, 0.0),
    Route("currency_minor_units", "iso4217 package's list", draw_currency, minor_units, 0.0),
    Route("card_fee", "trying every charge, Python fractions", draw_card, card_fee, 1e-15),
    Route("target_price", FRACTIONS, draw_price, target_price, 1e-15),
    Route("overtime", FRACTIONS, draw_week, overtime, 1e-15),
    Route("payroll_burden", "the year with and without the pay, Python fractions", draw_taxes, taxes, 0.0),
    Route("mileage", FRACTIONS, draw_mileage, mileage, 1e-15),
    Route("depreciation", FRACTIONS, draw_asset, depreciation, 0.0),
    Route("overhead", FRACTIONS, draw_overhead, overhead, 1e-15),
    Route("cost_volume_profit", FRACTIONS, draw_break_even, break_even, 1e-15),
]
