"""Batches that left the house band by a fault of reading: which figure of theirs is in doubt."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.drivers.wording import title
from origin_compare.fermentation import Departures
from origin_compare.fermentation.departures.causes import CHANNEL_OF, INSTRUMENT

# The process figure that is read off a channel; gravity stands behind none of those asked about.
FIGURE_OF = {"temperature": "peak_temp_c", "pH": "final_ph"}


@dataclass(frozen=True)
class Doubted:
    """`batches`: one row per batch: `batch_id, cause, figure` (a process column, empty if none of
    those asked about), `says`. `looked_at`: how many batches were held against the house band."""

    batches: pd.DataFrame
    looked_at: int

    def table(self) -> pd.DataFrame:
        """One row per batch whose readings are in doubt."""
        return self.batches.copy()

    def sentence(self) -> str:
        """Which batches, and what of theirs is not to be trusted."""
        if self.batches.empty:
            return "No batch left the house band by a fault of reading."
        return " ".join(self.batches["says"])

    def rests_on(self) -> str:
        """How many were looked at, and how sure a named cause is."""
        return (
            f"{count(self.looked_at, 'batch')} held against the house band; a cause is named when "
            "it carries more than half of the evidence."
        )

    def still_in(self, left_out: Iterable[str]) -> Doubted:
        """The same without the batches already left out by hand."""
        gone = self.batches["batch_id"].isin(list(left_out))
        return Doubted(self.batches[~gone].reset_index(drop=True), self.looked_at)

    def ids(self) -> list[str]:
        """The batches in doubt."""
        return self.batches["batch_id"].tolist()


def doubted(departures: Departures) -> Doubted:
    """Batches whose departure is most likely an instrument's or a reader's, not the wash's."""
    rows = []
    for one in departures:
        if one.status != "left" or not INSTRUMENT.get(one.named, False):
            continue
        figure = FIGURE_OF.get(CHANNEL_OF[one.named], "")
        what = (
            f"its {title(figure)} is not to be trusted"
            if figure
            else f"its {CHANNEL_OF[one.named]} readings are not to be trusted"
        )
        rows.append((one.batch_id, one.named, figure, f"{one.batch_id}: {one.named}; {what}."))
    table = pd.DataFrame(rows, columns=["batch_id", "cause", "figure", "says"])
    return Doubted(table, len(departures.found))


def pointed_at(slopes: pd.DataFrame) -> str:
    """The batches that findings lean on or are moved by, in one sentence; empty if none."""
    spoken = slopes[slopes["warning"].ne("")]
    names = [*spoken.loc[spoken["fragile"], "leans_on"], *spoken["moved_by"]]
    several = pd.Series([name for name in names if name], dtype=str).value_counts()
    if several.empty:
        return ""
    them = "it" if len(several) == 1 else "them"
    return f"Look first at {listed(list(several.index))}: without {them} findings would change."
