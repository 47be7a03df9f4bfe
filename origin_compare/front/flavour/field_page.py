"""The pieces of the page on what a field gave: the answer, every batch, one batch, one grower."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from origin_compare import figures, words
from origin_compare.drivers.wording import title
from origin_compare.errors import UnknownName
from origin_compare.front import parts
from origin_compare.typed import plain

if TYPE_CHECKING:
    from origin_compare.drivers import FieldAndHandling
    from origin_compare.questions import Questions

BATCH_COLUMNS = [
    *("batch_id", "verdict", "score", "usual", "usual_low", "usual_high"),
    *("handling", "handling_low", "handling_high", "most"),
]
PART_COLUMNS = ["attribute", "part", "estimate", "low", "high"]


def chosen(asked: Questions) -> tuple[str, str]:
    """The flavour and the batch looked at, both kept in the address."""
    with st.container(horizontal=True):
        attribute = parts.pick(
            "Flavour",
            list(asked.profile.attributes),
            "attribute",
            format_func=words.flavour,
            width=260,
        )
        batch = parts.pick("Batch", sorted(asked.batches["batch_id"]), "batch", width=220)
    return attribute, batch


def answer(whole: FieldAndHandling, attribute: str, batch: str) -> None:
    """What this barley would have scored at the usual process, or why that cannot be said."""
    try:
        parts.sentence(whole.of(batch).on(attribute))
    except UnknownName as fault:
        st.warning(plain(fault), icon=":material/info:")


def every_batch(whole: FieldAndHandling, attribute: str, batch: str) -> None:
    """A line per batch on this flavour, as made and as it would have been, and its table."""
    rows = whole.table()
    rows = rows.loc[rows["attribute"] == attribute, BATCH_COLUMNS]
    flavour = words.flavour(attribute)
    parts.figure_beside_table(
        figures.field_and_handling(whole, attribute, batch, parts.is_dark()),
        rows.assign(most=rows["most"].map(title)).rename(columns={"score": "scored"}),
        f"field_{attribute}",
        f"A line per batch on {flavour}: its score as made, and with its interval what its barley "
        "would have scored at the season's usual process.",
    )
    st.caption(
        "Ring: as made. Dot: at the season's usual process, its thin line the 95 % interval. The "
        "stroke between them is coloured where handling surely moved the batch; the panel's own "
        "error is in it too. In the table, most: the process figure behind most of it."
    )
    parts.sentence(whole.sentence())
    parts.rests_on(whole.rests_on())


def one_batch(whole: FieldAndHandling, batch: str) -> None:
    """The batch's difference from its season on every flavour, part by part."""
    try:
        found = whole.of(batch)
    except UnknownName as fault:
        st.info(plain(fault), icon=":material/info:")
        return
    parts.sentence(found.sentence())
    parts.show_table(found.table()[PART_COLUMNS], f"parts_{batch}")
    st.caption("The parts of one flavour add up to the batch's difference from its season's mean.")


def one_grower(whole: FieldAndHandling) -> None:
    """What stays with a grower's barley over all its batches, and what went with handling."""
    names = sorted(whole.growers[whole.origin].unique())
    found = whole.of_grower(parts.pick("Grower", names, "grower", width=220))
    parts.sentence(found.sentence())
    parts.show_table(found.table()[[*PART_COLUMNS, "verdict"]], f"parts_{found.grower_id}")
    parts.rests_on(found.rests_on())
