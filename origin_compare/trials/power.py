"""What a plan would show, by simulation from the fitted model and the analysis it will get.

Scores are drawn again and again from the variances that the batches so far were found to have:
lots, batches and the panel's own error. Each draw is analysed by the same kind of model, lots
random and their variance estimated anew by restricted maximum likelihood (spectral form: Patterson
and Thompson, Biometrika 58 (1971) 545), before and with the new batches; what counts is how often
a slope would be seen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.answers import count
from origin_compare.drivers.model.coding import Array
from origin_compare.drivers.wording import joined, plain, title
from origin_compare.errors import NotEnoughData
from origin_compare.estimates import LEVEL, quantile
from origin_compare.trials.exchange import Rows, tell
from origin_compare.trials.proposal import Trials
from origin_compare.trials.visible_gaps import POWER, contrasts, told_term

DRAWS = 600
RATIOS = np.concatenate([[0.0], np.logspace(-2, 2, 33)])
"""Lot variance over batch variance, as far as the likelihood is looked at."""
FARTHEST = 12.0
"""A slope is looked for up to this many standard errors."""


@dataclass(frozen=True)
class TrialPower:
    """`terms`: one row per term of the plan: `term, kind, step, se_before, se_after,
    visible_before, visible_after`, score points per step; `se` is the middle one that the draws'
    analyses state, `visible` the smallest seen in four draws of five (missing where the batches
    cannot tell it).
    """

    terms: pd.DataFrame
    lot_sd: float
    batch_sd: float
    panel_sd: float
    draws: int

    def table(self) -> pd.DataFrame:
        """One row per term."""
        return self.terms.copy()

    def told_terms(self) -> list[tuple[str, str]]:
        """Each term and its step as people say them."""
        rows = self.terms[["term", "kind", "step"]].to_numpy()
        return [told_term(term, kind, unit) for term, kind, unit in rows]

    def sentence(self) -> str:
        """What could be seen so far, and with the new batches."""
        told = []
        for row in self.terms[self.terms["kind"] == "slope"].to_dict("records"):
            so_far = row["visible_before"]
            now = "cannot be told so far" if np.isnan(so_far) else f"{plain(so_far)} so far"
            told.append(
                f"{title(row['term'])} {now}, {plain(row['visible_after'])} per {row['step']} then"
            )
        return f"Smallest slope seen four times in five: {joined(told)}."

    def rests_on(self) -> str:
        """What the draws were made from."""
        return (
            f"{count(self.draws, 'draw')} of scores with the spread the batches so far were found "
            f"to have: {plain(self.lot_sd)} lot to lot, {plain(self.batch_sd)} batch to batch, "
            f"{plain(self.panel_sd)} the panel's own error; each analysed as the drivers are."
        )


def trial_power(
    plan: Trials, batch_sd: float, panel_sd: float, *, draws: int = DRAWS, seed: int = 0
) -> TrialPower:
    """Standard errors and smallest visible slopes of a plan's terms, by simulation.

    `batch_sd`, `panel_sd`: standard deviations in score points (their squares should add to that
    of the plan's `sd`); lots differ by the plan's `lot_sd`. Raises NotEnoughData where even the
    new batches leave nothing over to judge by.
    """
    laid = plan.laid
    spare = laid.before.fixed.shape[1] - min(len(laid.harvests), 1)
    alone = Rows(laid.before.fixed[:, :spare], laid.before.lot)
    both = Rows(
        np.vstack([laid.before.fixed, laid.after.fixed]),
        np.concatenate([laid.before.lot, laid.after.lot]),
    )
    rng = np.random.default_rng(seed)
    sds = (plan.lot_sd, batch_sd, panel_sd)
    told = {"before": _drawn(alone, sds, draws, rng), "after": _drawn(both, sds, draws, rng)}
    if told["after"] is None:
        raise NotEnoughData(
            f"{count(len(both), 'batch')} leave nothing over to judge by. Make more batches, or "
            "ask for fewer settings or interactions."
        )
    rows = []
    for name, weights, lots in contrasts(laid, len(plan.by_lot)):
        if lots is not None:
            continue
        row: dict[str, object] = dict(name)
        for when, found in told.items():
            known = found is not None and (row["kind"] != "harvests" or when == "after")
            seen = _power(found, weights) if known and found is not None else (np.nan, np.nan)
            row |= {f"se_{when}": seen[0], f"visible_{when}": seen[1]}
        rows.append(row)
    return TrialPower(pd.DataFrame(rows), *sds, draws)


Draws = tuple[Array, Array, Array]


def _drawn(
    rows: Rows, sds: tuple[float, float, float], draws: int, rng: np.random.Generator
) -> Draws | None:
    """Estimates of scores that go with nothing, their standard errors and degrees of freedom, each
    draws x p; None where the fixed columns cannot be told apart."""
    n, p = rows.fixed.shape
    if n <= p or np.linalg.matrix_rank(rows.fixed) < p:
        return None
    lot_sd, batch_sd, panel_sd = sds
    scores = np.hypot(batch_sd, panel_sd) * rng.normal(size=(n, draws))
    member = np.zeros((n, 0))
    if rows.lot.min() >= 0:
        member = np.eye(int(rows.lot.max()) + 1)[rows.lot]
        scores = scores + member @ (lot_sd * rng.normal(size=(member.shape[1], draws)))
    ratio = _likeliest(rows.fixed, member, scores)
    found = tuple(np.full((draws, p), np.nan) for _ in range(3))
    for k in np.unique(ratio):
        mine = ratio == k
        for kept, values in zip(
            found, _generalised(rows, member, scores[:, mine], RATIOS[k]), strict=True
        ):
            kept[mine] = values
    return found[0], found[1], found[2]


def _likeliest(fixed: Array, member: Array, scores: Array) -> NDArray[np.intp]:
    """Index into `RATIOS` of the highest restricted likelihood, per draw."""
    n, p = fixed.shape
    if member.shape[1] == 0:
        return np.zeros(scores.shape[1], dtype=np.intp)
    rest = np.linalg.qr(fixed, mode="complete")[0][:, p:]
    inside = rest.T @ member
    values, axes = np.linalg.eigh(inside @ inside.T)
    squares = (axes.T @ (rest.T @ scores)) ** 2
    weights = 1.0 + RATIOS[:, None] * np.maximum(values, 0.0)
    variance = (1.0 / weights) @ squares / (n - p)
    loglik = -0.5 * ((n - p) * np.log(variance) + np.log(weights).sum(axis=1)[:, None])
    return np.asarray(loglik.argmax(axis=0))


def _generalised(rows: Rows, member: Array, scores: Array, ratio: float) -> Draws:
    """Generalised least squares at one ratio: estimates, standard errors, degrees of freedom."""
    n, p = rows.fixed.shape
    inverse = np.linalg.inv(np.eye(n) + ratio * member @ member.T)
    weighted = rows.fixed.T @ inverse
    cov = np.linalg.inv(weighted @ rows.fixed)
    beta = cov @ weighted @ scores
    left = scores - rows.fixed @ beta
    variance = (left * (inverse @ left)).sum(axis=0) / (n - p)
    told = tell(rows, member.shape[1], 1.0 / ratio) if ratio > 0 else None
    df = n - p if told is None else max(n - told.spent, 1.0)
    se = np.sqrt(variance[:, None] * np.diag(cov))
    return beta.T, se, np.full(se.shape, float(df))


def _power(found: Draws, weights: Array) -> tuple[float, float]:
    """Middle standard error, and the slope at which four in five draws are called."""
    beta, se, df = found
    column = int(np.flatnonzero(weights)[0])
    per = weights[column]
    estimate, error = per * beta[:, column], abs(per) * se[:, column]
    limit = quantile(0.5 + LEVEL / 2, df[:, column]) * error
    # A true slope moves every draw's estimate by itself, so one set of draws serves all slopes.
    needed = np.sort(np.concatenate([limit - estimate, limit + estimate]))
    middle = float(np.median(error))
    visible = float(np.quantile(needed, POWER, method="hazen"))
    return middle, min(visible, FARTHEST * middle)
