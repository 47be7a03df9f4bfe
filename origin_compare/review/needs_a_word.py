"""The batches that need a word: one list, from the house windows and from the house band alike."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.fermentation import Departure, Departures
from origin_compare.review.season_review import SeasonReview

COLUMNS = ["batch_id", "outside", "fermentation", "next_check"]


@dataclass(frozen=True, slots=True)
class NeedsAWord:
    """One row per batch that needs a word, in the season's order: `batch_id`, `outside` (measures
    outside their windows), `fermentation` (how it ran outside the house's normal range),
    `next_check`; empty where there is nothing of the kind.

    `batches`: how many were looked at; `note`: why no fermentation could be judged, if so.
    """

    rows: pd.DataFrame
    batches: int
    note: str = ""

    def sentence(self) -> str:
        """How many and which, and how many by each of the two."""
        if self.rows.empty:
            return f"None of {count(self.batches, 'batch')} needs a word."
        by_window, by_band = self.rows["outside"].ne(""), self.rows["fermentation"].ne("")
        said = (
            f"{len(self.rows)} of {count(self.batches, 'batch')} need a word: "
            f"{listed(self.rows['batch_id'].tolist())}"
        )
        parts = {
            "by a figure outside its window": int((by_window & ~by_band).sum()),
            "by how they fermented": int((by_band & ~by_window).sum()),
            "by both": int((by_band & by_window).sum()),
        }
        each = [f"{number} {what}" for what, number in parts.items() if number]
        return f"{said} ({listed(each)})."

    def table(self) -> pd.DataFrame:
        return self.rows

    def rests_on(self) -> str:
        band = self.note or "Fermentations are held against the house band."
        return f"Figures are held against the house windows, see Rules. {band}"


def needs_a_word(review: SeasonReview, departures: Departures) -> NeedsAWord:
    """Every batch with a figure outside a house window, or a fermentation outside the band."""
    outside = review.outside.groupby("batch_id")["says"].agg(", ".join)
    verdicts = {one.batch_id: one for one in departures}
    rows = []
    for batch in review.batches["batch_id"].astype(str):
        left = verdicts.get(batch)
        ran = _how_it_ran(left) if left is not None and left.status == "left" else ("", "")
        if batch in outside.index or any(ran):
            rows.append((batch, str(outside.get(batch, "")), *ran))
    table = pd.DataFrame(rows, columns=COLUMNS, dtype="str")
    return NeedsAWord(table, len(review.batches), departures.note)


def _how_it_ran(left: Departure) -> tuple[str, str]:
    said = left.sentence().removeprefix(f"{left.batch_id} ").rstrip(".")
    return said, left.causes[0].next_check if left.causes else ""
