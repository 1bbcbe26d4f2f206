"""Test spots."""

import numpy as np
import statsmodels.api as sm
from scipy import stats

from .route import Route, number


def draw(rng):
    stages = []
    for i in range(rng.integers(1, 4)):
        spots = [
            {"area_m2": number(rng, 0.1, 0.6, 2), "amount": number(rng, 2, 40, 1)}
            for _ in range(rng.integers(1, 7))
        ]
        stage = {
            "name": f"stage {i}",
            "counts_towards_minutes": bool(rng.random() < 0.6),
            "measurements": spots,
        }
        if rng.random() < 0.4:
            stage |= {
                "unit_size": number(rng, 0.02, 0.2),
                "unit_size_relative_sd": float(rng.uniform(0, 0.4)),
            }
        stages.append(stage)
    return {
        "confidence": float(rng.choice([0.8, 0.9, 0.95])),
        "fallback_log_sd": number(rng, 0.1, 0.6),
        "vehicle_section_areas_m2": [number(rng, 0.3, 3, 2) for _ in range(rng.integers(1, 14))],
        "stages": stages,
    }


def project(case):
    area = sum(case["vehicle_section_areas_m2"])
    shown, minutes = [], []
    for stage in case["stages"]:
        rates = np.log([m["amount"] / m["area_m2"] for m in stage["measurements"]])
        k, scale = len(rates), area * stage.get("unit_size", 1.0)
        extra = np.log1p(stage.get("unit_size_relative_sd", 0.0) ** 2)
        if k == 1:
            mean, sd, q = rates[0], case["fallback_log_sd"], stats.norm.ppf((1 + case["confidence"]) / 2)
            half = q * np.sqrt(2 * sd**2 + extra)
        else:
            # The prediction interval of a regression on nothing but a constant, widened by the unit's spread.
            model = sm.OLS(rates, np.ones(k)).fit()
            predicted = model.get_prediction([[1.0]])
            mean, sd = predicted.predicted_mean[0], np.sqrt(model.mse_resid)
            low, high = predicted.conf_int(obs=True, alpha=1 - case["confidence"])[0]
            q = stats.t.ppf((1 + case["confidence"]) / 2, k - 1)
            half = np.hypot((high - low) / 2, q * np.sqrt(extra))
        line = {
            "name": stage["name"],
            "k": k,
            "median_total": scale * np.exp(mean),
            "lower_total": scale * np.exp(mean - half),
            "upper_total": scale * np.exp(mean + half),
            "mean_total": scale * stats.lognorm.mean(sd, scale=np.exp(mean))
            if sd > 0
            else scale * np.exp(mean),
            "section_medians": [a * scale / area * np.exp(mean) for a in case["vehicle_section_areas_m2"]],
        }
        shown.append(line)
        if stage["counts_towards_minutes"]:
            minutes.append(line)
    result = {"stages": shown, "vehicle_area_m2": area}
    if minutes:
        total = lambda name: sum(line[f"{name}_total"] for line in minutes)
        result["total_minutes"] = {
            f"{name}_sum": total(name) for name in ["median", "lower", "upper", "mean"]
        }
    return result


ROUTES = [Route("test_spot_projection", "statsmodels OLS prediction; scipy lognorm", draw, project, 1e-9)]
