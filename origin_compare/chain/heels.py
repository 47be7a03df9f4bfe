"""What a vessel keeps of the batch before: heels, as far as the house has stated them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import pandas as pd

from origin_compare.house import Window
from origin_compare.season.lot_shares import ANYTHING, Span
from origin_compare.season.season import Season

STEPS = (
    ("heel_grain_kg", "grain", "grain_kg"),
    ("heel_malt_kg", "malt", "grist_kg"),
    ("heel_mash_l", "mash", "mash_wort_l"),
    ("heel_wash_l", "fermentation", "wort_l"),
    ("heel_charger_l", "charger", "wash_l"),
    ("heel_low_wines_l", "low wines", "low_wines_l"),
    ("heel_spirit_l", "spirit", "new_make_l"),
)
"""Name of the house's window, the step, and the batch's amount it stands beside."""

IN_THE_STILL_HOUSE = ("charger", "low wines", "spirit")
"""Vessels a batch meets only once it is distilled; they are known by the still."""

SpanOf = Callable[[str], Span]


@dataclass(frozen=True)
class Heel:
    """One stated heel under a batch: `share` of the vessel it makes up, `before` whose it was."""

    step: str
    vessel: str
    window: Window
    share: Span
    before: str | None

    def says(self) -> str:
        """Where the heel stands, how much the house states, and whose it is."""
        where = f"{self.step} {self.vessel}".strip()
        whose = f"of {self.before}" if self.before else "of what stood there before, not on record"
        return f"heel at {where}: {self.window.words()} {whose}"


def stated(season: Season) -> tuple[str, ...]:
    """The steps for which the house has stated a heel, for one vessel or for all."""
    names = {name.split(" ")[0] for name in season.rules.windows}
    return tuple(step for name, step, _ in STEPS if name in names)


def not_stated(season: Season) -> tuple[str, ...]:
    """The steps for which it has not; there a heel is taken as none."""
    there = stated(season)
    return tuple(step for _, step, _ in STEPS if step not in there)


def heels(season: Season) -> dict[str, list[Heel]]:
    """The stated heels under every batch, from grain to spirit receiver."""
    if not stated(season):
        return {}
    table = _with_vessels(season)
    found: dict[str, list[Heel]] = {str(batch): [] for batch in table["batch_id"]}
    for name, step, amount in STEPS:
        for batch_id, heel in _at_step(season, table, name, step, amount):
            found[batch_id].append(heel)
    return found


def _with_vessels(season: Season) -> pd.DataFrame:
    """The batches with, per step, the vessel and the moment that put them in order."""
    table = season.batches.copy()
    mashed = season.sheets["mashes"].groupby("batch_id")["mashed_at"].min()
    table["mashed_at"] = mashed.reindex(table["batch_id"]).to_numpy()
    # What is steeped for a batch weighs more than its malt; the lesser makes the heel count more.
    table["grain_kg"] = table["grist_kg"]
    table["low_wines_l"] = _low_wines(season, table)
    for step in ("grain", "malt", "mash"):
        table[f"at {step}"], table[f"when {step}"] = "", table["mashed_at"]
    table["at fermentation"] = table["vessel"].fillna("")
    table["when fermentation"] = table["pitched_at"]
    for step in IN_THE_STILL_HOUSE:
        table[f"at {step}"] = table["still"].fillna("")
        table[f"when {step}"] = table["distilled_on"]
    return table


def _low_wines(season: Season, table: pd.DataFrame) -> pd.Series:
    """Litres of low wines of each batch; not on record, the least its wash can have given."""
    by_batch = season.sheets["spirits"].groupby("batch_id")["low_wines_l"].sum(skipna=False)
    window = season.rules.windows.get("low_wines_abv_pct")
    strongest = window.high if window and window.high else float("nan")
    least = table["wash_l"] * table["wash_abv_pct"] / strongest
    return by_batch.reindex(table["batch_id"]).set_axis(table.index).fillna(least)


def _at_step(
    season: Season, table: pd.DataFrame, name: str, step: str, amount: str
) -> Iterator[tuple[str, Heel]]:
    ordered = table.dropna(subset=f"when {step}").sort_values(f"when {step}", kind="stable")
    before = ordered.groupby(f"at {step}")["batch_id"].shift()
    met = table["new_make_l"].notna() if step in IN_THE_STILL_HOUSE else table["batch_id"].notna()
    for at, row in table[met].iterrows():
        vessel = str(row[f"at {step}"])
        window = season.rules.windows.get(f"{name} {vessel}") or season.rules.windows.get(name)
        if window is None:
            continue
        stood = before.get(at)
        share = _share(window, float(row[amount]))
        yield (
            str(row["batch_id"]),
            Heel(step, vessel, window, share, None if pd.isna(stood) else str(stood)),
        )


def _share(window: Window, amount: float) -> Span:
    """The heel as a share of heel and batch together; anything where the batch is not weighed."""
    if pd.isna(amount) or window.high is None:
        return ANYTHING
    low = window.low or 0.0
    return Span(low / (low + amount), window.high / (window.high + amount))


def with_heels(own: Span, under: list[Heel], whose: SpanOf) -> Span:
    """An origin's share of a batch with the stated heels mixed in; `whose`: another batch's."""
    for heel in under:
        own = own.mixed(heel.share, whose(heel.before) if heel.before else ANYTHING)
    return own
