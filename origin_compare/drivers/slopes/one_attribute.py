"""One attribute opened: its batches against each process variable, and the slopes through them."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import pandas as pd

from origin_compare.answers import listed
from origin_compare.drivers.model.usable_batches import ProfileLike
from origin_compare.drivers.slopes.slopes import Effects
from origin_compare.drivers.verdicts import CLEAR, HINT, NOT_SHOWN, TIED
from origin_compare.drivers.wording import USUAL, plain, signed, title, upper
from origin_compare.errors import UnknownName

POINTS = 25


class LongProfile(ProfileLike, Protocol):
    """A profile that also gives its long table, with intervals."""

    def table(self) -> pd.DataFrame: ...


@dataclass(frozen=True)
class Opened:
    """One attribute, batch by batch.

    `points`: `batch_id`, the origin, `season`, the process variables, `estimate, low, high` (the
        panel's 95 % interval). `named`: per process variable the batches its finding leans on or
        would move without.
    `lines`: per process variable `at, fit, low, high` through the mean of the batches, the band
        being the slope's own 95 % interval; `kind` is "together" (the other process variables
        allowed for) or "alone", drawn where the two cannot be told apart.
    `slopes`: this attribute's rows of the effects; `share`: its row of the origins' shares.
    """

    attribute: str
    points: pd.DataFrame
    named: Mapping[str, tuple[str, ...]]
    lines: pd.DataFrame
    slopes: pd.DataFrame
    share: Mapping[Hashable, Any]
    origin: str
    process: tuple[str, ...]
    rests: str

    def table(self) -> pd.DataFrame:
        """One row per batch."""
        return self.points.copy()

    def sentence(self) -> str:
        """What goes with this attribute, and how much of it lies between origins."""
        name = upper(self.attribute.replace("_", " "))
        if not self.share["told_apart"]:
            return f"{name}: the panel cannot tell batches apart on it, so nothing can go with it."
        told = [_slope_words(row) for row in self.slopes.to_dict("records")]
        said = list(dict.fromkeys(word for word in told if word))
        hidden = self.slopes.loc[self.slopes["verdict"] == NOT_SHOWN, "process"]
        if len(hidden):
            said.append(f"nothing is shown for {listed([title(one) for one in hidden])}")
        return f"{name}: {'; '.join(said)}. {self._shares()}".strip()

    def _shares(self) -> str:
        share, name = self.share, title(self.origin)
        if not np.isfinite(share["share"]):
            return f"How much of it lies between {name}s cannot be told here."
        return (
            f"Between {name}s lies {_percent(share, 'total')} of what the panel can see, "
            f"{_percent(share, '')} at like process."
        )

    def rests_on(self) -> str:
        """The batches, and what points and bands are."""
        return (
            f"{self.rests} Points: the panel's adjusted score of each batch with its 95 % "
            "interval. Band: the slope's own 95 % interval, drawn through the mean."
        )


def _percent(share: Mapping[Hashable, Any], prefix: str) -> str:
    low, high = (f"{prefix}_{end}" if prefix else end for end in ("low", "high"))
    parts = [100 * float(share[key]) for key in (prefix or "share", low, high)]
    return f"{plain(parts[0], 0)} % ({plain(parts[1], 0)}–{plain(parts[2], 0)})"


def _slope_words(row: Mapping[Hashable, Any]) -> str:
    name = title(str(row["process"]))
    if row["verdict"] in (CLEAR, HINT):
        start = "goes with" if row["verdict"] == CLEAR else "a hint that it goes with"
        return (
            f"{start} {name} ({signed(row['slope'])} per {row['step']}, {plain(row['low'])} to "
            f"{plain(row['high'])})"
        )
    if row["verdict"] != TIED:
        return ""
    first, second = sorted([name, title(str(row["tied_with"]))])
    if row["together_q"] <= USUAL.clear_q:
        return f"goes with {first} or {second}, which cannot be told apart here"
    return f"{first} and {second} cannot be told apart, and neither is shown to go with it"


def opened(effects: Effects, profile: LongProfile, attribute: str) -> Opened:
    """The batches of `effects` on one attribute, with the slopes drawn through them.

    Raises UnknownName for an attribute the panel did not score.
    """
    slopes = effects.table()
    slopes = slopes[slopes["attribute"] == attribute].reset_index(drop=True)
    if slopes.empty:
        raise UnknownName(f"No attribute {attribute} among those asked about. Choose another.")
    share = effects.origins.loc[effects.origins["attribute"] == attribute].to_dict("records")[0]
    points = _points(effects, profile, attribute)
    lines = [
        _line(row, points[str(row["process"])], float(points["estimate"].mean()))
        for row in slopes.to_dict("records")
    ]
    return Opened(
        attribute,
        points,
        {str(row["process"]): _named(row) for row in slopes.to_dict("records")},
        pd.concat(lines, ignore_index=True),
        slopes,
        share,
        effects.origin,
        effects.process,
        effects.kept.words(),
    )


def _points(effects: Effects, profile: LongProfile, attribute: str) -> pd.DataFrame:
    rows = effects.kept.rows
    columns = ["batch_id", effects.origin, "season", *effects.process]
    table = rows[[name for name in columns if name in rows]].reset_index(drop=True)
    scores = profile.table()
    scores = scores.loc[scores["attribute"] == attribute, ["batch_id", "estimate", "low", "high"]]
    return table.merge(scores, on="batch_id", how="left", validate="1:1")


def _named(row: Mapping[Hashable, Any]) -> tuple[str, ...]:
    if row["verdict"] not in (CLEAR, HINT):
        return ()
    return tuple(dict.fromkeys(str(row[name]) for name in ("leans_on", "moved_by") if row[name]))


def _line(row: Mapping[Hashable, Any], x: pd.Series, level: float) -> pd.DataFrame:
    """The slope through the mean of the batches, with the band its interval opens."""
    tied = row["verdict"] == TIED
    kind = "alone" if tied else "together"
    names = ("alone", "alone_low", "alone_high") if tied else ("slope", "low", "high")
    slope, low, high = (float(row[name]) for name in names)
    values = x.to_numpy(dtype=float)
    at = np.linspace(values.min(), values.max(), POINTS)
    away = (at - values.mean()) / float(row["per"])
    ends = np.sort(np.stack([low * away, high * away]), axis=0)
    return pd.DataFrame(
        {
            "process": row["process"],
            "kind": kind,
            "at": at,
            "fit": level + slope * away,
            "low": level + ends[0],
            "high": level + ends[1],
        }
    )
