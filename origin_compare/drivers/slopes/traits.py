"""What of field and malt goes with flavour: a slope per trait, growers allowed for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.drivers.model.study import Study, Tasted
from origin_compare.drivers.model.usable_batches import ProfileLike, numbers_of
from origin_compare.drivers.verdicts import CLEAR, judged
from origin_compare.drivers.wording import (
    STILL,
    USUAL,
    Limits,
    joined,
    plain,
    signed,
    step,
    title,
    upper,
)
from origin_compare.errors import NotEnoughData

FIELD = (
    "grain_n_pct_dm",
    "screenings_pct",
    "thousand_grain_g",
    "yield_t_ha",
    "rain_mm",
    "mean_temp_c",
    "extract_pct_dm",
    "fan_mg_l",
    "friability_pct",
)
LEAST_RECORDED = 0.9


@dataclass(frozen=True)
class Traits:
    """One row per trait and attribute: `slope, low, high` in score points per `step` of the
    trait (total: process left as it was), `p`, `q` after Benjamini and Hochberg over all told
    attributes and traits, `verdict`. `not_used`: traits not recorded for nine batches in ten.
    """

    slopes: pd.DataFrame
    not_used: tuple[str, ...]
    batches: tuple[int, int]
    tested: int

    def table(self) -> pd.DataFrame:
        """One row per trait and attribute."""
        return self.slopes.copy()

    def of(self, attribute: str) -> pd.DataFrame:
        """The traits beside one attribute."""
        return self.slopes[self.slopes["attribute"] == attribute].reset_index(drop=True)

    def sentence(self) -> str:
        """Which traits go with which attribute."""
        rows = self.slopes[self.slopes["verdict"] == CLEAR].sort_values("q")
        if rows.empty:
            return (
                f"No figure of field or malt clearly goes with any flavour "
                f"({count(self.tested, 'slope')} tested)."
            )
        told = [
            f"{row['attribute'].replace('_', ' ')} goes with {title(row['trait'])} "
            f"({signed(row['slope'])} per {row['step']}, {plain(row['low'])} to "
            f"{plain(row['high'])})"
            for row in rows.to_dict("records")
        ]
        return f"{upper(listed(told))}."

    def rests_on(self) -> str:
        """Batches, and that a field's figure is its grower's too."""
        least, most = self.batches
        batches = f"{least}" if least == most else f"{least} to {most}"
        absent = (
            f" Not recorded well enough: {joined(title(name) for name in self.not_used)}."
            if self.not_used
            else ""
        )
        return (
            f"{batches} batches; season and grower allowed for, one trait at a time. Traits of "
            "one field come together, so one may stand for another; "
            f"{count(self.tested, 'slope')} tested together (false-discovery bound).{absent}"
        )


def traits(
    batches: pd.DataFrame,
    profile: ProfileLike,
    columns: Iterable[str] = FIELD,
    origin: str = "grower_id",
    *,
    still: Iterable[str] = STILL,
    leave_out: Iterable[str] = (),
    limits: Limits = USUAL,
) -> Traits:
    """Total slope of every attribute on every field and malt figure, each on its own.

    The model of `effects` with the trait in place of process. Raises NotEnoughData when no trait
    is recorded for nine ended batches in ten, or too few batches are left.
    """
    tasted = Tasted(batches, profile, tuple(leave_out), limits)
    return traits_of(tasted, columns, origin, still=still)


def traits_of(
    tasted: Tasted,
    columns: Iterable[str] = FIELD,
    origin: str = "grower_id",
    *,
    still: Iterable[str] = STILL,
) -> Traits:
    """`traits` of batches already settled."""
    wanted = list(columns)
    studies = dict(_studies(tasted, _recorded(tasted.ended(), wanted), origin, tuple(still)))
    table = pd.concat([_slopes(study, name) for name, study in studies.items()], ignore_index=True)
    told = table["attribute"].isin(list(tasted.profile.told))
    table = judged(table, told, False, tasted.limits)
    sizes = [len(study.rows) for study in studies.values()]
    unused = tuple(name for name in wanted if name not in studies)
    return Traits(table, unused, (min(sizes), max(sizes)), int(told.sum()))


def _recorded(ended: pd.DataFrame, wanted: list[str]) -> list[str]:
    used = [
        name
        for name in wanted
        if name in ended
        and ended[name].notna().mean() >= LEAST_RECORDED
        and ended[name].nunique() > 2
    ]
    if not used:
        raise NotEnoughData(
            "No figure of field or malt is recorded for nine batches in ten, so none can be "
            "looked at beside flavour. Take in the lots and malts first."
        )
    return used


def _studies(
    tasted: Tasted, used: list[str], origin: str, still: tuple[str, ...]
) -> Iterator[tuple[str, Study]]:
    """Each trait that moved among the batches it is recorded for, with its study."""
    for name in used:
        study = tasted.study([name], origin, still=still)
        study.refuse_few("A slope")
        if name in study.layout.place and np.ptp(numbers_of(study.rows, [name])) > 0:
            yield name, study


def _slopes(study: Study, name: str) -> pd.DataFrame:
    found = study.fit().estimates(study.layout.place[name])
    return pd.DataFrame(
        {
            "trait": name,
            "attribute": list(study.names),
            **found.columns("slope"),
            "step": step(name)[1],
            "p": found.p,
        }
    )
