"""The Streamlit entry of one sitting: the scoring page and nothing else.

It runs in a server of its own, so no address that an assessor could type leads to another page.
"""

from __future__ import annotations

import streamlit as st

from origin_compare.front import parts
from origin_compare.front import scoring_page as scoring

st.set_page_config(page_title="Scoring", page_icon="🥃", layout="centered")
parts.frame()
with parts.question("What do you find in this glass?"):
    found = scoring.whose()
    if found is not None:
        scoring.one_glass(*found)
