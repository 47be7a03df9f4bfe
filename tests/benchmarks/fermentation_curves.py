"""A thousand batches fitted at once against a loop of an outside fitter: same model, same start.

    python -m tests.benchmarks.fermentation_curves [--batches 1000] [--at-least 20]

The loop is `scipy.optimize.curve_fit`, given the same starts, first with its own derivatives (as
most would write it), then with the analytic ones used here. Exit code 1 when the ratio to the
first falls below `--at-least` or any optimum differs.
"""

from __future__ import annotations

import argparse
import sys
import time

import numpy as np
import pandas as pd
from scipy.optimize import curve_fit

from origin_compare.fermentation.curves import forms
from origin_compare.fermentation.curves.curve import fit_padded
from origin_compare.fermentation.curves.padding import Padded, pad

SAME = 1e-6
"""Relative difference of residual sums of squares that still counts as the same optimum."""


def batches(count: int, seed: int) -> Padded:
    """8-hourly readings of `count` batches over 120-140 h, gravity in degrees."""
    rng = np.random.default_rng(seed)
    logs = []
    for batch in range(count):
        hours = np.arange(0, rng.uniform(120, 140), 8.0)
        hours = np.maximum(hours + rng.uniform(-0.5, 0.5, len(hours)), 0)
        end, fall = rng.normal(0.5, 1), rng.normal(65, 1.5)
        degrees = end + fall / (1 + np.exp(rng.normal(0.15, 0.02) * (hours - rng.normal(32, 4))))
        degrees = degrees + rng.normal(0, 0.4, len(hours))
        logs.append(pd.DataFrame({"batch_id": batch, "hours": hours, "sg": degrees}))
    return pad(pd.concat(logs, ignore_index=True), "sg")


def four(hours: np.ndarray, end: float, fall: float, rate: float, middle: float) -> np.ndarray:
    return end + fall / (1 + np.exp(-rate * (hours - middle)))


def four_slopes(
    hours: np.ndarray, end: float, fall: float, rate: float, middle: float
) -> np.ndarray:
    share = 1 / (1 + np.exp(-rate * (hours - middle)))
    bend = fall * share * (1 - share)
    return np.stack([np.ones_like(hours), share, bend * (hours - middle), -bend * rate], axis=1)


def loop(padded: Padded, slopes: bool) -> tuple[float, np.ndarray]:
    """Seconds and the sum of squares of each batch."""
    begin = forms.start(padded.hours, padded.values, padded.weights)
    squares = np.zeros(len(begin))
    started = time.perf_counter()
    for row in range(len(begin)):
        used = padded.weights[row] > 0
        hours, values = padded.hours[row][used], padded.values[row][used]
        found, _ = curve_fit(four, hours, values, begin[row], jac=four_slopes if slopes else None)
        squares[row] = np.sum((values - four(hours, *found)) ** 2)
    return time.perf_counter() - started, squares


def at_once(padded: Padded) -> tuple[float, np.ndarray]:
    started = time.perf_counter()
    fit = fit_padded(padded)
    seconds = time.perf_counter() - started
    if not fit.converged.all():
        raise SystemExit(f"{(~fit.converged).sum()} batches did not converge.")
    return seconds, fit.rss


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--batches", type=int, default=1000)
    parser.add_argument("--at-least", type=float, default=20.0)
    parser.add_argument("--seed", type=int, default=20)
    asked = parser.parse_args()
    padded = batches(asked.batches, asked.seed)
    at_once(padded)  # the first call pays for imports
    own = min((at_once(padded) for _ in range(5)), key=lambda pair: pair[0])
    plain, with_slopes = loop(padded, False), loop(padded, True)
    apart = max(float(np.max(np.abs(own[1] / other[1] - 1))) for other in (plain, with_slopes))
    print(f"{asked.batches} batches at once       {own[0]:8.3f} s")
    print(f"loop, its own derivatives  {plain[0]:8.3f} s   {plain[0] / own[0]:6.1f} times")
    print(
        f"loop, analytic derivatives {with_slopes[0]:8.3f} s   {with_slopes[0] / own[0]:6.1f} times"
    )
    print(f"largest relative difference of the sums of squares {apart:.1e}")
    return 0 if plain[0] / own[0] >= asked.at_least and apart < SAME else 1


if __name__ == "__main__":
    sys.exit(main())
