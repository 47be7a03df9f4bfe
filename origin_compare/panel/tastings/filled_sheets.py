"""Filled tasting sheets read back: codes turned into samples with the key, ready for the scores."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.panel.tastings.serving import DUPLICATE, TastingPlan

COLUMNS = [
    "tasting_id",
    "tasted_on",
    "assessor_id",
    "batch_id",
    "replicate",
    "position",
    "sample_kind",
    "served_abv_pct",
    "scale",
    "attribute",
    "score",
]


@dataclass(frozen=True)
class FilledSheets:
    """Scores read back.

    `scores`: long, the columns of the scores sheet. `missing`: assessor_id, code, attribute of
    every score that the plan asked for and no sheet holds.
    """

    scores: pd.DataFrame
    missing: pd.DataFrame

    def sentence(self) -> str:
        text = f"{count(int(self.scores['score'].notna().sum()), 'score')} read"
        if self.missing.empty:
            return f"{text}; none is missing."
        who = listed(sorted(self.missing["assessor_id"].unique()))
        return f"{text}; {len(self.missing)} missing, of {who}."

    def table(self) -> pd.DataFrame:
        return self.scores.copy()

    def rests_on(self) -> str:
        sheets = count(
            self.scores["assessor_id"].nunique(), "assessor's sheet", "assessors' sheets"
        )
        return f"{sheets}, codes turned into samples with the key of the plan."


def read_filled(
    filled: pd.DataFrame,
    plan: TastingPlan,
    tasted_on: Any = pd.NaT,
    served_abv_pct: float = float("nan"),
    possible: tuple[float, float] = (0.0, 10.0),
) -> FilledSheets:
    """Scores in the long form of the scores sheet from filled sheets and the plan's key.

    `filled`: assessor_id, code and one column per attribute (as `TastingPlan.sheets` gives them);
    an empty cell is a declined score. Hidden duplicates come back as further replicates of their
    sample; places count through the whole tasting. Raises `ValueError` naming row and value
    for a code not in the plan or not poured for that assessor, a row given twice, an attribute
    column missing, or a score that is no number or outside `possible`.
    """
    filled = filled.reset_index(drop=True)
    attributes = list(plan.attributes)
    lacking = [name for name in ["assessor_id", "code", *attributes] if name not in filled.columns]
    if lacking:
        raise ValueError(f"filled sheets: no column {listed(lacking)}. Keep the sheet's header.")
    rows = filled.assign(
        assessor_id=filled["assessor_id"].astype(str).str.strip(),
        code=pd.to_numeric(filled["code"], errors="coerce"),
    )
    _check_codes(rows, filled, plan)
    for attribute in attributes:
        rows[attribute] = _numbers(filled[attribute], attribute, possible)
    key = _numbered(plan.key)
    joined = key.merge(
        rows[["assessor_id", "code", *attributes]], on=["assessor_id", "code"], how="left"
    )
    long = joined.melt(
        id_vars=["assessor_id", "code", "sample", "sample_kind", "replicate", "position"],
        value_vars=attributes,
        var_name="attribute",
        value_name="score",
    )
    given = set(zip(rows["assessor_id"], rows["code"], strict=True))
    there = pd.Series(
        [pair in given for pair in zip(long["assessor_id"], long["code"], strict=True)],
        index=long.index,
        dtype=bool,
    )
    scores = (
        long[there]
        .rename(columns={"sample": "batch_id"})
        .assign(
            tasting_id=plan.tasting_id,
            tasted_on=tasted_on,
            served_abv_pct=served_abv_pct,
            scale=plan.scale,
        )
    )
    absent = long.loc[~there | long["score"].isna(), ["assessor_id", "code", "attribute"]]
    return FilledSheets(scores[COLUMNS].reset_index(drop=True), absent.reset_index(drop=True))


def _check_codes(rows: pd.DataFrame, filled: pd.DataFrame, plan: TastingPlan) -> None:
    poured = set(zip(plan.key["assessor_id"], plan.key["code"], strict=True))
    known = set(plan.key["code"])
    for i, (who, code) in enumerate(zip(rows["assessor_id"], rows["code"], strict=True)):
        if (who, code) in poured:
            continue
        found = filled["code"].iloc[i]
        if code in known:
            raise ValueError(
                f"filled sheets row {i + 1}, code: {found} was not poured for {who}. "
                "Check the code and whose sheet it is."
            )
        raise ValueError(
            f"filled sheets row {i + 1}, code: {found} is not in the plan of tasting "
            f"{plan.tasting_id}. Check the code on the sheet."
        )
    twice = rows.duplicated(["assessor_id", "code"])
    if twice.any():
        i = int(twice.to_numpy().argmax())
        raise ValueError(
            f"filled sheets row {i + 1}, code: {filled['code'].iloc[i]} of "
            f"{rows['assessor_id'].iloc[i]} stands twice. Keep one of the rows."
        )


def _numbers(column: pd.Series, attribute: str, possible: tuple[float, float]) -> pd.Series:
    text = column.astype(object).where(column.notna(), "").astype(str).str.strip()
    numbers = pd.to_numeric(text.str.replace(",", "."), errors="coerce")
    wrong = (text.ne("") & numbers.isna()) | numbers.lt(possible[0]) | numbers.gt(possible[1])
    if wrong.any():
        i = int(wrong.to_numpy().argmax())
        raise ValueError(
            f"filled sheets row {i + 1}, {attribute}: {text.iloc[i]} is not a number from "
            f"{possible[0]:g} to {possible[1]:g}. Leave it empty if the score was declined."
        )
    return numbers


def _numbered(key: pd.DataFrame) -> pd.DataFrame:
    """The key with duplicates as further replicates and places counted through the tasting."""
    out = key.copy()
    most = int(out["replicate"].max())
    extra = out["sample_kind"].eq(DUPLICATE)
    out.loc[extra, "replicate"] += most
    out["position"] = key.groupby("assessor_id", sort=False).cumcount() + 1
    hidden = out["sample_kind"].eq("control")
    again = out[hidden].groupby(["assessor_id", "replicate"]).cumcount()
    out.loc[hidden, "replicate"] += again * 2 * most
    out["sample_kind"] = out["sample_kind"].replace(DUPLICATE, "batch")
    return out
