"""What of field and malt goes with flavour: a slope per trait, growers allowed for."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from origin_compare.answers import count, listed
from origin_compare.drivers.model.batch_model import Turned, fit_batches, turn_noise
from origin_compare.drivers.model.coding import Array
from origin_compare.drivers.model.fixed_columns import lay_out
from origin_compare.drivers.model.usable_batches import (
    ProfileLike,
    anchored,
    chosen,
    keep,
    numbers_of,
    refuse_below,
    scores_of,
)
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
LEVEL = 0.95
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
        rows = self.slopes[self.slopes["verdict"] == "clear"].sort_values("q")
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
    names = chosen(profile, None)
    told = set(profile.told)
    ended = batches[~batches["status"].eq("fermenting")] if "status" in batches else batches
    wanted = list(columns)
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
    parts, sizes = [], []
    shared: dict[tuple[str, ...], tuple[Array, Turned]] = {}
    for name in used:
        kept = keep(batches, profile, [name], origin, still, leave_out)
        layout = lay_out(kept, (name,), origin, limits)
        refuse_below(len(kept.rows), layout.least, "A slope")
        if name not in layout.place or np.ptp(numbers_of(kept.rows, [name])) == 0:
            continue
        # Traits recorded for the same batches share what is costly: the panel error's own axes.
        ids = tuple(kept.rows.index)
        if ids not in shared:
            values, noise = scores_of(kept, profile, names)
            shared[ids] = values, turn_noise(anchored(noise))
        scores, turned = shared[ids]
        fit = fit_batches(scores, layout.X, layout.groups, turned)
        column = layout.place[name]
        slope, se, df = fit.beta[:, column], fit.se[:, column], fit.df[:, column]
        reach = stats.t.ppf(0.5 + LEVEL / 2, df) * se
        sizes.append(len(kept.rows))
        parts.append(
            pd.DataFrame(
                {
                    "trait": name,
                    "attribute": names,
                    "slope": slope,
                    "low": slope - reach,
                    "high": slope + reach,
                    "step": step(name)[1],
                    "p": 2 * stats.t.sf(np.abs(slope) / se, df),
                }
            )
        )
    table = pd.concat(parts, ignore_index=True)
    asked = table["attribute"].isin(told)
    table["q"] = np.nan
    table.loc[asked, "q"] = stats.false_discovery_control(table.loc[asked, "p"])
    table["verdict"] = np.select(
        [~asked, table["q"] <= limits.clear_q, table["q"] <= limits.hint_q],
        ["panel cannot tell", "clear", "a hint"],
        default="not shown",
    )
    unused = tuple(name for name in wanted if name not in set(table["trait"]))
    return Traits(table, unused, (min(sizes), max(sizes)), int(asked.sum()))
