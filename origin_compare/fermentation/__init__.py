"""Curves of gravity, the house band, which batches left it and why, what a running one will do."""

from origin_compare.fermentation.band import HouseBand, house_band
from origin_compare.fermentation.curve import Curve, fit_curve, fit_curves
from origin_compare.fermentation.departure import Cause, Departure, Departures
from origin_compare.fermentation.departures import departures
from origin_compare.fermentation.derived import LABELS, Derived, derived
from origin_compare.fermentation.least_squares import NonlinearFit, nonlinear
from origin_compare.fermentation.review import BatchReview, review

__all__ = [
    "LABELS",
    "BatchReview",
    "Cause",
    "Curve",
    "Departure",
    "Departures",
    "Derived",
    "HouseBand",
    "NonlinearFit",
    "departures",
    "derived",
    "fit_curve",
    "fit_curves",
    "house_band",
    "nonlinear",
    "review",
]
