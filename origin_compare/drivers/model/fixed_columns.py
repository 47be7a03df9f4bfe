"""The fixed columns of the model over batches, and the grower codes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.drivers.model.coding import Array, coded
from origin_compare.drivers.model.usable_batches import Kept, numbers_of, refuse_below
from origin_compare.drivers.wording import step, title


@dataclass(frozen=True)
class Layout:
    """The fixed columns and grower codes of one set of batches.

    `X`: n x p, intercept first; `place`: the column of each process variable that moves;
    `names`: what each column is of (`1`, `season`, a variable); `base`: the columns that stay
    `groups`: n grower codes from 0, empty where grower and batch are one thing (`one_each`).
    """

    X: Array
    place: dict[str, int]
    base: list[int]
    names: tuple[str, ...]
    groups: NDArray[np.intp]
    process: tuple[str, ...]
    origin: str
    tied: dict[str, tuple[str, str]]
    one_each: bool
    notes: tuple[str, ...]

    @property
    def made(self) -> list[int]:
        """The columns of what was done to a batch: process and still."""
        return [k for k, name in enumerate(self.names) if name not in ("1", "season")]

    @property
    def least(self) -> int:
        """The fewest batches that bear these columns."""
        return self.X.shape[1] + 3


def lay_out(
    kept: Kept, process: tuple[str, ...], origin: str, tied: dict[str, tuple[str, str]]
) -> Layout:
    """Fixed columns in steps (so slopes come out per step), exact repeats left out.

    `tied`: the process variables that cannot be told apart (see `partners`), carried along.
    Raises NotEnoughData where the batches bear no slope.
    """
    rows = kept.rows
    refuse_below(len(rows), len(process) + 4, "A slope")
    columns: list[Array] = [np.ones((len(rows), 1))]
    names = ["1"]
    seasons = rows["season"].astype(str) if "season" in rows else None
    if seasons is not None and seasons.nunique() > 1 and origin != "season":
        columns.append(coded(seasons))
        names += ["season"] * columns[-1].shape[1]
    for name in (*kept.still, *process):
        values = numbers_of(rows, [name])
        columns.append((values - values.mean()) / step(name)[0])
        names.append(name)
    X = np.hstack(columns)
    free = _independent(X)
    names = [names[k] for k in free]
    codes = pd.factorize(rows[origin].astype(str))[0].astype(np.intp)
    one_each = int(codes.max()) + 1 >= len(rows) - 1 or codes.max() == 0
    return Layout(
        X=X[:, free],
        place={name: names.index(name) for name in process if name in names},
        names=tuple(names),
        base=[k for k, name in enumerate(names) if name not in process],
        groups=np.empty(0, dtype=np.intp) if one_each else codes,
        process=process,
        origin=origin,
        tied=tied,
        one_each=one_each,
        notes=_notes(rows, origin, one_each),
    )


def _notes(rows: pd.DataFrame, origin: str, one_each: bool) -> tuple[str, ...]:
    name = title(origin)
    if rows[origin].nunique() == 1:
        return (f"One {name} only, so nothing can be said about the {name}.",)
    if one_each:
        return (f"With one batch per {name}, {name} and batch are one thing.",)
    return ()


def _independent(X: Array) -> list[int]:
    """Columns that add to those before them."""
    free: list[int] = []
    scaled = X / np.maximum(np.linalg.norm(X, axis=0), np.finfo(float).tiny)
    span = scaled[:, :0]
    for k, column in enumerate(scaled.T):
        left = column - span @ (span.T @ column)
        size = float(np.linalg.norm(left))
        if size > 1e-7:
            free.append(k)
            span = np.column_stack([span, left / size])
    return free
