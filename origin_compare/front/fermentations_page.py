"""The fermentations page: all vessels at a glance, one batch opened, batches side by side."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from origin_compare import figures, words
from origin_compare.errors import NotEnoughData
from origin_compare.front import parts
from origin_compare.reports.exports import safe_csv
from origin_compare.trace.leads import leading
from origin_compare.typed import bullets, plain

if TYPE_CHECKING:
    from origin_compare.fermentation import BatchReview, Cause, Departure, Forecast
    from origin_compare.questions import Questions

_LEFT = [
    "batch_id",
    "vessel",
    "status",
    "channel",
    "from_h",
    "to_h",
    "causes",
    "next_check",
    "CO2_kg",
]
_MOST = 6
_EVENTS_SHOWN = 12


def at_a_glance(asked: Questions) -> None:
    """The running batches in one line each, what to watch, then every batch against the clock."""
    found = asked.departures
    parts.sentence(found.sentence())
    with st.spinner("Looking ahead for the batches still fermenting …"):
        seen = asked.watch
    if seen.running:
        st.subheader("Fermenting now", anchor=False)
        st.markdown(bullets(one.line() for one in seen.running))
    _to_watch(asked)
    st.subheader("Every batch against the clock", anchor=False)
    everything = st.toggle("Show the batches in style too", key="everything", bind="query-params")
    gas = seen.table()[["batch_id", "co2_kg"]].rename(columns={"co2_kg": "CO2_kg"})
    table = found.table().merge(gas, on="batch_id")
    kept = table if everything else table[(table["status"] != "in style") | table["running"]]
    kept = _short(kept)
    lengths = asked.season.sheets["readings"].groupby("batch_id")["hours"].max()
    parts.figure_beside_table(
        figures.departures(found, lengths, everything, parts.is_dark()),
        kept.sort_values("status", key=_rank, kind="stable")[_LEFT],
        "departures",
        f"One line per batch from {found.hour_zero} to its last reading, running batches first. "
        + " ".join(one.sentence() for one in found if one.status == "left"),
        leading=leading(asked.season),
    )
    parts.rests_on(found.rests_on())


def accepted(asked: Questions) -> Questions:
    """Which batches the house band is drawn from, to be checked and chosen; the season held
    against that band."""
    ended = asked.season.batches["status"] != "fermenting"
    box = st.expander("Which batches the house band is drawn from")
    with box:
        chosen = st.multiselect(
            "Batches you accept as in style",
            asked.season.batches.loc[ended, "batch_id"].astype(str).tolist(),
            key="accepted",
            bind="query-params",
            persist_state="session",
            placeholder="None chosen: the batches proposed below",
            help="At least eight. It counts on this page and stays in its address.",
        )
    with st.spinner("Holding every batch against the house band …"):
        held = asked.accepting(chosen)
        band = held.departures.band
    with box:
        if band is None:
            st.info(plain(held.departures.note), icon=":material/info:")
        else:
            st.markdown(plain(band.sentence()))
            batches = band.reference.table().sort_values("in_style", kind="stable")
            parts.show_table(batches, "in_style", height=300, leading=leading(asked.season))
    return held


def _short(table: pd.DataFrame) -> pd.DataFrame:
    """The status in words that fit its column."""
    return table.assign(status=table["status"].replace("still fermenting", "fermenting"))


def _rank(status: pd.Series) -> pd.Series:
    return status.map({"fermenting": 0, "left": 1, "cannot tell": 2}).fillna(3)


def _to_watch(asked: Questions) -> None:
    seen = asked.watch
    st.subheader("What to watch next", anchor=False)
    if not seen.items:
        st.markdown("- Nothing stands out.")
    st.markdown("\n".join(f"- {plain(one.says)} **Next:** {plain(one.do)}." for one in seen.items))
    due = [
        f"{one.batch_id}: next reading due by {one.due_at:%a %d %b, %H:%M}."
        for one in seen.running
        if not pd.isna(one.due_at)
        and not any(item.kind == "overdue" and item.batch_id == one.batch_id for item in seen.items)
    ]
    st.markdown(bullets(due))
    st.caption(f"Counted from {plain(seen.rests_on())}.")


def one_batch(asked: Questions) -> None:
    """The batch chosen: its channels, what was read, causes with their evidence, where it heads."""
    st.header("One batch opened", anchor=False)
    found = asked.departures
    first = [one.batch_id for one in found if one.status == "left"]
    rest = [one.batch_id for one in found if one.status != "left"]
    chosen = parts.pick("Batch", [*first, *rest], "batch", width=240)
    with st.spinner("Reading the batch …"):
        opened = asked.batch(chosen)
    read = opened.readings()
    parts.sentence(opened.sentence())
    parts.figure_beside_table(
        figures.batch(opened, parts.is_dark()),
        read,
        f"batch_{chosen}",
        f"Gravity, pH, temperature and cooling of {chosen} over the hours since "
        f"{opened.hour_zero}, with the house band, readings set aside and what happened. "
        f"{opened.sentence()}",
        table_height=min(520, 38 * (len(read) + 1)),
        leading=leading(asked.season, batch_id=chosen),
    )
    _curves(opened)
    _every_value(opened, chosen)
    if opened.departure.status == "left":
        _why(opened.departure)
    running = next((one for one in asked.watch.running if one.batch_id == chosen), None)
    if running is not None and running.forecast is not None:
        _heading(running.forecast, opened)
    elif running is not None:
        st.info(plain(running.untold), icon=":material/info:")
    parts.rests_on(opened.rests_on())


def _curves(opened: BatchReview) -> None:
    """What can be read off the curves, with how sure each figure is."""
    with st.expander("What the curves through gravity and pH say"):
        st.markdown(bullets(opened.curves_said()))
        if opened.curve is None or opened.curve.status in ("not_identified", "not_converged"):
            return
        read = opened.curve.figures()
        digits = [4 if says.startswith(("end", "fall", "rate")) else 2 for says in read["what"]]
        shown = pd.DataFrame(
            {
                "figure": read["what"],
                "value": [_to(value, n) for value, n in zip(read["value"], digits, strict=True)],
                "give or take": [_to(2 * se, n) for se, n in zip(read["se"], digits, strict=True)],
            }
        )
        st.dataframe(
            shown,
            hide_index=True,
            height="content",
            alt=f"Table: figures of the curve through the gravity of {opened.batch_id}",
        )
        st.caption("Give or take: two standard errors, so that about 95 in 100 hold the truth.")


def _to(value: float, digits: int) -> str:
    return "not told" if math.isnan(value) else f"{value:.{digits}f}"


def _every_value(opened: BatchReview, chosen: str) -> None:
    with st.expander("What happened, in words, and every value read"):
        told = opened.events.rename(columns={"what": "what happened"}).drop(columns="kind")
        st.dataframe(
            told,
            hide_index=True,
            alt=f"Table: what happened in {chosen}",
            height="content" if len(told) <= _EVENTS_SHOWN else 400,
            column_config={"hours": st.column_config.NumberColumn(format="%.1f")},
        )
        st.download_button(
            "Every value read, with the band (CSV)",
            data=lambda: safe_csv(opened.table()),
            file_name=f"every_value_{chosen}.csv",
            mime="text/csv",
            key=f"every_value_{chosen}",
            on_click="ignore",
            icon=":material/download:",
            type="tertiary",
        )


def _why(one: Departure) -> None:
    if one.causes:
        st.markdown(f"**The one next check:** {plain(one.causes[0].next_check)}.")
    said = [f"Which channel first: {one.order()}."] if one.exits else []
    said += [f"To place the hour: {one.narrows()}."] if one.narrows() else []
    st.markdown(bullets(said))
    left, right = st.columns(2, gap="medium")
    with left:
        st.subheader("Likely causes", anchor=False)
        for cause in one.causes[:3]:
            _cause(cause)
    with right:
        st.subheader("The five questions, in order", anchor=False)
        for number, question in enumerate(one.questions, start=1):
            bears = "; ".join(question.found) or "nothing in the sheets bears on it"
            st.markdown(
                f"{number:d}. **{plain(question.asks)}** "
                f"{plain(_share(question.share))} of the weight. {plain(words.begun(bears))}."
            )


def _cause(cause: Cause) -> None:
    with st.expander(
        f"{plain(cause.name)}: {plain(_share(cause.share))} of the weight of evidence"
    ):
        for heading, lines in (
            ("Speaks for it", cause.speaks_for),
            ("Speaks against it", cause.speaks_against),
            ("Missing", cause.missing),
        ):
            if lines:
                st.markdown(f"**{plain(heading)}**\n\n{bullets(lines)}")
        st.markdown(f"**Next check.** {plain(cause.next_check)}.")


def _share(share: float) -> str:
    """A share nobody should read as certainty."""
    if share < 0.01:
        return "under 1 %"
    return "over 99 %" if share > 0.99 else f"{100 * share:.0f} %"


def _heading(made: Forecast, opened: BatchReview) -> None:
    st.subheader("Where it is heading", anchor=False)
    parts.sentence(made.sentence())
    if not made.holds:
        return
    table = made.table().rename(columns={"low": "90_%_from", "high": "90_%_to"})
    parts.figure_beside_table(
        figures.ahead(made, opened, parts.is_dark()),
        table.assign(**{name: _told(table, name) for name in ("90_%_from", "likely", "90_%_to")}),
        f"ahead_{made.batch_id}",
        f"Gravity and pH of {made.batch_id} so far and foreseen to {made.end_h:.0f} h against the "
        f"house band. {made.sentence()}",
    )
    st.caption(
        f"Chance of ending in style: {plain(made.chance_words())}. The span in brackets (90 %) is "
        "how far it rests on which batches the house was learned from. It takes in final gravity, "
        "final pH and highest recorded temperature; it knows nothing of a fault yet to come."
    )
    parts.rests_on(made.rests_on())


def _told(table: pd.DataFrame, name: str) -> list[str]:
    """Gravity to four places, pH to two, hours whole: three units in one column."""
    out = []
    for what, value in zip(table["what"], table[name], strict=True):
        digits = 4 if "gravity" in what and "hour" not in what else 0 if "hour" in what else 2
        out.append("not foreseen" if math.isnan(value) else f"{value:.{digits}f}")
    return out


def side_by_side(asked: Questions) -> None:
    """Up to six batches aligned by the clock or by how far each has fermented."""
    st.header("Batches side by side", anchor=False)
    found = asked.departures
    chosen = st.multiselect(
        "Compare up to six batches",
        [one.batch_id for one in found],
        key="compare",
        bind="query-params",
        persist_state="session",
        max_selections=_MOST,
        placeholder="Choose two to six batches",
    )
    by_share = st.toggle(
        "Align by how far each has fermented, not by the clock",
        key="by_attenuation",
        bind="query-params",
    )
    if len(chosen) < 2:
        st.caption("Choose two or more to lay their curves over one another.")
        return
    try:
        compared = asked.side_by_side(chosen, "attenuation" if by_share else "hours")
    except NotEnoughData as few:
        st.info(plain(few), icon=":material/info:")
        return
    parts.sentence(compared.sentence())
    parts.figure_beside_table(
        figures.side_by_side(compared, parts.is_dark()),
        _short(compared.table()),
        "side_by_side",
        f"Gravity, pH, temperature and cooling of {', '.join(compared.batch_ids)}, one line each, "
        f"aligned by {'apparent attenuation' if by_share else 'hours'}. {compared.sentence()}",
    )
    parts.rests_on(compared.rests_on())


def caution() -> None:
    """What a page that sends people to read vessels must say."""
    st.warning(
        "A fermenting vessel gives off carbon dioxide, which is heavier than air and pools. Never "
        "lean into or enter a vessel to read it: sample by valve or dip. Local codes and the "
        "site's own confined-space procedure decide.",
        icon=":material/warning:",
    )
