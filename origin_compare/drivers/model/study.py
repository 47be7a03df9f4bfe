"""The batches one set of questions is asked of, and the columns of one model over them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TypedDict, Unpack

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.drivers.model.batch_model import BatchFit, fit_batches, solved
from origin_compare.drivers.model.fixed_columns import Layout, lay_out
from origin_compare.drivers.model.panel_scores import PanelScores, panel_scores
from origin_compare.drivers.model.predicted import Model
from origin_compare.drivers.model.usable_batches import (
    Kept,
    ProfileLike,
    chosen,
    keep,
    refuse_below,
)
from origin_compare.drivers.overlap.ties import linked, partners, several_lots
from origin_compare.drivers.wording import PROCESS, STILL, USUAL, Limits
from origin_compare.recent import Recent

SETS_KEPT = 2
"""Sets of batches whose panel error is kept in its own axes: 80 MB each at 600 batches."""


class Choices(TypedDict, total=False):
    """What may be chosen besides process and origin, the same for every question.

    `attributes`: those asked about, all unless named. `still`: what the still decides and may
    enter. `leave_out`: batches left out by hand. `limits`: where verdicts turn.
    """

    attributes: Iterable[str] | None
    still: Iterable[str]
    leave_out: Iterable[str]
    limits: Limits


@dataclass(frozen=True)
class Tasted:
    """The season's batches and what the panel says of them; every question is asked of one such.

    `batches`: one row per batch with the process figures; `leave_out`: ids left out by hand.
    """

    batches: pd.DataFrame
    profile: ProfileLike
    leave_out: tuple[str, ...] = ()
    limits: Limits = USUAL
    studies: Recent[Study] = field(default_factory=Recent, repr=False, compare=False)
    panels: Recent[PanelScores] = field(
        default_factory=lambda: Recent(SETS_KEPT), repr=False, compare=False
    )

    def study(
        self,
        process: Iterable[str] = PROCESS,
        origin: str = "grower_id",
        *,
        attributes: Iterable[str] | None = None,
        still: Iterable[str] = STILL,
    ) -> Study:
        """The batches recorded in `process` and of one known `origin`; built once and kept.

        Raises UnknownName for a column or attribute that is not there.
        """
        names = chosen(self.profile, attributes)
        key = (tuple(process), origin, tuple(names), tuple(still))
        return self.studies.get(key, lambda: self._study(*key))

    def _study(
        self, process: tuple[str, ...], origin: str, names: tuple[str, ...], still: tuple[str, ...]
    ) -> Study:
        kept = keep(self.batches, self.profile, process, origin, still, self.leave_out)
        return Study(self, kept, process, origin, names)

    def scores(self, ids: pd.Index, names: Sequence[str]) -> PanelScores:
        """Scores and panel error of the batches `ids`; questions on the same batches share them."""
        key = (tuple(ids), tuple(names))
        return self.panels.get(key, lambda: panel_scores(self.profile, ids, names))

    def over(self, batches: pd.DataFrame) -> Tasted:
        """The same asked of other batches (some of them, or with more columns)."""
        return replace(self, batches=batches, studies=Recent())

    def ended(self) -> pd.DataFrame:
        """The batches that ferment no longer."""
        if "status" not in self.batches:
            return self.batches
        return self.batches[~self.batches["status"].eq("fermenting")]


@dataclass(frozen=True)
class Study:
    """One model's batches, scores and columns, from which a question takes what it needs.

    `kept`: the n batches used and why others were not; `process`: the variables asked about;
    `names`: the A attributes asked about.
    """

    tasted: Tasted
    kept: Kept
    process: tuple[str, ...]
    origin: str
    names: tuple[str, ...]

    @property
    def rows(self) -> pd.DataFrame:
        """The batches used, index `batch_id`."""
        return self.kept.rows

    @property
    def limits(self) -> Limits:
        """Where verdicts turn."""
        return self.tasted.limits

    @cached_property
    def tied(self) -> dict[str, tuple[str, str]]:
        """Process variables that cannot be told apart: from what, and the sentence why."""
        kept = self.kept
        return partners(kept.rows, list(self.process), self.origin, kept.still, self.limits)

    @cached_property
    def lots(self) -> NDArray[np.intp]:
        """Lot codes (n) where growers are tested against lots, empty where against batches."""
        return several_lots(self.rows, self.origin)

    @cached_property
    def linked(self) -> dict[str, tuple[str, str]]:
        """Process variables that move with another but can be told apart: with what, and how much
        less surely each is known."""
        return linked(self.rows, list(self.process), self.kept.still, self.limits)

    @cached_property
    def layout(self) -> Layout:
        """Fixed columns and grower codes; NotEnoughData where too few batches are left."""
        return lay_out(self.kept, self.process, self.origin, self.tied)

    @property
    def panel(self) -> PanelScores:
        """What the panel says of these batches on the attributes asked about."""
        return self.tasted.scores(self.rows.index, self.names)

    def panel_on(self, names: Sequence[str]) -> PanelScores:
        """The same on some of them."""
        return self.panel.only([self.names.index(name) for name in names])

    @cached_property
    def told(self) -> NDArray[np.bool_]:
        """Which of the attributes the panel tells apart (A, true or false)."""
        return np.isin(np.asarray(self.names, dtype=object), list(self.tasted.profile.told))

    def refuse_few(self, what: str) -> None:
        """NotEnoughData where fewer batches are left than the columns need."""
        refuse_below(len(self.rows), self.layout.least, what)

    def model(self) -> Model:
        """The batch model on all columns, its equations kept for what else is asked of them."""
        panel = self.panel
        equations, fit = solved(panel.scores, self.layout.X, self.layout.groups, panel.turned)
        return Model(equations, fit, panel.turned)

    def fit(self, columns: Sequence[int] | None = None, one_out: bool = False) -> BatchFit:
        """The batch model on the layout's columns, all or some of them."""
        X = self.layout.X if columns is None else self.layout.X[:, list(columns)]
        panel = self.panel
        return fit_batches(panel.scores, X, self.layout.groups, panel.turned, one_out)


def tasted(batches: pd.DataFrame, profile: ProfileLike, **choices: Unpack[Choices]) -> Tasted:
    """The batches with what was chosen for all questions; see `Choices`."""
    leave_out = tuple(choices.get("leave_out", ()))
    return Tasted(batches, profile, leave_out, choices.get("limits", USUAL))


def study_of(
    batches: pd.DataFrame,
    profile: ProfileLike,
    process: Iterable[str] = PROCESS,
    origin: str = "grower_id",
    **choices: Unpack[Choices],
) -> Study:
    """One study of its own; see `Tasted.study` and `Choices`."""
    return tasted(batches, profile, **choices).study(
        process,
        origin,
        attributes=choices.get("attributes"),
        still=choices.get("still", STILL),
    )
