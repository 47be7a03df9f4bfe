"""Which batches left the house style, when and why?"""

import streamlit as st

from origin_compare import figures
from origin_compare import page_parts as parts
from origin_compare.page_answers import questions

with parts.question("Which batches left the house style, when and why?"):
    years = parts.season_choice()
    asked = questions(years)
    with st.spinner("Holding every batch against the house band …"):
        found = asked.departures
    log = asked.season.sheets["readings"]
    lengths = log.groupby("batch_id")["hours"].max()
    parts.sentence(found.sentence())
    everything = st.toggle("Show the batches in style too", key="everything", bind="query-params")
    table = found.table()
    shown = table if everything else table[(table["status"] != "in style") | table["running"]]
    parts.figure_beside_table(
        figures.departures(found, lengths, everything, parts.is_dark()),
        shown[
            ["batch_id", "vessel", "status", "channel", "from_h", "to_h", "causes", "next_check"]
        ],
        "departures",
        "One line per batch from yeast in to its end; where it left the house band is drawn "
        "across, with channel and likely cause.",
    )
    parts.rests_on(found.rests_on())

    st.header("One batch opened", anchor=False)
    left = [one.batch_id for one in found if one.status == "left"]
    others = [one.batch_id for one in found if one.batch_id not in left]
    chosen = parts.pick("Batch", [*left, *others], "batch", width=240)
    with st.spinner("Reading the batch …"):
        opened = asked.batch(chosen)
    parts.sentence(opened.sentence())
    parts.figure_beside_table(
        figures.batch(opened, parts.is_dark()),
        opened.table(),
        f"batch_{chosen}",
        f"Gravity, pH, temperature and cooling of {chosen} over the hours since yeast in, with "
        "the house band, readings set aside and the stretch in which it left the band.",
        table_height=520,
    )
    for cause in opened.departure.causes[:3]:
        with st.expander(f"{cause.name}: {cause.share:.0%} of the weight of evidence"):
            for heading, lines in (
                ("Speaks for it", cause.speaks_for),
                ("Speaks against it", cause.speaks_against),
                ("Missing", cause.missing),
            ):
                if lines:
                    st.markdown(f"**{heading}**\n" + "\n".join(f"- {line}" for line in lines))
            st.markdown(f"**Next check.** {cause.next_check}")
    parts.rests_on(opened.rests_on())
    st.warning(
        "A fermenting vessel gives off carbon dioxide, which is heavier than air and pools. Never "
        "lean into or enter a vessel to read it: sample by valve or dip. Local codes and the "
        "site's own confined-space procedure decide.",
        icon=":material/warning:",
    )
