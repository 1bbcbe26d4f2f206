"""Bottles, drops and films."""

import math
from decimal import Decimal, getcontext

import numpy as np
from filterpy.kalman import KalmanFilter
from scipy import constants
from statsmodels.stats.meta_analysis import combine_effects

from .route import Route, number, text

getcontext().prec = 40


def draw_bottle(rng):
    nominal = number(rng, 30, 1000, 0)
    true_size, density, tare = number(rng, 0.02, 0.2), number(rng, 0.7, 1.3, 3), number(rng, 10, 80, 1)
    left, events = nominal, []
    for _ in range(rng.integers(1, 40)):
        if rng.random() < 0.25:
            slip = rng.normal(0, 0.6) + (rng.random() < 0.1) * rng.choice([-100.0, 100.0])
            events.append({"type": "weigh_in", "gross_g": round(tare + left * density + slip, 1)})
        else:
            drops = int(rng.integers(1, 120))
            left -= drops * true_size
            events.append({"type": "count", "drops": drops})
    return {
        "prior_ml_per_drop": number(rng, 0.02, 0.3),
        "prior_ml_per_drop_sd": number(rng, 0.005, 0.1),
        "drop_sd_ml": number(rng, 0.001, 0.05),
        "drift_sd_ml_per_use": number(rng, 1e-5, 0.005),
        "scale_sd_g": number(rng, 0.05, 2.0),
        "tare_sd_g": number(rng, 0.05, 1.0),
        "flag_sigma": 4.0,
        "nominal_ml": nominal,
        "initial_remaining_ml": nominal,
        "initial_remaining_sd_ml": number(rng, 0.1, 20),
        "tare_g": tare,
        "density_g_per_ml": density,
        "events": events,
    }


def filtered(case):
    kf = KalmanFilter(dim_x=2, dim_z=1)
    kf.x = np.array([[case["initial_remaining_ml"]], [case["prior_ml_per_drop"]]])
    kf.P = np.diag([case["initial_remaining_sd_ml"] ** 2, case["prior_ml_per_drop_sd"] ** 2])
    kf.H = np.array([[1.0, 0.0]])
    r = (case["scale_sd_g"] ** 2 + case["tare_sd_g"] ** 2) / case["density_g_per_ml"] ** 2
    steps = []
    for event in case["events"]:
        step = {"flagged": False}
        if event["type"] == "count":
            n = event["drops"]
            q = np.diag([n * case["drop_sd_ml"] ** 2, case["drift_sd_ml_per_use"] ** 2])
            kf.predict(F=np.array([[1.0, -n], [0.0, 1.0]]), Q=q)
        else:
            z = (event["gross_g"] - case["tare_g"]) / case["density_g_per_ml"]
            innovation, sd = z - kf.x[0, 0], math.sqrt(kf.P[0, 0] + r)
            step |= {"measured_remaining_ml": z, "innovation_ml": innovation, "innovation_sd_ml": sd}
            step["flagged"] = bool(abs(innovation) > case["flag_sigma"] * sd)
            if not step["flagged"]:
                kf.update(np.array([[z]]), R=np.array([[r]]))
        step |= {"remaining_ml": kf.x[0, 0], "ml_per_drop": kf.x[1, 0], "covariance": kf.P.tolist()}
        step |= {"remaining_sd_ml": math.sqrt(kf.P[0, 0]), "ml_per_drop_sd": math.sqrt(kf.P[1, 1])}
        step["reported_remaining_ml"] = min(max(kf.x[0, 0], 0.0), case["nominal_ml"])
        steps.append(step)
    return {"measurement_variance_ml2": r, "steps": steps}


def draw_pool(rng):
    k = int(rng.integers(0, 12))
    if rng.random() < 0.5 and k >= 3:
        estimates = [float(x) for x in rng.normal(0.06, 0.01, k)]
        return {
            "kind": "estimate_tau",
            "estimates": estimates,
            "variances": [number(rng, 1e-6, 1e-4) for _ in range(k)],
        }
    return {
        "kind": "group_update",
        "prior_mean_ml_per_drop": number(rng, 0.02, 0.2),
        "prior_sd_ml_per_drop": number(rng, 0.005, 0.1),
        "between_bottle_sd_ml": float(rng.choice([0.0, number(rng, 0.001, 0.05)])),
        "bottle_ml_per_drop": [number(rng, 0.02, 0.2) for _ in range(k)],
        "bottle_sd_ml_per_drop": [number(rng, 0.001, 0.05) for _ in range(k)],
    }


def pooled(case):
    if case["kind"] == "estimate_tau":
        found = combine_effects(np.array(case["estimates"]), np.array(case["variances"]), method_re="dl")
        if found.tau2 < 0:
            # That library weighs with the negative variance it finds; cut off at zero, both models are one.
            found.mean_effect_re, found.sd_eff_w_re = found.mean_effect_fe, found.sd_eff_w_fe
        return {
            "fixed_effect_mean": found.mean_effect_fe,
            "fixed_effect_se": found.sd_eff_w_fe,
            "cochran_q": found.q,
            "between_variance_tau2": max(0.0, found.tau2),
            "random_effects_mean": found.mean_effect_re,
            "random_effects_se": found.sd_eff_w_re,
        }
    # The joint normal of (mu, every bottle, a new bottle) and the measurements, conditioned by linear algebra.
    d, s = np.array(case["bottle_ml_per_drop"]), np.array(case["bottle_sd_ml_per_drop"])
    v0, tau2, k = case["prior_sd_ml_per_drop"] ** 2, case["between_bottle_sd_ml"] ** 2, len(d)
    hidden = np.full((k + 2, k + 2), v0) + np.diag([0.0] + [tau2] * (k + 1))
    seen = hidden[1 : k + 1, 1 : k + 1] + np.diag(s**2)
    gain = np.linalg.solve(seen, hidden[1 : k + 1, :]).T if k else np.zeros((k + 2, 0))
    mean = case["prior_mean_ml_per_drop"] + gain @ (d - case["prior_mean_ml_per_drop"])
    sd = np.sqrt(np.diag(hidden - gain @ hidden[1 : k + 1, :]))
    return {
        "group_mean_ml_per_drop": mean[0],
        "group_mean_sd_ml": sd[0],
        "new_bottle_prior_mean_ml_per_drop": mean[k + 1],
        "new_bottle_prior_sd_ml": sd[k + 1],
        "shrunk_bottle_ml_per_drop": mean[1 : k + 1].tolist(),
        "shrunk_bottle_sd_ml": sd[1 : k + 1].tolist(),
    }


def draw_drops(rng):
    drops = int(rng.integers(1, 5000))
    return [
        {"drops": drops, "ml_per_drop": text(rng, 0.01, 0.5, 4)},
        {"drops": drops, "measured_volume_ml": text(rng, 0.5, 100, 2)},
        {"drops_per_ml": [text(rng, 2, 60, 1) for _ in range(3)]},
        {
            "tip_wetted_diameter_mm": number(rng, 0.5, 9),
            "surface_tension_n_per_m": number(rng, 0.02, 0.08),
            "density_g_per_ml": number(rng, 0.7, 1.3),
            "gravity_m_per_s2": constants.g,
            "measured_drop_mass_mg": number(rng, 5, 150),
        },
    ][rng.integers(0, 4)]


def dropped(case):
    if "ml_per_drop" in case:
        return {"volume_ml": str(case["drops"] * Decimal(case["ml_per_drop"]))}
    if "measured_volume_ml" in case:
        volume = Decimal(case["measured_volume_ml"])
        return {"drops_per_ml": float(case["drops"] / volume), "ml_per_drop": float(volume / case["drops"])}
    if "drops_per_ml" in case:
        return {"ml_per_drop": [float(1 / Decimal(d)) for d in case["drops_per_ml"]]}
    metres = case["tip_wetted_diameter_mm"] * constants.milli
    kilograms = constants.pi * metres * case["surface_tension_n_per_m"] / constants.g
    milligrams = kilograms / constants.milli**2
    cubic_metres = kilograms / (case["density_g_per_ml"] * 1000)
    return {
        "ideal_drop_mass_mg": milligrams,
        "ideal_drop_volume_ul": cubic_metres * 1e9,
        "detached_fraction": case["measured_drop_mass_mg"] / milligrams,
    }


def draw_film(rng):
    if rng.random() < 0.3:
        return {"layers_um": [text(rng, 5, 80, 1) for _ in range(rng.integers(1, 6))]}
    units = ["um", "mil"] if rng.random() < 0.5 else ["mil", "um"]
    return {"value": text(rng, 0.5, 400, 2), "from_unit": units[0], "to_unit": units[1]}


def filmed(case):
    size = {"um": constants.micro, "mil": constants.mil}
    if "layers_um" in case:
        total = sum(map(float, case["layers_um"]))
        return {"total_um": total, "total_mil": total * constants.micro / constants.mil}
    return {"value": float(case["value"]) * size[case["from_unit"]] / size[case["to_unit"]]}


ROUTES = [
    Route("bottle_filter", "filterpy KalmanFilter", draw_bottle, filtered, 1e-9, floor=1e-5),
    Route(
        "pooled_drop_size",
        "statsmodels combine_effects; numpy conditioning",
        draw_pool,
        pooled,
        1e-9,
        floor=1e-7,
    ),
    Route("drop_conventions", "decimal; scipy.constants", draw_drops, dropped, 1e-12),
    Route("film_thickness", "scipy.constants", draw_film, filmed, 1e-12),
]
