"""The Streamlit entry: the frame around every page, and the way between them."""

from __future__ import annotations

import streamlit as st

from origin_compare.front import parts

st.set_page_config(page_title="origin_compare", page_icon="🌾", layout="wide")
parts.frame()
st.navigation(parts.all_pages(), position="top").run()
