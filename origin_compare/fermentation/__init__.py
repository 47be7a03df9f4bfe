"""Curves of gravity, the house band, which batches left it and why, what a running one will do."""

from origin_compare.fermentation.batch_review import BatchReview, review
from origin_compare.fermentation.curves.acid import AcidCurve, fit_acid, fit_acids
from origin_compare.fermentation.curves.curve import Curve, fit_curve, fit_curves
from origin_compare.fermentation.curves.least_squares import NonlinearFit, nonlinear
from origin_compare.fermentation.departures.season_departures import departures
from origin_compare.fermentation.departures.uncorrected import Uncorrected, uncorrected
from origin_compare.fermentation.departures.verdict import Cause, Departure, Departures, Question
from origin_compare.fermentation.derived import LABELS, Derived, derived
from origin_compare.fermentation.forecast import Forecast, forecast, replay
from origin_compare.fermentation.house.band import HouseBand
from origin_compare.fermentation.house.season_house import Judged, house_band, judge_season
from origin_compare.fermentation.overlaid import Comparison, side_by_side
from origin_compare.fermentation.sound_measures import Trusted, trusted
from origin_compare.fermentation.watch import Vessel, Watch, Watched, watch

__all__ = [
    "LABELS",
    "AcidCurve",
    "BatchReview",
    "Cause",
    "Comparison",
    "Curve",
    "Departure",
    "Departures",
    "Derived",
    "Forecast",
    "HouseBand",
    "Judged",
    "NonlinearFit",
    "Question",
    "Trusted",
    "Uncorrected",
    "Vessel",
    "Watch",
    "Watched",
    "departures",
    "derived",
    "fit_acid",
    "fit_acids",
    "fit_curve",
    "fit_curves",
    "forecast",
    "house_band",
    "judge_season",
    "nonlinear",
    "replay",
    "review",
    "side_by_side",
    "trusted",
    "uncorrected",
    "watch",
]
