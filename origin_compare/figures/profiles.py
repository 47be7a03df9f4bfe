"""Panel profiles as dots with intervals: one row per attribute, always in the same order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from origin_compare import words
from origin_compare.families import Families, Likeness
from origin_compare.figures.style import SYMBOLS, dress, families_of, ink, interval
from origin_compare.growers.grower_letter import GrowerLetter
from origin_compare.vatting import Recipe, Recipes


def profile(
    table: pd.DataFrame, batch_id: str, told: Sequence[str], dark: bool = False
) -> go.Figure:
    """One batch against all others: `table` is a Profile's long table (see `panel.Profile`).

    Attributes the panel cannot tell apart come last and grey.
    """
    shades = ink(dark)
    order = [*told, *[name for name in table["attribute"].unique() if name not in told]]
    own = table[table["batch_id"] == batch_id].set_index("attribute").reindex(order)
    figure = go.Figure()
    others = table[table["batch_id"] != batch_id]
    figure.add_scatter(
        x=others["estimate"],
        y=others["attribute"].map(words.flavour),
        mode="markers",
        marker={"size": 6, "color": shades.faint, "opacity": 0.55},
        customdata=others["batch_id"],
        hovertemplate="%{customdata} %{x:.1f}<extra></extra>",
    )
    colours = [shades.accent if name in told else shades.soft for name in order]
    names = [words.flavour(name) for name in order]
    for colour in dict.fromkeys(colours):
        rows = [place for place, one in enumerate(colours) if one == colour]
        part = own.iloc[rows]
        at = [names[row] for row in rows]
        figure.add_trace(interval(part["low"], part["high"], at, colour, 2.5))
        figure.add_scatter(
            x=part["estimate"],
            y=at,
            mode="markers",
            marker={"size": 11, "color": colour, "symbol": "diamond"},
            hovertemplate=batch_id + " %{x:.1f}<extra></extra>",
        )
    return _rows_of_attributes(figure, names, dark)


def groups(
    centres: Mapping[str, pd.DataFrame], dark: bool = False, x_title: str = "score"
) -> go.Figure:
    """Several profiles on one scale: name -> frame with attribute, estimate, low, high."""
    colours = families_of(dark)
    figure = go.Figure()
    names: list[str] = []
    for place, (name, frame) in enumerate(centres.items()):
        names = [words.flavour(attribute) for attribute in frame["attribute"]]
        shift = (place - (len(centres) - 1) / 2) * min(0.22, 0.7 / max(len(centres), 1))
        rows = np.arange(len(names)) + shift
        colour = colours[place % len(colours)]
        figure.add_trace(interval(frame["low"], frame["high"], list(rows), colour))
        figure.add_scatter(
            x=frame["estimate"],
            y=rows,
            mode="markers",
            name=name,
            showlegend=True,
            marker={"size": 9, "color": colour, "symbol": SYMBOLS[place % len(SYMBOLS)]},
            hovertemplate=f"{name} %{{x:.1f}}<extra></extra>",
        )
    dress(figure, dark, height=34 * len(names) + 120, left=110)
    figure.update_layout(
        showlegend=True, legend={"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0}
    )
    figure.update_yaxes(
        tickvals=list(range(len(names))), ticktext=names, autorange="reversed", showgrid=False
    )
    figure.update_xaxes(title_text=x_title)
    return figure


def families(found: Families, dark: bool = False) -> go.Figure:
    """Each family's middle on every attribute told apart, with the middle half of its batches."""
    grouped = found.used.mean.groupby(found.labels)
    frames = {
        f"family {family}" if found.number > 1 else "all batches": pd.DataFrame(
            {
                "attribute": members.columns,
                "estimate": members.median().to_numpy(),
                "low": members.quantile(0.25).to_numpy(),
                "high": members.quantile(0.75).to_numpy(),
            }
        )
        for family, members in grouped
    }
    return groups(frames, dark, "score: dot the middle batch, line the middle half")


def likeness(found: Likeness, dark: bool = False, most: int = 15) -> go.Figure:
    """The nearest batches with the interval of their distance; shape says the verdict."""
    shades = ink(dark)
    near = found.table().head(most)
    symbol = {"different": "x", "cannot tell": "circle-open"}
    figure = go.Figure()
    figure.add_trace(interval(near["low"], near["high"], near["batch_id"].tolist(), shades.soft))
    figure.add_scatter(
        x=near["distance"],
        y=near["batch_id"],
        mode="markers",
        customdata=near["verdict"],
        marker={
            "size": 10,
            "color": shades.estimate,
            "line": {"width": 2},
            "symbol": [symbol.get(verdict, "circle") for verdict in near["verdict"]],
        },
        hovertemplate="%{y}: %{x:.2f} points, %{customdata}<extra></extra>",
    )
    dress(figure, dark, height=30 * len(near) + 90, left=90)
    figure.update_yaxes(autorange="reversed", showgrid=False, type="category")
    figure.update_xaxes(
        title_text=f"distance from {found.batch_id}, score points", rangemode="tozero"
    )
    return figure


def recipe(found: Recipes, chosen: Recipe, dark: bool = False) -> go.Figure:
    """What a recipe is predicted to give against what was wanted."""
    shades = ink(dark)
    table = chosen.predicted
    names = [words.flavour(name) for name in table["attribute"]]
    figure = go.Figure()
    figure.add_trace(interval(table["low"], table["high"], names, shades.estimate, 2.5))
    figure.add_scatter(
        x=table["predicted"],
        y=names,
        mode="markers",
        name="this recipe",
        showlegend=True,
        marker={"size": 10, "color": shades.estimate},
    )
    figure.add_scatter(
        x=table["target"],
        y=names,
        mode="markers",
        name="wanted",
        showlegend=True,
        marker={"size": 13, "color": shades.accent, "symbol": "line-ns-open", "line": {"width": 3}},
    )
    _rows_of_attributes(figure, names, dark)
    figure.update_layout(
        showlegend=True, legend={"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0}
    )
    return figure


def grower(letter: GrowerLetter, dark: bool = False) -> go.Figure:
    """One grower's spirit: dot and interval, the middle half of the growers as a pale bar."""
    shades = ink(dark)
    table = letter.flavours
    names = [words.flavour(name) for name in table["attribute"]]
    figure = go.Figure()
    if letter.group_size:
        for row, (low, high, middle) in enumerate(
            zip(table["group_low"], table["group_high"], table["group_median"], strict=True)
        ):
            figure.add_shape(
                type="rect",
                x0=low,
                x1=high,
                y0=row - 0.36,
                y1=row + 0.36,
                fillcolor=shades.window,
                line_width=0,
                layer="below",
            )
            figure.add_shape(
                type="line",
                x0=middle,
                x1=middle,
                y0=row - 0.36,
                y1=row + 0.36,
                line={"color": shades.soft, "width": 1.5},
                layer="below",
            )
    figure.add_trace(interval(table["low_all"], table["high_all"], names, shades.estimate, 1))
    figure.add_trace(interval(table["low"], table["high"], names, shades.estimate, 3))
    figure.add_scatter(
        x=table["own"],
        y=names,
        mode="markers",
        marker={"size": 11, "color": shades.estimate},
        hovertemplate="%{y} %{x:.1f}<extra></extra>",
    )
    return _rows_of_attributes(figure, names, dark)


def _rows_of_attributes(figure: go.Figure, names: Sequence[str], dark: bool) -> go.Figure:
    dress(figure, dark, height=30 * len(names) + 90, left=110)
    figure.update_yaxes(
        categoryorder="array", categoryarray=list(names), autorange="reversed", showgrid=False
    )
    figure.update_xaxes(title_text="panel score")
    return figure
