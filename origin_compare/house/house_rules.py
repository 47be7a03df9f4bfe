"""All windows of a house, and how it reckons: its clock, hour zero, groups and feints."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from zoneinfo import available_timezones

from origin_compare.answers import listed
from origin_compare.house.window import Flag, RuleFault, Window, flags_of, short

HOUR_ZEROS = ("yeast in", "first fill", "last fill")

FEINTS = ("by lot", "by grower", "no", "not stated")

FEWEST_IN_A_GROUP = 3
"""In a group of two each member can work out the other's figure from the mean."""

MOST_IN_A_GROUP = 1000
"""No house has so many growers: above it a slip of the keys is likelier than a wish."""


@dataclass(frozen=True)
class HouseRules:
    """All windows by name, and the site's clock.

    `hour_zero` is what hour 0 of a fermentation means: yeast in, first fill or last fill.
    `smallest_group`: growers a group needs before its middle may be shown to another grower.
    `plausible`: what is usual, by (sheet, column); outside earns a warning, never a refusal.
    `feints_kept_apart`: whether foreshots and feints of one lot or grower stay out of the next.
    `zone_stated`: whether the house said its time zone; until then it is asked for.
    `scales`: how scores of each tasting scale become the house's, by name: (factor, offset).
    `distillery`: the house's name as it stands over pages and letters; "" until it is given.
    `RuleFault` for an unknown time zone, hour zero or way with feints, or a group under 3 or over
    1000.
    """

    windows: Mapping[str, Window]
    time_zone: str = "UTC"
    hour_zero: str = "yeast in"
    smallest_group: int = 5
    plausible: Mapping[tuple[str, str], Window] = field(default_factory=dict)
    feints_kept_apart: str = "not stated"
    scales: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    zone_stated: bool = field(default=False, compare=False)
    distillery: str = ""

    def __post_init__(self) -> None:
        _check_zone(self.time_zone)
        _check_choice("hour_zero", self.hour_zero, HOUR_ZEROS)
        _check_choice("feints_kept_apart", self.feints_kept_apart, FEINTS)
        if self.smallest_group < FEWEST_IN_A_GROUP:
            raise RuleFault(
                f"smallest_group: {self.smallest_group} is below {FEWEST_IN_A_GROUP}. In a smaller "
                "group a grower could work out another's figures."
            )
        if self.smallest_group > MOST_IN_A_GROUP:
            raise RuleFault(
                f"smallest_group: {short(self.smallest_group)} is above {MOST_IN_A_GROUP}, more "
                "growers than a house has, so no group would ever be shown."
            )

    def window(self, name: str) -> Window:
        """The window of that name; `KeyError` if the rules hold none."""
        return self.windows[name]

    def flags(self, name: str, value: float) -> tuple[Flag, ...]:
        """One `Flag` if `value` lies outside the window `name`, else none; NaN earns none.

        A name without a window earns none either: the house holds to nothing there.
        """
        window = self.windows.get(name)
        if window is None:
            return ()
        return flags_of(window, value, name, "the house window")

    def unusual(self, sheet: str, column: str, value: float) -> tuple[Flag, ...]:
        """One `Flag` if a cell's value is outside what is usual in that column, else none."""
        window = self.plausible.get((sheet, column))
        if window is None:
            return ()
        return flags_of(window, value, f"plausible.{sheet}.{column}", "what is usual")


def _check_choice(name: str, chosen: str, choices: tuple[str, ...]) -> None:
    if chosen not in choices:
        known = listed([f'"{choice}"' for choice in choices])
        raise RuleFault(f'{name}: "{chosen}" is not one of {known}.')


@cache
def time_zones() -> tuple[str, ...]:
    """The zones a site can be in: none that counts leap seconds, none a machine calls its own."""
    return tuple(sorted(available_timezones() - {"localtime", "Factory"}))


def _check_zone(name: str) -> None:
    if name not in time_zones():
        raise RuleFault(
            f'time_zone: "{short(name)}" is not a known time zone. Write it as region/city, such '
            'as "Europe/London", or "UTC".'
        )
