"""The panel: how well it tells batches apart, attribute by attribute."""

from __future__ import annotations

import plotly.graph_objects as go

from origin_compare import words
from origin_compare.figures.style import dress, ink
from origin_compare.panel import Profile


def reliability(found: Profile, dark: bool = False) -> go.Figure:
    """Share of each attribute's spread that is the batches' own; open marks: not told apart."""
    shades = ink(dark)
    figure = go.Figure()
    names = [words.flavour(verdict.attribute) for verdict in found.verdicts]
    values = [verdict.reliability * 100 for verdict in found.verdicts]
    told = [verdict.told_apart for verdict in found.verdicts]
    colours = [shades.estimate if seen else shades.faint for seen in told]
    figure.add_bar(
        x=values, y=names, orientation="h", width=0.12, marker={"color": colours}, hoverinfo="skip"
    )
    figure.add_scatter(
        x=values, y=names, mode="markers",
        marker={
            "size": 11, "color": colours, "line": {"width": 2},
            "symbol": ["circle" if seen else "circle-open" for seen in told],
        },
        customdata=["told apart" if seen else "cannot be told apart" for seen in told],
        hovertemplate="%{y}: %{x:.0f} %, %{customdata}<extra></extra>",
    )  # fmt: skip
    dress(figure, dark, height=30 * len(names) + 90, left=110)
    figure.update_yaxes(autorange="reversed", showgrid=False, categoryarray=names)
    figure.update_xaxes(
        title_text="of the spread between batches, % that is not panel noise", range=[-2, 102]
    )
    return figure
