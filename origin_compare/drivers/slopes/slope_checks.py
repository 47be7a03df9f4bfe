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
from origin_compare.drivers.wording import joined, moved, plain, signed, title
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
    "along",
    "along_low",
    "along_high",
    "along_says",
    "more",
    "more_like",
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
        told[name] |= more_batches(study, joint, column)
    for name, columns in together(study, joint).items():
        told[name] |= columns
    return told


def together(study: Study, joint: BatchFit) -> dict[str, Columns]:
    """For each variable that moves with others, what these do together, which can be told however
    closely they move: `together_p` of all their slopes being nothing at once (F with the fewest
    degrees of freedom among them), and the slope `along` the line on which they move here."""
    from scipy import stats

    layout, found = study.layout, {}
    for group in _groups({**study.linked, **study.tied}, layout):
        columns = [layout.place[name] for name in group]
        beta, df = joint.beta[:, columns], joint.df[:, columns].min(axis=1)
        cov = joint.cov[:, columns][:, :, columns]
        solved = np.linalg.solve(cov, beta[:, :, None])[:, :, 0]
        f = (beta * solved).sum(axis=1) / len(columns)
        p = np.asarray(stats.f.sf(f, len(columns), df))
        for name in group:
            line = _line(layout, columns, layout.place[name])
            se = np.sqrt(np.einsum("i,aij,j->a", line, cov, line))
            along = Estimates(beta @ line, se, df)
            others = [
                moved(other, by) for other, by in zip(group, line, strict=True) if other != name
            ]
            says = f"{moved(name, 1.0)}, as it goes here with {joined(others)}"
            found[name] = {
                "together_p": p,
                **along.columns("along", "along"),
                "along_says": np.full(len(p), says, dtype=object),
            }
    return found


def _groups(close: Mapping[str, tuple[str, str]], layout: Layout) -> list[list[str]]:
    """The variables of the layout that move with one another, in groups."""
    groups: list[set[str]] = []
    for name, (other, _) in close.items():
        if name in layout.place and other in layout.place:
            home = next((group for group in groups if group & {name, other}), None)
            if home is None:
                groups.append({name, other})
            else:
                home |= {name, other}
    return [[name for name in layout.process if name in group] for group in groups]


def _line(layout: Layout, columns: list[int], column: int) -> Array:
    """How far each of `columns` moves, in its steps, per step of one of them: least squares at
    like season and still."""
    given = layout.X[:, [*layout.base, column]]
    return np.linalg.lstsq(given, layout.X[:, columns], rcond=None)[0][-1]


def more_batches(study: Study, joint: BatchFit, column: int) -> Columns:
    """How many more batches, like the one that tells this slope most, would make it clear if it
    is as large as it looks (`more`, missing past `MOST_MORE`), and which one (`more_like`)."""
    X = study.layout.X
    others = np.delete(X, column, axis=1)
    own = X[:, column] - others @ np.linalg.lstsq(others, X[:, column], rcond=None)[0]
    best = int(np.abs(own).argmax())
    found = joint.estimates(column)
    with np.errstate(divide="ignore"):
        short = (found.reach() / np.abs(found.value)) ** 2 - 1.0
    more = np.ceil(np.maximum(short, 0.0) * (own @ own) / own[best] ** 2)
    name = str(study.rows.index[best])
    return {
        "more": np.where(more <= MOST_MORE, more, np.nan),
        "more_like": np.full(len(more), name, dtype=object),
    }


MOST_MORE = 50
"""More batches than this are no plan."""


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
    for name in ("leans_on", "moved_by", "along_says", "more_like"):
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
