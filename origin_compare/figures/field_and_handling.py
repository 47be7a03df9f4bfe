"""What a field gave and what handling did: a line per batch, as made and as it would have been."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from origin_compare.drivers import FieldAndHandling
from origin_compare.drivers.verdicts import CLEAR
from origin_compare.figures.style import dress, ink, interval

ROW_PX = 22


def field_and_handling(
    found: FieldAndHandling, attribute: str, batch_id: str = "", dark: bool = False
) -> go.Figure:
    """One attribute, one line per batch: the score as made (ring), and with its interval what the
    barley would have scored at the season's usual process (dot). The connecting stroke is what
    handling did, in the accent where that is clear. `batch_id`: the batch looked at, in bold.
    """
    shades = ink(dark)
    rows = found.batches[found.batches["attribute"] == attribute]
    rows = rows.sort_values(["season", "usual"], kind="stable")
    figure = go.Figure()
    for row in rows.to_dict("records"):
        colour = shades.accent if row["verdict"] == CLEAR else shades.faint
        figure.add_scatter(
            x=[row["score"], row["usual"]],
            y=[row["batch_id"]] * 2,
            mode="lines",
            hoverinfo="skip",
            line={"color": colour, "width": 3},
        )
    figure.add_trace(
        interval(rows["usual_low"], rows["usual_high"], rows["batch_id"], shades.estimate, 1.5)
    )
    _usual(figure, rows, shades.estimate)
    figure.add_scatter(
        x=rows["score"],
        y=rows["batch_id"],
        mode="markers",
        marker={"symbol": "circle-open", "size": 9, "color": shades.text},
        hovertemplate="%{y} scored %{x:.2f}<extra></extra>",
    )
    dress(figure, dark, height=90 + ROW_PX * len(rows), left=90)
    figure.update_xaxes(title_text=f"{attribute}, adjusted score")
    bold = [f"<b>{name}</b>" if name == batch_id else name for name in rows["batch_id"]]
    figure.update_yaxes(
        type="category", tickmode="array", tickvals=rows["batch_id"].tolist(), ticktext=bold
    )
    return figure


def _usual(figure: go.Figure, rows: pd.DataFrame, colour: str) -> None:
    figure.add_scatter(
        x=rows["usual"],
        y=rows["batch_id"],
        mode="markers",
        marker={"size": 7, "color": colour},
        customdata=rows[["usual_low", "usual_high"]].to_numpy(),
        hovertemplate="%{y} at the usual process: %{x:.2f} "
        "(%{customdata[0]:.2f} to %{customdata[1]:.2f})<extra></extra>",
    )
