"""What a route is."""

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Route:
    method: str
    against: str  # whose voice it is
    draw: Callable  # rng -> inputs
    answer: Callable  # inputs -> the part of the result they can give
    allowed: float  # relative deviation
    floor: float = 1e-12  # figures below are measured against it


def number(rng, low, high, digits=None) -> float:
    """Uniform on a logarithmic scale, optionally rounded as people write it."""
    value = float(low * (high / low) ** rng.random())
    return round(value, digits) if digits is not None else value


def text(rng, low, high, digits=2) -> str:
    """A decimal as it travels."""
    return f"{number(rng, low, high):.{digits}f}"
