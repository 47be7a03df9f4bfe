"""How the panel and each assessor perform, and what to train."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy import stats

from origin_compare.answers import count, listed
from origin_compare.errors import UnknownName
from origin_compare.estimates import ALPHA, false_discovery
from origin_compare.one_thread import one_thread
from origin_compare.panel.assessors.assessor_tests import (
    ScaleUse,
    assessor_figures,
    scale_use,
    without_each,
)
from origin_compare.panel.assessors.order_effects import COLUMNS as ORDER_COLUMNS
from origin_compare.panel.assessors.order_effects import order_effects
from origin_compare.panel.assessors.report_words import (
    NOT_JUDGED,
    SOUND,
    judge,
    overall,
)
from origin_compare.panel.profile.adjusting import adjusted, parts_of
from origin_compare.panel.profile.profile import Profile
from origin_compare.panel.score_rows import Rows, in_time, usable

RELIABLE = 0.5
"""Least reliability of the panel's own means for judging an assessor by them."""


@dataclass(frozen=True)
class Performance:
    """Performance of a panel in the sense of ISO 11132: discrimination, agreement, repeatability.

    `panel`: one row per attribute, best told apart first: attribute, told_apart, p_adjusted,
        reliability, agreement_icc (of one assessor's score, from the components), disagree_sd
        (assessor:batch) and repeat_sd (both missing without repeats in a tasting),
        smallest_difference (least significant difference of two batches tasted in one tasting by
        the present panel, 5 %), scale_share (of the assessors' disagreement, what is mere use of
        the scale) and scale_p (do they use it differently; mixed assessor model), scale_p_adjusted.
    `detail`: one row per assessor and attribute: see `assessor_tests.COLUMNS`, then verdict,
        evidence, train.
    `assessors`: one row per assessor over the attributes judged: assessor_id, judged, sound,
        spread_slope and spread_p (pooled), repeat_ratio and agreement_r (medians), verdict.
    `order`: effects of place and of the sample before; see `order_effects.COLUMNS`, p_adjusted.
    """

    panel: pd.DataFrame
    detail: pd.DataFrame
    assessors: pd.DataFrame
    order: pd.DataFrame
    profile: Profile = field(repr=False)

    def of(self, assessor_id: str) -> pd.DataFrame:
        """The rows of `detail` of one assessor; `UnknownName` if there is none."""
        own = self.detail[self.detail["assessor_id"].eq(assessor_id)]
        if own.empty:
            known = listed(list(self.assessors["assessor_id"]), 20)
            raise UnknownName(f"assessor {assessor_id}: no scores here. Assessors are {known}.")
        return own.reset_index(drop=True)

    def training(self) -> pd.DataFrame:
        """What to train, one row per finding: assessor_id, attribute, evidence, train."""
        found = self.detail[~self.detail["verdict"].isin([SOUND, NOT_JUDGED])]
        return found[["assessor_id", "attribute", "evidence", "train"]].reset_index(drop=True)

    def sentence(self) -> str:
        told, every = len(self.profile.told), len(self.profile.attributes)
        head = f"The panel tells batches apart on {told} of {count(every, 'attribute')}"
        if not told:
            return f"{head}, so no single assessor can be judged."
        lines = self.assessors[self.assessors["sound"].lt(0.5 * self.assessors["judged"])]
        if lines.empty:
            return f"{head}; every assessor is sound on most of them."
        names = list(lines["assessor_id"])
        return (
            f"{head}; {listed(names)} {'is' if len(names) == 1 else 'are'} sound on fewer than "
            "half of them and should train before the next tasting."
        )

    def table(self) -> pd.DataFrame:
        return self.detail.copy()

    def rests_on(self) -> str:
        return (
            f"{self.profile.rests_on()} Assessors are judged only on attributes where the panel "
            "finds real differences, and appear by code only."
        )


@one_thread
def assess(
    scores: pd.DataFrame,
    scales: Mapping[str, tuple[float, float]] | None = None,
    profile: Profile | None = None,
) -> Performance:
    """Performance of the panel and of each assessor per attribute, with a verdict in words.

    `scores`: long frame as for `adjusted`, which see for `scales` and for what is raised.
    `profile`: what `adjusted` made of these very scores, where that is known already; `ValueError`
    where it was made of others.
    Assessors are judged only where the panel as a whole tells batches apart (ISO 11132) and its
    means are at least half the batches' own, each finding adjusted for how many were looked for
    (Benjamini and Hochberg).
    """
    rows = usable(scores, scales)
    profile = profile or adjusted(scores, scales)
    _refuse_another(profile, rows)
    order = in_time(rows.frame)
    figures, effects, scaling = [], [], {}
    for attribute, part in parts_of(rows.frame):
        if attribute not in profile.attributes:
            continue
        solution, ids = profile.solutions[attribute]
        known = pd.Series(solution.estimate, list(ids))
        freed = part
        if solution.layout.covariates.shape[1]:
            shift = solution.layout.covariates @ solution.slopes
            freed = part.assign(score=part["score"] - shift)
        figures.append(
            assessor_figures(freed, without_each(freed, solution, ids), attribute, order)
        )
        scaling[attribute] = scale_use(freed, known)
        effects.append(order_effects(part, known, solution.components, attribute))
    detail = judge(pd.concat(figures, ignore_index=True), _sure(profile))
    rank = {name: i for i, name in enumerate(profile.attributes)}
    detail = detail.sort_values(
        ["assessor_id", "attribute"], key=lambda c: c.map(rank) if c.name == "attribute" else c
    ).reset_index(drop=True)
    return Performance(
        panel=_panel_table(profile, scaling),
        detail=detail,
        assessors=overall(detail),
        order=_order_table(effects, profile),
        profile=profile,
    )


def _refuse_another(profile: Profile, rows: Rows) -> None:
    held = (profile.counts["scores"], profile.scale, profile.batches)
    if held != (len(rows.frame), rows.scale, rows.batches):
        raise ValueError(
            f"profile: made of {count(profile.counts['scores'], 'score')} on "
            f"{count(len(profile.batches), 'batch')}, not of these {len(rows.frame):,}. Leave it "
            "out, or give the one made of these scores."
        )


def _sure(profile: Profile) -> list[str]:
    """Attributes on which an assessor may be measured against the panel."""
    return [v.attribute for v in profile.verdicts if v.told_apart and v.reliability >= RELIABLE]


def _panel_table(profile: Profile, scaling: Mapping[str, ScaleUse]) -> pd.DataFrame:
    rows = []
    for v in profile.verdicts:
        part = v.components.variance
        disagree, error = part.get("assessor:batch", 0.0), part["residual"]
        layout = profile.solutions[v.attribute][0].layout
        assessors = int(layout.assessor.max()) + 1
        repeats = layout.n / (int(layout.codes["assessor:batch"].max()) + 1)
        visits = np.stack([layout.assessor, layout.batch, layout.tasting])
        repeated = np.unique(visits, axis=1).shape[1] < layout.n
        noise = 2 * (disagree + error / repeats) / assessors
        df = max(1, (assessors - 1) * (layout.batches - 1))
        whole = sum(value for name, value in part.items() if name != "tasting")
        rows.append(
            {
                "attribute": v.attribute,
                "told_apart": v.told_apart,
                "p_adjusted": v.p_adjusted,
                "reliability": v.reliability,
                "agreement_icc": part["batch"] / whole if whole > 0 else np.nan,
                "disagree_sd": np.sqrt(disagree) if repeated else np.nan,
                "repeat_sd": np.sqrt(error) if repeated else np.nan,
                "smallest_difference": stats.t.ppf(1 - ALPHA / 2, df) * np.sqrt(noise),
                "scale_share": scaling[v.attribute].share,
                "scale_p": scaling[v.attribute].p,
            }
        )
    table = pd.DataFrame(rows)
    return table.assign(scale_p_adjusted=false_discovery(table["scale_p"]))


def _order_table(effects: list[pd.DataFrame], profile: Profile) -> pd.DataFrame:
    filled = [one for one in effects if len(one)]
    if not filled:
        return pd.DataFrame(columns=[*ORDER_COLUMNS, "p_adjusted"])
    table = pd.concat(filled, ignore_index=True)
    table["p_adjusted"] = false_discovery(table["p"])
    rank = {name: i for i, name in enumerate(profile.attributes)}
    return table.sort_values("attribute", key=lambda c: c.map(rank), kind="stable").reset_index(
        drop=True
    )
