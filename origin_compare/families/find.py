"""Families of batches: how many, how stable, and whether there are any at all."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.cluster.hierarchy import fcluster, linkage
from scipy.spatial.distance import pdist, squareform
from sklearn.metrics import silhouette_score

from origin_compare.answers import count, listed
from origin_compare.families.profiles import Points, points

if TYPE_CHECKING:
    from origin_compare.panel import Profile

STABLE, PATTERN = 0.75, 0.60


@dataclass(frozen=True)
class Families:
    """Families found in a set of batches.

    `labels`: Series batch_id -> family number from 1 (all 1 when there is but one).
    `number`: how many families; 1 means no clear families.
    `stability`: Series family -> mean best Jaccard overlap over resamplings of the batches.
    `support`: Series batch_id -> share of resamplings in which most of its family stayed with it.
    `silhouette`, `p_one_family`: how well the cut separates, and how often one even cloud of
        batches with the same spread separates as well by chance.
    `centres`: family x attribute means. `refused_by`: the check a cut failed, in words; empty
        where families are reported.
    """

    labels: pd.Series
    number: int
    stability: pd.Series
    support: pd.Series
    silhouette: float
    p_one_family: float
    centres: pd.DataFrame
    resamplings: int
    refused_by: str
    used: Points

    def sentence(self) -> str:
        if self.number == 1:
            return (
                "No clear families: these batches form one cloud, and any line drawn through it "
                f"would be arbitrary ({self.refused_by})."
            )
        words = [
            f"family {family} ({count(int((self.labels == family).sum()), 'batch')}, "
            f"{_how_stable(float(stability))})"
            for family, stability in self.stability.items()
        ]
        return f"The batches fall into {self.number} families: {listed(words)}."

    def table(self) -> pd.DataFrame:
        """One row per batch: batch_id, family, stays_with_family and family_stability (0-1)."""
        return pd.DataFrame(
            {
                "batch_id": self.labels.index.astype(str),
                "family": self.labels.to_numpy(),
                "stays_with_family": self.support.to_numpy(),
                "family_stability": self.labels.map(self.stability).to_numpy(),
            }
        ).sort_values(["family", "stays_with_family"], ascending=[True, False], ignore_index=True)

    def rests_on(self) -> str:
        batches, attributes = self.used.mean.shape
        text = (
            f"{count(batches, 'batch')} on {count(attributes, 'attribute')} the panel can tell "
            f"apart; {self.resamplings} resamplings of the batches with panel error added. "
            "A family is called stable from 0.75 overlap, a pattern from 0.60; "
            "stable is not the same as real."
        )
        if self.used.left_out:
            text += f" Left out, as the panel cannot tell them: {listed(self.used.left_out)}."
        if self.used.incomplete:
            text += f" Left out, not scored in full: {listed(self.used.incomplete)}."
        return text


def find(
    profile: Profile | pd.DataFrame,
    seed: int,
    most: int = 6,
    resamplings: int = 200,
    alpha: float = 0.05,
) -> Families:
    """Families of alike batches; one family is a possible answer.

    `profile`: a panel profile, or a plain frame of batches x attributes. Attributes are scaled to
    equal spread, batches joined by Ward's criterion, and the cut with the widest silhouette
    (Rousseeuw 1987) is held against `resamplings` single normal clouds of the same covariance: a
    cut that chance makes as well (p > `alpha`), or whose families do not come back when batches
    are drawn again with their panel error (Jaccard under 0.60, Hennig 2007), is not reported.
    Raises `NotEnoughData` with fewer than four complete batches or no attribute told apart.
    """
    used = points(profile)
    scaled = (used.mean.to_numpy() - used.mean.to_numpy().mean(axis=0)) / used.spread()
    error = used.error.to_numpy() / used.spread()
    generator = np.random.default_rng(seed)
    most = min(most, len(scaled) - 1)
    number, width = _best_cut(scaled, most)
    by_chance = [
        _best_cut(cloud, most)[1] for cloud in _even_clouds(scaled, resamplings, generator)
    ]
    p_one = (1 + sum(value >= width for value in by_chance)) / (resamplings + 1)
    labels = _cut(scaled, number)
    stability, support = _stability(scaled, error, labels, resamplings, generator)
    refused = _refused_by(p_one, alpha, float(stability.min()))
    if refused:
        # With one family there is nothing to stay with: no figure rather than a perfect one.
        number, labels = 1, np.ones(len(scaled), dtype=int)
        stability, support = np.full(1, np.nan), np.full(len(scaled), np.nan)
    batches = used.mean.index
    named = pd.Series(labels, index=batches, name="family")
    return Families(
        labels=named,
        number=number,
        stability=pd.Series(stability, index=range(1, number + 1), name="stability"),
        support=pd.Series(support, index=batches, name="support"),
        silhouette=float(width),
        p_one_family=float(p_one),
        centres=used.mean.groupby(named).mean(),
        resamplings=resamplings,
        refused_by=refused,
        used=used,
    )


def _refused_by(p_one: float, alpha: float, overlap: float) -> str:
    """Which check a cut failed, in words; empty if none."""
    if p_one > alpha:
        return f"chance alone separates as well with p = {p_one:.2f}"
    if overlap < PATTERN:
        return (
            f"a cut separates better than chance, p = {p_one:.2f}, but drawn again a family comes "
            f"back with an overlap of {overlap:.2f}, under {PATTERN:.2f}"
        )
    return ""


def _cut(scaled: np.ndarray, number: int) -> np.ndarray:
    labels = fcluster(linkage(scaled, "ward"), number, "maxclust")
    return _largest_first(labels)


def _largest_first(labels: np.ndarray) -> np.ndarray:
    names, sizes = np.unique(labels, return_counts=True)
    rank = {name: place + 1 for place, name in enumerate(names[np.argsort(-sizes, kind="stable")])}
    return np.array([rank[label] for label in labels])


def _best_cut(scaled: np.ndarray, most: int) -> tuple[int, float]:
    """The number of families from 2 to `most` with the widest mean silhouette."""
    distances = pdist(scaled)
    tree, square = linkage(distances, "ward"), squareform(distances)
    best = (2, -1.0)
    for number in range(2, most + 1):
        labels = fcluster(tree, number, "maxclust")
        if 1 < len(np.unique(labels)) < len(scaled):
            width = float(silhouette_score(square, labels, metric="precomputed"))
            best = max(best, (number, width), key=lambda pair: pair[1])
    return best


def _even_clouds(
    scaled: np.ndarray, clouds: int, generator: np.random.Generator
) -> list[np.ndarray]:
    """Single normal clouds with the covariance of the batches: no families by construction."""
    rows = len(scaled)
    values, vectors = np.linalg.eigh(np.cov(scaled, rowvar=False).reshape(scaled.shape[1], -1))
    root = vectors * np.sqrt(np.clip(values, 0, None))
    return [generator.standard_normal((rows, len(values))) @ root.T for _ in range(clouds)]


def _stability(
    scaled: np.ndarray,
    error: np.ndarray,
    labels: np.ndarray,
    resamplings: int,
    generator: np.random.Generator,
) -> tuple[np.ndarray, np.ndarray]:
    """Mean best Jaccard overlap per family, and per batch how often it stayed with its family."""
    rows, number = len(scaled), int(labels.max())
    overlap = np.zeros(number)
    stayed, drawn = np.zeros(rows), np.zeros(rows)
    for _ in range(resamplings):
        sample = np.unique(generator.integers(0, rows, rows))
        while len(sample) < 2:  # of a handful of batches a draw can hold one alone
            sample = np.unique(generator.integers(0, rows, rows))
        shaken = scaled[sample] + error[sample] * generator.standard_normal(
            (len(sample), error.shape[1])
        )
        again = _cut(shaken, min(number, len(sample) - 1))
        old_in = labels[sample][:, None] == np.arange(1, number + 1)
        new_in = again[:, None] == np.arange(1, again.max() + 1)
        both = old_in.T.astype(float) @ new_in
        union = old_in.sum(axis=0)[:, None] + new_in.sum(axis=0)[None, :] - both
        jaccard = both / np.maximum(union, 1)
        overlap += jaccard.max(axis=1)
        partner = jaccard.argmax(axis=1)
        drawn[sample] += 1
        stayed[sample] += partner[labels[sample] - 1] == again - 1
    return overlap / resamplings, stayed / np.maximum(drawn, 1)


def _how_stable(stability: float) -> str:
    if stability >= STABLE:
        return f"stable, {stability:.2f}"
    return f"a pattern only, {stability:.2f}"
