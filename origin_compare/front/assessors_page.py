"""The panel page's pieces on assessors and tastings: each judged, drift, one tasting opened."""

from __future__ import annotations

from collections.abc import Hashable
from typing import Any

import streamlit as st

from origin_compare import panel, words
from origin_compare.answers import count, listed
from origin_compare.errors import NotEnoughData
from origin_compare.figures import panel as draw
from origin_compare.front import parts
from origin_compare.panel import Performance, Profile
from origin_compare.panel.assessors.drift import PANEL
from origin_compare.questions import Questions
from origin_compare.typed import plain

MOST_SHOWN = 5
"""Findings of an assessor shown before the rest is folded away."""


def assessors(asked: Questions) -> None:
    """Assessors by attribute, and one of them opened."""
    with st.spinner("Holding each assessor against the others …"):
        found = asked.performance
    parts.sentence(found.sentence())
    whole = found.assessors.assign(
        sound_on=[
            f"{row['sound']} of {row['judged']}" for row in found.assessors.to_dict("records")
        ]
    )[["assessor_id", "sound_on", "agreement_r", "spread_slope", "repeat_ratio"]].round(2)
    parts.figure_beside_table(
        draw.assessor_grid(found, parts.is_dark()),
        whole,
        "assessors",
        "Assessors by attribute: a filled dot is sound, other shapes say what to train, a dash "
        "is not judged.",
    )
    with st.expander("What the shapes say", icon=":material/help:"):
        st.markdown(
            "\n".join(f"- **{plain(name)}**: {plain(text)}" for name, text in _shapes().items())
        )
    parts.rests_on(found.rests_on())
    _one_assessor(found)
    _whole_panel(found)
    _order(found)


def _whole_panel(found: Performance) -> None:
    st.header("The panel as a whole, attribute by attribute", anchor=False)
    parts.sentence(_scale_sentence(found))
    table = found.panel.drop(columns=["told_apart", "scale_p"]).round(2)
    for name in ("p_adjusted", "scale_p_adjusted"):
        table[name] = found.panel[name].map(words.chance)
    names = {
        "p_adjusted": "batches differ, p",
        "reliability": "ICC of the mean",
        "agreement_icc": "ICC, one assessor",
        "disagree_sd": "disagreement, sd",
        "repeat_sd": "repeat error, sd",
        "smallest_difference": "least sure gap",
        "scale_share": "scale's share",
        "scale_p_adjusted": "scale, p",
    }
    parts.show_table(table.rename(columns=names), "panel_performance")
    st.caption(
        "In the sense of ISO 11132. Discrimination: do batches differ, against the assessors' "
        "disagreement. Agreement: the intraclass correlation (ICC), of one assessor's score and of "
        "the panel's mean. Repeatability: the error of one assessor tasting again. Least sure gap: "
        "between two batches of one tasting, at 5 %. Scale's share: of the disagreement, what is "
        "mere use of the scale. All p are counted over the attributes; sd and gaps in points."
    )


def _scale_sentence(found: Performance) -> str:
    unlike = found.panel[found.panel["scale_p_adjusted"].lt(0.05)]
    if unlike.empty:
        return "Assessors use the scale alike, as far as this panel can tell."
    names = [words.flavour(name) for name in unlike["attribute"]]
    return (
        f"Assessors use the scale unlike one another on {listed(names, 6)}: up to "
        f"{100 * unlike['scale_share'].max():.0f} % of their disagreement is mere use of the scale."
    )


def _shapes() -> dict[str, str]:
    return {
        "sound": "agrees with the panel",
        "contrary": "scores against the panel",
        "apart": "tells batches apart, but not as the panel does",
        "blind": "does not find the differences the panel finds",
        "narrow": "uses too little of the scale",
        "wide": "uses more of the scale than the panel",
        "unsteady": "repeats with a larger error than the others",
        "drifting": "moves against the panel from tasting to tasting",
        "not judged": "the panel itself finds no sure difference, or too few samples",
    }


def _one_assessor(found: Performance) -> None:
    st.header("One assessor", anchor=False)
    who = parts.pick("Assessor", list(found.assessors["assessor_id"]), "assessor", width=240)
    own = found.of(who)
    verdict = found.assessors.set_index("assessor_id").loc[who, "verdict"]
    parts.sentence(str(verdict))
    wrong = own[~own["verdict"].isin(["sound", "not judged"])]
    if wrong.empty:
        st.markdown("Nothing to train here before the next tasting.")
    found_wrong = wrong.to_dict("records")
    _to_train(found_wrong[:MOST_SHOWN], who)
    if len(found_wrong) > MOST_SHOWN:
        with st.expander(f"{len(found_wrong) - MOST_SHOWN} more"):
            _to_train(found_wrong[MOST_SHOWN:], who)
    columns = ["attribute", "verdict", "agreement_r", "spread_slope", "repeat_ratio"]
    parts.figure_beside_table(
        draw.assessor_spread(own, parts.is_dark()),
        own[columns].round(2),
        f"assessor_{who}",
        f"For each attribute how wide {who} spreads scores against the panel, 1 being alike, with "
        "the 95 % interval.",
    )
    st.caption(
        "Agreement: correlation with the other assessors' adjusted means. Spread: 1 is the panel's "
        "own use of the scale. Repeat ratio: own repeat error over the others'."
    )


def _to_train(rows: list[dict[Hashable, Any]], who: str) -> None:
    st.markdown(
        "\n".join(
            f"- **{plain(words.flavour(row['attribute']))}**: {plain(_plainly(row, who))}"
            for row in rows
        )
    )


def _plainly(row: dict[Hashable, Any], who: str) -> str:
    """Evidence and training in words; whose they are stands above."""
    evidence = str(row["evidence"]).replace(f"{who} ", "")
    return f"{evidence}. {row['train']}"


def _order(found: Performance) -> None:
    st.header("Does the place in the line move a score?", anchor=False)
    order = found.order
    if order.empty:
        st.markdown("Not to be told: places were not written down, or hardly changed.")
        return
    sure = order[order["p_adjusted"].lt(0.05)]
    looked = f"{count(len(order), 'effect')} looked at, allowed for all of them"
    if sure.empty:
        parts.sentence(
            f"Neither place nor the sample before demonstrably moved a score ({looked})."
        )
    else:
        told = [f"{row['effect']} on {row['attribute']}" for row in sure.to_dict("records")]
        parts.sentence(f"Scores moved with {listed(told, 4)} ({looked}).")
    parts.show_table(order, "order_effects", height=220)


def sessions(asked: Questions, profile: Profile) -> None:
    """One tasting opened: who sat, in which order, and whether scores moved through it."""
    scores = asked.season.sheets["scores"]
    names = sorted(scores["tasting_id"].unique(), reverse=True)
    name = parts.pick("Tasting", names, "tasting", width=240)
    found = panel.session(scores, profile, name, asked.scales)
    parts.sentence(found.sentence())
    parts.figure_beside_table(
        draw.session_places(found, parts.is_dark()),
        found.table(),
        f"tasting_{name}",
        "For each place in the line, how far scores lie from what the same batches get over all "
        "tastings, with the 95 % interval between assessors.",
    )
    parts.rests_on(found.rests_on())
    if found.served["position"].notna().any():
        st.header("Who had what, in which place", anchor=False)
        served = found.served.dropna(subset="position")
        lines = served.pivot_table(
            index="assessor_id", columns="position", values="batch_id", aggfunc="first"
        )
        lines.columns = [f"glass {int(place)}" for place in lines.columns]
        parts.show_table(lines.reset_index(), f"places_{name}")


def drift(asked: Questions, profile: Profile) -> None:
    """The hidden control from tasting to tasting: the panel, and one assessor."""
    st.header("Does the panel drift from tasting to tasting?", anchor=False)
    try:
        found = asked.drift
    except NotEnoughData as fault:
        st.markdown(plain(fault))
        return
    parts.sentence(found.sentence())
    people = [name for name in found.levels["who"].unique() if name != PANEL]
    left, right = st.columns([1, 3])
    with left:
        who = parts.pick("Assessor shown", people, "drift_of")
    with right:
        attribute = parts.pick(
            "Attribute",
            list(profile.attributes),
            "drift_on",
            width=240,
            format_func=words.flavour,
        )
    table = found.table()
    table = table[table["attribute"].eq(attribute)].drop(columns=["attribute", "p"]).round(3)
    parts.figure_beside_table(
        draw.drift(found, attribute, who, parts.is_dark()),
        table.rename(columns={"who": "whose", "per_tasting": "drift per tasting, points"}),
        f"drift_{attribute}".replace(" ", "_"),
        f"Score of the hidden control on {attribute} at each tasting, less its usual level: the "
        f"panel with its 95 % interval, {who} beside it, the other assessors in grey.",
    )
    parts.rests_on(found.rests_on())
