"""One route per method: how to draw a case, and how a published library answers it."""

from . import baskets, bottles, forecasts, orders, pads, reorder, spots

ROUTES = [
    *bottles.ROUTES,
    *pads.ROUTES,
    *spots.ROUTES,
    *forecasts.ROUTES,
    *reorder.ROUTES,
    *orders.ROUTES,
    *baskets.ROUTES,
]
