"""Random cases, both answers, and the worst deviation of each method."""

import math
import sys
import warnings
from decimal import Decimal, InvalidOperation

import numpy as np

from routes import ROUTES
from worksheet import ask


def deviation(theirs, ours, route, at="") -> tuple[float, str]:
    """The worst deviation within an answer, and where: relative, or of the whole when signs and words differ.

    A figure smaller than the route's `floor` is measured against that floor: what is left of a
    difference of large numbers has no digits of its own.
    """
    if isinstance(theirs, dict):
        pairs = [(theirs[name], ours.get(name, "missing"), f"{at}/{name}") for name in theirs]
    elif isinstance(theirs, (list, tuple)):
        if not isinstance(ours, list) or len(theirs) != len(ours):
            return math.inf, f"{at}: {theirs} against {ours}"
        pairs = [(a, b, f"{at}/{i}") for i, (a, b) in enumerate(zip(theirs, ours))]
    elif theirs is None or isinstance(theirs, (bool, str)):
        same = theirs == ours or (
            isinstance(ours, str) and isinstance(theirs, str) and same_number(theirs, ours)
        )
        return (0.0, at) if same else (math.inf, f"{at}: {theirs} against {ours}")
    elif isinstance(ours, bool) or not is_number(ours):
        return math.inf, f"{at}: {theirs} against {ours}"
    else:
        off = abs(float(theirs) - float(ours)) / max(abs(float(theirs)), route.floor)
        # No number compares with NaN, which would hide it from the search for the worst.
        return math.inf if math.isnan(off) else off, f"{at}: {theirs} against {ours}"
    return max((deviation(a, b, route, where) for a, b, where in pairs), default=(0.0, at))


def is_number(value) -> bool:
    if isinstance(value, str):
        try:
            Decimal(value)
        except InvalidOperation:
            return False
        return True
    return isinstance(value, (int, float))


def same_number(a: str, b: str) -> bool:
    """As decimals: to the last digit, whatever zeros trail."""
    return is_number(a) and is_number(b) and Decimal(a) == Decimal(b)


def main() -> int:
    program, seed, count, *only = sys.argv[1:]
    print(f"seed {seed}, {count} cases per method")
    print(f"{'method':34} {'worst deviation':>16} {'allowed':>9}  against")
    failed = False
    for index, route in enumerate(ROUTES):
        if only and route.method not in only:
            continue
        # A generator of its own per method, so that one method can be run again alone.
        rng = np.random.default_rng([int(seed), index])
        cases = [route.draw(rng) for _ in range(int(count))]
        answers = ask(program, route.method, cases)
        assert len(answers) == len(cases), f"{route.method}: {len(answers)} answers to {len(cases)} cases"
        worst, where, what = 0.0, "", None
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("ignore")
            for case, answer in zip(cases, answers):
                if "result" not in answer:
                    off, place = math.inf, str(answer)
                else:
                    off, place = deviation(route.answer(case), answer["result"], route)
                if off > worst:
                    worst, where, what = off, place, case
        ok = worst <= route.allowed
        failed |= not ok
        print(f"{route.method:34} {worst:16.2e} {route.allowed:9.0e}  {route.against}", flush=True)
        if not ok:
            print(f"    {where}\n    inputs {what}")
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
