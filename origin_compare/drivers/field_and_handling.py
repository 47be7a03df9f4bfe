"""What did a field give, and did our handling hide it: each batch's difference from its season.

A batch's score less the mean of its season's batches is parted exactly into what goes with its
handling (process and still away from that season's mean), what stays with its origin, what the
batch alone shows, and what the panel's own error is likely to be. The parts are contrasts of the
model of `effects` (see `model.predicted`); each has its interval, and origin, batch and panel are
drawn towards nothing as far as they are uncertain.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Unpack

import numpy as np
import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.drivers.model.coding import Array
from origin_compare.drivers.model.predicted import Model, Part, predicted
from origin_compare.drivers.model.study import Choices, Study, study_of
from origin_compare.drivers.model.usable_batches import Kept, ProfileLike, numbers_of
from origin_compare.drivers.verdicts import BLIND, CLEAR, HINT, judged
from origin_compare.drivers.wording import PROCESS, made, plain, signed, title, upper
from origin_compare.errors import NotEnoughData, UnknownName
from origin_compare.estimates import Estimates

HANDLING, ORIGIN, BATCH, PANEL = "handling", "origin", "unexplained", "panel"
EITHER, OF_BATCH = "handling or origin", "origin or unexplained"
MOST_SAID = 3
"""Flavours told in one sentence; the table has them all."""


@dataclass(frozen=True)
class FieldAndHandling:
    """Every batch's, and every grower's, difference from the season's middle, parted.

    `parts`: one row per batch, attribute and part: `batch_id`, origin, `season, attribute, part,
        estimate, low, high`, score points. Parts add to `difference` of `batches`. Where handling
        and origin cannot be parted the two stand as one ("handling or origin"), where origin and
        batch cannot, as "origin or unexplained".
    `batches`: one row per batch and attribute: `score, middle, difference`; `usual, usual_low,
        usual_high`, what it would have scored at the season's usual process; `handling` with `p,
        q` over all told attributes and batches and `verdict`; `most`, the variable behind most of
        it, its `value` and the season's `usual_value`.
    `growers`: the mean of a grower's batches: `part, estimate, low, high, n_batches`.
    `cannot`: sentences saying what cannot be parted here.
    """

    parts: pd.DataFrame
    batches: pd.DataFrame
    growers: pd.DataFrame
    origin: str
    cannot: tuple[str, ...]
    kept: Kept

    def table(self) -> pd.DataFrame:
        """One row per batch and attribute."""
        return self.batches.copy()

    def sentence(self) -> str:
        """How often handling surely moved a batch, and what cannot be parted."""
        clear = self.batches[self.batches["verdict"] == CLEAR]
        told = [*self.cannot]
        if clear.empty:
            told.insert(0, "No batch's handling surely moved its flavour from the season's middle.")
        else:
            rows = clear.groupby("attribute", sort=False)["batch_id"].nunique()
            words = [f"{name} of {count(int(n), 'batch')}" for name, n in rows.items()]
            told.insert(0, f"Handling surely moved {listed(words)} from the season's middle.")
        return " ".join(told)

    def rests_on(self) -> str:
        """The batches, and what the parts are."""
        return (
            f"{self.kept.words()} Usual process: the mean of the season's batches. Parts after the "
            "slopes of process and still on flavour, each with its 95 % interval; what stays with "
            f"the {title(self.origin)} is drawn towards nothing as far as it is uncertain. "
            f"{self.kept.still_words()}"
        ).strip()

    def of(self, batch_id: str) -> FieldOfBatch:
        """One batch; UnknownName where it is not among those used."""
        rows = self.batches[self.batches["batch_id"] == batch_id]
        if rows.empty:
            raise UnknownName(
                f"Batch {batch_id} is not among the {count(len(self.kept.rows), 'batch')} that "
                "ended, were tasted and have all process figures and one known origin."
            )
        parts = self.parts[self.parts["batch_id"] == batch_id]
        return FieldOfBatch(
            batch_id, rows.reset_index(drop=True), parts.reset_index(drop=True), self
        )

    def of_grower(self, grower_id: str) -> FieldOfGrower:
        """One grower over all batches; UnknownName where none of them is used."""
        rows = self.growers[self.growers[self.origin] == grower_id]
        if rows.empty:
            raise UnknownName(f"No batch of {title(self.origin)} {grower_id} could be used.")
        return FieldOfGrower(grower_id, rows.reset_index(drop=True), self)


@dataclass(frozen=True)
class FieldOfBatch:
    """One batch of `whole`: its rows of `batches` (`scores`) and of `parts`."""

    batch_id: str
    scores: pd.DataFrame
    parts: pd.DataFrame
    whole: FieldAndHandling

    def table(self) -> pd.DataFrame:
        """One row per attribute and part."""
        return self.parts.copy()

    def sentence(self) -> str:
        """What this barley would have scored at the usual process, where handling moved it."""
        rows = self.scores[self.scores["verdict"] == CLEAR].sort_values("q")
        if len(rows):
            said = " ".join(_hidden(row) for row in rows.head(MOST_SAID).to_dict("records"))
            rest = len(rows) - MOST_SAID
            return f"{said} {count(rest, 'more flavour')} in the table." if rest > 0 else said
        if self.scores["verdict"].eq(BLIND).all():
            return "The panel tells batches apart on no flavour, so nothing can be parted."
        if self.whole.cannot:
            return f"Cannot be parted here. {' '.join(self.whole.cannot)}"
        row = self.scores[~self.scores["verdict"].eq(BLIND)].sort_values("p").iloc[0].to_dict()
        return (
            f"No flavour of {self.batch_id} is surely moved by its handling; nearest, "
            f"{row['attribute']}: {signed(row['handling'])} ({plain(row['handling_low'])} to "
            f"{plain(row['handling_high'])}) goes with its handling."
        )

    def on(self, attribute: str) -> str:
        """The sentence of one attribute, clear or not; UnknownName where it was not asked about."""
        rows = self.scores[self.scores["attribute"] == attribute]
        if rows.empty:
            raise UnknownName(f"No {attribute} was asked about; see the table for what was.")
        row = rows.iloc[0].to_dict()
        if row["verdict"] == BLIND:
            return (
                f"The panel cannot tell batches apart on {attribute}, so nothing can be parted "
                f"for {self.batch_id}."
            )
        if row["verdict"] == CLEAR:
            return _hidden(row)
        if self.whole.cannot:
            return f"Cannot be parted here. {' '.join(self.whole.cannot)}"
        return _not_clear(row)

    def rests_on(self) -> str:
        """As the whole."""
        return self.whole.rests_on()


@dataclass(frozen=True)
class FieldOfGrower:
    """One grower of `whole`: the mean of its batches' parts."""

    grower_id: str
    parts: pd.DataFrame
    whole: FieldAndHandling

    def table(self) -> pd.DataFrame:
        """One row per attribute and part."""
        return self.parts.copy()

    def sentence(self) -> str:
        """What stays with the grower's barley and what went with its handling, where seen."""
        told = []
        for part, words in ((ORIGIN, "stays with the barley"), (HANDLING, "went with handling")):
            rows = self.parts[self.parts["part"].eq(part) & self.parts["verdict"].eq(CLEAR)]
            if len(rows):
                each = [
                    f"{row['attribute']} {signed(row['estimate'])} ({plain(row['low'])} to "
                    f"{plain(row['high'])})"
                    for row in rows.to_dict("records")
                ]
                told.append(f"{words}: {listed(each)}")
        if told:
            return f"{self.grower_id}: {'; '.join(told)}."
        if self.whole.cannot:
            return f"{self.grower_id}: cannot be parted here. {' '.join(self.whole.cannot)}"
        return (
            f"{self.grower_id}: no flavour surely stays with the barley, and none is surely moved "
            "by handling."
        )

    def rests_on(self) -> str:
        """As the whole, and how many batches are this grower's."""
        n = int(self.parts["n_batches"].iloc[0])
        return f"{count(n, 'batch')} of {self.grower_id}. {self.whole.rests_on()}"


def field_and_handling(
    batches: pd.DataFrame,
    profile: ProfileLike,
    process: Iterable[str] = PROCESS,
    origin: str = "grower_id",
    **choices: Unpack[Choices],
) -> FieldAndHandling:
    """Each batch's difference from its season's middle, parted; see the module.

    Raises NotEnoughData where too few batches bear the slopes.
    """
    return field_and_handling_of(study_of(batches, profile, process, origin, **choices))


def field_and_handling_of(study: Study) -> FieldAndHandling:
    """`field_and_handling` of a study already laid out."""
    study.refuse_few("What a field gave")
    if not study.layout.made:
        raise NotEnoughData("Nothing about the handling of these batches varied.")
    model, away = study.model(), _from_season(study.rows)
    layout, told = study.layout, study.told
    whose, cannot = _parts_here(study)
    batches = _batch_rows(study, model, away)
    parts = [
        _rows(study, part, found)
        for part, found in _parted(layout.X, layout.made, model, away, whose)
    ]
    codes, levels = pd.factorize(study.rows[study.origin].astype(str), sort=True)
    member = np.eye(len(levels))[codes] / np.bincount(codes)
    growers = []
    for part, found in _parted(layout.X, layout.made, model, away @ member, whose):
        table = pd.DataFrame(
            {
                study.origin: np.repeat(levels, len(study.names)),
                "attribute": np.tile(study.names, len(levels)),
                "part": part,
                "n_batches": np.repeat(np.bincount(codes), len(study.names)),
                **_flat(found),
            }
        )
        table = judged(table, np.tile(told, len(levels)), False, study.limits)
        growers.append(table)
    return FieldAndHandling(
        pd.concat(parts, ignore_index=True),
        batches,
        pd.concat(growers, ignore_index=True),
        study.origin,
        cannot,
        study.kept,
    )


Whose = Mapping[str, tuple[bool, tuple[Part, ...]]]
ALL: Whose = {
    HANDLING: (True, ()),
    ORIGIN: (False, ("grower",)),
    BATCH: (False, ("batch",)),
    PANEL: (False, ("panel",)),
}


def _parts_here(study: Study) -> tuple[Whose, tuple[str, ...]]:
    """The parts that these batches bear (handling in it or not, random parts), and why no more."""
    layout, name = study.layout, title(study.origin)
    if layout.one_each:
        whose: dict[str, tuple[bool, tuple[Part, ...]]] = {
            HANDLING: (True, ()),
            OF_BATCH: (False, ("batch",)),
            PANEL: (False, ("panel",)),
        }
        return whose, tuple(layout.notes) or (f"{upper(name)} and batch are one thing here.",)
    tied = [why for other, why in study.tied.values() if other == study.origin]
    if not tied:
        return ALL, ()
    whose = {EITHER: (True, ("grower",)), BATCH: ALL[BATCH], PANEL: ALL[PANEL]}
    return whose, tuple(upper(f"{why}.") for why in dict.fromkeys(tied))


def _from_season(rows: pd.DataFrame) -> Array:
    """n x n: each batch's column takes its score less the mean of its season's batches."""
    seasons = rows["season"].astype(str) if "season" in rows else pd.Series("", index=rows.index)
    codes = pd.factorize(seasons)[0]
    same = codes[:, None] == codes[None, :]
    return np.eye(len(rows)) - same / same.sum(axis=0)


def _parted(
    X: Array, columns: list[int], model: Model, contrasts: Array, whose: Whose
) -> list[tuple[str, Estimates]]:
    """Each part's estimates (k x A)."""
    fixed = np.zeros((contrasts.shape[1], X.shape[1]))
    fixed[:, columns] = contrasts.T @ X[:, columns]
    return [
        (part, predicted(model, contrasts, fixed if handled else 0.0 * fixed, random))
        for part, (handled, random) in whose.items()
    ]


def _flat(found: Estimates) -> dict[str, Array]:
    """Estimates (k x A) as the columns of a table, attributes running fastest."""
    low, high = found.interval()
    values = {"estimate": found.value, "low": low, "high": high, "p": found.p}
    return {name: np.asarray(value).ravel() for name, value in values.items()}


def _keys(study: Study) -> dict[str, Any]:
    rows, wide = study.rows, len(study.names)
    season = rows["season"].astype(str) if "season" in rows else pd.Series("", index=rows.index)
    return {
        "batch_id": np.repeat(rows.index.to_numpy(), wide),
        study.origin: np.repeat(rows[study.origin].astype(str).to_numpy(), wide),
        "season": np.repeat(season.to_numpy(), wide),
        "attribute": np.tile(study.names, len(rows)),
    }


def _rows(study: Study, part: str, found: Estimates) -> pd.DataFrame:
    return pd.DataFrame({**_keys(study), "part": part, **_flat(found)})


def _batch_rows(study: Study, model: Model, away: Array) -> pd.DataFrame:
    """One row per batch and attribute: score, middle, at the usual process, and handling."""
    layout, scores = study.layout, study.panel.scores
    difference = away.T @ scores
    fixed = np.zeros_like(layout.X)
    fixed[:, layout.made] = away.T @ layout.X[:, layout.made]
    handling = predicted(model, away, fixed)
    usual = predicted(model, away, 0.0 * fixed, ("grower", "batch"))
    middle = scores - difference
    low, high = usual.interval()
    down, up = handling.interval()
    table = pd.DataFrame(
        {
            **_keys(study),
            "score": scores.ravel(),
            "middle": middle.ravel(),
            "difference": difference.ravel(),
            "usual": (middle + usual.value).ravel(),
            "usual_low": (middle + low).ravel(),
            "usual_high": (middle + high).ravel(),
            "handling": handling.value.ravel(),
            "handling_low": down.ravel(),
            "handling_high": up.ravel(),
            "p": handling.p.ravel(),
            **_most(study, fixed, model.fit.beta, away),
        }
    )
    refused = any(other == study.origin for other, _ in study.tied.values())
    return judged(table, np.tile(study.told, len(study.rows)), refused, study.limits)


def _most(study: Study, fixed: Array, beta: Array, away: Array) -> dict[str, Array]:
    """The variable behind most of each batch's handling, its value and the season's mean."""
    columns = study.layout.made
    names = [study.layout.names[k] for k in columns]
    size = np.abs(fixed[:, None, columns] * beta[None, :, columns])
    largest = size.argmax(axis=2).ravel()
    values = numbers_of(study.rows, names)
    usual = values - away.T @ values
    batch = np.repeat(np.arange(len(values)), len(study.names))
    return {
        "most": np.asarray(names, dtype=object)[largest],
        "value": values[batch, largest],
        "usual_value": usual[batch, largest],
    }


def _hidden(row: Mapping[Hashable, Any]) -> str:
    """`At the house's usual process this barley would have scored fruity 5.1 (4.3 to 5.9); …`"""
    return (
        f"At the house's usual process this barley would have scored {row['attribute']} "
        f"{plain(row['usual'], 1)} ({plain(row['usual_low'], 1)} to "
        f"{plain(row['usual_high'], 1)}); it {made(row['most'], row['value'])} (usual "
        f"{made(row['most'], row['usual_value'], bare=True)}) and scored {plain(row['score'], 1)}."
    )


def _not_clear(row: Mapping[Hashable, Any]) -> str:
    """A hint, or not seen, that handling moved it; and what it would have scored all the same."""
    batch, attribute = row["batch_id"], row["attribute"]
    if row["verdict"] == HINT:
        found = f"A hint that handling moved {attribute} of {batch}"
    else:
        found = f"Handling is not seen to have moved {attribute} of {batch}"
    return (
        f"{found}: {signed(row['handling'])} ({plain(row['handling_low'])} to "
        f"{plain(row['handling_high'])}). At the house's usual process this barley would have "
        f"scored {plain(row['usual'], 1)} ({plain(row['usual_low'], 1)} to "
        f"{plain(row['usual_high'], 1)}); it scored {plain(row['score'], 1)}."
    )
