"""A randomised trial, where the records state one: only there may it be said what causes what.

A batch belongs to one when its note says so: `Randomised trial of length and peak temperature`.
The run sheet of a plan writes that note.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

import pandas as pd

from origin_compare.answers import count
from origin_compare.drivers.model.study import Tasted
from origin_compare.drivers.model.usable_batches import ProfileLike
from origin_compare.drivers.slopes.slopes import Effects, effects_of
from origin_compare.drivers.wording import joined, plain, signed, title, upper
from origin_compare.errors import NotEnoughData

SAYS = re.compile(r"randomi[sz]ed trial of ([^:;.]+)", re.IGNORECASE)
SETTINGS = ("length_h", "peak_temp_c", "final_ph", "pitch_temp_c")


@dataclass(frozen=True)
class Randomised:
    """The slopes of `settings` among the batches whose notes state that these were drawn by lot."""

    effects: Effects
    settings: tuple[str, ...]

    def table(self) -> pd.DataFrame:
        """One row per attribute and setting."""
        return self.effects.table()

    def sentence(self) -> str:
        """What the settings cause, or that nothing is shown."""
        n = len(self.effects.kept.rows)
        start = (
            f"In the randomised trial ({count(n, 'batch')}, "
            f"{joined(title(name) for name in self.settings)} drawn by lot)"
        )
        clear = self.effects.clear()
        if clear.empty:
            return f"{start} no setting is shown to change any flavour."
        told = [
            f"{title(row['process'])} causes a change in {row['attribute']} "
            f"({signed(row['slope'])} per {row['step']}, {plain(row['low'])} to "
            f"{plain(row['high'])})"
            for row in clear.to_dict("records")
        ]
        return f"{start} {joined(told)}."

    def rests_on(self) -> str:
        """The batches, and what the records say of them."""
        return (
            f"{self.effects.rests_on()} {upper(joined(title(one) for one in self.settings))} "
            "drawn by lot, as the notes of these batches state; what was not drawn only goes with "
            "flavour, here as elsewhere."
        )


def note_of(settings: Iterable[str]) -> str:
    """The words a batch's note states a randomised trial with."""
    return f"Randomised trial of {joined(title(name) for name in settings)}"


def drawn_by_lot(note: object) -> frozenset[str]:
    """The settings that a note says were drawn by lot; none where it states no trial."""
    found = SAYS.search(note) if isinstance(note, str) else None
    if found is None:
        return frozenset()
    named = {word.strip().lower() for word in re.split(r",|\band\b", found.group(1))}
    return frozenset(name for name in SETTINGS if title(name).lower() in named or name in named)


def randomised(
    batches: pd.DataFrame,
    profile: ProfileLike,
    origin: str = "grower_id",
    *,
    leave_out: Iterable[str] = (),
) -> Randomised:
    """`effects` among the batches of a stated randomised trial, for the settings drawn in all.

    Raises NotEnoughData where no batch's note states one, or too few batches do.
    """
    return randomised_of(Tasted(batches, profile, tuple(leave_out)), origin)


def randomised_of(tasted: Tasted, origin: str = "grower_id") -> Randomised:
    """`randomised` of batches already settled."""
    batches = tasted.batches
    notes = batches["note"] if "note" in batches else pd.Series("", index=batches.index)
    drawn = notes.map(drawn_by_lot)
    stated = drawn.map(bool)
    common = frozenset.intersection(*drawn[stated]) if stated.any() else frozenset()
    settings = tuple(name for name in SETTINGS if name in common and name in batches)
    if not settings:
        raise NotEnoughData(
            "No batch is stated to belong to a randomised trial, so nothing here says what causes "
            'what. Such a batch has in its note: "Randomised trial of length".'
        )
    trial = tasted.over(batches[stated]).study(settings, origin)
    return Randomised(effects_of(trial), settings)
