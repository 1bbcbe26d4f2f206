"""When to reorder: service, lead times, running out."""

import datetime

from scipy import integrate, optimize, stats
from stockpyl import loss_functions, rq, ss

from .route import Route, number, text


def loss(z):
    """E[(Z - z)^+] by adding up the tail."""
    return integrate.quad(stats.norm.sf, z, z + 45, epsabs=0, epsrel=1e-12, limit=400, points=[z + 1, z + 4])[
        0
    ]


def draw_normal(rng):
    return [
        {"kind": "at_z", "z": float(rng.uniform(-5, 5))},
        {"kind": "z_for_probability", "probability": float(rng.uniform(0.001, 0.9999))},
        {"kind": "z_for_loss", "loss": number(rng, 1e-4, 3)},
    ][rng.integers(0, 3)]


def normal(case):
    if case["kind"] == "at_z":
        z = case["z"]
        return {"density": stats.norm.pdf(z), "cumulative_probability": stats.norm.cdf(z), "loss": loss(z)}
    if case["kind"] == "z_for_probability":
        return {"z": stats.norm.ppf(case["probability"])}
    return {"z": optimize.brentq(lambda z: loss(z) - case["loss"], -5, 6, xtol=1e-13)}


def draw_lead_time(rng):
    return {
        "demand_per_day_mean": number(rng, 0.5, 50),
        "demand_per_day_sd": number(rng, 0.1, 20),
        "lead_time_days_mean": number(rng, 1, 30),
        "lead_time_days_sd": float(rng.choice([0.0, rng.uniform(0.1, 8)])),
        "review_period_days": float(rng.choice([0.0, 7.0])),
        "cycle_service_level": float(rng.uniform(0.5, 0.999)),
    }


def lead_time(case):
    time = case["lead_time_days_mean"] + case["review_period_days"]
    # Variance of a random sum: expected variance plus variance of the expectation.
    variance = (
        time * case["demand_per_day_sd"] ** 2 + (case["demand_per_day_mean"] * case["lead_time_days_sd"]) ** 2
    )
    demand = stats.norm(time * case["demand_per_day_mean"], variance**0.5)
    point = demand.ppf(case["cycle_service_level"])
    return {
        "lead_time_demand_mean": demand.mean(),
        "lead_time_demand_sd": demand.std(),
        "safety_stock": point - demand.mean(),
        "reorder_point": point,
    }


def draw_count(rng):
    mean = number(rng, 0.2, 80)
    case = {
        "distribution": "poisson",
        "lead_time_demand_mean": mean,
        "service_probability": float(rng.uniform(0.5, 0.999)),
    }
    if rng.random() < 0.5:
        case |= {
            "distribution": "negative_binomial",
            "lead_time_demand_variance": mean * number(rng, 1.05, 6),
        }
    return case


def count(case):
    mean, level = case["lead_time_demand_mean"], case["service_probability"]
    if case["distribution"] == "poisson":
        demand = stats.poisson(mean)
    else:
        variance = case["lead_time_demand_variance"]
        demand = stats.nbinom(mean**2 / (variance - mean), mean / variance)
    point = int(demand.ppf(level))
    short = demand.expect(lambda x: x - point, lb=point + 1, ub=point + 4000, maxcount=5000, tolerance=1e-14)
    return {
        "reorder_point": point,
        "probability_at_reorder_point": demand.cdf(point),
        "probability_one_below": demand.cdf(point - 1),
        "expected_short": short,
    }


def draw_fill(rng):
    mean = number(rng, 10, 1000)
    case = {
        "variant": str(rng.choice(["per_cycle", "exact"])),
        "lead_time_demand_mean": mean,
        "lead_time_demand_sd": mean * float(rng.uniform(0.05, 0.6)),
        "order_quantity": mean * float(rng.uniform(0.5, 4)),
    }
    if rng.random() < 0.5:
        return case | {"kind": "reorder_point_for_fill_rate", "fill_rate": float(rng.uniform(0.85, 0.999))}
    return case | {"kind": "fill_rate_for_reorder_point", "reorder_point": mean * float(rng.uniform(0.8, 2))}


def fill(case):
    mean, sd, size = case["lead_time_demand_mean"], case["lead_time_demand_sd"], case["order_quantity"]

    def short(point):
        cycle = loss_functions.normal_loss(point, mean, sd)[0]
        carried = loss_functions.normal_loss(point + size, mean, sd)[0] if case["variant"] == "exact" else 0.0
        return cycle - carried

    if case["kind"] == "fill_rate_for_reorder_point":
        point = case["reorder_point"]
        return {"expected_short_per_cycle": short(point), "fill_rate": 1 - short(point) / size}
    wanted = (1 - case["fill_rate"]) * size
    point = optimize.brentq(lambda r: short(r) - wanted, mean - 2 * size - 8 * sd, mean + 8 * sd, xtol=1e-11)
    return {
        "reorder_point": point,
        "safety_stock": point - mean,
        "cycle_service_level": stats.norm.cdf(point, mean, sd),
    }


def draw_out(rng):
    bookings = []
    for _ in range(rng.integers(0, 4)):
        start = int(rng.integers(1, 30))
        bookings.append(
            {
                "from_day": start,
                "to_day": start + int(rng.integers(0, 5)),
                "demand_per_day": text(rng, 0.5, 9, 1),
            }
        )
    return {
        "as_of_date": "2025-03-03",
        "stock_level_units": text(rng, 5, 300, 1),
        "background_demand_per_day_mean": text(rng, 0.2, 9, 2),
        "background_demand_per_day_variance": text(rng, 0.1, 20, 2),
        "bookings": bookings,
        "risk_threshold": float(rng.choice([0.01, 0.05, 0.1])),
        "horizon_days": 60,
    }


def out(case):
    level, today = float(case["stock_level_units"]), datetime.date.fromisoformat(case["as_of_date"])
    mean, variance = (float(case[f"background_demand_per_day_{name}"]) for name in ["mean", "variance"])
    at_risk = expected = None
    for day in range(1, case["horizon_days"] + 1):
        booked = sum(
            float(b["demand_per_day"]) * max(0, min(day, b["to_day"]) - b["from_day"] + 1)
            for b in case["bookings"]
        )
        chance = stats.norm.sf(level, booked + mean * day, (variance * day) ** 0.5)
        at_risk = day if at_risk is None and chance >= case["risk_threshold"] else at_risk
        expected = day if expected is None and booked + mean * day >= level - 1e-9 else expected
    dated = lambda day: None if day is None else (today + datetime.timedelta(days=day)).isoformat()
    return {
        "first_day_at_risk": at_risk,
        "first_day_at_risk_date": dated(at_risk),
        "expected_run_out_day": expected,
        "expected_run_out_date": dated(expected),
    }


def draw_policy(rng):
    costs = {"holding_cost_per_unit_per_year": text(rng, 0.1, 20), "fixed_order_cost": text(rng, 2, 100)}
    costs["backorder_cost_per_unit_per_year"] = (
        f"{float(costs['holding_cost_per_unit_per_year']) * number(rng, 3, 40):.2f}"
    )
    year = number(rng, 20, 2000)
    demand = {
        "demand_per_year_mean": year,
        "demand_per_year_sd": year * float(rng.uniform(0.05, 0.3)),
        "lead_time_years": number(rng, 0.02, 0.5),
    }
    period = {
        "holding_cost_per_unit_per_period": text(rng, 0.2, 4),
        "backorder_cost_per_unit_per_period": text(rng, 4, 20),
        "fixed_order_cost": text(rng, 1, 20),
        "demand_per_period_mean": number(rng, 1, 9),
    }
    slow = {"demand_per_year_mean": number(rng, 1, 9), "lead_time_years": number(rng, 0.2, 2)}
    return [
        costs
        | demand
        | {"kind": "r_q_normal_cost", "reorder_point": year * 0.2, "order_quantity": year * 0.3},
        {"kind": "r_q_normal_eoq_plus_safety_stock", **costs, **demand},
        {"kind": "r_q_poisson_optimum", **costs, **slow},
        {"kind": "s_s_poisson_optimum", **period},
        {
            "kind": "s_s_poisson_cost",
            "reorder_level": 4,
            "order_up_to_level": int(rng.integers(8, 25)),
            **period,
        },
    ][rng.integers(0, 5)]


def policy(case):
    per = "period" if "demand_per_period_mean" in case else "year"
    h, p = (float(case[f"{name}_cost_per_unit_per_{per}"]) for name in ["holding", "backorder"])
    k = float(case["fixed_order_cost"])
    if per == "period":
        mean = case["demand_per_period_mean"]
        if case["kind"] == "s_s_poisson_cost":
            cost = ss.s_s_cost_discrete(
                case["reorder_level"], case["order_up_to_level"], h, p, k, use_poisson=True, demand_mean=mean
            )
            return {"cost_per_period": cost}
        return {"cost_per_period": ss.s_s_discrete_exact(h, p, k, use_poisson=True, demand_mean=mean)[2]}
    mean, time = case["demand_per_year_mean"], case["lead_time_years"]
    if case["kind"] == "r_q_poisson_optimum":
        return {"cost_per_year": rq.r_q_poisson_exact(h, p, k, mean, time)[2]}
    sd = case["demand_per_year_sd"]
    if case["kind"] == "r_q_normal_cost":
        return {
            "cost_per_year": rq.r_q_cost(
                case["reorder_point"], case["order_quantity"], h, p, k, mean, sd, time
            )
        }
    r, q = rq.r_q_eoqss_approximation(h, p, k, mean, sd, time)
    return {"reorder_point": r, "order_quantity": q}


ROUTES = [
    Route(
        "normal_service_factor_and_loss", "scipy norm, quad, brentq", draw_normal, normal, 1e-8, floor=1e-4
    ),
    Route("lead_time_demand_safety_stock", "scipy norm", draw_lead_time, lead_time, 1e-8, floor=1e-3),
    Route(
        "discrete_lead_time_demand_quantiles", "scipy poisson, nbinom", draw_count, count, 1e-8, floor=1e-6
    ),
    Route(
        "fill_rate_reorder_point", "stockpyl loss functions, scipy brentq", draw_fill, fill, 1e-9, floor=1e-2
    ),
    Route("run_out_date", "scipy norm", draw_out, out, 0.0),
    Route("reorder_policies", "stockpyl rq and ss", draw_policy, policy, 1e-9),
]
