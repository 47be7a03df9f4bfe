"""The panel: what it tells apart, its assessors, one sitting, and who is served what."""

from __future__ import annotations

from collections.abc import Sequence

import plotly.graph_objects as go

from origin_compare import words
from origin_compare.figures.style import dress, ink
from origin_compare.panel import Performance, Profile, Session, SmallestGap, TastingPlan


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


def smallest_gaps(found: SmallestGap, told: Sequence[str], dark: bool = False) -> go.Figure:
    """The smallest gap the panel could have seen, attribute by attribute; not told apart last."""
    shades = ink(dark)
    gaps = found.table().set_index("attribute")["gap"]
    order = [*told, *[name for name in gaps.index if name not in told]]
    names = [words.flavour(name) for name in order]
    values = [float(gaps[name]) for name in order]
    colours = [shades.estimate if name in told else shades.faint for name in order]
    figure = go.Figure()
    figure.add_bar(
        x=values, y=names, orientation="h", width=0.12, marker={"color": colours}, hoverinfo="skip"
    )
    figure.add_scatter(
        x=values, y=names, mode="markers+text", text=[f" {value:.1f}" for value in values],
        textposition="middle right", textfont={"size": 12, "color": shades.soft},
        marker={"symbol": "line-ns-open", "size": 13, "color": colours, "line": {"width": 3}},
        hovertemplate="%{y}: %{x:.2f} points<extra></extra>",
    )  # fmt: skip
    dress(figure, dark, height=28 * len(names) + 90, left=110)
    figure.update_yaxes(autorange="reversed", showgrid=False, categoryarray=names)
    most = max(values, default=1.0)
    figure.update_xaxes(
        title_text="smallest gap seen four times in five, points", range=[0, most * 1.15]
    )
    return figure


VERDICT_MARKS = {
    "sound": ("circle", "estimate"),
    "not judged": ("line-ew-open", "faint"),
    "contrary": ("x", "accent"),
    "apart": ("diamond-open", "accent"),
    "blind": ("circle-open", "accent"),
    "narrow": ("triangle-up-open", "accent"),
    "wide": ("triangle-down-open", "accent"),
    "unsteady": ("star-open", "accent"),
    "drifting": ("arrow-right-open", "accent"),
}
"""Verdict -> symbol and ink: shape alone tells them apart."""


def assessor_grid(found: Performance, dark: bool = False) -> go.Figure:
    """Assessors by attribute: a filled dot is sound, an open or crossed shape says what is not."""
    shades = ink(dark)
    detail = found.table()
    order = [words.flavour(name) for name in found.profile.attributes]
    people = list(found.assessors["assessor_id"])
    figure = go.Figure()
    for verdict, (symbol, colour) in VERDICT_MARKS.items():
        part = detail[detail["verdict"].eq(verdict)]
        if part.empty:
            continue
        figure.add_scatter(
            x=part["attribute"].map(words.flavour), y=part["assessor_id"], mode="markers",
            name=verdict, showlegend=True, customdata=part["evidence"],
            marker={
                "symbol": symbol, "size": 8 if verdict in ("sound", "not judged") else 14,
                "color": getattr(shades, colour), "line": {"width": 2},
            },
            hovertemplate="%{customdata}<extra></extra>",
        )  # fmt: skip
    dress(figure, dark, height=30 * len(people) + 210, left=60)
    figure.update_layout(
        showlegend=True,
        legend={"orientation": "h", "y": -0.02, "yanchor": "top", "x": 0, "font": {"size": 13}},
    )
    figure.update_yaxes(
        autorange="reversed", type="category", categoryorder="array", categoryarray=people
    )
    figure.update_xaxes(
        side="top", type="category", categoryorder="array", categoryarray=order, tickangle=-45,
        range=[-0.6, len(order) - 0.4],
    )  # fmt: skip
    return figure


def session_places(found: Session, dark: bool = False) -> go.Figure:
    """How far scores at each place in the line lie from the same batches' usual level."""
    shades = ink(dark)
    places = found.places
    figure = go.Figure()
    x: list[float | None] = []
    y: list[float | None] = []
    for row in places.to_dict("records"):
        x += [row["position"], row["position"], None]
        y += [row["low"], row["high"], None]
    figure.add_hline(y=0, line={"color": shades.soft, "width": 1})
    figure.add_scatter(
        x=x, y=y, mode="lines", hoverinfo="skip",
        line={"color": shades.estimate, "width": 2},
    )  # fmt: skip
    figure.add_scatter(
        x=places["position"], y=places["shift"], mode="markers",
        marker={"size": 10, "color": shades.estimate},
        hovertemplate="glass %{x}: %{y:+.2f} points<extra></extra>",
    )  # fmt: skip
    dress(figure, dark, height=320, left=70)
    figure.update_xaxes(
        title_text="place in the line: first glass to last", dtick=1, showgrid=False
    )
    figure.update_yaxes(title_text="shift, points")
    return figure


def serving_order(found: TastingPlan, dark: bool = False) -> go.Figure:
    """Who gets which code in which order: one row per assessor and sitting, codes only."""
    shades = ink(dark)
    key = found.table()
    line = key["assessor_id"].astype(str)
    if key["replicate"].max() > 1:
        line = line + ", round " + key["replicate"].astype(str)
    if key["sitting"].max() > 1:
        line = line + ", sitting " + key["sitting"].astype(str)
    rows = list(dict.fromkeys(line))
    figure = go.Figure()
    figure.add_scatter(
        x=key["position"], y=line, mode="markers+text", text=key["code"].astype(str),
        textfont={"size": 13, "color": shades.text}, hoverinfo="skip",
        marker={"symbol": "square", "size": 24, "color": shades.window},
    )  # fmt: skip
    dress(figure, dark, height=33 * len(rows) + 90, left=80)
    figure.update_yaxes(
        autorange="reversed", type="category", categoryorder="array", categoryarray=rows,
        showgrid=False,
    )  # fmt: skip
    figure.update_xaxes(
        title_text="place in the sitting", dtick=1, showgrid=False,
        range=[0.4, int(key["position"].max()) + 0.6],
    )  # fmt: skip
    return figure
