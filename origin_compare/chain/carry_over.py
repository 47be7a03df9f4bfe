"""What earlier spirit runs leave in later ones when foreshots and feints go back into the still."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare.answers import count
from origin_compare.house import HouseRules
from origin_compare.season.lot_shares import ANYTHING, NOTHING, Span
from origin_compare.season.season import Season

RUN_COLUMNS = [
    *["batch_id", "run_no", "still", "distilled_on", "before", "since_change"],
    *["own_least", "own_most", "old_least", "old_most"],
]

SpanOf = Callable[[str], Span]


def old_alcohol(returned_share: float, returned_abv_pct: float, fresh_abv_pct: float) -> float:
    """Share of a charge's alcohol that came in with what was returned, a fraction.

    `returned_share` of the volume at `returned_abv_pct`, the rest fresh at `fresh_abv_pct`. With
    a third at 30 % vol and two thirds at 24 % it is 10 parts in 26, 38 %. Raises `ValueError`
    for a share outside 0 to 1 or a strength outside 0 to 100.
    """
    if not 0 <= returned_share <= 1:
        raise ValueError(f"a share of {returned_share:g} of the charge is outside 0 to 1")
    for abv in (returned_abv_pct, fresh_abv_pct):
        if not 0 <= abv <= 100:
            raise ValueError(f"a strength of {abv:g} % vol is outside 0 to 100")
    old = returned_share * returned_abv_pct
    whole = old + (1 - returned_share) * fresh_abv_pct
    return old / whole if whole else 0.0


def foreign_by_run(old: float, runs: int) -> np.ndarray:
    """Foreign share of the alcohol of runs 1 to `runs` after a change of lot, fractions.

    Feints have the make-up of the charge they came from, so of each run's share `old` is handed
    on: old, old squared and so on; 38, 15, 6 and 2 % where `old` is 10/26.
    """
    return np.asarray(old) ** np.arange(1, runs + 1)


@dataclass(frozen=True)
class Returned:
    """What goes back into the next charge: `share` of its alcohol, and how the house has it."""

    share: Span
    apart: str
    says: str


def returned(rules: HouseRules, level: str = "grower") -> Returned:
    """The share of a charge's alcohol from the run before, by the house rules.

    `level` is whose alcohol is asked after: what is kept apart by grower never leaves the grower,
    but may leave the lot. Not stated counts from none to what is usual.
    """
    apart = rules.feints_kept_apart
    if apart == "by lot" or (apart == "by grower" and level == "grower"):
        return Returned(NOTHING, apart, f"foreshots and feints are kept apart {apart}")
    usual, windows = _usual(rules)
    if apart == "not stated":
        says = (
            "whether foreshots and feints are kept apart is not stated: 0 to "
            f"{100 * usual.most:.0f} % of a charge's alcohol may have gone back ({windows})"
        )
        return Returned(Span(0.0, usual.most), apart, says)
    where = "within a grower" if apart == "by grower" else "into the next charge"
    says = f"foreshots and feints go back {where}, {usual.words()} of its alcohol ({windows})"
    return Returned(usual, apart, says)


def _usual(rules: HouseRules) -> tuple[Span, str]:
    names = ("returned_share_pct", "returned_abv_pct", "low_wines_abv_pct")
    if any(name not in rules.windows for name in names):
        return ANYTHING, "the house gives no shares and strengths"
    share, strong, fresh = (rules.window(name) for name in names)
    least = old_alcohol((share.low or 0) / 100, strong.low or 0, _end(fresh.high))
    most = old_alcohol(_end(share.high) / 100, _end(strong.high), fresh.low or 0)
    words = (
        f"{share.words()} of the charge at {strong.words()}, low wines at {fresh.words()}; "
        f"{share.source}"
    )
    return Span(least, most), words


def _end(high: float | None) -> float:
    return 100.0 if high is None else high


def still_order(season: Season, apart: str = "no") -> pd.DataFrame:
    """Spirit runs in the order in which feints were handed on, one row per run.

    Columns: line (the still, or the grower where feints are kept apart by grower), batch_id,
    run_no, still, distilled_on, new_make_lpa, growers, old_share (of the charge's alcohol, where
    volumes and strengths of low wines and of what was returned are on record), told, before (the
    batch distilled before it in its line, missing for the first or where the order cannot be
    told). Two batches on one day in one still, or a run without a day, leave the order unknown.
    """
    runs = season.sheets["spirits"].merge(
        season.batches[["batch_id", "pitched_at", "growers"]], on="batch_id", how="left"
    )
    runs["new_make_lpa"] = runs["new_make_l"] * runs["new_make_abv_pct"] / 100
    old = runs["returned_l"] * runs["returned_abv_pct"].where(runs["returned_l"] > 0, 0.0)
    whole = old + runs["low_wines_l"] * runs["low_wines_abv_pct"]
    runs["old_share"] = (old / whole.where(whole > 0)).mask(runs["returned_l"] == 0, 0.0)
    runs["line"] = runs["growers" if apart == "by grower" else "still"].fillna("")
    runs = runs.sort_values(
        ["line", "distilled_on", "pitched_at", "batch_id", "run_no"], ignore_index=True
    )
    one_day = runs.groupby(["line", "distilled_on"])["batch_id"].transform("nunique")
    runs["told"] = runs["distilled_on"].notna() & (one_day <= 1)
    before = runs.groupby("line")["batch_id"].shift()
    runs["before"] = before.where(runs["told"])
    columns = ["line", "batch_id", "run_no", "still", "distilled_on", "new_make_lpa", "growers"]
    return runs[[*columns, "old_share", "told", "before"]]


def own_by_run(order: pd.DataFrame, own: SpanOf, back: Returned) -> pd.DataFrame:
    """`RUN_COLUMNS` for every run: the span of one origin's alcohol, and of what was old.

    `own` gives the origin's span in a batch's fresh charge, `back` what is returned by the house
    rules, used where a run's own charge is not on record. What stood in the receiver before the
    first run on record, or where the order is not told, may have been anything. `old` is the
    alcohol of other origins that came in with what was returned.
    """
    rows = [row for _, line in order.groupby("line", sort=False) for row in _line(line, own, back)]
    return pd.DataFrame(rows, columns=RUN_COLUMNS)


def _line(line: pd.DataFrame, own: SpanOf, back: Returned) -> Iterator[tuple[object, ...]]:
    stands, since, last = ANYTHING, 0, ""
    old_share = line["old_share"].to_numpy(dtype="float64")
    for place, run in enumerate(line.fillna({"growers": ""}).itertuples()):
        if not run.told:
            stands, last = ANYTHING, ""
        since = since + 1 if last and run.growers == last else 1
        last = str(run.growers)
        share = _of_run(old_share[place], back)
        old = stands.rest().of(share)
        stands = own(str(run.batch_id)).mixed(share, stands)
        yield (
            *(run.batch_id, run.run_no, run.still, run.distilled_on, run.before, since),
            *(stands.least, stands.most, old.least, old.most),
        )


def _of_run(recorded: float, back: Returned) -> Span:
    """The share returned in one run: as recorded, else by the house rules.

    What is kept apart stays so whatever its volume; where that is not stated, what went back may
    have been the same grower's own.
    """
    if pd.isna(recorded) or back.share.most == 0:
        return back.share
    return Span(0.0 if back.apart == "not stated" else recorded, recorded)


def over_runs(runs: pd.DataFrame, order: pd.DataFrame, batch_id: str) -> tuple[Span, Span]:
    """(own, old) of a batch over its runs, weighed by pure alcohol, equal where that is missing."""
    mine = runs[runs["batch_id"] == batch_id]
    weight = order.set_index(["batch_id", "run_no"])["new_make_lpa"]
    known = weight.loc[[batch_id]].reindex(pd.MultiIndex.from_frame(mine[["batch_id", "run_no"]]))
    made = known.to_numpy(dtype="float64")
    made = made if (made > 0).all() else np.ones(len(made))
    ends = {
        name: float(np.average(mine[name], weights=made))
        for name in ("own_least", "own_most", "old_least", "old_most")
    }
    return Span(ends["own_least"], ends["own_most"]), Span(ends["old_least"], ends["old_most"])


@dataclass(frozen=True)
class AfterAChange:
    """Foreign alcohol run by run after a change of lot, under the house rules: an `Answer`.

    `rows`: run, least_pct and most_pct.
    """

    rows: pd.DataFrame
    how: Returned

    def sentence(self) -> str:
        """How fast the lot before leaves the still."""
        if self.how.share.most == 0:
            return "Nothing of the lot before comes back: foreshots and feints are kept apart."
        ends = zip(self.rows["least_pct"], self.rows["most_pct"], strict=True)
        rounded = [(f"{low:.0f}", f"{high:.0f}") for low, high in ends]
        told = [low if low == high else f"{low} to {high}" for low, high in rounded]
        change = "lot of the same grower" if self.how.apart == "by grower" else "lot"
        return (
            f"After a change of {change} {', '.join(told)} % of the alcohol of runs 1 to "
            f"{len(told)} is the old lot's."
        )

    def table(self) -> pd.DataFrame:
        return self.rows

    def rests_on(self) -> str:
        return f"{self.how.says[:1].upper()}{self.how.says[1:]}."


def after_a_change(rules: HouseRules, runs: int = 4) -> AfterAChange:
    """Foreign share by run after a change of lot, where one still takes back all of its feints."""
    how = returned(rules, "lot")
    rows = pd.DataFrame(
        {
            "run": np.arange(1, runs + 1),
            "least_pct": 100 * foreign_by_run(how.share.least, runs),
            "most_pct": 100 * foreign_by_run(how.share.most, runs),
        }
    )
    return AfterAChange(rows, how)


def untold(order: pd.DataFrame) -> str:
    """How many runs have no place in the order of their still, or nothing to say."""
    lost = int((~order["told"]).sum())
    if not lost:
        return ""
    return f"the order of {count(lost, 'run')} is not told by the days on record"
