"""Origin or process: shares of what the panel can see, and the part that cannot be told apart.

Adjusted R2 fractions as in `parting`, with the panel's known error taken out of the total and of
the unexplained rest. Intervals bootstrap whole batches' residuals around a signal shrunk to its
unbiased size (a fitted signal is always larger than the true one); they speak of these growers
and these batches, not of growers never seen.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare.answers import count
from origin_compare.drivers.coding import Array, basis, coded
from origin_compare.drivers.kept import (
    Kept,
    ProfileLike,
    chosen,
    keep,
    numbers_of,
    refuse_below,
    scores_of,
)
from origin_compare.drivers.ties import partners
from origin_compare.drivers.wording import (
    PROCESS,
    STILL,
    USUAL,
    Limits,
    joined,
    plain,
    title,
    upper,
)
from origin_compare.errors import NotEnoughData

PARTS = ("origin", "process", "both", "unexplained")
LEAST_LEFT = 3
"""Batches that must be left over once every column has taken its own."""
BLIND = 0.95
"""Above this share of panel noise there is next to nothing to part."""


@dataclass(frozen=True)
class Split:
    """Shares of variation in per cent.

    `shares`: one row per attribute and part, `attribute` "whole profile" first; `part` is
        origin, process, both (cannot be told apart), unexplained or panel noise; `share_pct, low,
        high` of what the panel can see (panel noise: of all that was scored). A share may come
        out below zero: it estimates, and about zero it errs both ways.
    """

    shares: pd.DataFrame
    origin: tuple[str, ...]
    process: tuple[str, ...]
    attributes: tuple[str, ...]
    tied: tuple[str, ...]
    kept: Kept
    n_growers: int
    draws: int

    def table(self) -> pd.DataFrame:
        """One row per attribute and part."""
        return self.shares.copy()

    def of(self, part: str, attribute: str = "whole profile") -> tuple[float, float, float]:
        """Share, low and high of one part, per cent."""
        rows = self.shares
        row = rows[(rows["attribute"] == attribute) & (rows["part"] == part)]
        if row.empty:
            raise KeyError(f"no part {part} of {attribute}")
        share, low, high = row[["share_pct", "low", "high"]].to_numpy(dtype=float)[0]
        return float(share), float(low), float(high)

    def sentence(self) -> str:
        """The three shares with their intervals."""
        origin, process, both = (self.of(part) for part in PARTS[:3])
        told = (
            f"Origin explains {_pct(origin)} of what the panel can see, process {_pct(process)}, "
            f"{_bare(both[0])} cannot be told apart."
        )
        return " ".join([told, *(upper(f"{why}.") for why in self.tied)])

    def rests_on(self) -> str:
        """Batches, growers, what counts as origin and process, attributes."""
        return (
            f"{self.kept.words()} {count(self.n_growers, 'grower')}. Origin: "
            f"{joined(title(name) for name in self.origin)}; process: "
            f"{joined(title(name) for name in self.process)}. "
            f"{count(len(self.attributes), 'attribute')} that the panel can tell apart; intervals "
            f"(95 %) from {count(self.draws, 'redraw')}, for these growers. "
            f"{self.kept.still_words()}"
        ).strip()


def split(
    batches: pd.DataFrame,
    profile: ProfileLike,
    process: Iterable[str] = PROCESS,
    origin: str = "grower_id",
    *,
    attributes: Iterable[str] | None = None,
    still: Iterable[str] = STILL,
    leave_out: Iterable[str] = (),
    draws: int = 999,
    seed: int = 0,
    limits: Limits = USUAL,
) -> Split:
    """Shares of variation to origin (grower, season), process, both together, and neither.

    What the still decides counts as process where it is recorded. The whole profile is the sum
    over the attributes that the panel tells apart (or over `attributes`), in score points. Raises
    NotEnoughData when no attribute is told apart, when too few batches are left (with one batch
    per grower there is nothing left over), or when the scores are panel noise throughout.
    """
    process = tuple(process)
    kept = keep(batches, profile, process, origin, still, leave_out)
    names = _names(profile, attributes)
    rows = kept.rows
    seasons = ("season",) if "season" in rows and rows["season"].nunique() > 1 else ()
    of_origin = tuple(dict.fromkeys((origin, *seasons)))
    of_process = (*process, *kept.still)
    refuse_below(len(rows), LEAST_LEFT + 3, "The split")
    spans = _Spans(
        np.hstack([coded(rows[name].astype(str)) for name in of_origin]),
        numbers_of(rows, of_process),
    )
    growers = int(rows[origin].nunique())
    _refuse(spans, growers, origin)
    scores, noise = scores_of(kept, profile, names)
    tied = partners(rows, list(process), origin, kept.still, limits)
    return Split(
        shares=_shares(spans, scores, noise, names, draws, np.random.default_rng(seed)),
        origin=of_origin,
        process=of_process,
        attributes=tuple(names),
        tied=tuple(dict.fromkeys(why for _, why in tied.values())),
        kept=kept,
        n_growers=growers,
        draws=draws,
    )


def _names(profile: ProfileLike, attributes: Iterable[str] | None) -> list[str]:
    names = chosen(profile, list(profile.told) if attributes is None else attributes)
    if not names:
        raise NotEnoughData(
            "The panel tells batches apart on no attribute, so there is nothing to split between "
            "origin and process. More assessors or replicates would narrow the panel's error."
        )
    return names


def _refuse(spans: _Spans, growers: int, origin: str) -> None:
    name = title(origin)
    if growers < 2:
        raise NotEnoughData(
            f"Only one {name}: a split between origin and process needs two or more."
        )
    left = spans.n - 1 - spans.rank["both"]
    if left < LEAST_LEFT:
        raise NotEnoughData(
            f"{spans.n} batches of {count(growers, name)} leave {max(left, 0)} to judge by; with "
            f"one batch per {name}, {name} and batch are one thing. Mash a lot of several "
            f"{name}s at least twice."
        )


class _Spans:
    """Orthonormal bases of origin, process and both, with their ranks."""

    def __init__(self, origin: Array, process: Array) -> None:
        self.n = len(origin)
        self.bases = {
            "origin": basis(origin),
            "process": basis(process),
            "both": basis(np.hstack([origin, process])),
        }
        self.rank = {name: span.shape[1] for name, span in self.bases.items()}

    def noise(self, noise: Array) -> dict[str, Array]:
        """Mean panel error left after each span (A), and in all."""
        trace = np.einsum("aii->a", noise)
        left = {"all": trace / (self.n - 1)}
        for name, span in self.bases.items():
            inside = np.einsum("ik,aij,jk->a", span, noise, span, optimize=True)
            left[name] = (trace - inside) / (self.n - 1 - self.rank[name])
        return left

    def visible(self, scores: Array, noise: dict[str, Array]) -> dict[str, Array]:
        """Visible variance explained by each span, and in all; scores ... x n x A."""
        centred = scores - scores.mean(axis=-2, keepdims=True)
        total = (centred**2).sum(axis=-2)
        seen = {"all": total / (self.n - 1) - noise["all"]}
        for name, span in self.bases.items():
            inside = ((span.T @ centred) ** 2).sum(axis=-2)
            left = (total - inside) / (self.n - 1 - self.rank[name])
            seen[name] = seen["all"] - (left - noise[name])
        return seen


def _parts(seen: dict[str, Array]) -> dict[str, Array]:
    """Own, shared and unexplained visible variance from that of the three spans."""
    return {
        "origin": seen["both"] - seen["process"],
        "process": seen["both"] - seen["origin"],
        "both": seen["origin"] + seen["process"] - seen["both"],
        "unexplained": seen["all"] - seen["both"],
    }


def _shares(
    spans: _Spans,
    scores: Array,
    noise: Array,
    names: list[str],
    draws: int,
    rng: np.random.Generator,
) -> pd.DataFrame:
    errors = spans.noise(noise)
    seen = spans.visible(scores, errors)
    scored = seen["all"] + errors["all"]
    whole_noise = float(errors["all"].sum() / scored.sum())
    if whole_noise > BLIND:
        raise NotEnoughData(
            f"{100 * min(whole_noise, 1.0):.0f} % of the variation between batches is the panel's "
            "own error, so there is nothing left to split between origin and process."
        )
    redrawn = spans.visible(_redraw(spans, scores, draws, rng), errors)
    estimate, drawn = _parts(seen), _parts(redrawn)
    rows = []
    for k, name in [(None, "whole profile"), *enumerate(names)]:
        all_seen = _pick(seen["all"], k)
        blind = bool(all_seen <= (1 - BLIND) * _pick(scored, k))
        for part in PARTS:
            share = np.nan if blind else 100 * float(_pick(estimate[part], k) / all_seen)
            low, high = _interval(share, _pick(drawn[part], k), _pick(redrawn["all"], k), blind)
            rows.append((name, part, share, low, high))
        noise_share = 100 * float(_pick(errors["all"], k) / _pick(scored, k))
        rows.append((name, "panel noise", min(noise_share, 100.0), np.nan, np.nan))
    return pd.DataFrame(rows, columns=["attribute", "part", "share_pct", "low", "high"])


def _pick(values: Array, attribute: int | None) -> Array:
    return values.sum(axis=-1) if attribute is None else values[..., attribute]


def _interval(share: float, part: Array, seen: Array, blind: bool) -> tuple[float, float]:
    """Percentiles of the redraws, set around the share itself: a redrawn signal that was cut
    off at nothing is too large on average, and its mean says by how much."""
    usable = seen > 0
    if blind or usable.mean() < 0.5:
        return np.nan, np.nan
    drawn = 100 * part[usable] / seen[usable]
    low, high = np.percentile(drawn, [2.5, 97.5]) - drawn.mean() + share
    return float(low), float(high)


def _redraw(spans: _Spans, scores: Array, draws: int, rng: np.random.Generator) -> Array:
    """draws x n x A: the shrunk signal with whole batches' residuals drawn anew."""
    mean = scores.mean(axis=0)
    centred = scores - mean
    both, process = spans.bases["both"], spans.bases["process"]
    fitted = both @ (both.T @ centred)
    residual = centred - fitted
    left = spans.n - 1 - spans.rank["both"]
    error = (residual**2).sum(axis=0) / left
    first = process @ (process.T @ fitted)
    signal = _shrunk(first, spans.rank["process"], error) + _shrunk(
        fitted - first, spans.rank["both"] - spans.rank["process"], error
    )
    stretched = residual * np.sqrt(spans.n / left)
    return signal + stretched[rng.integers(0, spans.n, size=(draws, spans.n))]


def _shrunk(part: Array, rank: int, error: Array) -> Array:
    """A fitted part at the size its sum of squares has once the error in it is taken off."""
    size = (part**2).sum(axis=0)
    kept = 1.0 - rank * error / np.maximum(size, np.finfo(float).tiny)
    return part * np.sqrt(np.maximum(kept, 0.0))


def _bare(share: float) -> str:
    return "about 0 %" if share < 0.5 else f"{plain(share, 0)} %"


def _pct(part: tuple[float, float, float]) -> str:
    share, low, high = part
    if np.isnan(low):
        return f"{_bare(share)} (no interval)"
    return f"{_bare(share)} ({max(low, 0):.0f}–{min(max(high, 0), 100):.0f})"
