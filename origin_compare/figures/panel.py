"""The panel: what it tells apart, its assessors, one sitting, and who is served what."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import pandas as pd
import plotly.graph_objects as go

from origin_compare import words
from origin_compare.figures.style import dress, ink, interval, stems
from origin_compare.panel import (
    Drift,
    Gap,
    Performance,
    Profile,
    Session,
    SmallestGap,
    TastingPlan,
)
from origin_compare.panel.assessors.drift import PANEL


def reliability(found: Profile, dark: bool = False) -> go.Figure:
    """Share of each attribute's spread that is the batches' own; open marks: not told apart."""
    shades = ink(dark)
    figure = go.Figure()
    names = [words.flavour(verdict.attribute) for verdict in found.verdicts]
    values = [verdict.reliability * 100 for verdict in found.verdicts]
    told = [verdict.told_apart for verdict in found.verdicts]
    colours = [shades.estimate if seen else shades.faint for seen in told]
    stems(figure, values, names, colours)
    figure.add_scatter(
        x=values,
        y=names,
        mode="markers",
        marker={
            "size": 11,
            "color": colours,
            "line": {"width": 2},
            "symbol": ["circle" if seen else "circle-open" for seen in told],
        },
        customdata=["told apart" if seen else "cannot be told apart" for seen in told],
        hovertemplate="%{y}: %{x:.0f} %, %{customdata}<extra></extra>",
    )
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
    stems(figure, values, names, colours)
    figure.add_scatter(
        x=values,
        y=names,
        mode="markers+text",
        text=[f" {value:.1f}" for value in values],
        textposition="middle right",
        textfont={"size": 12, "color": shades.soft},
        marker={"symbol": "line-ns-open", "size": 13, "color": colours, "line": {"width": 3}},
        hovertemplate="%{y}: %{x:.2f} points<extra></extra>",
    )
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
            x=part["attribute"].map(words.flavour),
            y=part["assessor_id"],
            mode="markers",
            name=verdict,
            showlegend=True,
            customdata=part["evidence"],
            marker={
                "symbol": symbol,
                "size": 8 if verdict in ("sound", "not judged") else 14,
                "color": getattr(shades, colour),
                "line": {"width": 2},
            },
            hovertemplate="%{customdata}<extra></extra>",
        )
    dress(figure, dark, height=30 * len(people) + 210, left=60)
    figure.update_layout(
        showlegend=True,
        legend={"orientation": "h", "y": -0.02, "yanchor": "top", "x": 0, "font": {"size": 13}},
    )
    figure.update_yaxes(
        autorange="reversed", type="category", categoryorder="array", categoryarray=people
    )
    figure.update_xaxes(
        side="top",
        type="category",
        categoryorder="array",
        categoryarray=order,
        tickangle=-45,
        range=[-0.6, len(order) - 0.4],
    )
    return figure


def assessor_spread(own: pd.DataFrame, dark: bool = False) -> go.Figure:
    """One assessor's use of the scale on each attribute, 1 the panel's; empty where not judged."""
    shades = ink(dark)
    names = [words.flavour(name) for name in own["attribute"]]
    figure = go.Figure()
    figure.add_vline(x=1, line={"color": shades.soft, "width": 1})
    part = own[own["verdict"].ne("not judged")]
    rows = part["attribute"].map(words.flavour)
    figure.add_trace(interval(part["spread_low"], part["spread_high"], rows, shades.estimate))
    figure.add_scatter(
        x=part["spread_slope"],
        y=rows,
        mode="markers",
        customdata=part["evidence"],
        marker={"size": 10, "color": shades.estimate},
        hovertemplate="%{customdata}<extra></extra>",
    )
    dress(figure, dark, height=28 * len(names) + 90, left=110)
    figure.update_yaxes(
        autorange="reversed", showgrid=False, categoryorder="array", categoryarray=names
    )
    figure.update_xaxes(title_text="spread of scores against the panel's, times")
    return figure


def session_places(found: Session, dark: bool = False) -> go.Figure:
    """How far scores at each place in the line lie from the same batches' usual level."""
    shades = ink(dark)
    places = found.places
    figure = go.Figure()
    x, y = _bars(places["position"], places["low"], places["high"])
    figure.add_hline(y=0, line={"color": shades.soft, "width": 1})
    figure.add_scatter(
        x=x,
        y=y,
        mode="lines",
        hoverinfo="skip",
        line={"color": shades.estimate, "width": 2},
    )
    figure.add_scatter(
        x=places["position"],
        y=places["shift"],
        mode="markers",
        marker={"size": 10, "color": shades.estimate},
        hovertemplate="glass %{x}: %{y:+.2f} points<extra></extra>",
    )
    dress(figure, dark, height=320, left=70)
    figure.update_xaxes(
        title_text="place in the line: first glass to last", dtick=1, showgrid=False
    )
    figure.update_yaxes(title_text="shift, points")
    return figure


def drift(found: Drift, attribute: str, who: str, dark: bool = False) -> go.Figure:
    """The control's score from tasting to tasting: the panel with its interval, one assessor."""
    shades = ink(dark)
    levels = found.of(attribute)
    figure = go.Figure()
    figure.add_hline(y=0, line={"color": shades.soft, "width": 1})
    for name, line in levels.groupby("who"):
        if name not in (PANEL, who):
            _plain_line(figure, line["tasting_id"], line["shift"], shades.faint, 1)
    panel, one = (levels[levels["who"].eq(name)] for name in (PANEL, who))
    if len(panel):
        _plain_line(
            figure, *_bars(panel["tasting_id"], panel["low"], panel["high"]), shades.estimate
        )
        _shifts(figure, panel, PANEL, "solid", {"color": shades.estimate, "symbol": "circle"})
    if len(one):
        _shifts(figure, one, who, "dot", {"color": shades.accent, "symbol": "diamond-open"})
    dress(figure, dark, height=360, left=70)
    figure.update_layout(
        showlegend=True, legend={"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0}
    )
    figure.update_xaxes(
        type="category",
        categoryorder="array",
        categoryarray=list(found.tastings),
        showgrid=False,
        title_text="tasting, in order of time",
    )
    figure.update_yaxes(title_text=f"control, {words.flavour(attribute)}: shift, points")
    return figure


def _plain_line(
    figure: go.Figure, x: Iterable[object], y: Iterable[object], colour: str, width: float = 2
) -> None:
    line = {"color": colour, "width": width}
    figure.add_scatter(x=x, y=y, mode="lines", hoverinfo="skip", line=line, showlegend=False)


def _shifts(
    figure: go.Figure, line: pd.DataFrame, name: str, dash: str, marker: dict[str, object]
) -> None:
    figure.add_scatter(
        x=line["tasting_id"],
        y=line["shift"],
        mode="lines+markers",
        name=name,
        line={"color": marker["color"], "width": 1.5, "dash": dash},
        marker={"size": 10, "line": {"width": 2}, **marker},
        hovertemplate=f"{name}, %{{x}}: %{{y:+.2f}} points<extra></extra>",
        showlegend=True,
    )


def _bars(
    at: Iterable[object], low: Iterable[float], high: Iterable[float]
) -> tuple[list[object], list[float | None]]:
    """Upright lines from `low` to `high`: one trace, gaps between."""
    x: list[object] = []
    y: list[float | None] = []
    for place, start, end in zip(at, low, high, strict=True):
        x += [place, place, None]
        y += [start, end, None]
    return x, y


def gaps(found: Gap, dark: bool = False) -> go.Figure:
    """Two batches: their gap on each attribute with its 95 % interval; undecided ones grey."""
    shades = ink(dark)
    table = found.table()
    names = [words.flavour(name) for name in table["attribute"]]
    colours = [
        shades.faint if verdict == "undecided" else shades.estimate for verdict in table["verdict"]
    ]
    figure = go.Figure()
    figure.add_vline(x=0, line={"color": shades.soft, "width": 1})
    for verdict, colour in (("undecided", shades.faint), ("", shades.estimate)):
        part = table[table["verdict"].eq("undecided") == bool(verdict)]
        rows = part["attribute"].map(words.flavour)
        figure.add_trace(interval(part["low"], part["high"], rows, colour))
    figure.add_scatter(
        x=table["gap"],
        y=names,
        mode="markers",
        customdata=table["verdict"],
        marker={"size": 10, "color": colours},
        hovertemplate="%{y}: %{x:+.1f} points, %{customdata}<extra></extra>",
    )
    dress(figure, dark, height=30 * len(names) + 90, left=110)
    figure.update_yaxes(autorange="reversed", showgrid=False, categoryarray=names)
    figure.update_xaxes(title_text=f"{found.first} less {found.second}, points")
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
        x=key["position"],
        y=line,
        mode="markers+text",
        text=key["code"].astype(str),
        textfont={"size": 13, "color": shades.text},
        hoverinfo="skip",
        marker={"symbol": "square", "size": 24, "color": shades.window},
    )
    dress(figure, dark, height=33 * len(rows) + 90, left=80)
    figure.update_yaxes(
        autorange="reversed",
        type="category",
        categoryorder="array",
        categoryarray=rows,
        showgrid=False,
    )
    figure.update_xaxes(
        title_text="place in the sitting",
        dtick=1,
        showgrid=False,
        range=[0.4, int(key["position"].max()) + 0.6],
    )
    return figure
