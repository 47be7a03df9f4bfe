"""Which batches to make next: settings that tell most, in a drawn order.

D-optimal by exchange over candidate settings (Fedorov, Theory of Optimal Experiments, 1972;
Cook and Nachtsheim, Technometrics 22 (1980) 315), from several starts, on top of what the
batches so far already tell.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, product
from typing import Literal

import numpy as np
import pandas as pd
from scipy import stats

from origin_compare.answers import count
from origin_compare.drivers.coding import Array
from origin_compare.drivers.wording import joined, plain, step, title, upper
from origin_compare.errors import NotEnoughData

Model = Literal["straight lines", "with interactions", "with bends"]
FEWEST, MOST = 4, 24
STARTS = 30
POWER, LEVEL = 0.80, 0.95
KEEP = 1e-9
"""A little information on every column, so that a start with too few runs can be improved."""


@dataclass(frozen=True)
class Trials:
    """Batches to make next.

    `runs`: one row per batch in the order to make them (`order`, the settings, `grower_id` where
        growers take part). `terms`: one row per process term: `term, step, se_before, se_after,
        visible_before, visible_after`, score points per step; `visible` is the smallest slope
        seen four times in five at 5 % (missing before when the batches so far cannot tell it).
    `efficiency_pct`: D-efficiency of the new batches; 100 is an orthogonal design on its corners.
    """

    runs: pd.DataFrame
    terms: pd.DataFrame
    efficiency_pct: float
    model: str
    sd: float
    n_before: int
    seed: int

    def table(self) -> pd.DataFrame:
        """The batches to make, in order."""
        return self.runs.copy()

    def sentence(self) -> str:
        """What the trial would let you see."""
        straight = self.terms[self.terms["kind"] == "slope"]
        told = [
            f"{plain(row['visible_after'])} per {row['step']} of {title(row['term'])}"
            for row in straight.to_dict("records")
        ]
        return (
            f"{upper(count(len(self.runs), 'batch'))} made in this order would show slopes of "
            f"{joined(told)} or more, four times in five."
        )

    def rests_on(self) -> str:
        """The model, the spread assumed and what was there before."""
        return (
            f"{upper(self.model)}; batch-to-batch standard deviation {plain(self.sd)} score "
            f"points, panel error included; {count(self.n_before, 'earlier batch')} counted in. "
            f"D-efficiency {self.efficiency_pct:.0f} %. Order drawn with seed {self.seed}: keep to "
            "it, or the weather of the weeks stands in for the settings."
        )


def next_trials(
    settings: Mapping[str, Sequence[float]],
    batches: int,
    sd: float,
    *,
    model: Model = "straight lines",
    so_far: pd.DataFrame | None = None,
    growers: Sequence[str] = (),
    seed: int = 0,
) -> Trials:
    """Choose 4 to 24 `batches` from all combinations of `settings` (levels in the column's unit).

    `sd`: batch-to-batch standard deviation of a score, panel error included. `so_far`: batches
    made (columns as in `settings`; rows with empty cells are not counted). `growers`: whose
    barley may be mashed; each then has its own level. Raises ValueError for settings without two
    levels or a number of batches out of range, NotEnoughData for more terms than batches bear.
    """
    _check(settings, batches, sd)
    centre = {name: (min(levels) + max(levels)) / 2 for name, levels in settings.items()}
    half = {name: (max(levels) - min(levels)) / 2 for name, levels in settings.items()}
    candidates = pd.DataFrame(
        list(product(*settings.values(), growers or [""])), columns=[*settings, "grower_id"]
    )
    terms = _terms(tuple(settings), model)
    scale = (centre, half)
    X = _columns(candidates, terms, scale, growers)
    before = _before(so_far, terms, scale, growers)
    if len(before) + batches < X.shape[1] + 1:
        raise NotEnoughData(
            f"{count(batches, 'batch')} and {count(len(before), 'earlier batch')} cannot bear "
            f"{X.shape[1]} terms. Ask for fewer settings, growers or interactions, or make more."
        )
    rng = np.random.default_rng(seed)
    chosen = _best(X, before, batches, rng)
    runs = candidates.iloc[rng.permutation(chosen)].reset_index(drop=True)
    runs.insert(0, "order", np.arange(1, batches + 1))
    return Trials(
        runs=runs if growers else runs.drop(columns="grower_id"),
        terms=_told(terms, half, before, np.vstack([before, X[chosen]]), sd),
        efficiency_pct=efficiency(X[chosen]),
        model=model,
        sd=sd,
        n_before=len(before),
        seed=seed,
    )


def efficiency(X: Array) -> float:
    """D-efficiency in per cent: the p-th root of |X'X| over the number of runs, columns coded
    from -1 to 1; 100 when the columns are orthogonal and all at their ends."""
    sign, logdet = np.linalg.slogdet(X.T @ X)
    return float(100 * np.exp(logdet / X.shape[1]) / len(X)) if sign > 0 else 0.0


Term = tuple[str, ...]
Scale = tuple[Mapping[str, float], Mapping[str, float]]


def _check(settings: Mapping[str, Sequence[float]], batches: int, sd: float) -> None:
    for name, levels in settings.items():
        if len(set(levels)) < 2:
            raise ValueError(f"{title(name)} has one level; a trial needs at least two to compare.")
    if not settings:
        raise ValueError("No settings given; name at least one process variable and its levels.")
    if not FEWEST <= batches <= MOST:
        raise ValueError(f"{batches} batches is outside {FEWEST} to {MOST}.")
    if not sd > 0:
        raise ValueError(f"A standard deviation of {sd:g} is not above 0.")


def _terms(names: tuple[str, ...], model: Model) -> list[Term]:
    terms: list[Term] = [(name,) for name in names]
    if model in ("with interactions", "with bends"):
        terms += list(combinations(names, 2))
    if model == "with bends":
        terms += [(name, name) for name in names]
    return terms


def _columns(rows: pd.DataFrame, terms: list[Term], scale: Scale, growers: Sequence[str]) -> Array:
    """Intercept, terms coded from -1 to 1, growers as deviations from their mean."""
    centre, half = scale
    coded = {
        name: (rows[name].to_numpy(dtype=float) - centre[name]) / half[name] for name in centre
    }
    columns = [np.ones(len(rows)), *(np.prod([coded[n] for n in term], axis=0) for term in terms)]
    if len(growers) > 1:
        member = rows["grower_id"].to_numpy()
        last = (member == growers[-1]).astype(float)
        columns += [(member == grower).astype(float) - last for grower in growers[:-1]]
    return np.column_stack(columns)


def _before(
    so_far: pd.DataFrame | None, terms: list[Term], scale: Scale, growers: Sequence[str]
) -> Array:
    width = 1 + len(terms) + max(len(growers) - 1, 0)
    if so_far is None:
        return np.empty((0, width))
    needed = [*scale[0], *(["grower_id"] if len(growers) > 1 else [])]
    rows = so_far[needed].dropna()
    if len(growers) > 1:
        rows = rows[rows["grower_id"].isin(list(growers))]
    return _columns(rows, terms, scale, growers)


def _best(X: Array, before: Array, batches: int, rng: np.random.Generator) -> list[int]:
    known = before.T @ before + KEEP * np.eye(X.shape[1])
    found: tuple[float, list[int]] = (-np.inf, [])
    for _ in range(STARTS):
        chosen = _exchange(X, known, list(rng.integers(0, len(X), batches)))
        logdet = float(np.linalg.slogdet(known + X[chosen].T @ X[chosen])[1])
        if logdet > found[0] + 1e-10:
            found = (logdet, chosen)
    return found[1]


def _exchange(X: Array, known: Array, chosen: list[int]) -> list[int]:
    """Swap one run at a time for the candidate that adds most, until none adds."""
    for _ in range(100):
        moved = False
        for place in range(len(chosen)):
            others = X[[run for k, run in enumerate(chosen) if k != place]]
            inverse = np.linalg.inv(known + others.T @ others)
            adds = np.einsum("ij,jk,ik->i", X, inverse, X)
            best = int(adds.argmax())
            if adds[best] > adds[chosen[place]] * (1 + 1e-9) + 1e-12:
                chosen[place], moved = best, True
        if not moved:
            break
    return chosen


def _told(
    terms: list[Term], half: Mapping[str, float], before: Array, after: Array, sd: float
) -> pd.DataFrame:
    rows = []
    for k, term in enumerate(terms, start=1):
        per = float(np.prod([step(name)[0] / half[name] for name in term]))
        row: dict[str, object] = {
            "term": " x ".join(term),
            "kind": "slope" if len(term) == 1 else "bend" if term[0] == term[-1] else "interaction",
            "step": " x ".join(step(name)[1] for name in term),
        }
        for when, X in (("before", before), ("after", after)):
            se, df = _se(X, k, sd)
            factor = stats.t.ppf(0.5 + LEVEL / 2, df) + stats.t.ppf(POWER, df)
            row[f"se_{when}"] = per * se
            row[f"visible_{when}"] = per * se * factor
        rows.append(row)
    return pd.DataFrame(rows)


def _se(X: Array, column: int, sd: float) -> tuple[float, int]:
    n, p = X.shape
    if n <= p or np.linalg.matrix_rank(X) < p:
        return np.nan, 1
    return sd * float(np.sqrt(np.linalg.inv(X.T @ X)[column, column])), n - p
