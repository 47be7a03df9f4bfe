"""Drivers: slopes with their doubt, the split between origin and process, what is tied together."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from origin_compare import words
from origin_compare.drivers import Effects, Separability, Split
from origin_compare.drivers.wording import title
from origin_compare.figures.style import Ink, dress, ink, interval

_LOOKS = {
    "clear": ("circle", "accent", 12),
    "a hint": ("circle-open", "estimate", 10),
    "not shown": ("circle", "soft", 7),
    "cannot be told apart": ("x-thin-open", "faint", 9),
    "panel cannot tell": ("line-ns-open", "faint", 9),
}
_PARTS = ("origin", "process", "both", "unexplained")
_PART_SAYS = {
    "origin": "origin",
    "process": "process",
    "both": "cannot be told apart",
    "unexplained": "unexplained",
}


def effects(found: Effects, dark: bool = False) -> go.Figure:
    """One panel per process variable, one row per attribute: slope and its 95 % interval.

    The mark says the verdict: full and large clear, open a hint, small not shown, a thin cross
    cannot be told apart, a bar the panel cannot tell. A star: something speaks against it.
    """
    shades = ink(dark)
    table = found.table()
    order = _attributes(table)
    figure = _side_by_side(
        [
            f"{title(name)}<br>points per {table.loc[table['process'] == name, 'step'].iloc[0]}"
            for name in found.process
        ]
    )
    for column, name in enumerate(found.process, start=1):
        mine = table[table["process"] == name]
        for verdict, (symbol, shade, size) in _LOOKS.items():
            rows = mine[mine["verdict"] == verdict]
            if rows.empty:
                continue
            at = rows["attribute"].map(words.flavour).tolist()
            colour = getattr(shades, shade)
            figure.add_trace(interval(rows["low"], rows["high"], at, colour), row=1, col=column)
            figure.add_scatter(
                x=rows["slope"],
                y=at,
                mode="markers+text",
                text=["  *" if told else "" for told in rows["warning"]],
                textposition="middle right",
                textfont={"size": 17, "color": shades.text},
                marker={"symbol": symbol, "size": size, "color": colour, "line": {"width": 2}},
                customdata=rows[["low", "high"]].assign(verdict=verdict).to_numpy(),
                hovertemplate="%{y}: %{x:.2f} (%{customdata[0]:.2f} to %{customdata[1]:.2f}), "
                "%{customdata[2]}<extra></extra>",
                row=1,
                col=column,
            )
        figure.add_vline(x=0, line={"color": shades.soft, "width": 1}, row=1, col=column)
    return _rows(figure, [words.flavour(name) for name in order], dark)


def split(found: Split, dark: bool = False) -> go.Figure:
    """Shares of what the panel can see, one panel per part, the whole profile on top."""
    shades = ink(dark)
    table = found.table()
    order = list(dict.fromkeys(table["attribute"]))
    figure = _side_by_side([f"{_PART_SAYS[part]}<br>% of what is seen" for part in _PARTS])
    for column, part in enumerate(_PARTS, start=1):
        rows = table[table["part"] == part]
        whole = rows["attribute"] == "whole profile"
        for mine, colour, size, symbol in (
            (rows[whole], shades.accent, 12, "diamond"),
            (rows[~whole], shades.estimate, 8, "circle"),
        ):
            at = mine["attribute"].map(words.flavour).tolist()
            figure.add_trace(interval(mine["low"], mine["high"], at, colour), row=1, col=column)
            figure.add_scatter(
                x=mine["share_pct"],
                y=at,
                mode="markers",
                marker={"size": size, "color": colour, "symbol": symbol},
                hovertemplate="%{y}: %{x:.0f} %<extra></extra>",
                row=1,
                col=column,
            )
        figure.add_vline(x=0, line={"color": shades.soft, "width": 1}, row=1, col=column)
    # One scale for all parts, or a small share would look as long as a large one.
    figure.update_xaxes(matches="x")
    return _rows(figure, [words.flavour(name) for name in order], dark)


def overlap(found: Separability, dark: bool = False) -> go.Figure:
    """How far every two things moved together: larger overlaps more, squares cannot be parted."""
    shades = ink(dark)
    pairs = found.pairs()
    names = list(dict.fromkeys([*pairs["first"], *pairs["second"]]))
    swap = pairs["first"].map(names.index) > pairs["second"].map(names.index)
    low = pairs["first"].where(~swap, pairs["second"])
    high = pairs["second"].where(~swap, pairs["first"])
    figure = go.Figure()
    for tied, symbol, colour in (
        (False, "circle", shades.faint),
        (True, "square", shades.accent),
    ):
        mine = pairs["cannot_tell"] == tied
        strength = pairs.loc[mine, "strength"].fillna(0)
        figure.add_scatter(
            x=low[mine].map(title),
            y=high[mine].map(title),
            mode="markers+text",
            text=[f"{value:.1f}" if value >= 0.3 else "" for value in strength],
            textfont={"size": 11, "color": shades.text},
            marker={
                "symbol": symbol,
                "size": 6 + 24 * strength,
                "color": colour,
                "opacity": 0.75,
            },
            customdata=pairs.loc[mine, "says"],
            hovertemplate="%{x} and %{y}<br>%{customdata}<extra></extra>",
        )
    dress(figure, dark, height=34 * len(names) + 130, left=120)
    shown = [title(name) for name in names]
    figure.update_xaxes(categoryorder="array", categoryarray=shown, tickangle=-40)
    figure.update_yaxes(categoryorder="array", categoryarray=shown, autorange="reversed")
    return figure


def _attributes(table: pd.DataFrame) -> list[str]:
    """Told-apart attributes first, the rest last, each in its own order."""
    told = table.drop_duplicates("attribute")
    first = told[told["told_apart"]]["attribute"].tolist()
    return first + told[~told["told_apart"]]["attribute"].tolist()


def _side_by_side(titles: Sequence[str]) -> go.Figure:
    return make_subplots(
        rows=1,
        cols=len(titles),
        shared_yaxes=True,
        horizontal_spacing=0.025,
        subplot_titles=list(titles),
    )


def _rows(figure: go.Figure, names: Sequence[str], dark: bool) -> go.Figure:
    shades: Ink = ink(dark)
    dress(figure, dark, height=27 * len(names) + 120, left=110)
    figure.update_layout(margin={"t": 58})
    figure.update_annotations(font={"size": 12, "color": shades.soft})
    figure.update_yaxes(
        categoryorder="array", categoryarray=list(names), autorange="reversed", showgrid=True
    )
    return figure
