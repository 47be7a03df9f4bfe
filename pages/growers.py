"""What can we tell this grower?"""

import streamlit as st

from origin_compare import figures, reports, words
from origin_compare.front import parts
from origin_compare.front.asked import questions
from origin_compare.trace.leads import leading
from origin_compare.typed import bullets, plain

with parts.question("What can we tell this grower?"):
    if not parts.store().filled_sheets():
        parts.begin_here()
    asked = questions(())
    with st.container(horizontal=True, key="noprint_choice"):
        lots = asked.season.sheets["lots"]
        grower = parts.pick(
            "Grower", sorted(lots["grower_id"].dropna().unique()), "grower", width=200
        )
        own_years = sorted(lots.loc[lots["grower_id"] == grower, "season"].unique(), reverse=True)
        year = int(parts.pick("Harvest", [str(one) for one in own_years], "harvest", width=160))
    st.caption(
        "A letter is about one harvest. Its scores are adjusted over the tastings of all harvests "
        "on record, whatever harvest is chosen on other pages."
    )
    own = leading(asked.season, grower_id=grower, season=str(year))
    with st.spinner("Adjusting the panel's scores …"):
        letter = asked.grower(grower, year)
    parts.sentence(letter.sentence())
    if not letter.flavours.empty:
        shown = letter.table()[
            ["attribute", "evidence", "own", "low", "high", "group_low", "group_high"]
        ]
        parts.figure_beside_table(
            figures.grower(letter, parts.is_dark()),
            shown,
            f"grower_{grower}_{year}",
            "This grower's spirit on each attribute with its interval, against the middle half "
            "of the season's growers.",
            leading=own,
        )
    st.header("Fields, grain and spirit", anchor=False)
    with st.container(key="pair_figures"):
        left, right = st.columns([1, 1], gap="medium")
        with left:
            own_lots = letter.lots.drop(columns=["grower_id", "season"], errors="ignore").dropna(
                axis=1, how="all"
            )
            parts.show_table(own_lots, f"lots_{grower}_{year}", leading=own)
        with right:
            figures_table = words.bearable(letter.figures)
            parts.show_table(figures_table, f"figures_{grower}_{year}", leading=own)
    if letter.handling or letter.bases:
        st.caption(plain(" ".join([*letter.handling, *letter.bases])))
    if len(letter.past):
        st.header("Own harvests", anchor=False)
        parts.show_table(
            letter.past, f"past_{grower}_{year}", leading=leading(asked.season, grower_id=grower)
        )
    if len(letter.levers):
        st.header("What went with grain and yield this season", anchor=False)
        st.markdown(bullets(letter.levers["says"]))
    st.header("What we do not know", anchor=False)
    st.markdown(bullets(reports.unknowns(letter)))
    parts.rests_on(letter.rests_on())
    with st.container(key="noprint_letter"):
        st.download_button(
            "Letter to this grower (PDF, one side of A4)",
            data=lambda: reports.letter_pdf(
                letter, asked.season.rules.distillery or asked.season.site
            ),
            file_name=f"letter_{grower}_{year}.pdf",
            mime="application/pdf",
            icon=":material/mail:",
            on_click="ignore",
        )
