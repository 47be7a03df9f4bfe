"""How many batches a trial needs: the smallest visible slope, and the cost, for several sizes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from origin_compare.drivers.wording import plain, title
from origin_compare.errors import NotEnoughData
from origin_compare.trials.proposal import Choices, Model, next_trials

SIZES = (4, 6, 8, 12, 16, 20, 24)


@dataclass(frozen=True)
class TrialSizes:
    """`sizes`: one row per number of batches and process term: `batches, term, step, visible`
    (score points per step) and `cost` (missing where no cost per batch was given)."""

    sizes: pd.DataFrame
    asked: int

    def table(self) -> pd.DataFrame:
        """One row per number of batches; per term the smallest slope seen, as text."""
        wide = self.sizes.pivot(index="batches", columns="term", values="visible")
        cost = self.sizes.drop_duplicates("batches").set_index("batches")["cost"]
        order = list(dict.fromkeys(self.sizes["term"]))
        shown = (
            wide[order]
            .map(plain)
            .rename(columns=lambda term: f"{title(term)}, per {self._step(term)}")
        )
        if cost.notna().any():
            shown.insert(0, "cost", cost)
        return shown.reset_index()

    def _step(self, term: str) -> str:
        return str(self.sizes.loc[self.sizes["term"] == term, "step"].iloc[0])

    def sentence(self) -> str:
        """What the batches asked for show, and what twice as many would."""
        told = []
        for term, rows in self.sizes.groupby("term", sort=False):
            most = rows.sort_values("batches").iloc[-1]
            own = rows.loc[rows["batches"] == self.asked, "visible"].iloc[0]
            told.append(
                f"{title(str(term))} {plain(own)} with {self.asked} batches, "
                f"{plain(most['visible'])} with {most['batches']}"
            )
        return f"Smallest slope seen four times in five: {'; '.join(told)}."

    def rests_on(self) -> str:
        """How each size was planned."""
        return "Each number of batches is planned anew in the same way, earlier batches counted in."


def trial_sizes(
    choices: Choices | Mapping[str, Sequence[float]],
    asked: int,
    sd: float,
    *,
    model: Model = "straight lines",
    so_far: pd.DataFrame | None = None,
    lot_sd: float = 0.0,
    cost_each: float | None = None,
    seed: int = 0,
) -> TrialSizes:
    """The smallest visible slope (by the formula) for several numbers of batches around `asked`.

    A number too small for the terms, or too large for the barley, is left out. Raises as
    `next_trials` does when none is left.
    """
    rows: list[tuple[object, ...]] = []
    wrong: NotEnoughData | None = None
    for batches in sorted({*SIZES, asked}):
        try:
            plan = next_trials(
                choices,
                batches,
                sd,
                model=model,
                so_far=so_far,
                lot_sd=lot_sd,
                seed=seed,
            )
        except NotEnoughData as fault:
            wrong = fault
            continue
        cost = float("nan") if cost_each is None else batches * cost_each
        straight = plan.terms[plan.terms["kind"] == "slope"]
        rows += [
            (batches, row["term"], row["step"], row["visible_after"], cost)
            for row in straight.to_dict("records")
        ]
    if not rows and wrong is not None:
        raise wrong
    table = pd.DataFrame(rows, columns=["batches", "term", "step", "visible", "cost"])
    return TrialSizes(table, asked)
