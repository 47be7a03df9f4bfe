"""The tidy tables of a fit."""

from __future__ import annotations

import numpy as np
import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.mixed.design import Design
from origin_compare.mixed.fitting import Part
from origin_compare.mixed.inference import Coefficients, satterthwaite, two_sided
from origin_compare.mixed.likelihood.sums import Floats
from origin_compare.mixed.modes import modes
from origin_compare.mixed.profile_likelihood import Ends

RESIDUAL = "residual"
Where = dict[int, tuple[Part, int]]
"""By response: its part and its place there."""


def located(parts: tuple[Part, ...]) -> Where:
    """Where each response was fitted."""
    return {r: (part, i) for part in parts for i, r in enumerate(part.responses)}


def components(design: Design, where: Where) -> pd.DataFrame:
    """response, group, variance, sd; the residual last; missing where not told apart."""
    rows = []
    for r, name in enumerate(design.responses):
        part, i = where[r]
        held = part.variances(i)
        for g, group in enumerate(design.groups):
            rows.append((name, group.name, held.get(g, np.nan)))
        rows.append((name, RESIDUAL, held[-1]))
    table = pd.DataFrame(rows, columns=["response", "group", "variance"])
    table["sd"] = np.sqrt(table["variance"])
    return table


def fixed_table(design: Design, where: Where, tested: dict[int, Coefficients]) -> pd.DataFrame:
    """response, term, estimate, se, df, t, p."""
    names: list[str] = []
    labels: list[str] = []
    found: list[tuple[Floats, Floats, Floats]] = []
    for r, name in enumerate(design.responses):
        terms = where[r][0].layout.names
        found.append(satterthwaite(tested[r], np.eye(len(terms))))
        names += [name] * len(terms)
        labels += terms
    estimate, se, df = (np.concatenate([f[c] for f in found]) for c in range(3))
    t = estimate / se
    return pd.DataFrame(
        {
            "response": names,
            "term": labels,
            "estimate": estimate,
            "se": se,
            "df": df,
            "t": t,
            "p": two_sided(t, df),
        }
    )


def effects(design: Design, where: Where, g: int) -> pd.DataFrame:
    """Conditional modes of group number `g`, all responses one under another."""
    grouping = design.groups[g]
    used = [where[r][0].layout.levels[g] for r in range(len(design.responses))]
    every = np.concatenate(used)
    levels = grouping.levels.iloc[every].reset_index(drop=True)
    head = {
        "response": np.repeat(np.array(design.responses, dtype=object), [len(u) for u in used]),
        "group": grouping.name,
    }
    table = pd.DataFrame(head, index=range(len(every))).astype({"response": "str"})
    if len(grouping.parts) == 1:
        table["level"] = levels[grouping.parts[0]]
    else:
        table["level"] = np.array(grouping.labels)[every]
        for column in grouping.parts:
            table[column] = levels[column]
    found = [modes(*where[r]).get(g) for r in range(len(design.responses))]
    for name, what in (("estimate", "mode"), ("se", "se"), ("prediction_se", "prediction_se")):
        table[name] = np.concatenate(
            [
                np.full(len(u), np.nan) if f is None else getattr(f, what)
                for f, u in zip(found, used, strict=True)
            ]
        )
    return table


def notes(design: Design, where: Where) -> pd.DataFrame:
    """response, note: what must be known before the numbers."""
    rows: list[tuple[str, str]] = []
    for r, name in enumerate(design.responses):
        rows.extend((name, note) for note in _notes_on(design, *where[r]))
    return pd.DataFrame(rows, columns=["response", "note"])


def _notes_on(design: Design, part: Part, place: int) -> list[str]:
    said = [
        f"{design.groups[g].name} cannot be told apart from {other} in this design: "
        f"its variance is part of {other}."
        for g, other in part.layout.lost.items()
    ]
    zero = [design.groups[g].name for k, g in enumerate(part.order) if part.ratios[place, k] == 0]
    if zero:
        said.append(f"The variance of {listed(zero)} is estimated as zero.")
    if part.status[place] == "not_converged":
        said.append(
            "The search did not settle, so these numbers are not to be used: "
            "repeats that agree exactly, or too few levels, are the usual reasons."
        )
    if part.layout.aliased:
        said.append(
            "Dropped from the fixed part, since others already say it: "
            f"{listed(part.layout.aliased)}."
        )
    missing = len(design.rows) - part.nesting.n_rows
    if missing:
        said.append(f"{count(missing, 'row')} without a value left out.")
    return said


def intervals(
    design: Design, parts: tuple[Part, ...], ends: list[Ends], fixed: pd.DataFrame
) -> pd.DataFrame:
    """response, kind, term, estimate, low, high."""
    where = located(parts)
    of_part = {id(part): e for part, e in zip(parts, ends, strict=True)}
    rows: list[tuple[str, str, str, float, float, float]] = []
    for r, name in enumerate(design.responses):
        part, i = where[r]
        end = of_part[id(part)]
        held = part.variances(i)
        place = {g: k for k, g in enumerate([*part.order, -1])}
        names = [*((g, group.name) for g, group in enumerate(design.groups)), (-1, RESIDUAL)]
        for g, group_name in names:
            low, high = end.sds[i, place[g]] if g in place else (np.nan, np.nan)
            sd = float(np.sqrt(held[g])) if g in held else np.nan
            rows.append((name, "sd", group_name, sd, float(low), float(high)))
        own = fixed.loc[fixed["response"] == name]
        for term, estimate, (low, high) in zip(
            own["term"], own["estimate"], end.fixed[i], strict=True
        ):
            rows.append((name, "fixed", term, estimate, float(low), float(high)))
    return pd.DataFrame(rows, columns=["response", "kind", "term", "estimate", "low", "high"])
