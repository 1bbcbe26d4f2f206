"""Times, ours against theirs, on the same inputs in the same run; the best of a few.

`worksheet` is ours from inputs to result, both as JSON values in memory; `program` is the whole of it:
starting, reading JSON, computing, writing JSON. Theirs is the library call alone, on arrays in memory.
"""

import json
import sys
import time
import warnings

import numpy as np
from lifelines import KaplanMeierFitter, WeibullFitter
from statsmodels.tsa.holtwinters import SimpleExpSmoothing

from routes.bottles import filtered
from worksheet import as_lines, ask_lines

ROUNDS = 5


def pads(rng, n):
    """Lives of which one in ten is seen to its end."""
    lives, limit = 60 * rng.weibull(2.4, n), 60 * (-np.log(0.9)) ** (1 / 2.4)
    return np.minimum(lives, limit), lives <= limit


def weibull(rng):
    times, seen = pads(rng, 50_000)
    case = {
        "failure_times": times[seen].tolist(),
        "suspension_times": times[~seen].tolist(),
        "confidence": 0.95,
    }
    return "weibull_fit", "50,000 pads, 90 % in service", case, lambda: WeibullFitter().fit(times, seen)


def curve(rng):
    times, seen = pads(rng, 50_000)
    case = {
        "failure_times": times[seen].tolist(),
        "suspension_times": times[~seen].tolist(),
        "confidence": 0.95,
    }
    return "kaplan_meier", "50,000 pads, 90 % in service", case, lambda: KaplanMeierFitter().fit(times, seen)


def bottle(rng):
    left, events = 1000.0, []
    for i in range(5_000):
        drops = int(rng.integers(1, 5))
        left -= drops * 0.05
        events.append({"type": "count", "drops": drops})
        if i % 20 == 19:
            events.append({"type": "weigh_in", "gross_g": 40 + left + float(rng.normal(0, 0.5))})
    case = {"nominal_ml": 1000.0, "initial_remaining_ml": 1000.0, "initial_remaining_sd_ml": 5.0}
    case |= {"tare_g": 40.0, "density_g_per_ml": 1.0, "events": events, "flag_sigma": 4.0}
    case |= {"prior_ml_per_drop": 0.05, "prior_ml_per_drop_sd": 0.02, "drop_sd_ml": 0.005}
    case |= {"drift_sd_ml_per_use": 0.0005, "scale_sd_g": 0.5, "tare_sd_g": 0.3}
    return "bottle_filter", "5,250 events of one bottle", case, lambda: filtered(case)


def smoothing(rng):
    weeks = rng.poisson(20, 2_000).astype(float)
    case = {
        "demand_per_week": weeks.tolist(),
        "alpha": 0.2,
        "initialisation": "given_level",
        "initial_level": 20.0,
    }
    model = lambda: SimpleExpSmoothing(weeks, initialization_method="known", initial_level=20.0)
    theirs = lambda: model().fit(smoothing_level=0.2, optimized=False)
    return "simple_exponential_smoothing", "2,000 weeks", case, theirs


def best(act) -> float:
    times = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        act()
        times.append(time.perf_counter() - start)
    return min(times)


def main() -> int:
    program, seed, _, *only = sys.argv[1:]
    print(f"seed {seed}, best of {ROUNDS}; ratio is theirs to our worksheet")
    print(f"{'method':29} {'on':28} {'worksheet':>10} {'program':>10} {'theirs':>10} {'ratio':>7}")
    for index, setting in enumerate([weibull, curve, bottle, smoothing]):
        method, what, case, theirs = setting(np.random.default_rng([int(seed), index]))
        if only and method not in only:
            continue
        lines = as_lines([case])
        timed = ask_lines(program, method, lines * ROUNDS, "--time").splitlines()
        alone = min(json.loads(line)["seconds"] for line in timed)
        whole = best(lambda: ask_lines(program, method, lines))
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("ignore")
            other = best(theirs)
        shown = " ".join(f"{seconds * 1e3:8.2f}ms" for seconds in [alone, whole, other])
        print(f"{method:29} {what:28} {shown} {other / alone:6.1f}x", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
