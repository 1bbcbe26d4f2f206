"""Exact numbers: decimals as they travel, fractions to work in, cents to end in."""

from fractions import Fraction
from math import floor


def plain(rng, low, high, digits=2) -> str:
    """A decimal drawn evenly, as people write it."""
    return f"{rng.uniform(low, high):.{digits}f}"


def to_step(value: Fraction, digits: int = 2) -> str:
    """Rounded half away from zero, as text."""
    steps = floor(abs(value) * 10**digits + Fraction(1, 2))
    sign = "-" if value < 0 and steps else ""
    whole, part = divmod(steps, 10**digits)
    return f"{sign}{whole}.{part:0{digits}d}" if digits else f"{sign}{whole}"
