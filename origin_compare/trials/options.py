"""What each choice of a plan costs: the same number of batches, one thing chosen otherwise."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import pandas as pd

from origin_compare.drivers.wording import plain, title, upper
from origin_compare.errors import NotEnoughData
from origin_compare.trials.proposal import Choices, Trials, next_trials

AS_PLANNED = "as planned"


@dataclass(frozen=True)
class TrialOptions:
    """`options`: one row per choice, the plan itself first: `choice`, `cost` (missing where no
    cost was given), `why_not` (empty where it can be done), and per term the smallest visible gap
    by the formula, score points per step; `steps` names the terms and their steps."""

    options: pd.DataFrame
    steps: dict[str, str]

    def table(self) -> pd.DataFrame:
        """One row per choice, gaps as text."""
        shown = self.options[["choice"]].copy()
        if self.options["cost"].notna().any():
            shown["cost"] = self.options["cost"]
        for term, unit in self.steps.items():
            shown[f"{title(term)}, per {unit}"] = [
                "cannot be told" if pd.isna(value) else plain(value) for value in self.options[term]
            ]
        shown["why_not"] = self.options["why_not"]
        return shown

    def sentence(self) -> str:
        """Which choice would blunt the plan most."""
        own = self.options.iloc[0]
        others = self.options.iloc[1:]
        others = others[others["why_not"] == ""]
        if others.empty:
            return "Nothing about this plan can be chosen otherwise."
        ratios = others[list(self.steps)].div(own[list(self.steps)].astype(float)).astype(float)
        worst = ratios.max(axis=1).fillna(1.0)
        place = int(worst.to_numpy().argmax())
        row = others.iloc[place]
        if worst.max() < 1.05:
            return "None of the choices below would blunt the plan by a twentieth."
        term = str(ratios.iloc[place].idxmax())
        return (
            f"{upper(str(row['choice']))}: the smallest {title(term)} gap seen would be "
            f"{plain(row[term])} in place of {plain(own[term])} per {self.steps[term]}."
        )

    def rests_on(self) -> str:
        """How each was planned."""
        return (
            "Each choice is planned anew with the same number of batches, earlier batches counted "
            "in; smallest gaps by the formula, seen four times in five."
        )


def trial_options(
    plan: Trials,
    so_far: pd.DataFrame | None,
    *,
    repeats: int = 0,
    cost_each: float | None = None,
) -> TrialOptions:
    """The plan beside the same without splitting lots, without lots mashed before, without
    repeats and with all effects weighed alike, as far as each makes a difference to it."""
    batches = len(plan.runs)
    cost = float("nan") if cost_each is None else batches * cost_each
    slopes = plan.terms[plan.terms["kind"].isin(["slope", "harvests"])]
    steps = dict(zip(slopes["term"], slopes["step"], strict=True))
    rows = [{"choice": AS_PLANNED, "cost": cost, "why_not": ""} | _gaps(plan, steps)]
    for name, choices, again in _others(plan, repeats):
        row: dict[str, object] = {"choice": name, "cost": cost, "why_not": ""}
        try:
            found = next_trials(
                choices,
                batches,
                plan.sd,
                model=plan.model,
                so_far=so_far,
                lot_sd=plan.lot_sd,
                repeats=again,
                seed=plan.seed,
            )
            row |= _gaps(found, steps)
        except NotEnoughData as fault:
            row |= {"why_not": str(fault), **dict.fromkeys(steps, float("nan"))}
        rows.append(row)
    return TrialOptions(pd.DataFrame(rows), steps)


def _gaps(plan: Trials, steps: dict[str, str]) -> dict[str, object]:
    seen = plan.terms.set_index("term")["visible_after"]
    return {term: float(seen.get(term, float("nan"))) for term in steps}


def _others(plan: Trials, repeats: int) -> Iterator[tuple[str, Choices, int]]:
    choices, by_lot = plan.choices, plan.by_lot
    if choices.lots is not None and choices.split and (by_lot["settings"] > 1).any():
        yield "each lot at one setting only", replace(choices, split=False), repeats
    if choices.lots is not None and (by_lot["earlier"] > 0).any():
        old = by_lot.loc[by_lot["earlier"] > 0, "lot_id"]
        rest = choices.lots[~choices.lots["lot_id"].isin(old)]
        if len(rest):
            yield "no lot mashed before", replace(choices, lots=rest), repeats
    if repeats:
        yield "no run made twice", choices, 0
    if choices.weights is not None:
        yield "all effects weighed alike", replace(choices, weights=None), repeats
