"""The rows of a score sheet that can be used, what was left out and why, and one common scale."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.errors import MixedScales

NOT_NAMED = "not named"

_NEEDED = ("assessor_id", "batch_id", "attribute", "score")
_DEFAULTS: Mapping[str, Any] = {
    "tasting_id": "1",
    "tasted_on": pd.NaT,
    "replicate": 1,
    "position": float("nan"),
    "sample_kind": "batch",
    "served_abv_pct": float("nan"),
    "scale": None,
}


@dataclass(frozen=True)
class Rows:
    """Usable scores.

    `frame`: tasting_id, tasted_on, assessor_id, batch_id, replicate, position, sample_kind,
        served_abv_pct, attribute, score; RangeIndex, no missing score.
    `left_out`: cause, rows.
    `scale`: the one scale all scores stand on.
    `batches`: ids of what was served as a batch, sorted; `controls`: ids served only as control.
    `attributes`: in the order in which they first appear.
    """

    frame: pd.DataFrame
    left_out: pd.DataFrame
    scale: str
    batches: tuple[str, ...]
    controls: tuple[str, ...]
    attributes: tuple[str, ...]

    def left_out_words(self) -> str:
        """`12 warm-up scores and 3 declined scores left out`, or nothing."""
        causes = [
            f"{row.rows} {row.cause}" for row in self.left_out.itertuples() if int(str(row.rows))
        ]
        return f"{listed(causes)} left out" if causes else ""


def usable(scores: pd.DataFrame, scales: Mapping[str, tuple[float, float]] | None = None) -> Rows:
    """The usable rows of a long score frame on one scale.

    `scales` maps each scale's name to (factor, offset): common score = factor x score + offset;
    a scale nobody named goes by "not named". Without it, more than one scale raises `MixedScales`
    naming the rows. Warm-ups and empty (declined) scores are left out and counted. Raises
    `ValueError` when a needed column is missing.
    """
    missing = [name for name in _NEEDED if name not in scores.columns]
    if missing:
        raise ValueError(
            f"scores: no column {listed(missing)}. Give a long frame with "
            "assessor_id, batch_id, attribute and score."
        )
    frame = scores.reset_index(drop=True)
    for name, value in _DEFAULTS.items():
        if name not in frame.columns:
            frame[name] = value
    frame["sample_kind"] = frame["sample_kind"].fillna("batch").astype(str)
    frame["replicate"] = pd.to_numeric(frame["replicate"]).fillna(1).astype(int)
    for name in ("position", "served_abv_pct", "score"):
        frame[name] = pd.to_numeric(frame[name]).astype(float)
    for name in ("tasting_id", "assessor_id", "batch_id", "attribute"):
        frame[name] = frame[name].astype(str)
    warm = frame["sample_kind"].eq("warm-up")
    empty = frame["score"].isna() & ~warm
    left_out = pd.DataFrame(
        {
            "cause": ["warm-up scores", "declined scores"],
            "rows": [int(warm.sum()), int(empty.sum())],
        }
    )
    frame = frame[~warm & ~empty]
    frame, scale = _one_scale(frame, scales)
    served = set(frame.loc[frame["sample_kind"].eq("batch"), "batch_id"].unique())
    return Rows(
        frame=frame.drop(columns="scale").reset_index(drop=True),
        left_out=left_out,
        scale=scale,
        batches=tuple(sorted(served)),
        controls=tuple(sorted(set(frame["batch_id"].unique()) - served)),
        attributes=tuple(frame["attribute"].unique()),
    )


def in_time(frame: pd.DataFrame) -> list[str]:
    """Tasting ids in order of time; undated ones by name, last."""
    when = frame.groupby("tasting_id")["tasted_on"].min().reset_index()
    return [str(name) for name in when.sort_values(["tasted_on", "tasting_id"])["tasting_id"]]


def _one_scale(
    frame: pd.DataFrame, scales: Mapping[str, tuple[float, float]] | None
) -> tuple[pd.DataFrame, str]:
    named = frame["scale"].astype("str").fillna(NOT_NAMED)
    found = list(named.unique())
    if scales is None:
        if len(found) > 1:
            raise MixedScales(_mixed_words(named, found))
        only = found[0] if found else NOT_NAMED
        return frame, "" if only == NOT_NAMED else only
    unmapped = [name for name in found if name not in scales]
    if unmapped:
        raise MixedScales(
            f"scale {listed(unmapped)}: no mapping given. Give factor and offset for each of "
            f"{listed(found)}."
        )
    factor = named.map({name: scales[name][0] for name in found}).astype(float)
    offset = named.map({name: scales[name][1] for name in found}).astype(float)
    mapped = frame.assign(score=frame["score"] * factor + offset)
    kept = [name for name in found if tuple(scales[name]) == (1, 0)]
    return mapped, kept[0] if kept else "common scale as mapped"


def _mixed_words(named: pd.Series, found: list[str]) -> str:
    parts = []
    for name in found:
        rows = [str(label + 1) for label in named.index[named.eq(name)]]
        where = "row" if len(rows) == 1 else "rows"
        parts.append(f"{name} ({count(len(rows), 'score')}, {where} {listed(rows, 3)})")
    return (
        f"scores on {len(found)} scales cannot be pooled: {'; '.join(parts)}. "
        "Give a mapping (factor and offset for each scale; in the house rules under `scales`) or "
        "choose one scale."
    )
