"""The Streamlit entry: the frame around every page, and the way between them."""

from __future__ import annotations

import streamlit as st

from origin_compare.front import parts
from origin_compare.front.masthead import all_pages, entry, house_name, masthead

pages = all_pages()
current = st.navigation([entry(pages), *pages.values()], position="hidden")
st.set_page_config(page_title=f"{current.title} · {house_name()}", page_icon="🌾", layout="wide")
parts.frame()
if current in pages.values():
    masthead(current)
current.run()
