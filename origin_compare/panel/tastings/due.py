"""Which batches to taste next: distilled and not yet tasted first."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from origin_compare.answers import count, listed

DUE_COLUMNS = ["batch_id", "distilled_on", "n_tastings", "n_assessors", "new_make_abv_pct", "why"]


@dataclass(frozen=True)
class Due:
    """Batches in the order in which they should be tasted.

    `batches`: `DUE_COLUMNS`, one row per distilled batch: never tasted first, then those seen in
    the fewest tastings, the oldest spirit first within each.
    """

    batches: pd.DataFrame

    @property
    def names(self) -> tuple[str, ...]:
        """The batches due, by `batch_id`."""
        return tuple(self.batches["batch_id"])

    @property
    def never(self) -> tuple[str, ...]:
        """Distilled and never tasted."""
        return tuple(self.batches.loc[self.batches["n_tastings"].eq(0), "batch_id"])

    def sentence(self) -> str:
        if self.batches.empty:
            return "No batch has been distilled yet, so there is nothing to taste."
        never = self.never
        once = int(self.batches["n_tastings"].eq(1).sum())
        if never:
            verb = "has" if len(never) == 1 else "have"
            head = f"{count(len(never), 'batch')} {verb} been distilled and not yet tasted: "
            return f"{head}{listed(never, 8)}."
        if once:
            verb = "stands on a single tasting" if once == 1 else "stand on a single tasting each"
            return f"Every distilled batch has been tasted; {once} of them {verb}."
        return "Every distilled batch has been tasted at least twice."

    def table(self) -> pd.DataFrame:
        return self.batches.copy()

    def rests_on(self) -> str:
        return (
            f"{count(len(self.batches), 'distilled batch')} in these harvests, never tasted first, "
            "then those in the fewest tastings, the oldest spirit first. Batches that share a "
            "tasting, or a control, can be compared best."
        )


def due(batches: pd.DataFrame) -> Due:
    """The distilled batches of a season in the order in which to taste them.

    `batches`: batch_id, status, distilled_on, n_tastings, n_assessors, new_make_abv_pct, as the
    season holds them.
    """
    mine = batches[batches["status"].eq("distilled")].copy()
    for name in ("n_tastings", "n_assessors"):
        mine[name] = mine[name].fillna(0).astype("int64")
    mine = mine.sort_values(["n_tastings", "distilled_on", "batch_id"], kind="stable")
    mine["why"] = [
        "not yet tasted" if not n else f"in {count(n, 'tasting')}" for n in mine["n_tastings"]
    ]
    return Due(mine[DUE_COLUMNS].reset_index(drop=True))
