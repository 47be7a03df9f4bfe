"""Predictions for new rows; a level the fit never saw is refused by name."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from origin_compare.answers import listed
from origin_compare.errors import UnknownName
from origin_compare.mixed.design import Design, Grouping
from origin_compare.mixed.fitting import Part
from origin_compare.mixed.fixed_part import new_columns
from origin_compare.mixed.likelihood.sums import Floats, Ints
from origin_compare.mixed.modes import modes

Where = dict[int, tuple[Part, int]]


def predicted(
    design: Design,
    where: Where,
    new_data: pd.DataFrame,
    groups: Sequence[str] | None,
    unseen: str,
) -> pd.DataFrame:
    """(rows of `new_data`) x responses. See `MixedFit.predict`."""
    if unseen not in {"refuse", "mean"}:
        raise ValueError(f"unseen is {unseen!r}: say 'refuse' or 'mean'.")
    names = [g.name for g in design.groups]
    wanted = names if groups is None else list(groups)
    unknown = [g for g in wanted if g not in names]
    if unknown:
        raise UnknownName(f"The fit has no group {listed(unknown)}. It has {listed(names)}.")
    X = _columns(design, new_data)
    places = {g: _places(design.groups[names.index(g)], new_data, unseen) for g in wanted}
    table = pd.DataFrame(np.nan, index=new_data.index, columns=list(design.responses))
    for r, name in enumerate(design.responses):
        part, place = where[r]
        coefficient = part.layout.back @ (
            part.offset[place]
            + part.scale[place] * part.terms.solution[place, part.nesting.n_dense :]
        )
        value = X[:, part.layout.kept] @ coefficient
        found = modes(part, place)
        for g in wanted:
            at = names.index(g)
            if at in found:
                value = value + _spread(part, at, found[at].mode, places[g], design)
        table[name] = value
    return table


def _spread(part: Part, g: int, mode: Floats, place: Ints, design: Design) -> Floats:
    """The modes of new rows' levels; zero for levels without one (-1)."""
    every = np.zeros(len(design.groups[g].labels) + 1)
    every[part.layout.levels[g]] = mode
    return every[place]


def _places(grouping: Grouping, new_data: pd.DataFrame, unseen: str) -> Ints:
    """Level of each new row; the last place, -1, stands for one not seen."""
    missing = [p for p in grouping.parts if p not in new_data.columns]
    if missing:
        raise UnknownName(f"The new rows have no column {listed(missing)}.")
    key = pd.MultiIndex.from_frame(new_data[list(grouping.parts)])
    place = pd.MultiIndex.from_frame(grouping.levels[list(grouping.parts)]).get_indexer(key)
    if unseen == "refuse" and (place < 0).any():
        new = new_data.loc[place < 0, list(grouping.parts)].drop_duplicates()
        labels = [":".join(str(v) for v in row) for row in new.itertuples(index=False)]
        raise UnknownName(
            f"The fit never saw {grouping.name} {listed(labels)}. "
            "Ask with unseen='mean' to give such rows the population mean."
        )
    return np.asarray(place, dtype=np.intp)


def _columns(design: Design, new_data: pd.DataFrame) -> Floats:
    fixed = design.fixed
    missing = [c for c in fixed.frame.columns if c not in new_data.columns]
    if missing:
        raise UnknownName(f"The new rows have no column {listed(missing)}.")
    for column in fixed.frame.columns:
        if not pd.api.types.is_numeric_dtype(fixed.frame[column]):
            seen = set(fixed.frame[column])
            new = [v for v in new_data[column].dropna().unique() if v not in seen]
            if new:
                raise UnknownName(
                    f"The fit never saw {column} {listed([str(v) for v in new])}: "
                    "a fixed effect has no mean to fall back on."
                )
    return new_columns(fixed, new_data)
