"""Pad lives."""

import math
from fractions import Fraction

import numpy as np
from lifelines import KaplanMeierFitter
from scipy import integrate, optimize, special, stats
from statsmodels.duration.survfunc import SurvfuncRight

from .route import Route, number


def draw_lives(rng, few=3):
    n, shape, scale = int(rng.integers(4, 120)), number(rng, 0.6, 6), number(rng, 5, 5000)
    lives = scale * rng.weibull(shape, n)
    limits = scale * rng.uniform(0.2, 2.0, n)
    decimals = 0 if rng.random() < 0.5 and scale > 30 else 3  # whole sections give ties
    failed = [max(round(float(t), decimals), 10.0**-decimals) for t, c in zip(lives, limits) if t <= c]
    left = [round(float(c), decimals) for t, c in zip(lives, limits) if t > c]
    if len(set(failed)) < few:
        return draw_lives(rng, few)
    return {
        "failure_times": failed,
        "suspension_times": left,
        "confidence": float(rng.choice([0.8, 0.9, 0.95])),
    }


def most_likely(failed, left):
    """The maximum of scipy's own densities and survival functions, to the last digits by Newton on numeric slopes."""
    failed, left = np.array(failed), np.array(left)
    unit = np.concatenate([failed, left]).max()

    def loss(x):
        shape, scale = math.exp(x[1]), unit * math.exp(x[0])
        dist = stats.weibull_min(shape, scale=scale)
        return -(dist.logpdf(failed).sum() + (dist.logsf(left).sum() if len(left) else 0.0))

    start = optimize.minimize(
        loss, [0.0, 0.3], method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-12, "maxiter": 4000}
    )

    def score(shape):
        everything = np.concatenate([failed, left]) / unit
        w = everything**shape
        return special.xlogy(w, everything).sum() / w.sum() - 1 / shape - np.log(failed / unit).mean()

    guess = math.exp(start.x[1])
    shape = optimize.brentq(score, guess * 0.99, guess * 1.01, xtol=1e-14, rtol=1e-14)
    scale = unit * (((np.concatenate([failed, left]) / unit) ** shape).sum() / len(failed)) ** (1 / shape)
    return shape, scale, loss, np.array([math.log(scale / unit), math.log(shape)])


def hessian(f, x):
    """Central differences over a small part of the standard errors, extrapolated to no difference at all."""

    def plain(h):
        e = np.diag(h)
        return np.array(
            [
                [
                    (f(x + a + b) - f(x + a - b) - f(x - a + b) + f(x - a - b)) / (4 * sum(a) * sum(b))
                    for a in e
                ]
                for b in e
            ]
        )

    h = 0.08 / np.sqrt(np.diag(plain(np.full(2, 1e-3))))
    once, twice, thrice = plain(h), plain(h / 2), plain(h / 4)
    finer, finest = (4 * twice - once) / 3, (4 * thrice - twice) / 3
    return (16 * finest - finer) / 15


def fitted(case):
    failed, left = case["failure_times"], case["suspension_times"]
    shape, scale, loss, x = most_likely(failed, left)
    covariance = np.linalg.inv(hessian(loss, x))
    se_scale, se_shape = np.sqrt(np.diag(covariance))
    z = stats.norm.ppf((1 + case["confidence"]) / 2)
    slope = np.array([1.0, -math.log(-math.log(0.9)) / shape])
    b10 = stats.weibull_min.ppf(0.1, shape, scale=scale)
    se_b10 = math.sqrt(slope @ covariance @ slope)
    around = lambda value, se: [value * math.exp(-z * se), value * math.exp(z * se)]
    return {
        "failures": len(failed),
        "suspensions": len(left),
        "shape": shape,
        "scale": scale,
        "log_likelihood": -loss(x),
        "shape_se": shape * se_shape,
        "scale_se": scale * se_scale,
        "shape_ci": around(shape, se_shape),
        "scale_ci": around(scale, se_scale),
        "b10_life": b10,
        "b10_ci": around(b10, se_b10),
        "median_life": stats.weibull_min.median(shape, scale=scale),
        "mean_life": stats.weibull_min.mean(shape, scale=scale),
    }


def draw_few(rng):
    n = int(rng.integers(1, 9))
    lives = [round(number(rng, 3, 400), 2) for _ in range(n)]
    failed = int(rng.integers(0, min(n, 2) + 1))
    return {
        "failure_times": lives[:failed],
        "suspension_times": lives[failed:],
        "fixed_shape": number(rng, 0.7, 5),
        "min_failures_for_mle": 3,
        "lower_bound_confidence": number(rng, 0.5, 0.99),
    }


def few(case):
    shape, r = case["fixed_shape"], len(case["failure_times"])
    lives = np.array(case["failure_times"] + case["suspension_times"])
    # The slope of the log-likelihood in the scale vanishes at the most likely scale; none failed counts as one.
    slope = lambda scale: max(r, 1) - ((lives / scale) ** shape).sum()
    scale = optimize.brentq(slope, lives.max() / 100, lives.max() * 100, xtol=1e-13, rtol=1e-14)
    # The lower bound: with a Poisson mean of `lost` pads, r or fewer would be seen with 1 - C.
    lost = special.gammaincinv(r + 1, case["lower_bound_confidence"])
    lower = optimize.brentq(
        lambda s: ((lives / s) ** shape).sum() - lost,
        lives.max() / 1e4,
        lives.max() * 1e3,
        xtol=1e-13,
        rtol=1e-14,
    )
    return {
        "route": "weibayes",
        "shape": shape,
        "scale": scale,
        "scale_lower_bound": lower,
        "b10_life": stats.weibull_min.ppf(0.1, shape, scale=scale),
        "b10_lower_bound": stats.weibull_min.ppf(0.1, shape, scale=lower),
        "mean_life": stats.weibull_min.mean(shape, scale=scale),
    }


def curve(case):
    failed, left = case["failure_times"], case["suspension_times"]
    times, seen = np.array(failed + left), np.array([1] * len(failed) + [0] * len(left))
    km = KaplanMeierFitter(alpha=1 - case["confidence"]).fit(times, seen)
    right = SurvfuncRight(times, seen)
    z = stats.norm.ppf((1 + case["confidence"]) / 2)
    bounds = km.confidence_interval_.to_numpy()
    rows, median, exact = [], None, Fraction(1)
    for time, survival, se, at_risk, events in zip(
        right.surv_times, right.surv_prob, right.surv_prob_se, right.n_risk, right.n_events
    ):
        row = {"time": time, "at_risk": int(at_risk), "events": int(events), "survival": km.predict(time)}
        if survival > 0:
            row |= {"greenwood_sd": se, "ci_plain": [max(survival - z * se, 0), min(survival + z * se, 1)]}
            row["ci_log_log"] = bounds[km.survival_function_.index.get_loc(time)].tolist()
        else:
            row |= {"greenwood_sd": None, "ci_plain": None, "ci_log_log": None}
        rows.append(row)
        # In fractions: in floating point 5/6 x 4/5 x 3/4 lies above one half, and the library's median with it.
        exact *= Fraction(int(at_risk - events), int(at_risk))
        median = time if median is None and exact <= Fraction(1, 2) else median
    return {"table": rows, "median_life": median}


def draw_swap(rng):
    planned = number(rng, 1, 40, 2)
    return {
        # Just above one the optimum lies beyond every life, where an integral has nothing to say.
        "shape": number(rng, 0.7, 1) if rng.random() < 0.1 else number(rng, 1.3, 7),
        "scale": number(rng, 5, 5000),
        "planned_swap_cost": planned,
        "on_job_failure_cost": round(planned * number(rng, 0.8, 20), 2),
    }


def swapped(case):
    shape, scale = case["shape"], case["scale"]
    planned, failure = case["planned_swap_cost"], case["on_job_failure_cost"]
    pads = stats.weibull_min(shape)
    run = failure / (scale * pads.mean())
    if shape <= 1 or failure <= planned:
        return {
            "finite_optimum": False,
            "optimal_age": None,
            "cost_rate_run_to_failure": run,
            "saving_fraction": 0.0,
        }
    last = pads.isf(
        1e-40
    )  # nothing is in service beyond, and a wide interval hides the narrow part from quad
    in_service = lambda u: integrate.quad(pads.sf, 0, min(u, last), epsabs=1e-13, epsrel=1e-13, limit=400)[0]
    hazard = lambda u: shape * u ** (shape - 1)
    ratio = planned / (failure - planned)
    beyond = lambda u: hazard(u) * in_service(u) - pads.cdf(u) - ratio
    top = 1.0
    while beyond(top) < 0:
        top *= 2
    u = optimize.brentq(beyond, 1e-9, top, xtol=1e-13, rtol=1e-13, maxiter=1000)
    rate = (planned * pads.sf(u) + failure * pads.cdf(u)) / (scale * in_service(u))
    return {
        "finite_optimum": True,
        "optimal_age": scale * u,
        "cost_rate_at_optimum": rate,
        "cost_rate_run_to_failure": run,
        "saving_fraction": 1 - rate / run,
        "probability_fails_before_optimum": pads.cdf(u),
    }


def draw_used(rng):
    scale = number(rng, 5, 5000)
    return {
        "shape": number(rng, 0.6, 6),
        "scale": scale,
        "age": scale * float(rng.choice([0.0, rng.uniform(0, 1.8)])),
        "extra_use": scale * float(rng.uniform(0, 1)),
        "target_probability": float(rng.uniform(0.05, 0.99)),
    }


def used(case):
    pads = stats.weibull_min(case["shape"], scale=case["scale"])
    age, alive = case["age"], pads.sf(case["age"])
    # Far enough that what is cut off lies below the last digit.
    end = pads.isf(alive * 1e-18)
    area = integrate.quad(lambda t: pads.sf(t) / alive, age, end, epsabs=0, epsrel=1e-12, limit=500)[0]
    return {
        "conditional_survival": pads.sf(age + case["extra_use"]) / alive,
        "mean_residual_life": area,
        "extra_use_at_target": pads.isf(alive * case["target_probability"]) - age,
        "conditional_median_residual_life": pads.isf(alive / 2) - age,
    }


ROUTES = [
    Route("weibull_fit", "scipy densities, maximised and differenced", draw_lives, fitted, 1e-8, floor=1e-3),
    Route("weibull_few_failures", "scipy gammaincinv (Poisson identity), brentq", draw_few, few, 1e-9),
    Route(
        "kaplan_meier",
        "lifelines; statsmodels SurvfuncRight",
        lambda rng: draw_lives(rng, 1),
        curve,
        1e-9,
        floor=1e-6,
    ),
    Route("age_replacement", "scipy quad and brentq", draw_swap, swapped, 1e-8, floor=1e-4),
    Route("conditional_life", "scipy weibull_min and quad", draw_used, used, 1e-8, floor=1e-3),
]
