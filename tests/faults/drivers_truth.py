"""Interval coverage, false discoveries and refusals over invented seasons with a known split.

    python -m tests.faults.drivers_truth [seasons]

Prints one line per kind of season and ends with 1 if a promise is broken: slopes and splits hold
their truth in 93 to 97 % of cases (nominal 95 %; 97.5 % where a true share is nothing, since no
share lies below it; both with three standard errors of these many seasons), false discoveries among
clear slopes stay within 5 % (plus two standard errors), fully confounded seasons are refused in
95 % or more.
"""

from __future__ import annotations

import sys
from typing import Any

import numpy as np

from tests.drivers.truth import growers_held, tally

WORLDS: dict[str, dict[str, Any]] = {
    "10 growers x 6": {},
    "20 growers x 3": {"growers": 20, "each": 3},
    "20 x 3, process half the grower's": {"growers": 20, "each": 3, "tied": 0.6},
    "10 x 6, process half the grower's": {"tied": 0.6},
    "length and pH at r = -0.8": {"together": -0.8},
    "noisy panel": {"panel_sd": 0.7},
    "growers all alike": {"grower_sd": 0.0},
    "ten seasons, 20 growers x 15": {"growers": 20, "each": 15, "seasons": 10},
    "tiny, 4 growers x 3": {"growers": 4, "each": 3},
    "tiny, 6 growers x 2": {"growers": 6, "each": 2},
}
CONFOUNDED: dict[str, dict[str, Any]] = {
    "process set by the grower": {"tied": 1.0},
    "process nearly set by the grower": {"tied": 0.97},
    "one batch per grower": {"growers": 20, "each": 1},
}
HELD = (0.93, 0.97)
SHARES_HELD = (0.93, 0.98)


def _held(own: list[bool], within: tuple[float, float]) -> bool:
    """Whether the share held lies within the bounds, with three standard errors."""
    share, more = float(np.mean(own)), 3 * np.sqrt(0.95 * 0.05 / len(own))
    return within[0] - more <= share <= within[1] + more


def main(seasons: int) -> int:
    broken: list[str] = []
    for name, world in WORLDS.items():
        told = tally(range(seasons), **world)
        held, false = float(np.mean(told.held)), np.asarray(told.false_share)
        allowed = 0.05 + 2 * float(false.std()) / np.sqrt(len(false))
        splits = {part: float(np.mean(own)) for part, own in told.split_held.items()}
        print(
            f"{name:36s} slopes held {held:.3f}  clear of the true {np.mean(told.found):.2f}  "
            f"false among clear {false.mean():.3f}  split held "
            + "  ".join(f"{part} {share:.3f}" for part, share in splits.items()),
            flush=True,
        )
        if not _held(told.held, HELD):
            broken.append(f"{name}: slopes held {held:.3f}")
        if false.mean() > allowed:
            broken.append(f"{name}: false among clear {false.mean():.3f}")
        broken += [
            f"{name}: {part} held {splits[part]:.3f}"
            for part, own in told.split_held.items()
            if not _held(own, SHARES_HELD)
        ]
    for name, world in CONFOUNDED.items():
        refused = float(np.mean(tally(range(seasons), with_split=False, **world).refused))
        print(f"{name:36s} refused {refused:.3f}", flush=True)
        if refused < 0.95:
            broken.append(f"{name}: refused {refused:.3f}")
    for sd in (0.0, 0.3, 0.6):
        for size in ({}, {"growers": 5, "each": 3}):
            held = float(np.mean(growers_held(range(seasons), sd, **size)))
            print(f"growers' share, sd {sd} {size or '10 x 6'}: held {held:.3f}", flush=True)
            if held < 0.92:
                broken.append(f"growers' share at sd {sd}: held {held:.3f}")
    print("\n".join(broken) if broken else "every promise kept")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 200))
