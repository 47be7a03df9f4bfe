"""Origin or process: shares of what the panel can see, and the part that cannot be told apart.

Adjusted R2 fractions as in `parting`, with the panel's known error taken out of the total and of
the unexplained rest. Intervals as in `share_bounds`; for the shared part, a difference that may
lie below nothing, whole batches' residuals are drawn anew around a signal shrunk to its unbiased
size (a fitted signal is always larger than the true one). They speak of these growers and these
batches, not of growers never seen.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Unpack

import numpy as np
import pandas as pd

from origin_compare.answers import count
from origin_compare.drivers.model.coding import Array, basis, beyond, coded, permutations
from origin_compare.drivers.model.panel_scores import PanelScores
from origin_compare.drivers.model.study import Choices, Study, study_of
from origin_compare.drivers.model.usable_batches import Kept, ProfileLike, numbers_of, refuse_below
from origin_compare.drivers.shares.bounds import LEAST, Errors, drawn_errors, drawn_signal
from origin_compare.drivers.shares.partition import f_tests
from origin_compare.drivers.wording import (
    PROCESS,
    chance,
    joined,
    plain,
    title,
    upper,
)
from origin_compare.errors import NotEnoughData

PARTS = ("origin", "process", "both", "unexplained")
LEAST_LEFT = 3
"""Batches that must be left over once every column has taken its own."""
EACH_LOT = 3
"""Batches per lot from which lots count to the origin: with fewer, lot and batch are nearly one."""
PERMUTED = 999
BLIND = 0.95
"""Above this share of panel noise there is next to nothing to part."""


@dataclass(frozen=True)
class Split:
    """Shares of variation in per cent.

    `shares`: one row per attribute and part, `attribute` "whole profile" first; `part` is
        origin, process, both (cannot be told apart), unexplained or panel noise; `share_pct, low,
        high` of what the panel can see (panel noise: of all that was scored). A share may come
        out below zero: it estimates, and about zero it errs both ways.
    `chances`: permutation p of origin given process and of process given origin, whole profile.
    """

    shares: pd.DataFrame
    chances: Mapping[str, float]
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
            f"(95 %) from {count(self.draws, 'redraw')}, for these growers. By "
            f"{count(PERMUTED, 'permutation')} of the whole profile: origin at like process "
            f"{chance(self.chances['origin'])} (batches trade places within a season), process "
            f"within origin {chance(self.chances['process'])} (within a {title(self.origin[0])}). "
            f"{self.kept.still_words()}"
        ).strip()


def split(
    batches: pd.DataFrame,
    profile: ProfileLike,
    process: Iterable[str] = PROCESS,
    origin: str = "grower_id",
    *,
    draws: int = 499,
    seed: int = 0,
    **choices: Unpack[Choices],
) -> Split:
    """Shares of variation to origin (grower, season), process, both together, and neither.

    What the still decides counts as process where it is recorded. The whole profile is the sum
    over the attributes that the panel tells apart (or over `attributes`), in score points. Raises
    NotEnoughData when no attribute is told apart, when too few batches are left (with one batch
    per grower there is nothing left over), or when the scores are panel noise throughout.
    """
    study = study_of(batches, profile, process, origin, **choices)
    asked = None if choices.get("attributes") is None else study.names
    return split_of(study, asked, draws=draws, seed=seed)


def split_of(
    study: Study, attributes: Iterable[str] | None = None, *, draws: int = 499, seed: int = 0
) -> Split:
    """`split` of a study already settled, on some of its attributes (those told apart)."""
    rows, origin = study.rows, study.origin
    names = _names(study, attributes)
    seasons = ("season",) if "season" in rows and rows["season"].nunique() > 1 else ()
    lots = ("lot_id",) if _lots_bear(study) else ()
    of_origin = tuple(dict.fromkeys((origin, *lots, *seasons)))
    of_process = (*study.process, *study.kept.still)
    refuse_below(len(rows), LEAST_LEFT + 3, "The split")
    spans = _Spans(
        np.hstack([coded(_texts(rows, name)) for name in of_origin]),
        numbers_of(rows, of_process),
    )
    growers = int(rows[origin].nunique())
    _refuse(spans, growers, origin)
    panel = study.panel_on(names)
    rng = np.random.default_rng(seed)
    season = rows["season"].astype(str).tolist() if seasons else None
    blocks = {"origin": season, "process": _texts(rows, (*lots, origin)[0]).tolist()}
    return Split(
        shares=_shares(spans, panel, names, draws, rng),
        chances=_chances(spans, panel.scores, blocks, rng),
        origin=of_origin,
        process=of_process,
        attributes=tuple(names),
        tied=tuple(dict.fromkeys(why for _, why in study.tied.values())),
        kept=study.kept,
        n_growers=growers,
        draws=draws,
    )


def _lots_bear(study: Study) -> bool:
    """Whether lots have batches enough to count to the origin and leave something to judge by."""
    lots = study.lots
    return len(lots) > 0 and len(lots) >= EACH_LOT * (int(lots.max()) + 1)


def _texts(rows: pd.DataFrame, name: str) -> pd.Series:
    """A factor's levels; a batch of no one lot is a level of its own."""
    own = pd.Series(rows.index.astype(str), index=rows.index)
    return rows[name].astype("object").fillna(own).astype(str)


def _chances(
    spans: _Spans, scores: Array, blocks: Mapping[str, list[str] | None], rng: np.random.Generator
) -> dict[str, float]:
    """Permutation p of origin and of process, each given the other. Batches trade places only
    where nothing but the thing tested sets them apart: within a season, within a grower."""
    centred = scores - scores.mean(axis=0)
    found = {}
    for name, other in (("origin", "process"), ("process", "origin")):
        given = spans.bases[other]
        tested = beyond(spans.bases[name], given)
        orders = permutations(spans.n, PERMUTED, rng, blocks[name], whole=False)
        residual = centred - given @ (given.T @ centred)
        found[name] = f_tests(residual, given, tested, orders)[1]
    return found


def _names(study: Study, attributes: Iterable[str] | None) -> list[str]:
    told = [name for name in study.tasted.profile.told if name in study.names]
    names = told if attributes is None else list(attributes)
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

    def left(self, name: str) -> int:
        """Degrees of freedom left after a span."""
        return self.n - 1 - self.rank[name]

    def squares(self, centred: Array, name: str) -> Array:
        """Sums of squares inside a span, per attribute."""
        return np.asarray(((self.bases[name].T @ centred) ** 2).sum(axis=-2))

    def noise(self, noise: Array) -> dict[str, Array]:
        """Mean panel error left after each span (A), and in all."""
        trace = np.einsum("aii->a", noise)
        left = {"all": trace / (self.n - 1)}
        for name, span in self.bases.items():
            inside = np.einsum("ik,aij,jk->a", span, noise, span, optimize=True)
            left[name] = (trace - inside) / self.left(name)
        return left

    def visible(self, scores: Array, noise: dict[str, Array]) -> dict[str, Array]:
        """Visible variance explained by each span, and in all; scores ... x n x A."""
        centred = scores - scores.mean(axis=-2, keepdims=True)
        total = (centred**2).sum(axis=-2)
        seen = {"all": total / (self.n - 1) - noise["all"]}
        for name in self.bases:
            left = (total - self.squares(centred, name)) / self.left(name)
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
    spans: _Spans, panel: PanelScores, names: list[str], draws: int, rng: np.random.Generator
) -> pd.DataFrame:
    scores = panel.scores
    errors = spans.noise(panel.noise)
    seen = spans.visible(scores, errors)
    scored = seen["all"] + errors["all"]
    whole_noise = float(errors["all"].sum() / scored.sum())
    if whole_noise > BLIND:
        raise NotEnoughData(
            f"{100 * min(whole_noise, 1.0):.0f} % of the variation between batches is the panel's "
            "own error, so there is nothing left to split between origin and process."
        )
    estimate = _parts(seen)
    drawn = _drawn(spans, scores, errors, draws, rng)
    rows = []
    for k, name in [(None, "whole profile"), *enumerate(names)]:
        all_seen = _pick(seen["all"], k)
        blind = bool(all_seen <= (1 - BLIND) * _pick(scored, k))
        for part in PARTS:
            share = np.nan if blind else 100 * float(_pick(estimate[part], k) / all_seen)
            column = 0 if k is None else k + 1
            low, high = _interval(share, drawn[part][:, column], bounded=part != "both")
            rows.append((name, part, share, low, high))
        noise_share = 100 * float(_pick(errors["all"], k) / _pick(scored, k))
        rows.append((name, "panel noise", min(noise_share, 100.0), np.nan, np.nan))
    return pd.DataFrame(rows, columns=["attribute", "part", "share_pct", "low", "high"])


def _pick(values: Array, attribute: int | None) -> Array:
    return values.sum(axis=-1) if attribute is None else values[..., attribute]


def _interval(share: float, drawn: Array, bounded: bool) -> tuple[float, float]:
    """What the draws hold, in per cent. A bounded share is drawn as it may be, and its line
    reaches to the estimate where that errs below nothing; a shared part's draws are set around
    the share itself, since a signal cut off at nothing is too large on average."""
    usable = drawn[np.isfinite(drawn)]
    if np.isnan(share) or len(usable) < len(drawn) / 2:
        return np.nan, np.nan
    low, high = 100 * np.percentile(usable, [2.5, 97.5], method="hazen")
    if bounded:
        return min(float(low), share), max(float(high), share)
    middle = 100 * float(usable.mean())
    return float(low) - middle + share, float(high) - middle + share


def _drawn(
    spans: _Spans, scores: Array, noise: dict[str, Array], draws: int, rng: np.random.Generator
) -> dict[str, Array]:
    """Shares as they might be: draws x (whole profile, then attributes) for each part."""
    centred = scores - scores.mean(axis=0)
    both = spans.bases["both"]
    residual = centred - both @ (both.T @ centred)
    errors = drawn_errors(residual, spans.left("both"), draws, rng)
    visible = np.maximum(errors.variance - _summed(noise["both"]), LEAST * errors.variance)
    whole = _signal(spans, centred, noise, errors, "both", "", rng) / (spans.n - 1)
    found = {"unexplained": visible / (whole + visible)}
    for name, other in (("origin", "process"), ("process", "origin")):
        own = _signal(spans, centred, noise, errors, "both", other, rng)
        rest = _signal(spans, centred, noise, errors, other, "", rng)
        total = (own + rest) / (spans.n - 1) + visible
        found[name] = np.minimum(own / spans.left(other) / total, 1.0)
    redrawn = spans.visible(_redraw(spans, scores, draws, rng), noise)
    seen = _summed(redrawn["all"])
    with np.errstate(invalid="ignore", divide="ignore"):
        found["both"] = np.where(seen > 0, _summed(_parts(redrawn)["both"]) / seen, np.nan)
    return found


def _signal(
    spans: _Spans,
    centred: Array,
    noise: dict[str, Array],
    errors: Errors,
    upper: str,
    lower: str,
    rng: np.random.Generator,
) -> Array:
    """Draws of the true sum of squares in the span `upper` beyond `lower`."""
    inside = spans.squares(centred, upper) - (spans.squares(centred, lower) if lower else 0.0)
    rank = spans.rank[upper] - (spans.rank[lower] if lower else 0)
    # What a span leaves, times its degrees of freedom, is the panel error outside of it.
    outside = noise[lower] * spans.left(lower) if lower else noise["all"] * (spans.n - 1)
    own = (outside - noise[upper] * spans.left(upper)) / max(rank, 1)
    extra = _summed(own - noise["both"])
    return drawn_signal(_summed(inside), rank, errors, extra, rng)


def _summed(values: Array) -> Array:
    """The sum over attributes, then each (... x A becomes ... x A + 1)."""
    return np.concatenate([values.sum(axis=-1, keepdims=True), values], axis=-1)


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
    unsure = np.sqrt(left / rng.chisquare(left, size=(draws, 1, 1)))
    return signal + unsure * stretched[rng.integers(0, spans.n, size=(draws, spans.n))]


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
