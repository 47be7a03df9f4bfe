"""Which batches were in style: the house's own list, or a proposal that can be checked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare.fermentation.house.course import HouseModel, learn
from origin_compare.fermentation.logs import GRAVITY, PH, TEMPERATURE, Log
from origin_compare.house import HouseRules

FEWEST_BATCHES = 8
"""Fewer batches in style than this draw no band."""
MOST_EXAMPLES = 120
MOST_LEFT_OUT = 0.45
FAR = 3.0
"""Robust standard deviations beyond which a batch does not run like the others."""


OUTSIDE = "outside the house's window"
NOT_LISTED = "not on the house's list"


@dataclass(frozen=True)
class Reference:
    """`names` of the batches taken as in style, `left_out` with the reason for each other one,
    `given` whether the house named them itself."""

    names: tuple[str, ...]
    left_out: Mapping[str, str]
    given: bool

    def table(self) -> pd.DataFrame:
        """batch_id, in_style, why: every batch considered."""
        rows = [(name, True, "named by the house" if self.given else "") for name in self.names]
        rows += [(name, False, why) for name, why in self.left_out.items()]
        return pd.DataFrame(rows, columns=["batch_id", "in_style", "why"])


def propose(
    logs: Mapping[str, Log], batches: pd.DataFrame, rules: HouseRules, named: Sequence[str] | None
) -> Reference:
    """The batches named, or all that ended, have readings enough, end inside the house's windows
    and run like most others (robust distance, repeated until nobody else is far)."""
    if named is not None:
        held = tuple(str(name) for name in named if str(name) in logs)
        rest = {name: NOT_LISTED for name in logs if name not in held}
        return Reference(held, rest, True)
    left_out: dict[str, str] = {}
    running = set(batches.loc[batches["status"] == "fermenting", "batch_id"].astype(str))
    for name, log in logs.items():
        why = "still fermenting" if name in running else _too_little(log)
        if why:
            left_out[name] = why
    usable = [name for name in logs if name not in left_out]
    left_out |= _outside_windows([logs[name] for name in usable], rules)
    usable = [name for name in usable if name not in left_out]
    # a decade of batches would say no more than the latest of them, and take minutes
    left_out |= _unlike([logs[name] for name in usable[-2 * MOST_EXAMPLES :]])
    kept = [name for name in usable if name not in left_out]
    for name in kept[:-MOST_EXAMPLES]:
        left_out[name] = f"not needed: {MOST_EXAMPLES} later batches stand as examples"
    return Reference(tuple(kept[-MOST_EXAMPLES:]), left_out, False)


def _too_little(log: Log) -> str:
    gravity = log.hours[log.channel == GRAVITY]
    if len(np.unique(gravity)) < 6 or gravity.max() < 48:
        return "too few gravity readings to stand as an example"
    return ""


def _outside_windows(logs: Sequence[Log], rules: HouseRules) -> dict[str, str]:
    """Reasons by the house's windows; a window most batches miss is not held against any."""
    out: dict[str, str] = {}
    for name, says in _WINDOWED.items():
        if name not in rules.windows:
            continue
        window = rules.window(name)
        values = {log.batch_id: _figure(log, name) for log in logs}
        known = {batch: value for batch, value in values.items() if np.isfinite(value)}
        outside = {batch: value for batch, value in known.items() if not window.holds(value)}
        if len(outside) > 0.4 * max(len(known), 1):
            continue
        for batch, value in outside.items():
            out.setdefault(batch, f"{says} {_written(name, value)}, {OUTSIDE}")
    return out


_WINDOWED = {
    "final_sg": "ended at gravity",
    "final_ph": "ended at pH",
    "peak_temp_c": "highest recorded temperature",
}


def _figure(log: Log, name: str) -> float:
    channel = {"final_sg": GRAVITY, "final_ph": PH, "peak_temp_c": TEMPERATURE}[name]
    values = log.values[log.channel == channel]
    if not len(values):
        return float("nan")
    if name == "peak_temp_c":
        return float(values.max())
    return float(1 + values[-1] / 1000 if name == "final_sg" else values[-1])


def _written(name: str, value: float) -> str:
    return {"final_sg": f"{value:.4f}", "final_ph": f"{value:.2f}"}.get(name, f"{value:.1f} °C")


def _unlike(logs: Sequence[Log]) -> dict[str, str]:
    """Those whose course is far from the others', found again after each is taken out."""
    kept = list(logs)
    out: dict[str, str] = {}
    most = int(MOST_LEFT_OUT * len(logs))
    for _ in range(6):
        if len(kept) < FEWEST_BATCHES:
            break
        model = learn(kept, rounds=6)
        distance = np.array(
            [np.log(distance_of(model.leaving_out(log.batch_id), log)) for log in kept]
        )
        middle = np.median(distance)
        usual = max(1.4826 * float(np.median(np.abs(distance - middle))), 0.08)
        far = [at for at in np.argsort(-distance) if distance[at] > middle + FAR * usual]
        far = far[: max(most - len(out), 0)]
        if not far:
            break
        for at in far:
            out[kept[at].batch_id] = "runs unlike most batches"
        kept = [log for at, log in enumerate(kept) if at not in far]
    return out


def distance_of(model: HouseModel, log: Log) -> float:
    """Mean squared distance of a log from the model per reading; about 1 in style."""
    off = log.values - model.expected(log)
    return float(off @ np.linalg.solve(model.spread(log), off) / max(len(log), 1))
