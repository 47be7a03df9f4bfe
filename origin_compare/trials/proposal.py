"""Which batches to make next: settings and lots that tell most, in a drawn order.

The runs are chosen on top of what the batches so far already tell (see `trial_design`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, product
from typing import Literal

import numpy as np
import pandas as pd

from origin_compare.answers import count
from origin_compare.drivers.model.coding import Array
from origin_compare.drivers.wording import joined, plain, title, upper
from origin_compare.errors import NotEnoughData
from origin_compare.trials.exchange import (
    ALIKE,
    Room,
    Rows,
    Scale,
    Term,
    Wanted,
    best_runs,
    columns,
    efficiency,
    known_before,
    made_again,
)
from origin_compare.trials.vessels import in_rounds
from origin_compare.trials.visible_gaps import BETWEEN_LOTS, Laid, told_term, told_terms

Model = Literal["straight lines", "with interactions", "with bends"]
FEWEST, MOST = 4, 24
LEAST_WEIGHT = 0.01
"""What nobody cares about is still kept estimable, or it would be taken for what they do."""
KINDS = ("order", "round", "vessel", "lot_id", "grower_id", "repeats")
"""Columns of the runs that are no settings."""


@dataclass(frozen=True)
class Choices:
    """What a plan may choose from.

    `settings`: levels per process column, in the column's unit. `lots`: barley to come, one row
    per lot: `lot_id`, and if known `grower_id` and `most` (batches it makes at most, missing for
    no limit); None where the plan shall not say whose barley. `vessels`: names; each round of
    batches fills each vessel once. `weights`: how much each term of the model matters, by its
    name (`length_h`, `length_h x final_ph`, `between lots`), 1 for a term not named and 0 for
    lots; None to weigh all alike. `split`: whether one lot may be made at several settings.
    """

    settings: Mapping[str, Sequence[float]]
    lots: pd.DataFrame | None = None
    vessels: Sequence[str] = ()
    weights: Mapping[str, float] | None = None
    split: bool = True


@dataclass(frozen=True)
class Trials:
    """Batches to make next.

    `runs`: one row per batch in the order to make them: `order`, `round` and `vessel` (where
        vessels are named), the settings, `lot_id, grower_id` (where lots take part); `repeats`
        names the earlier run of the plan made again, 0 if none.
    `terms`: one row per term: `term, kind` (slope, interaction, bend, lots, harvests), `step,
        se_before, se_after, visible_before, visible_after`, score points per step, by the
        formula; `visible` is the smallest seen four times in five at 5 % (missing where the
        batches cannot tell it). `trial_power` gives the same by simulation.
    `by_lot`: batches of the plan per lot, at how many settings, batches made of it before.
    `efficiency_pct`: D-efficiency of the new settings; 100 is an orthogonal design on its corners.
    """

    runs: pd.DataFrame
    terms: pd.DataFrame
    by_lot: pd.DataFrame
    efficiency_pct: float
    model: Model
    choices: Choices
    sd: float
    lot_sd: float
    n_before: int
    seed: int
    laid: Laid

    def told_terms(self) -> list[tuple[str, str]]:
        """Each term and its step as people say them: `bend in length`, `10 h, squared`."""
        return [told_term(row["term"], row["kind"], row["step"]) for row in self._rows()]

    def _rows(self) -> list[dict[str, str]]:
        return self.terms[["term", "kind", "step"]].to_dict("records")  # type: ignore[return-value]

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
        chosen = (
            "all effects weighed alike"
            if self.choices.weights is None
            else ("effects weighed as given")
        )
        lots = f", lot to lot {plain(self.lot_sd)}" if self.choices.lots is not None else ""
        return (
            f"{upper(self.model)}, {chosen}; batch-to-batch standard deviation {plain(self.sd)} "
            f"score points, panel error included{lots}; "
            f"{count(self.n_before, 'earlier batch')} counted in. "
            f"{self._efficiency()} Order drawn with seed {self.seed}: keep to "
            "it, or the weather of the weeks stands in for the settings."
        )

    def _efficiency(self) -> str:
        if self.efficiency_pct > 0:
            return f"D-efficiency {self.efficiency_pct:.0f} %."
        return "The new batches alone do not bear this model; with the earlier ones they do."


def next_trials(
    choices: Choices | Mapping[str, Sequence[float]],
    batches: int,
    sd: float,
    *,
    model: Model = "straight lines",
    so_far: pd.DataFrame | None = None,
    lot_sd: float = 0.0,
    repeats: int = 0,
    seed: int = 0,
) -> Trials:
    """Choose 4 to 24 `batches` from all combinations of settings and lots (see `Choices`; a bare
    mapping is its `settings`).

    `sd`: batch-to-batch standard deviation of a score, panel error included; `lot_sd`: lot to
    lot. `so_far`: batches made (columns as in `settings`, `lot_id` where lots take part; rows
    with empty cells are not counted); each of their harvests, if `season` is given, keeps a level
    of its own beside that of the new batches, and a lot mashed before bridges the two. `repeats`:
    how many of the batches make a run of the plan once more, so that the spread between like
    batches is seen by itself. D-optimal, or with `weights` least weighted sum of variances.
    Raises ValueError for settings without two levels, an unknown weight or a number of batches
    out of range, NotEnoughData for more terms than batches bear or more batches than the barley
    yields.
    """
    wanted = choices if isinstance(choices, Choices) else Choices(choices)
    _check(wanted.settings, batches, sd, repeats)
    terms = terms_of(tuple(wanted.settings), model)
    _check_weights(wanted, terms)
    ground = _ground(wanted, terms, so_far, batches)
    before, lots = ground.before, ground.lots
    _enough(len(before), batches, repeats, ground.new.fixed.shape[1])
    ratio = min((sd / lot_sd) ** 2, ALIKE) if lot_sd > 0 else ALIKE
    rng = np.random.default_rng(seed)
    chosen = _chosen(ground, wanted, terms, ratio, (batches, repeats), rng)
    order = [int(run) for run in rng.permutation(chosen)]
    after = Rows(ground.new.fixed[order], ground.new.lot[order])
    laid = Laid(before, after, terms, ground.half, ground.lots_in_all, ground.harvests)
    runs = ground.candidates.iloc[order]
    return Trials(
        runs=_runs(runs.reset_index(drop=True), lots, wanted, rng),
        terms=told_terms(laid, len(lots), sd, ratio),
        by_lot=_by_lot(runs, lots, ground.made),
        efficiency_pct=efficiency(ground.new.fixed[chosen, : 1 + len(terms)]),
        model=model,
        choices=wanted,
        sd=sd,
        lot_sd=lot_sd,
        n_before=len(before),
        seed=seed,
        laid=laid,
    )


@dataclass(frozen=True)
class _Ground:
    """What a plan is chosen from and on top of.

    `candidates`: every setting with every lot to come (`lots`), as rows and as columns (`new`);
    `made`: earlier batches, as rows and as columns (`before`), with their `harvests`;
    `lots_in_all`: lots to come and lots mashed before; `half`: half the range of each setting.
    """

    candidates: pd.DataFrame
    new: Rows
    made: pd.DataFrame
    before: Rows
    lots: pd.DataFrame
    lots_in_all: int
    harvests: tuple[str, ...]
    half: Mapping[str, float]


def _ground(
    wanted: Choices, terms: tuple[Term, ...], so_far: pd.DataFrame | None, batches: int
) -> _Ground:
    lots = _lots(wanted.lots, batches)
    candidates = pd.DataFrame(
        list(product(*wanted.settings.values(), range(len(lots)) if len(lots) else [-1])),
        columns=[*wanted.settings, "lot"],
    )
    scale = _scale(wanted.settings)
    made = _made(so_far, wanted, scale)
    before, names, harvests = _earlier_rows(made, terms, scale, lots)
    past = np.zeros((len(candidates), before.fixed.shape[1] - 1 - len(terms)))
    code = candidates["lot"].to_numpy(dtype=np.intp)
    new = Rows(np.hstack([columns(candidates, terms, scale), past]), code)
    return _Ground(candidates, new, made, before, lots, len(names), harvests, scale[1])


def _chosen(
    ground: _Ground,
    wanted: Choices,
    terms: Sequence[Term],
    ratio: float,
    wanted_runs: tuple[int, int],
    rng: np.random.Generator,
) -> list[int]:
    """Candidates to make, repeats last: exchanged for what they add to the batches so far."""
    batches, repeats = wanted_runs
    lots = len(ground.lots)
    X = ground.new.whole(lots)
    known = known_before(ground.before, lots, ground.lots_in_all, ratio)
    by_setting = ground.candidates.groupby(list(wanted.settings))
    setting = by_setting.ngroup().to_numpy().astype(np.intp)
    room = Room(ground.new.lot, setting, dict(enumerate(ground.lots["most"])), wanted.split)
    aim = Wanted(_weights(wanted, terms, X.shape[1], lots), ground.new.fixed.shape[1])
    chosen = best_runs(X, known, batches - repeats, room, aim, rng)
    return made_again(X, known, chosen, repeats, room, aim)


def _check(settings: Mapping[str, Sequence[float]], batches: int, sd: float, repeats: int) -> None:
    for name, levels in settings.items():
        if len(set(levels)) < 2:
            raise ValueError(f"{title(name)} has one level; a trial needs at least two to compare.")
    if not settings:
        raise ValueError("No settings given; name at least one process variable and its levels.")
    if not FEWEST <= batches <= MOST:
        raise ValueError(f"{batches} batches is outside {FEWEST} to {MOST}.")
    if not sd > 0:
        raise ValueError(f"A standard deviation of {sd:g} is not above 0.")
    if not 0 <= repeats <= batches // 2:
        raise ValueError(f"{count(repeats, 'repeat')} of {batches} batches: half at most.")


def _check_weights(choices: Choices, terms: Sequence[Term]) -> None:
    known = {" x ".join(term) for term in terms} | {BETWEEN_LOTS}
    for name, weight in (choices.weights or {}).items():
        if name not in known:
            raise ValueError(f"{name} is no term of this model; it has {joined(sorted(known))}.")
        if not weight >= 0:
            raise ValueError(f"A weight of {weight:g} for {name} is below 0.")


def _enough(before: int, batches: int, repeats: int, fixed: int) -> None:
    if before + min(batches - 1, batches - repeats) < fixed:
        raise NotEnoughData(
            f"{count(batches, 'batch')} and {count(before, 'earlier batch')} cannot bear "
            f"{fixed} terms. Ask for fewer settings or interactions, or make more."
        )


def _scale(settings: Mapping[str, Sequence[float]]) -> Scale:
    centre = {name: (min(levels) + max(levels)) / 2 for name, levels in settings.items()}
    half = {name: (max(levels) - min(levels)) / 2 for name, levels in settings.items()}
    return centre, half


def terms_of(names: tuple[str, ...], model: Model) -> tuple[Term, ...]:
    """The terms of a model, each the settings it multiplies."""
    terms: list[Term] = [(name,) for name in names]
    if model in ("with interactions", "with bends"):
        terms += list(combinations(names, 2))
    if model == "with bends":
        terms += [(name, name) for name in names]
    return tuple(terms)


def _lots(lots: pd.DataFrame | None, batches: int) -> pd.DataFrame:
    """`lot_id, grower_id, most`, refused where the barley does not yield the batches."""
    if lots is None or lots.empty:
        return pd.DataFrame(columns=["lot_id", "grower_id", "most"])
    if lots["lot_id"].duplicated().any():
        twice = lots.loc[lots["lot_id"].duplicated(), "lot_id"].iloc[0]
        raise ValueError(f"Lot {twice} is given twice; give each lot once, with all its barley.")
    most = lots["most"].astype(float) if "most" in lots else pd.Series(np.nan, lots.index)
    table = pd.DataFrame(
        {
            "lot_id": lots["lot_id"].astype(str),
            "grower_id": lots.get("grower_id", ""),
            "most": most.fillna(batches).clip(upper=batches).astype(int),
        }
    )
    table = table[table["most"] > 0].reset_index(drop=True)
    if table["most"].sum() < batches:
        raise NotEnoughData(
            f"{count(len(lots), 'lot')} of barley yield {count(int(table['most'].sum()), 'batch')}"
            f" at most, not {batches}. Ask for fewer batches, or take in more barley."
        )
    return table


def _made(so_far: pd.DataFrame | None, choices: Choices, scale: Scale) -> pd.DataFrame:
    """Earlier batches complete in what the plan looks at, with `season` and `lot_id` as text."""
    empty = pd.DataFrame(columns=[*choices.settings, "lot_id", "season"])
    if so_far is None:
        return empty
    needed = [*scale[0], *(["lot_id"] if choices.lots is not None else [])]
    rows = so_far.dropna(subset=needed)
    lot = rows["lot_id"].astype(str) if choices.lots is not None else ""
    season = rows["season"].astype(str) if "season" in rows else ""
    return rows[list(choices.settings)].assign(lot_id=lot, season=season)


def _earlier_rows(
    made: pd.DataFrame, terms: Sequence[Term], scale: Scale, lots: pd.DataFrame
) -> tuple[Rows, list[str], tuple[str, ...]]:
    """Earlier batches as columns, all lots with those to come first, and their harvests. Each
    harvest has a column of its own that no new batch is in, so that a shift between harvests is
    never taken for an effect of the settings."""
    harvests = tuple(sorted(made["season"].unique()))
    member = np.array([made["season"] == one for one in harvests], dtype=float).T
    fixed = np.hstack([columns(made, terms, scale), member.reshape(len(made), len(harvests))])
    if lots.empty:
        return Rows(fixed, np.full(len(made), -1, dtype=np.intp)), [], harvests
    coming = lots["lot_id"].tolist()
    names = [*coming, *sorted(set(made["lot_id"]) - set(coming))]
    code = made["lot_id"].map({name: k for k, name in enumerate(names)})
    return Rows(fixed, code.to_numpy(dtype=np.intp)), names, harvests


def _weights(choices: Choices, terms: Sequence[Term], width: int, lots: int) -> Array | None:
    """How much the variance of each column matters; None where all terms weigh alike."""
    if choices.weights is None:
        return None
    found = np.zeros(width)
    for k, term in enumerate(terms, start=1):
        found[k] = max(choices.weights.get(" x ".join(term), 1.0), LEAST_WEIGHT)
    if lots > 1:
        # The variance of a difference of two is twice that of one.
        found[width - lots :] = 2.0 * choices.weights.get(BETWEEN_LOTS, 0.0) / lots
    return found


def _runs(
    chosen: pd.DataFrame, lots: pd.DataFrame, choices: Choices, rng: np.random.Generator
) -> pd.DataFrame:
    runs = chosen.drop(columns="lot")
    if len(lots):
        picked = lots.iloc[chosen["lot"].to_numpy()].reset_index(drop=True)
        runs = runs.assign(lot_id=picked["lot_id"], grower_id=picked["grower_id"])
    runs.insert(0, "order", np.arange(1, len(runs) + 1))
    alike = [name for name in runs if name not in KINDS or name == "lot_id"]
    first = runs.groupby(alike, dropna=False)["order"].transform("min")
    runs["repeats"] = first.where(first < runs["order"], 0).astype(int)
    if len(choices.vessels):
        rounds, vessel = in_rounds(runs[list(choices.settings)], list(choices.vessels), rng)
        runs.insert(1, "round", rounds)
        runs.insert(2, "vessel", vessel)
    return runs


def _by_lot(chosen: pd.DataFrame, lots: pd.DataFrame, made: pd.DataFrame) -> pd.DataFrame:
    names = [name for name in chosen if name != "lot"]
    rows = [
        (
            row["lot_id"],
            row["grower_id"],
            int((chosen["lot"] == k).sum()),
            len(chosen.loc[chosen["lot"] == k, names].drop_duplicates()),
            int((made["lot_id"] == row["lot_id"]).sum()),
        )
        for k, row in enumerate(lots.to_dict("records"))
    ]
    return pd.DataFrame(rows, columns=["lot_id", "grower_id", "batches", "settings", "earlier"])
