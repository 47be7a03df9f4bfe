"""A page opened in the page library's own harness, and what a reader sees on it."""

from __future__ import annotations

import re

import pandas as pd
from streamlit.testing.v1 import AppTest
from streamlit.testing.v1.element_tree import Element

from origin_compare.places import FRONT, pages_folder

TITLES = {
    "week": "What does this week call for?",
    "season": "How did the season's lots compare?",
    "fermentations": "Which batches left the house style, when and why?",
    "panel": "What can the panel tell apart, and what not?",
    "tasting": "What do we taste next, and in which order?",
    "drivers": "What goes with flavour here: process or origin?",
    "field": "What did the field give, and did our handling hide it?",
    "trials": "What should the next batches test?",
    "families": "Which batches are alike, and what do they make together?",
    "growers": "What can we tell this grower?",
    "chain": "Which grain is in this batch?",
    "trace": "Where does this figure come from?",
    "intake": "What is in these files?",
    "rules": "What does the house hold to?",
}
WITH_ANSWER = [name for name in TITLES if name not in ("week", "trace", "intake", "rules")]


def opened(page: str, **query: str) -> AppTest:
    app = AppTest.from_file(str(FRONT / "app.py"), default_timeout=300)
    app.switch_page(str(pages_folder() / f"{page}.py"))
    for name, value in query.items():
        app.query_params[name] = value
    return app.run()


def as_read(markdown: object) -> str:
    """Markdown as a reader sees it, where its marks were escaped."""
    return re.sub(r"\\([!-/:-@\[-`{-~])", r"\1", str(markdown)).replace("\u2060", "")


def told(element: Element) -> str:
    """The words of one message."""
    return as_read(element.value)


def said(app: AppTest) -> str:
    """All the text a reader sees, in one string."""
    parts = [*app.title, *app.header, *app.markdown, *app.caption, *app.warning, *app.error]
    html = [element.proto.body for element in app.main if element.type == "html"]
    every = [told(part) for part in parts] + html
    return "\n".join([*every, *(str(block) for block in app.get("html"))])


def table_with(app: AppTest, column: str) -> pd.DataFrame:
    """The first table on the page that has this column."""
    return next(one.value for one in app.dataframe if column in one.value.columns)


def press(app: AppTest, words: str) -> AppTest:
    """The page after the button whose label holds these words was pressed."""
    return next(one for one in app.button if words in as_read(one.label)).click().run()


def downloads(app: AppTest) -> list[str]:
    """What the page offers to take away, by the words on the button."""
    return [as_read(button.proto.label) for button in app.get("download_button")]
