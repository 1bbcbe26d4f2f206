"""One route per method: how to draw a case, and how a published library, or fractions, answers it."""

from . import baskets, bottles, forecasts, money, months, orders, pads, quantities, reorder, spots

ROUTES = [
    *bottles.ROUTES,
    *pads.ROUTES,
    *spots.ROUTES,
    *forecasts.ROUTES,
    *reorder.ROUTES,
    *orders.ROUTES,
    *baskets.ROUTES,
    *money.ROUTES,
    *months.ROUTES,
    *quantities.ROUTES,
]
