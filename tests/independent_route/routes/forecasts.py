"""Forecasts of demand and their errors."""

import numpy as np
import pandas as pd
from statsforecast.models import TSB, CrostonClassic, CrostonSBA
from statsmodels.tsa.holtwinters import Holt, SimpleExpSmoothing
from utilsforecast import losses

from .route import Route, number


def series(rng, least=5, most=60, gaps=0.15):
    n = int(rng.integers(least, most))
    weeks = rng.poisson(number(rng, 2, 60), n) * (rng.random(n) > gaps)
    return [float(w) for w in weeks]


def draw_smoothing(rng):
    case = {
        "demand_per_week": series(rng),
        "alpha": number(rng, 0.05, 0.95),
        "initialisation": "first_observation",
    }
    if rng.random() < 0.5:
        case |= {"initialisation": "given_level", "initial_level": number(rng, 1, 60)}
    return case


def smoothed(case):
    weeks = np.array(case["demand_per_week"])
    level = case.get("initial_level", weeks[0])
    model = SimpleExpSmoothing(weeks, initialization_method="known", initial_level=level)
    fit = model.fit(smoothing_level=case["alpha"], optimized=False)
    shown = fit.fittedvalues.tolist()
    scored = slice(0 if "initial_level" in case else 1, None)
    return {
        "one_step_forecasts": shown if "initial_level" in case else [None, *shown[1:]],
        "forecast_next": fit.forecast(1)[0],
        "mean_squared_one_step_error": ((weeks - fit.fittedvalues)[scored] ** 2).mean(),
    }


def draw_trend(rng):
    case = {"demand_per_week": series(rng), "alpha": number(rng, 0.05, 0.95), "beta": number(rng, 0.02, 0.9)}
    case |= {"horizon_weeks": int(rng.integers(1, 8)), "initialisation": "first_two_observations"}
    if rng.random() < 0.5:
        case |= {
            "initialisation": "given_state",
            "initial_level": number(rng, 1, 60),
            "initial_trend": float(rng.normal(0, 2)),
        }
    return case


def trended(case):
    weeks = np.array(case["demand_per_week"])
    given = case["initialisation"] == "given_state"
    level, trend = (
        (case["initial_level"], case["initial_trend"]) if given else (weeks[0], weeks[1] - weeks[0])
    )
    model = Holt(
        weeks if given else weeks[1:], initialization_method="known", initial_level=level, initial_trend=trend
    )
    fit = model.fit(smoothing_level=case["alpha"], smoothing_trend=case["beta"], optimized=False)
    shown = fit.fittedvalues.tolist()
    return {
        "one_step_forecasts": shown if given else [None, *shown],
        "final_level": fit.level[-1],
        "final_trend": fit.trend[-1],
        "forecasts": fit.forecast(case["horizon_weeks"]).tolist(),
    }


def draw_gaps(rng):
    weeks = series(rng, 8, 80, gaps=rng.uniform(0.2, 0.85))
    if not any(weeks):
        weeks[-2] = 3.0
    # That library fixes Croston's own constant at 0.1.
    return {
        "demand_per_week": weeks,
        "alpha": 0.1,
        "alpha_demand": number(rng, 0.05, 0.5),
        "alpha_probability": number(rng, 0.05, 0.5),
    }


def with_gaps(case):
    weeks = np.array(case["demand_per_week"])
    one = lambda model: float(model.forecast(y=weeks, h=1)["mean"][0])
    return {
        "croston_forecast": one(CrostonClassic()),
        "sba_forecast": one(CrostonSBA()),
        "tsb_forecast": one(TSB(case["alpha_demand"], case["alpha_probability"])),
    }


def draw_errors(rng):
    n = int(rng.integers(1, 30))
    return {
        "kind": "point_forecast_errors",
        "actual": [float(x) for x in rng.poisson(8, n)],
        "forecast": [float(x) for x in rng.uniform(0, 20, n)],
        "training": [float(x) for x in rng.poisson(8, int(rng.integers(12, 60)))],
        "seasonal_lag_periods": int(rng.integers(1, 5)),
        "quantiles": [0.1, 0.5, 0.9],
    }


def scored(case):
    n, m = len(case["actual"]), len(case["training"])
    known = pd.DataFrame({"unique_id": "a", "ds": range(m), "y": case["training"]})
    frame = pd.DataFrame(
        {"unique_id": "a", "ds": range(m, m + n), "y": case["actual"], "f": case["forecast"]}
    )
    value = lambda loss, **more: float(loss(frame, models=["f"], **more)["f"].iloc[0])
    pinball = lambda q: float(losses.quantile_loss(frame, models={"f": "f"}, q=q)["f"].iloc[0])
    return {
        "bias_forecast_minus_actual": value(losses.bias),
        "mean_absolute_error": value(losses.mae),
        "root_mean_squared_error": value(losses.rmse),
        "mean_absolute_scaled_error": value(
            losses.mase, seasonality=case["seasonal_lag_periods"], train_df=known
        ),
        "pinball": [{"quantile": q, "mean_pinball_loss": pinball(q)} for q in case["quantiles"]],
    }


def draw_class(rng):
    weeks = series(rng, 8, 80, gaps=rng.uniform(0, 0.7))
    return {"kind": "from_series", "demand_per_week": weeks}


def classed(case):
    weeks = pd.Series(case["demand_per_week"])
    demands = weeks[weeks > 0]
    if demands.empty:
        return {"class": "no_demand"}
    interval = len(weeks) / len(demands)
    spread = 0.0 if len(demands) == 1 else (demands.std() / demands.mean()) ** 2
    name = [["smooth", "erratic"], ["intermittent", "lumpy"]][int(interval >= 1.32)][int(spread >= 0.49)]
    return {
        "average_demand_interval_weeks": interval,
        "squared_coefficient_of_variation": spread,
        "class": name,
    }


ROUTES = [
    Route(
        "simple_exponential_smoothing",
        "statsmodels SimpleExpSmoothing",
        draw_smoothing,
        smoothed,
        1e-9,
        floor=1e-3,
    ),
    Route("holt_linear_trend", "statsmodels Holt", draw_trend, trended, 1e-8, floor=1e-2),
    Route(
        "intermittent_demand_forecast",
        "statsforecast Croston, SBA, TSB",
        draw_gaps,
        with_gaps,
        1e-9,
        floor=1e-3,
    ),
    Route("forecast_error_measures", "utilsforecast losses", draw_errors, scored, 1e-9, floor=1e-6),
    Route("demand_classification", "pandas moments", draw_class, classed, 1e-9, floor=1e-6),
]
