"""What a slope might hide: growers behind it, a bend in it, one batch that carries it."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from origin_compare.drivers.model.batch_model import BatchFit, fit_batches
from origin_compare.drivers.model.coding import Array
from origin_compare.drivers.model.fixed_columns import Layout
from origin_compare.drivers.model.study import Study
from origin_compare.drivers.verdicts import BLIND, NOT_SHOWN, TIED
from origin_compare.drivers.wording import plain, signed, title
from origin_compare.estimates import Estimates

DOUBTS = [
    "within",
    "within_low",
    "within_high",
    "between",
    "disagree_p",
    "curve",
    "curve_p",
    "without_low",
    "without_high",
    "leans_on",
    "moved_by",
    "moved_to",
    "together_p",
]
SPARE = 4
"""Rows, and growers, that must be left over before a further column is tried."""
DISTINCT = 5
"""Settings a variable must have had before a bend can be looked for."""

Columns = dict[str, NDArray[Any]]


def doubts(study: Study, joint: BatchFit) -> dict[str, Columns]:
    """For each process variable that moves, the columns named in `DOUBTS` (A values each).

    `joint`: the fit of all columns together, with every batch left out in turn.
    """
    place = study.layout.place
    told: dict[str, Columns] = {name: _nothing(joint) for name in place}
    for name, columns in _within_between(study).items():
        told[name] |= columns
    for name, column in place.items():
        told[name] |= _curve(study, column)
        told[name] |= _one_out(joint, column, list(study.rows.index))
    return told


def together(
    layout: Layout, joint: BatchFit, tied: Mapping[str, tuple[str, str]]
) -> dict[str, Array]:
    """p of all slopes tied to one another being nothing at once (F with the fewest degrees of
    freedom among them): they cannot be told apart, but whether any goes with flavour can."""
    from scipy import stats

    groups: list[set[str]] = []
    for name, (other, _) in tied.items():
        if name in layout.place and other in layout.place:
            home = next((group for group in groups if group & {name, other}), None)
            if home is None:
                groups.append({name, other})
            else:
                home |= {name, other}
    found: dict[str, Array] = {}
    for group in groups:
        columns = [layout.place[name] for name in layout.process if name in group]
        beta = joint.beta[:, columns]
        cov = joint.cov[:, columns][:, :, columns]
        solved = np.linalg.solve(cov, beta[:, :, None])[:, :, 0]
        f = (beta * solved).sum(axis=1) / len(columns)
        p = stats.f.sf(f, len(columns), joint.df[:, columns].min(axis=1))
        found |= dict.fromkeys(group, np.asarray(p))
    return found


def warning(row: Mapping[Hashable, Any]) -> str:
    """What speaks against taking a slope at its word; empty if nothing does."""
    if row["verdict"] in (BLIND, TIED):
        return ""
    name, told = title(str(row["process"])), []
    if row["disagrees"]:
        told.append(
            f"within one grower's batches {signed(row['within'])} per {row['step']}, between "
            f"growers {signed(row['between'])}: they disagree, so growers may stand behind it"
        )
    elif row["only_between"]:
        told.append(
            "among batches of one grower it is not surely seen, so growers may stand behind it"
        )
    if row["fragile"]:
        told.append(
            f"it leans on batch {row['leans_on']}; with any one batch left out the slope lies "
            f"between {plain(row['without_low'])} and {plain(row['without_high'])}"
        )
    elif row["moved_by"] and row["verdict"] != NOT_SHOWN:
        told.append(
            f"without batch {row['moved_by']} it would be {signed(row['moved_to'])} per "
            f"{row['step']}: look at that batch first"
        )
    if row["curve_p"] < BENT:
        told.append(f"the scores bend with {name}: a straight line is not all there is")
    return "; ".join(told)


BENT = 0.01
"""A bend is asked for every slope, so it is mentioned only when it is plain."""


def _nothing(joint: BatchFit) -> Columns:
    missing = np.full(len(joint.beta), np.nan)
    told: Columns = dict.fromkeys(DOUBTS, missing)
    for name in ("leans_on", "moved_by"):
        told[name] = np.full(len(missing), "", dtype=object)
    return told


def _within_between(study: Study) -> dict[str, Columns]:
    """Slopes within and between growers: grower means enter as columns of their own
    (Mundlak, Econometrica 46 (1978) 69); their coefficient is between less within."""
    layout = study.layout
    if len(layout.groups) == 0:
        return {}
    names = list(layout.place)
    columns = [layout.place[name] for name in names]
    G = np.eye(int(layout.groups.max()) + 1)[layout.groups]
    means = G @ ((G.T @ layout.X[:, columns]) / G.sum(axis=0)[:, None])
    n, p = layout.X.shape
    if G.shape[1] - len(columns) < SPARE or n - p - len(columns) < SPARE:
        return {}
    wider = np.hstack([layout.X, means])
    if np.linalg.matrix_rank(wider) < wider.shape[1]:
        return {}
    fit = fit_batches(study.panel.scores, wider, layout.groups, study.panel.turned)
    told = {}
    for k, name in enumerate(names):
        own, gap = columns[k], p + k
        told[name] = {
            **fit.estimates(own).columns("within", "within"),
            "between": fit.beta[:, own] + fit.beta[:, gap],
            "disagree_p": fit.estimates(gap).p,
        }
    return told


def _curve(study: Study, column: int) -> Columns:
    """Whether a square term adds to the straight line."""
    layout = study.layout
    x = layout.X[:, column]
    n, p = layout.X.shape
    if len(np.unique(x)) < DISTINCT or n - p - 1 < SPARE:
        return {}
    square = x**2
    square = square - layout.X @ np.linalg.lstsq(layout.X, square, rcond=None)[0]
    if np.linalg.norm(square) < 1e-6 * np.linalg.norm(x**2):
        return {}
    bent = np.column_stack([layout.X, square])
    found = fit_batches(study.panel.scores, bent, layout.groups, study.panel.turned).estimates(p)
    return {"curve": found.value, "curve_p": found.p}


def _one_out(joint: BatchFit, column: int, ids: list[str]) -> Columns:
    """The slope without each batch; the batch whose loss lets the interval reach zero."""
    if joint.without is None or joint.without_se is None:
        return {}
    without, se = joint.without[:, :, column], joint.without_se[:, :, column]
    df = np.maximum(joint.df[:, column] - 1.0, 1.0)
    slope = joint.beta[:, column]
    left = np.sign(slope)[:, None] * without - Estimates(without, se, df[:, None]).reach()
    seen = np.abs(slope) > joint.estimates(column).reach()
    worst = left.argmin(axis=1)
    leans = seen & (left.min(axis=1) <= 0)
    ids_of = np.asarray(ids, dtype=object)
    names = np.where(leans, ids_of[worst], "")
    shift = np.abs(without - slope[:, None])
    furthest = shift.argmax(axis=1)
    return {
        "without_low": without.min(axis=1),
        "without_high": without.max(axis=1),
        "leans_on": names,
        "moved_by": np.where(shift.max(axis=1) > joint.se[:, column], ids_of[furthest], ""),
        "moved_to": np.take_along_axis(without, furthest[:, None], axis=1)[:, 0],
    }
