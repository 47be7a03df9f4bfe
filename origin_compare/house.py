"""The house rules: targets and windows a distillery sets for itself, each with where it came from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

COMMON = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Window:
    """A range the house holds to; either end may be open (None)."""

    name: str
    says: str
    unit: str
    low: float | None
    high: float | None
    source: str = COMMON

    def holds(self, value: float) -> bool:
        """Whether `value` lies inside, ends included; NaN does not."""
        above = self.low is None or value >= self.low
        below = self.high is None or value <= self.high
        return bool(above and below and value == value)


@dataclass(frozen=True)
class HouseRules:
    """All windows by name, and the site's clock.

    `hour_zero` is what hour 0 of a fermentation means: yeast in, first fill or last fill.
    """

    windows: Mapping[str, Window]
    time_zone: str = "UTC"
    hour_zero: str = "yeast in"
    smallest_group: int = 5

    def window(self, name: str) -> Window:
        """The window of that name; `KeyError` if the rules hold none."""
        return self.windows[name]


def default_rules() -> HouseRules:
    """The rules a new store starts with; a distillery replaces them by its own."""
    return HouseRules(windows={window.name: window for window in _DEFAULTS})


_DEFAULTS = (
    Window("pitch_temp_c", "pitch temperature", "°C", 19.0, 23.0),
    Window("peak_temp_c", "peak temperature", "°C", 27.0, 30.5),
    Window("length_h", "fermentation length", "h", 120.0, 140.0),
    Window("final_ph", "final pH", "", None, 3.5),
    Window("og_sg", "original gravity", "", 1.055, 1.075),
    Window("final_sg", "final gravity", "", None, 1.004),
    Window("reading_gap_h", "hours between readings", "h", None, 8.5),
    Window("yeast_age_d", "age of pressed yeast at pitch", "d", None, 14.0),
    Window("yeast_storage_c", "yeast kept at", "°C", 1.0, 5.0),
    Window("yeast_g_l", "pressed yeast per litre of wort", "g/L", 2.2, 3.4),
    Window("new_make_abv_pct", "new-make strength", "% vol", 63.0, 72.0),
)
