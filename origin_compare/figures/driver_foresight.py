"""How well what was found foretells batches, growers and seasons not seen."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from origin_compare import words
from origin_compare.drivers import Foresight
from origin_compare.drivers.wording import title
from origin_compare.figures.style import dress_attributes, ink


def foresight(found: Foresight, dark: bool = False) -> go.Figure:
    """How much smaller the error is than the mean's, per cent: right of nothing is better.

    A full mark is surely better than the mean; an open one is not.
    """
    shades = ink(dark)
    scores = found.table()
    units = list(scores["left_out"].unique())
    order = [words.flavour(str(name)) for name in dict.fromkeys(scores["attribute"])]
    figure = make_subplots(
        rows=1,
        cols=len(units),
        shared_yaxes=True,
        horizontal_spacing=0.04,
        subplot_titles=[f"A {title(unit)} never seen<br>error saved, %" for unit in units],
    )
    for column, unit in enumerate(units, start=1):
        for place, (method, rows) in enumerate(
            scores[scores["left_out"] == unit].groupby("method", sort=False)
        ):
            better = rows["verdict"].str.startswith("better")
            shape = ("circle", "diamond")[place % 2]
            colour = (shades.accent, shades.estimate)[place % 2]
            figure.add_scatter(
                x=100 * (1 - rows["error"] / rows["error_of_mean"]),
                y=rows["attribute"].map(words.flavour),
                mode="markers",
                marker={
                    "symbol": [shape if one else f"{shape}-open" for one in better],
                    "size": [12 if one else 8 for one in better],
                    "color": colour,
                },
                customdata=rows["verdict"],
                name=str(method),
                hovertemplate=f"%{{y}}, {method}: %{{x:.0f}} %, %{{customdata}}<extra></extra>",
                row=1,
                col=column,
            )
        figure.add_vline(x=0, line={"color": shades.soft, "width": 1}, row=1, col=column)
    return dress_attributes(figure, order, dark)


def foresight_table(found: Foresight) -> pd.DataFrame:
    """The scores as shown: error, that of the mean, what was saved, in words."""
    scores = found.table()
    return pd.DataFrame(
        {
            "left_out": scores["left_out"].map(title),
            "method": scores["method"],
            "attribute": scores["attribute"],
            "verdict": scores["verdict"],
            "error": scores["error"],
            "error_of_mean": scores["error_of_mean"],
            "q": scores["q"],
        }
    )
