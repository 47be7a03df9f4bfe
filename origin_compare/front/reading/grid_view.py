"""A file as it lies there: its first cells, each with what the program took it for."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd
import streamlit as st

from origin_compare.intake.blocks.labels import column_in
from origin_compare.intake.grid import Grid, address
from origin_compare.intake.plan import IntakePlan
from origin_compare.intake.raw_table import RawTable
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.typed import as_html, plain

ROWS_SHOWN, COLUMNS_SHOWN = 40, 30
HEADER, UNIT, LABEL, CONSTANT, DATA = "header", "header and unit", "label", "constant", "data"
REMARK, TOTAL, LEFT_OUT, UNUSED = "remark", "total", "left out", "not used"
ASIDE, OPEN = "set aside", "not told"

SAYS = {
    HEADER: ("0,114,178,.34", "names the column below"),
    UNIT: ("0,114,178,.5", "names the column and its unit"),
    LABEL: ("86,180,233,.3", "names the value beside it"),
    CONSTANT: ("230,159,0,.34", "one cell that holds for every row of a table"),
    DATA: ("0,158,115,.2", "a figure or name of a row that goes in"),
    REMARK: ("86,180,233,.16", "kept as a remark of its row"),
    TOTAL: ("204,121,167,.4", "sums up other rows; not used"),
    LEFT_OUT: ("128,128,128,.22", "in a column that is left out"),
    UNUSED: ("128,128,128,.38", "read and not used"),
    ASIDE: ("213,94,0,.34", "in a row set aside, to be mended or waiting for an answer"),
    OPEN: ("0,0,0,0", "the program has not said what it took this for"),
}
"""What a cell may be taken for: its tint (red, green, blue, strength) and what the word means."""

_SUMS = ("sum", "total", "mean", "average")


def taken_for(grid: Grid, plan: IntakePlan) -> np.ndarray:
    """What the first cells of a grid were taken for: (rows, columns) of words of `SAYS`.

    `""` for an empty cell; at most `ROWS_SHOWN` rows and `COLUMNS_SHOWN` columns.
    """
    text = grid.text[:ROWS_SHOWN, :COLUMNS_SHOWN]
    taken = np.where(text != "", OPEN, "").astype(object)
    sheets = plan.account.loc[plan.account["file"] == grid.label, "sheet"]
    for table in plan.tables:
        if table.label == grid.label:
            _mark_table(taken, table, [name for name in sheets if name])
    _mark_left_out(taken, grid, plan)
    _mark_unused(taken, grid, plan)
    aside = plan.set_aside.get(grid.label)
    if aside is not None:
        for row in aside.index:
            if 1 <= int(row) <= len(taken):
                here = taken[int(row) - 1]
                here[np.isin(here, (DATA, OPEN, REMARK))] = ASIDE
    taken[text == ""] = ""
    brackets = np.vectorize(lambda cell: "(" in cell or "[" in cell, otypes=[bool])
    taken[(taken == HEADER) & brackets(text)] = UNIT
    return taken


def _mark_table(taken: np.ndarray, table: RawTable, sheets: Iterable[str]) -> None:
    height, width = taken.shape
    for at, header in enumerate(table.headers):
        columns = (column_in(header, SHEETS[name]) for name in sheets)
        word = REMARK if any(one is not None and one.name == "note" for one in columns) else DATA
        if table.places is None:
            rows = table.rows[table.rows <= height] - 1
            if at < width:
                taken[rows, at] = word
            continue
        _mark_places(taken, table.places[:, at], word, one_record=len(table.rows) == 1)
    if table.places is None or len(table.rows) > 1:
        first = table.header_row if table.places is None else max(table.header_row - 2, 1)
        for row in range(first, min(table.header_row, height) + 1):
            here = taken[row - 1]
            here[here == OPEN] = HEADER


def _mark_places(taken: np.ndarray, places: np.ndarray, word: str, *, one_record: bool) -> None:
    """The cells a column came from; one cell for all rows is a constant, with its label beside."""
    height, width = taken.shape
    seen = np.unique(places, axis=0)
    single = len(seen) == 1
    for row, column in seen:
        if not (1 <= row <= height and 1 <= column <= width):
            continue
        taken[row - 1, column - 1] = CONSTANT if single and not one_record else word
        if single and column > 1 and taken[row - 1, column - 2] == OPEN:
            taken[row - 1, column - 2] = LABEL


def _mark_left_out(taken: np.ndarray, grid: Grid, plan: IntakePlan) -> None:
    names = {name for one in plan.left_out if one.label == grid.label for name in one.left_out}
    for table in plan.tables:
        if table.label != grid.label:
            continue
        for at, header in enumerate(table.headers):
            if header not in names:
                continue
            if table.places is None:
                if at < taken.shape[1]:
                    column = taken[:, at]
                    column[np.isin(column, (DATA, REMARK))] = LEFT_OUT
                continue
            for row, column in np.unique(table.places[:, at], axis=0):
                if 1 <= row <= taken.shape[0] and 1 <= column <= taken.shape[1]:
                    taken[row - 1, column - 1] = LEFT_OUT


def _mark_unused(taken: np.ndarray, grid: Grid, plan: IntakePlan) -> None:
    mine = plan.not_used[plan.not_used["file"] == grid.label]
    for row, column, text, why in mine[["row", "column", "text", "why"]].itertuples(index=False):
        if not (1 <= row <= taken.shape[0] and 1 <= column <= taken.shape[1]):
            continue
        word = TOTAL if any(one in str(why) for one in _SUMS) else UNUSED
        if " | " in str(text):
            here = taken[row - 1]
            here[here != ""] = word
        else:
            taken[row - 1, column - 1] = word


def show_grid(grid: Grid, plan: IntakePlan) -> None:
    """The first cells of a file, told by tint and by word, with the legend in words."""
    taken = taken_for(grid, plan)
    words = [word for word in SAYS if (taken == word).any()]
    st.html(_STYLE + _legend(words) + _as_html(grid, taken))
    if grid.height > ROWS_SHOWN or grid.width > COLUMNS_SHOWN:
        shown = (
            f"The first {min(grid.height, ROWS_SHOWN)} of {grid.height:,} rows and "
            f"{min(grid.width, COLUMNS_SHOWN)} of {grid.width:,} columns."
        )
        st.caption(plain(shown))


_STYLE = (
    "<style>.oc-grid {overflow: auto; max-height: 34rem; border: 1px solid rgba(128,128,128,.5);}"
    ".oc-grid table {border-collapse: collapse; font-size: .8rem; margin: 0;}"
    ".oc-grid td, .oc-grid th {border: 1px solid rgba(128,128,128,.28); padding: .1rem .4rem;"
    " white-space: nowrap; max-width: 16rem; overflow: hidden; text-overflow: ellipsis;"
    " font-weight: 400; text-align: left;}"
    ".oc-grid small {opacity: .85; font-style: italic;}"
    ".oc-legend {font-size: .85rem; margin: 0 0 .5rem 0; line-height: 1.7;}"
    ".oc-legend b {padding: .05rem .35rem; border-radius: .2rem; font-weight: 600;}</style>"
)


def _legend(words: Iterable[str]) -> str:
    told = (f'<b style="{_tint(word)}">{word}</b> {SAYS[word][1]}' for word in words)
    return f'<p class="oc-legend">{"; ".join(told)}.</p>'


def _tint(word: str) -> str:
    return f"background: rgba({SAYS[word][0]});"


def _as_html(grid: Grid, taken: np.ndarray) -> str:
    letters = [address(1, at + 1)[:-1] for at in range(taken.shape[1])]
    head = "".join(f'<th scope="col">{one}</th>' for one in ("row", "taken for", *letters))
    body = "".join(
        _row_html(at, grid.row(at)[: taken.shape[1]], taken[at]) for at in range(len(taken))
    )
    label = as_html(grid.label).replace('"', "&quot;")
    return (
        f'<div class="oc-grid" tabindex="0" role="region" aria-label="{label}">'
        f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def _row_html(at: int, texts: list[str], taken: np.ndarray) -> str:
    """A row with the word for most of its cells; a cell of another kind carries its own word."""
    counts = pd.Series([word for word in taken if word], dtype="str").value_counts()
    most = str(counts.index[0]) if len(counts) else ""
    cells = "".join(_cell_html(text, word, most) for text, word in zip(texts, taken, strict=True))
    return f'<tr><th scope="row">{at + 1}</th><th>{most}</th>{cells}</tr>'


def _cell_html(text: str, word: str, most: str) -> str:
    own = f" <small>{word}</small>" if word and word != most else ""
    style = f' style="{_tint(word)}"' if word else ""
    return f"<td{style}>{as_html(text)}{own}</td>"
