"""Which batches to make next: settings that tell most, in a drawn order.

D-optimal by exchange over candidate settings (Fedorov, Theory of Optimal Experiments, 1972;
Cook and Nachtsheim, Technometrics 22 (1980) 315), from several starts, on top of what the
batches so far already tell.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, product
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray
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
        growers take part; `repeats` names the earlier run of the plan made again, 0 if none).
        `terms`: one row per process term: `term, step, se_before, se_after,
        visible_before, visible_after`, score points per step; `visible` is the smallest slope
        seen four times in five at 5 % (missing before when the batches so far cannot tell it).
    `efficiency_pct`: D-efficiency of the new batches; 100 is an orthogonal design on its corners.
    `earlier`: batches counted in before, by grower (empty where growers take no part).
    """

    runs: pd.DataFrame
    terms: pd.DataFrame
    efficiency_pct: float
    model: str
    sd: float
    n_before: int
    seed: int
    earlier: Mapping[str, int] = field(default_factory=dict)

    def by_grower(self) -> pd.DataFrame:
        """One row per grower: batches of the plan, how many different settings share its lot,
        batches made before (then it bridges the harvests)."""
        if "grower_id" not in self.runs:
            return pd.DataFrame(columns=["grower_id", "batches", "settings", "earlier"])
        names = [name for name in self.runs if name not in ("order", "repeats", "grower_id")]
        rows = [
            (grower, len(own), len(own[names].drop_duplicates()), self.earlier.get(str(grower), 0))
            for grower, own in self.runs.groupby("grower_id")
        ]
        return pd.DataFrame(rows, columns=["grower_id", "batches", "settings", "earlier"])

    def told_terms(self) -> list[tuple[str, str]]:
        """Each term and its step as people say them: `bend in length`, `10 h, squared`."""
        told = []
        for row in self.terms.to_dict("records"):
            parts, steps = row["term"].split(" x "), row["step"].split(" x ")
            if row["kind"] == "bend":
                told.append((f"bend in {title(parts[0])}", f"{steps[0]}, squared"))
            else:
                told.append((" with ".join(title(part) for part in parts), " and ".join(steps)))
        return told

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
    most_each: int | None = None,
    repeats: int = 0,
    seed: int = 0,
) -> Trials:
    """Choose 4 to 24 `batches` from all combinations of `settings` (levels in the column's unit).

    `sd`: batch-to-batch standard deviation of a score, panel error included. `so_far`: batches
    made (columns as in `settings`; rows with empty cells are not counted); each of their harvests,
    if `season` is given, keeps a level of its own beside that of the new batches. `growers`: whose
    barley may be mashed; each then has its own level. `most_each`: batches one grower's barley
    yields at most. `repeats`: how many of the batches make a run of the plan once more, so that
    the spread between like batches is seen by itself. Raises ValueError for settings without two
    levels or a number of batches out of range, NotEnoughData for more terms than batches bear or
    more batches than the barley yields.
    """
    _check(settings, batches, sd)
    _check_barley(batches, repeats, growers, most_each)
    centre = {name: (min(levels) + max(levels)) / 2 for name, levels in settings.items()}
    half = {name: (max(levels) - min(levels)) / 2 for name, levels in settings.items()}
    candidates = pd.DataFrame(
        list(product(*settings.values(), growers or [""])), columns=[*settings, "grower_id"]
    )
    terms = _terms(tuple(settings), model)
    scale = (centre, half)
    X = _columns(candidates, terms, scale, growers)
    before, X, harvests = _beside(*_before(so_far, terms, scale, growers), X)
    if len(before) + min(batches - 1, batches - repeats) < X.shape[1]:
        raise NotEnoughData(
            f"{count(batches, 'batch')} and {count(len(before), 'earlier batch')} cannot bear "
            f"{X.shape[1]} terms. Ask for fewer settings, growers or interactions, or make more."
        )
    rng = np.random.default_rng(seed)
    room = _Room(candidates["grower_id"].to_numpy(), most_each)
    chosen = _best(X, before, batches - repeats, room, rng)
    chosen = _again(X, before, chosen, repeats, room)
    runs = candidates.iloc[rng.permutation(chosen)].reset_index(drop=True)
    runs.insert(0, "order", np.arange(1, batches + 1))
    runs["repeats"] = _first_made(runs)
    return Trials(
        runs=runs if growers else runs.drop(columns="grower_id"),
        # Alone, the earlier batches have one harvest's level for their own mean.
        terms=_told(
            terms,
            half,
            before[:, : X.shape[1] - min(harvests, 1)],
            np.vstack([before, X[chosen]]),
            sd,
        ),
        efficiency_pct=efficiency(X[chosen, : X.shape[1] - harvests]),
        model=model,
        sd=sd,
        n_before=len(before),
        seed=seed,
        earlier=_earlier(so_far, settings, growers),
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
) -> tuple[Array, Array]:
    """Columns of the batches made, and a column for each of their harvests."""
    width = 1 + len(terms) + max(len(growers) - 1, 0)
    if so_far is None:
        return np.empty((0, width)), np.empty((0, 0))
    needed = [*scale[0], *(["grower_id"] if len(growers) > 1 else [])]
    rows = so_far.dropna(subset=needed)
    if len(growers) > 1:
        rows = rows[rows["grower_id"].isin(list(growers))]
    seasons = rows["season"].astype(str) if "season" in rows else pd.Series("", index=rows.index)
    levels = sorted(seasons.unique())
    member = np.column_stack([np.zeros((len(rows), 0)), *(seasons == one for one in levels)])
    return _columns(rows, terms, scale, growers), member.astype(float)


def _beside(before: Array, harvests: Array, X: Array) -> tuple[Array, Array, int]:
    """Earlier rows and candidates with the harvests' columns last; a new batch is in none of them,
    so that a shift between harvests is never taken for an effect of the settings."""
    number = harvests.shape[1]
    return np.hstack([before, harvests]), np.hstack([X, np.zeros((len(X), number))]), number


@dataclass(frozen=True)
class _Room:
    """How often each candidate's grower may still be taken."""

    grower: NDArray[np.object_]
    most: int | None

    def free(self, taken: Sequence[int]) -> NDArray[np.bool_]:
        """Which candidates may be added to those taken."""
        if self.most is None:
            return np.ones(len(self.grower), dtype=bool)
        full = [name for name, n in Counter(self.grower[list(taken)]).items() if n >= self.most]
        return ~np.isin(self.grower, full)


def _best(
    X: Array, before: Array, batches: int, room: _Room, rng: np.random.Generator
) -> list[int]:
    known = before.T @ before + KEEP * np.eye(X.shape[1])
    found: tuple[float, list[int]] = (-np.inf, [])
    for _ in range(STARTS):
        chosen = _exchange(X, known, _start(batches, room, rng), room)
        logdet = float(np.linalg.slogdet(known + X[chosen].T @ X[chosen])[1])
        if logdet > found[0] + 1e-10:
            found = (logdet, chosen)
    return found[1]


def _start(batches: int, room: _Room, rng: np.random.Generator) -> list[int]:
    if room.most is None:
        return list(rng.integers(0, len(room.grower), batches))
    taken: list[int] = []
    for _ in range(batches):
        taken.append(int(rng.choice(np.flatnonzero(room.free(taken)))))
    return taken


def _exchange(X: Array, known: Array, chosen: list[int], room: _Room) -> list[int]:
    """Swap one run at a time for the candidate that adds most, until none adds."""
    for _ in range(100):
        moved = False
        for place in range(len(chosen)):
            left = [run for k, run in enumerate(chosen) if k != place]
            adds = _adds(X, known, left, room)
            best = int(adds.argmax())
            if adds[best] > adds[chosen[place]] * (1 + 1e-9) + 1e-12:
                chosen[place], moved = best, True
        if not moved:
            break
    return chosen


def _adds(X: Array, known: Array, taken: list[int], room: _Room) -> Array:
    """What each candidate would add to what is known with the runs taken; -1 where no barley."""
    inverse = np.linalg.inv(known + X[taken].T @ X[taken])
    return np.where(room.free(taken), np.einsum("ij,ij->i", X @ inverse, X), -1.0)


def _again(X: Array, before: Array, chosen: list[int], repeats: int, room: _Room) -> list[int]:
    """Add the runs of the plan that tell most when made once more, each at most once."""
    known = before.T @ before + KEEP * np.eye(X.shape[1])
    once = list(dict.fromkeys(chosen))
    for _ in range(repeats):
        adds = _adds(X, known, chosen, room)
        best = max(once, key=lambda run: adds[run])
        chosen = [*chosen, best]
        once = [run for run in once if run != best] or list(dict.fromkeys(chosen))
    return chosen


def _first_made(runs: pd.DataFrame) -> list[int]:
    """For each run the order of the first run alike, 0 for a run that is the first of its kind."""
    names = [name for name in runs if name != "order"]
    first = runs.groupby(names, dropna=False)["order"].transform("min")
    return first.where(first < runs["order"], 0).astype(int).tolist()


def _check_barley(
    batches: int, repeats: int, growers: Sequence[str], most_each: int | None
) -> None:
    if not 0 <= repeats <= batches // 2:
        raise ValueError(f"{count(repeats, 'repeat')} of {batches} batches: half at most.")
    if most_each is not None and growers and most_each * len(growers) < batches:
        raise NotEnoughData(
            f"{count(len(growers), 'grower')} with {count(most_each, 'batch')} each bear "
            f"{most_each * len(growers)} batches, not {batches}. Ask for fewer batches, or take "
            "in more growers or more of each."
        )


def _earlier(
    so_far: pd.DataFrame | None, settings: Mapping[str, Sequence[float]], growers: Sequence[str]
) -> dict[str, int]:
    if so_far is None or not growers:
        return {}
    rows = so_far[[*settings, "grower_id"]].dropna()
    counts = rows["grower_id"].value_counts()
    return {str(name): int(counts.get(name, 0)) for name in growers}


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
