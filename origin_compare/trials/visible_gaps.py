"""The smallest gaps a plan lets one see, term by term, by the formula."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from origin_compare.drivers.model.coding import Array
from origin_compare.drivers.wording import step, title
from origin_compare.estimates import LEVEL, quantile
from origin_compare.trials.exchange import Rows, Term, Told, tell

POWER = 0.80
BETWEEN_LOTS = "between lots"
BETWEEN_HARVESTS = "between harvests"

Contrast = tuple[dict[str, str], Array, Array | None]


@dataclass(frozen=True)
class Laid:
    """The columns of a plan: earlier batches, new ones, all lots (new ones first)."""

    before: Rows
    after: Rows
    terms: tuple[Term, ...]
    half: Mapping[str, float]
    lots: int
    harvests: tuple[str, ...]


def told_term(term: str, kind: str, unit: str) -> tuple[str, str]:
    """A term and its step in words."""
    parts, steps = term.split(" x "), unit.split(" x ")
    if kind == "bend":
        return f"bend in {title(parts[0])}", f"{steps[0]}, squared"
    return " with ".join(title(part) for part in parts), " and ".join(steps)


def told_terms(laid: Laid, coming: int, sd: float, ratio: float) -> pd.DataFrame:
    """Standard error and smallest visible gap of each term, before and after, by the formula."""
    both = Rows(
        np.vstack([laid.before.fixed, laid.after.fixed]),
        np.concatenate([laid.before.lot, laid.after.lot]),
    )
    # Alone, the earlier batches have one harvest's level for their own mean.
    spare = laid.before.fixed.shape[1] - min(len(laid.harvests), 1)
    alone = replace(laid.before, fixed=laid.before.fixed[:, :spare])
    told = {"before": tell(alone, laid.lots, ratio), "after": tell(both, laid.lots, ratio)}
    rows = []
    for name, contrast, lots in contrasts(laid, coming):
        row: dict[str, object] = dict(name)
        for when, found in told.items():
            seen = found is not None and (name["kind"] != "harvests" or when == "after")
            row |= _gap(when, found, contrast, lots, sd) if seen else _gap(when)
        rows.append(row)
    return pd.DataFrame(rows)


def _gap(
    when: str,
    found: Told | None = None,
    contrast: Array | None = None,
    lots: Array | None = None,
    sd: float = np.nan,
) -> dict[str, object]:
    """Standard error and smallest visible gap of a contrast; missing where it cannot be told."""
    if found is None or contrast is None:
        return {f"se_{when}": np.nan, f"visible_{when}": np.nan}
    if lots is None:
        used = contrast[: found.fixed]
        variance = float(used @ found.cov[: found.fixed, : found.fixed] @ used)
    else:
        variance = float((lots * found.cov[found.fixed :, found.fixed :]).sum())
    se = sd * float(np.sqrt(variance))
    left = max(found.n - found.spent, 1.0)
    # Within half a per cent of the noncentral t from 6 degrees of freedom on, and no search.
    factor = quantile(0.5 + LEVEL / 2, left) + quantile(POWER, left)
    return {f"se_{when}": se, f"visible_{when}": se * float(factor)}


def contrasts(laid: Laid, coming: int) -> list[Contrast]:
    """Each term: its name, kind and step; its weights on the fixed columns; and, for the gap
    between two lots, the weights on the covariance of the lots."""
    width = laid.after.fixed.shape[1]
    found: list[Contrast] = []
    for k, term in enumerate(laid.terms, start=1):
        per = float(np.prod([step(name)[0] / laid.half[name] for name in term]))
        kind = "slope" if len(term) == 1 else "bend" if term[0] == term[-1] else "interaction"
        told = " x ".join(step(name)[1] for name in term)
        row = {"term": " x ".join(term), "kind": kind, "step": told}
        found.append((row, per * np.eye(width)[k], None))
    if coming > 1:
        gap = np.zeros((laid.lots, laid.lots))
        gap[:coming, :coming] = 2.0 / (coming - 1) * (np.eye(coming) - 1.0 / coming)
        row = {"term": BETWEEN_LOTS, "kind": "lots", "step": "two lots"}
        found.append((row, np.zeros(width), gap))
    if laid.harvests and coming:
        row = {
            "term": BETWEEN_HARVESTS,
            "kind": "harvests",
            "step": f"{laid.harvests[-1]} and new",
        }
        found.append((row, np.eye(width)[-1], None))
    return found
