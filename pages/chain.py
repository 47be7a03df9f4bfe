"""Which grain is in this batch, from field to spirit?"""

from collections.abc import Sequence

import streamlit as st

from origin_compare import figures
from origin_compare.chain.balance import Balance
from origin_compare.front import parts
from origin_compare.front.asked import questions
from origin_compare.questions import Questions
from origin_compare.trace.leads import leading
from origin_compare.typed import plain

WORDS = {"batch": "One batch", "grower": "One grower"}


def main() -> None:
    years = parts.season_choice()
    asked = questions(years)
    # An address that names a grower alone opens on it; kept, since a default must not change.
    alone = "grower" in st.query_params and "batch" not in st.query_params
    at_first = st.session_state.setdefault("of_at_first", "grower" if alone else "batch")
    with st.container(horizontal=True, key="noprint_of"):
        of = st.segmented_control(
            "Look at",
            list(WORDS),
            default=at_first,
            format_func=WORDS.__getitem__,
            key="of",
            bind="query-params",
        )
        if of == "grower":
            growers = sorted(asked.season.sheets["lots"]["grower_id"].dropna().unique())
            grower = parts.pick("Grower", growers, "grower", width=240)
        else:
            batches = asked.season.batches["batch_id"].tolist()
            batch = parts.pick("Batch", batches, "batch", width=240)
    if of == "grower":
        show_grower(asked, grower)
    else:
        show_batch(asked, batch)
    st.caption(
        "Gaps between steps are shown, not explained away: weigh-bridge, moisture and what stays "
        "in the still all sit in them. This is not the duty account."
    )


def show_batch(asked: Questions, batch: str) -> None:
    chain, own = asked.chain(batch), leading(asked.season, batch_id=batch)
    parts.sentence(chain.purity.sentence())
    parts.help_with(
        chain,
        f"chain_{batch}",
        figures.chain(chain, parts.is_dark()),
        f"The way of {batch} from growers and lots through malt and mash to spirit, with what is "
        "recorded at each step and what is missing.",
        leading=own,
    )
    st.page_link(
        parts.page_file("trace"),
        label=f"Where do the figures of {plain(batch)} come from?",
        icon=":material/search:",
        query_params={"what": "a worked-out figure", "of": batch},
    )
    st.header("How much of it is one grower's", anchor=False)
    left, right = st.columns([3, 2], gap="medium")
    with left:
        st.markdown("From the grain to the alcohol, least and most:")
        parts.show_table(chain.purity.table(), f"purity_{batch}")
    with right:
        st.markdown(plain(chain.after.sentence()))
        parts.show_table(chain.after.table(), "after_a_change")
    parts.rests_on(chain.purity.rests_on())
    st.header("Grain to malt to alcohol", anchor=False)
    st.markdown(plain(chain.account.sentence()))
    parts.show_table(chain.account.table(), f"balance_{batch}", leading=own)
    show_accounts(chain.lot_accounts)


def show_grower(asked: Questions, grower: str) -> None:
    chain = asked.grower_chain(grower)
    parts.sentence(chain.of_one_grower())
    parts.sentence(chain.sentence())
    parts.figure_beside_table(
        figures.grower_chain(chain, parts.is_dark()),
        chain.batches,
        f"batches_{grower}",
        f"The lots of {grower}, the maltings they went into and the batches those were mashed "
        "for, joined by bands as broad as the malt.",
        leading=leading(asked.season),
    )
    parts.rests_on(chain.rests_on())
    st.header("Lots, grain to alcohol", anchor=False)
    show_accounts(chain.lot_accounts)
    parts.show_table(chain.table(), f"lots_and_batches_{grower}", leading=leading(asked.season))


def show_accounts(accounts: Sequence[Balance]) -> None:
    for account in accounts:
        with st.expander(plain(account.sentence())):
            parts.show_table(account.table(), f"balance_{account.of}")
            parts.rests_on(account.rests_on())


with parts.question("Which grain is in this batch?"):
    main()
