"""A tasting planned: who is served what, in which order, under which blind code."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.panel.tastings.cautions import TASTING_CAUTIONS
from origin_compare.panel.tastings.williams import (
    Balance,
    Ints,
    balance,
    complete_orders,
    incomplete_orders,
)
from origin_compare.sheets.formula_signs import harmless

CODES = np.array([code for code in range(101, 1000) if len(set(str(code))) > 1])
"""Three-digit codes; 222 and its like are not used, for they stay in mind."""

CONTROL, DUPLICATE, BATCH, WARM_UP = "control", "duplicate", "batch", "warm-up"


@dataclass(frozen=True)
class TastingPlan:
    """One tasting (session) laid out.

    `key`: assessor_id, replicate, sitting, position, sample, sample_kind, code; one row per glass;
        for the one who pours, never for the panel. `position` counts within the sitting.
    `evenness`: how balanced the orders are.
    """

    tasting_id: str
    key: pd.DataFrame
    evenness: Balance
    attributes: tuple[str, ...]
    scale: str
    seed: int

    def sentence(self) -> str:
        e = self.evenness
        glasses = count(len(self.key), "glass", "glasses")
        even = (
            "every sample stands in each place and after each other sample equally often"
            if e.position_span == 0 and e.neighbour_span == 0
            else "places and neighbours are nearly even (a sample stands in one place at most "
            f"{count(e.position_span, 'time')} more often than another)"
        )
        blocks = "" if e.efficiency > 0.9999 else f"; efficiency {100 * e.efficiency:.0f} %"
        people = count(self.key["assessor_id"].nunique(), "assessor")
        return f"{glasses} for {people}: {even}{blocks}."

    def table(self) -> pd.DataFrame:
        return self.key.copy()

    def rests_on(self) -> str:
        samples = self.key.loc[self.key["sample_kind"].ne(WARM_UP), "sample"]
        replicates = count(int(self.key["replicate"].max()), "replicate")
        head = f"{count(samples.nunique(), 'sample')}, {replicates}, orders drawn with seed"
        return " ".join([f"{head} {self.seed}.", *TASTING_CAUTIONS])

    def sheet(self, assessor_id: str) -> pd.DataFrame:
        """The blank sheet of one assessor: sitting, position, code and a column per attribute."""
        own = self.key[self.key["assessor_id"].eq(assessor_id)]
        if own.empty:
            names = listed(sorted(self.key["assessor_id"].unique()), 20)
            raise ValueError(f"assessor_id: {assessor_id} is not served here. Choose from {names}.")
        blank = own[["sitting", "position", "code"]].reset_index(drop=True)
        blank.insert(0, "assessor_id", assessor_id)
        blank.insert(0, "tasting_id", self.tasting_id)
        for attribute in self.attributes:
            blank[attribute] = ""
        return blank

    def sheets(self) -> pd.DataFrame:
        """All assessors' blank sheets one below the other; no sample is named."""
        return pd.concat(
            [self.sheet(name) for name in self.key["assessor_id"].unique()], ignore_index=True
        )

    def sheet_text(self, assessor_id: str) -> str:
        """One assessor's sheet as CSV text to print: the cautions first, no sample named."""
        head = [f"# Tasting {self.tasting_id}, assessor {assessor_id}, scale {self.scale}"]
        head += [f"# {caution}" for caution in TASTING_CAUTIONS]
        return "\n".join(head) + "\n" + harmless(self.sheet(assessor_id)).to_csv(index=False)

    def key_text(self) -> str:
        """The key as CSV text, for the one who pours; keep it away from the panel."""
        head = f"# KEY of tasting {self.tasting_id}: for the one who pours, not for the panel\n"
        return head + harmless(self.key).to_csv(index=False)


def serving_plan(
    samples: Sequence[str],
    assessors: int | Sequence[str],
    replicates: int = 1,
    seed: int = 0,
    per_sitting: int | None = None,
) -> pd.DataFrame:
    """Who is served what: assessor_id, replicate, position, sample, code; one row per glass.

    Orders are balanced for place and for the sample before (Williams, 1949) as far as the numbers
    allow. `assessors`: how many (A01, A02, ...) or their codes. Where the samples exceed
    `per_sitting`, each replicate is spread over several sittings and a column `sitting` is added;
    `position` then counts within the sitting. Codes have three digits; none is used twice in the
    session while they suffice, and none ever stands for two samples.
    Raises `ValueError` for fewer than two samples, a sample named twice, or no assessor.
    """
    plan = plan_tasting(samples, assessors, replicates, seed, per_sitting=per_sitting)
    columns = ["assessor_id", "replicate", "position", "sample", "code"]
    if plan.key["sitting"].max() > 1:
        columns.insert(2, "sitting")
    return plan.key[columns].copy()


def plan_tasting(
    samples: Sequence[str],
    assessors: int | Sequence[str],
    replicates: int = 1,
    seed: int = 0,
    *,
    per_sitting: int | None = None,
    control: str | None = None,
    duplicates: Sequence[str] = (),
    warm_up: str | None = None,
    attributes: Sequence[str] = (),
    scale: str = "0-10",
    tasting_id: str = "T1",
) -> TastingPlan:
    """A whole tasting: orders, blind codes, hidden control and duplicates, sheets and key.

    `control`: a spirit hidden in every sitting, which links this tasting to others;
    `duplicates`: samples served once more under another code, to see repeatability;
    `warm_up`: a spirit every sitting starts with, whose scores are not used.
    `per_sitting` counts glasses, hidden ones included, warm-up not. Raises `ValueError` as
    `serving_plan`, and for a duplicate that is no sample or a sitting too small.
    """
    names, people = _checked(samples, assessors, replicates, duplicates, control)
    extra = 1 if control is not None else 0
    glasses = [(name, BATCH) for name in names] + [(name, DUPLICATE) for name in duplicates]
    room = len(glasses) + extra if per_sitting is None else per_sitting
    if room - extra < 2:
        raise ValueError(
            f"per_sitting: {per_sitting} leaves no room for two samples"
            f"{' beside the control' if extra else ''}. Serve more glasses in a sitting."
        )
    rng = np.random.default_rng(seed)
    rounds = len(people) * replicates
    counted = len(glasses) + (extra if len(glasses) + extra <= room else 0)
    if len(glasses) + extra <= room:
        if control is not None:
            glasses.append((control, CONTROL))
        orders = [[row] for row in complete_orders(len(glasses), rounds, rng)]
    else:
        orders = incomplete_orders(len(glasses), room - extra, rounds, rng)
        if control is not None:
            glasses.append((control, CONTROL))
            orders = [_with_control(line, len(glasses) - 1, rng) for line in orders]
    key = _key(orders, glasses, people, replicates, rng)
    even = balance([order for line in orders for order in line], len(glasses), counted)
    if warm_up is not None:
        key = _warmed(key, warm_up)
    key["code"] = _codes(key, rng)
    return TastingPlan(tasting_id, key, even, tuple(attributes), scale, seed)


def _checked(
    samples: Sequence[str],
    assessors: int | Sequence[str],
    replicates: int,
    duplicates: Sequence[str],
    control: str | None,
) -> tuple[list[str], list[str]]:
    names = [str(name) for name in samples]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(
            f"samples: {listed(twice)} named twice. Name each once; ask for hidden duplicates "
            "with `duplicates`."
        )
    if len(names) < 2:
        raise ValueError(f"samples: {count(len(names), 'sample')} given. Serve at least two.")
    people = (
        [f"A{i + 1:02d}" for i in range(assessors)]
        if isinstance(assessors, int)
        else [str(name) for name in assessors]
    )
    if not people or len(set(people)) < len(people):
        raise ValueError(
            f"assessors: {listed(people) or 'none'} given. Name each assessor once, at least one."
        )
    if replicates < 1:
        raise ValueError(f"replicates: {replicates} is below 1.")
    strangers = [name for name in duplicates if name not in names]
    if strangers:
        raise ValueError(f"duplicates: {listed(strangers)} not among the samples.")
    if control in names:
        raise ValueError(
            f"control: {control} is also a sample. Leave it out of the samples; as control it is "
            "served in every sitting."
        )
    return names, people


def _with_control(line: list[Ints], control: int, rng: np.random.Generator) -> list[Ints]:
    """The control put at a random place of each sitting."""
    return [np.insert(order, rng.integers(0, len(order) + 1), control) for order in line]


def _key(
    orders: list[list[Ints]],
    glasses: list[tuple[str, str]],
    people: list[str],
    replicates: int,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Orders dealt to assessors replicate by replicate, so that each replicate is near balance."""
    rows = []
    turn = 0
    for replicate in range(1, replicates + 1):
        for person in rng.permutation(people):
            for sitting, order in enumerate(orders[turn], start=1):
                rows += [
                    (str(person), replicate, sitting, place, *glasses[index])
                    for place, index in enumerate(order, start=1)
                ]
            turn += 1
    key = pd.DataFrame(
        rows, columns=["assessor_id", "replicate", "sitting", "position", "sample", "sample_kind"]
    )
    known = {person: i for i, person in enumerate(people)}
    key = key.sort_values(
        ["assessor_id", "replicate", "sitting", "position"],
        key=lambda c: c.map(known) if c.name == "assessor_id" else c,
    )
    return key.reset_index(drop=True)


def _warmed(key: pd.DataFrame, warm_up: str) -> pd.DataFrame:
    """A warm-up glass in place 1 of each sitting, the others one place later."""
    sittings = key[["assessor_id", "replicate", "sitting"]].drop_duplicates()
    first = sittings.assign(position=1, sample=warm_up, sample_kind=WARM_UP)
    both = pd.concat([first, key.assign(position=key["position"] + 1)], ignore_index=True)
    order = {person: i for i, person in enumerate(key["assessor_id"].unique())}
    return both.sort_values(
        ["assessor_id", "replicate", "sitting", "position"],
        key=lambda c: c.map(order) if c.name == "assessor_id" else c,
    ).reset_index(drop=True)


def _codes(key: pd.DataFrame, rng: np.random.Generator) -> np.ndarray:
    """One code per glass; past the stock of codes, one per sample, kind and replicate."""
    if len(key) <= len(CODES):
        return rng.choice(CODES, size=len(key), replace=False)
    group = key.groupby(["sample", "sample_kind", "replicate"], sort=False).ngroup().to_numpy()
    if group.max() >= len(CODES):
        raise ValueError(
            f"{group.max() + 1} samples and replicates need more than the {len(CODES)} three-digit "
            "codes. Split the tasting."
        )
    return rng.choice(CODES, size=group.max() + 1, replace=False)[group]
