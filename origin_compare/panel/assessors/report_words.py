"""Plain words for an assessor's figures: what was found, on what evidence, and what to train."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from origin_compare.answers import count
from origin_compare.estimates import ALPHA, false_discovery

SOUND = "sound"
NOT_JUDGED = "not judged"

NARROW, WIDE = 0.7, 1.4
"""Spread of scores, against the panel's, from which it is worth saying (common practice)."""
UNSTEADY = 1.3
"""Repeat error, against the others', from which it is worth saying (common practice)."""
FEW = 4
"""Fewest samples on which an assessor is judged."""

TRAIN = {
    "contrary": "Go back to the reference for {attribute} together with the panel: the scale may "
    "be turned round.",
    "apart": "Go back to the reference for {attribute} together with the panel: the word may mean "
    "something else here.",
    "blind": "Train with references for {attribute} at several strengths, then by triangle tests.",
    "narrow": "Practise with a weak and a strong reference for {attribute}; use the whole scale.",
    "wide": "Set the ends of the scale for {attribute} with a weak and a strong reference.",
    "unsteady": "Give blind duplicates, fewer glasses in a sitting and longer pauses.",
    "drifting": "Nose the reference for {attribute} before every tasting, to start from one level.",
}


def judge(figures: pd.DataFrame, told: Sequence[str]) -> pd.DataFrame:
    """`figures` with verdict, evidence and train; one row per assessor and attribute.

    Attributes the panel itself cannot tell apart are not judged. The worst finding gives the
    verdict; evidence names all of them.
    """
    table = figures.copy()
    judged = table["attribute"].isin(list(told)) & table["n_samples"].ge(FEW)
    for name in ("spread_p", "repeat_p", "drift_p"):
        table[f"_{name}"] = false_discovery(table[name].where(judged))
    keen = table[judged].groupby("attribute")["agreement_p"].median()
    rows = []
    for row, is_judged in zip(table.to_dict("records"), judged, strict=True):
        if not is_judged:
            rows.append(_not_judged(row, row["attribute"] in set(told)))
            continue
        found = _findings(row, bool(keen[row["attribute"]] < ALPHA))
        rows.append(_in_words(row, found))
    words = pd.DataFrame(rows, columns=["verdict", "evidence", "train"], index=table.index)
    return pd.concat([figures, words], axis=1)


def overall(detail: pd.DataFrame) -> pd.DataFrame:
    """One row per assessor over the attributes judged; the verdict is one sentence."""
    rows = []
    for who, own in detail.groupby("assessor_id"):
        judged = own[own["verdict"].ne(NOT_JUDGED)]
        sound = int(judged["verdict"].eq(SOUND).sum())
        spread, spread_p = _pooled_spread(judged)
        rows.append(
            {
                "assessor_id": str(who),
                "judged": len(judged),
                "sound": sound,
                "spread_slope": spread,
                "spread_p": spread_p,
                "repeat_ratio": judged["repeat_ratio"].median(),
                "agreement_r": judged["agreement_r"].median(),
            }
        )
    table = pd.DataFrame(rows)
    sure = false_discovery(table["spread_p"]).lt(ALPHA)
    table["verdict"] = [
        _whole(row, is_sure) for row, is_sure in zip(table.to_dict("records"), sure, strict=True)
    ]
    return table


def _pooled_spread(judged: pd.DataFrame) -> tuple[float, float]:
    """Spread slope over all attributes judged (weights 1/se^2) and p of its being 1."""
    own = judged[judged["spread_se"].gt(0)]
    if own.empty:
        return float("nan"), float("nan")
    weight = 1 / own["spread_se"] ** 2
    slope = float(np.average(own["spread_slope"], weights=weight))
    z = abs(slope - 1) * float(np.sqrt(weight.sum()))
    return slope, float(2 * stats.t.sf(z, max(1, int(own["n_samples"].sum()) - len(own))))


def spread_words(slope: float) -> str:
    """`spreads scores half as wide as the panel` and its like for a spread slope."""
    if slope < 0.15:
        return "hardly spreads scores along with the panel"
    for value, words in ((0.25, "a quarter"), (0.33, "a third"), (0.5, "half"), (2.0, "twice")):
        if abs(slope - value) < 0.06 * max(1.0, value):
            return f"spreads scores {words} as wide as the panel"
    return f"spreads scores {slope:.1f} times as wide as the panel"


def _findings(row: Mapping[Any, Any], others_see_it: bool) -> list[tuple[str, str]]:
    """What is wrong, worst first: (kind, evidence)."""
    who, what = row["assessor_id"], row["attribute"]
    found = []
    r, own = row["agreement_r"], row["discrimination_p"]
    if row["agreement_p"] > 1 - ALPHA:
        found.append(("contrary", f"{who} scores {what} against the panel (correlation {r:.2f})"))
    elif others_see_it and row["agreement_p"] >= ALPHA:
        if own < ALPHA:
            words = f"{who} tells batches apart on {what}, but not as the panel does"
            found.append(("apart", f"{words} (correlation {r:.2f})"))
        else:
            words = f"{who} does not find the differences the panel finds on {what}"
            found.append(("blind", f"{words} (correlation {r:.2f})"))
    if row["_spread_p"] < ALPHA and row["spread_slope"] < NARROW:
        found.append(("narrow", f"{who} {spread_words(row['spread_slope'])} on {what}"))
    if row["_spread_p"] < ALPHA and row["spread_slope"] > WIDE:
        found.append(("wide", f"{who} {spread_words(row['spread_slope'])} on {what}"))
    if row["_repeat_p"] < ALPHA and row["repeat_ratio"] > UNSTEADY:
        found.append(
            (
                "unsteady",
                f"{who} repeats {what} with {row['repeat_ratio']:.1f} times the others' error "
                f"(sd {row['repeat_sd']:.1f})",
            )
        )
    if row["_drift_p"] < ALPHA:
        way = "up" if row["drift_per_tasting"] > 0 else "down"
        found.append(
            (
                "drifting",
                f"{who} drifts {way} on {what} by {abs(row['drift_per_tasting']):.2f} a tasting "
                "against the panel",
            )
        )
    return found


def _in_words(row: Mapping[Any, Any], found: list[tuple[str, str]]) -> tuple[str, str, str]:
    if not found:
        return (
            SOUND,
            f"{row['assessor_id']} agrees with the panel on {row['attribute']} "
            f"(correlation {row['agreement_r']:.2f}, spread {row['spread_slope']:.1f} times the "
            "panel's)",
            "",
        )
    train = " ".join(TRAIN[kind].format(attribute=row["attribute"]) for kind, _ in found)
    return found[0][0], "; ".join(evidence for _, evidence in found), train


def _not_judged(row: Mapping[Any, Any], panel_tells: bool) -> tuple[str, str, str]:
    if panel_tells:
        return NOT_JUDGED, f"only {count(int(row['n_samples']), 'sample')} scored", ""
    return NOT_JUDGED, f"the panel itself finds no sure difference on {row['attribute']}", ""


def _whole(row: Mapping[Any, Any], spread_is_sure: bool) -> str:
    who, judged = row["assessor_id"], int(row["judged"])
    if not judged:
        return f"{who} cannot be judged: no attribute with sure differences was scored enough."
    head = f"{who} is sound on {row['sound']} of {count(judged, 'attribute')}"
    extra = []
    if spread_is_sure and not NARROW <= row["spread_slope"] <= WIDE:
        extra.append(spread_words(row["spread_slope"]))
    if row["repeat_ratio"] > UNSTEADY:
        extra.append(f"repeats with {row['repeat_ratio']:.1f} times the others' error")
    return f"{head}{'; ' + ' and '.join(extra) if extra else ''}."
