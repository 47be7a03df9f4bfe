"""Whether batches are held against all others or only against their like (yeast form, harvest).

A split is kept only if it helps: batches in style, each left out in turn, must be foreseen better
by their own kind than by all together. Original gravity needs no split, it is scaled out.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from origin_compare.fermentation.house.course import HouseModel, learn
from origin_compare.fermentation.house.examples import Reference
from origin_compare.fermentation.logs import Log

KINDS: Mapping[str, str] = {"yeast_form": "yeast form", "season": "harvest"}
ENOUGH = 15
"""Batches in style a kind needs to stand on its own."""
CLEARLY = 2.0
"""Log density a split must win per batch, on average: less is chance and costs examples."""


def like(
    all_logs: Mapping[str, Log], proposed: Reference, batches: pd.DataFrame
) -> tuple[str, dict[str, str]]:
    """(what batches are split by or "", kind of each batch): kind "" means held against all."""
    pooled = dict.fromkeys(all_logs, "")
    best, chosen = CLEARLY, ("", pooled)
    together: np.ndarray | None = None
    for column, word in KINDS.items():
        kinds = _kinds(column, all_logs, batches)
        examples: dict[str, list[str]] = {}
        for name in proposed.names:
            if kinds[name]:
                examples.setdefault(kinds[name], []).append(name)
        large = {kind: names for kind, names in examples.items() if len(names) >= ENOUGH}
        if len(large) < 2:
            continue
        names = [name for group in large.values() for name in group]
        if together is None or len(names) != len(proposed.names):
            model = learn([all_logs[name] for name in proposed.names], rounds=8)
            together = np.array([foreseen(model, all_logs[name]) for name in names])
        apart: list[float] = []
        for group in large.values():
            model = learn([all_logs[name] for name in group], rounds=8)
            apart += [foreseen(model, all_logs[name]) for name in group]
        gain = float(np.mean(np.array(apart) - together))
        if gain > best:
            best = gain
            chosen = (word, {name: kind if kind in large else "" for name, kind in kinds.items()})
    return chosen


def foreseen(model: HouseModel, log: Log) -> float:
    """Log density of a log under the model without it."""
    held = model.leaving_out(log.batch_id)
    spread = held.spread(log)
    off = log.values - held.expected(log)
    _, size = np.linalg.slogdet(spread)
    return float(-0.5 * (off @ np.linalg.solve(spread, off) + size))


def _kinds(column: str, all_logs: Mapping[str, Log], batches: pd.DataFrame) -> dict[str, str]:
    if column not in batches:
        return dict.fromkeys(all_logs, "")
    known = batches.set_index(batches["batch_id"].astype(str))[column]
    return {
        name: str(known[name]) if name in known.index and pd.notna(known[name]) else ""
        for name in all_logs
    }
