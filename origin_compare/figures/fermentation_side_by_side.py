"""Batches beside one another: one small panel per channel, colour and line style by batch."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from origin_compare.fermentation import Comparison
from origin_compare.figures.fermentation import MOST_POINTS, thinned
from origin_compare.figures.style import (
    LINE_STYLES,
    SYMBOLS,
    Ink,
    dress,
    families_of,
    ink,
    label_end,
)

_PANELS = {
    "sg": ("gravity", ".4f"),
    "hours": ("hours taken", ".0f"),
    "ph": ("pH", ".2f"),
    "temp_c": ("temperature, °C", ".1f"),
    "cooling_pct": ("cooling, % open", ".0f"),
}
_PANEL_PX = 150
_LABEL_PX = 15


def side_by_side(compared: Comparison, dark: bool = False) -> go.Figure:
    """Each channel of up to six batches on one axis, labelled at the line's end."""
    shades = ink(dark)
    lines = compared.lines.dropna(subset=["at", "value"])
    shown = [name for name in _PANELS if (lines["channel"] == name).any()]
    figure = make_subplots(
        rows=len(shown),
        cols=1,
        shared_xaxes=True,
        vertical_spacing=0.055,
        subplot_titles=[_PANELS[name][0] for name in shown],
    )
    colours = dict(zip(compared.batch_ids, families_of(dark), strict=False))
    for row, name in enumerate(shown, start=1):
        mine = lines[lines["channel"] == name]
        for place, batch in enumerate(compared.batch_ids):
            one = thinned(
                mine[mine["batch_id"] == batch].rename(columns={"at": "hours"}),
                MOST_POINTS // len(compared.batch_ids),
            )
            few = len(one) <= 60
            figure.add_scatter(
                x=one["hours"],
                y=one["value"],
                mode="lines+markers" if few else "lines",
                name=batch,
                line={"color": colours[batch], "width": 2, "dash": LINE_STYLES[place]},
                marker={"symbol": SYMBOLS[place], "size": 6, "color": colours[batch]},
                hovertemplate=f"{batch}, %{{x:.1f}}: %{{y:{_PANELS[name][1]}}}<extra></extra>",
                row=row,
                col=1,
            )
    dress(figure, dark, height=(_PANEL_PX + 30) * len(shown) + 70, left=70)
    for title in figure.layout.annotations[: len(shown)]:
        title.update(x=0, xanchor="left", font={"size": 13, "color": shades.soft})
    for row, name in enumerate(shown, start=1):
        _labels(figure, lines[lines["channel"] == name], row, colours, shades)
    if "sg" in shown:
        figure.update_yaxes(tickformat=".3f", row=shown.index("sg") + 1, col=1)
    figure.update_layout(margin_r=92)
    by_clock = f"hours since {compared.hour_zero}"
    what = by_clock if compared.by == "hours" else "apparent attenuation reached, %"
    figure.update_xaxes(title_text=what, row=len(shown), col=1)
    return figure


def _labels(
    figure: go.Figure, mine: pd.DataFrame, row: int, colours: Mapping[str, str], shades: Ink
) -> None:
    """Each batch's name right of the panel at the height of its line's end, pushed apart where
    they would overprint."""
    ends = mine.sort_values("at", kind="stable").groupby("batch_id", sort=False)["value"].last()
    low, high = float(mine["value"].min()), float(mine["value"].max())
    room = max(high - low, 1e-9)
    low, high = low - 0.06 * room, high + 0.06 * room
    figure.update_yaxes(range=[low, high], row=row, col=1)
    heights = spread(
        {str(name): (float(end) - low) / (high - low) for name, end in ends.items()},
        _LABEL_PX / _PANEL_PX,
    )
    order = list(colours)
    for name, height in heights.items():
        mark = _SIGNS[order.index(name)]
        label_end(
            figure,
            row,
            f'<span style="color:{colours[name]}">{mark}</span> {name}',
            {"size": 12, "color": shades.text},
            x=1,
            xref="x domain",
            y=height,
            yref="y domain",
        )


_SIGNS = ("●", "■", "◆", "▲", "✚", "★")
"""`SYMBOLS` as letters, in the same order."""


def spread(wanted: Mapping[str, float], apart: float) -> dict[str, float]:
    """Heights (0 to 1) at least `apart` from one another, in the same order, near those wanted."""
    names = sorted(wanted, key=lambda name: wanted[name])
    heights: list[float] = []
    for name in names:
        floor = heights[-1] + apart if heights else 0.0
        heights.append(max(wanted[name], floor))
    over = max(heights[-1] - 1.0, 0.0) if heights else 0.0
    ceiling = 1.0
    for at in range(len(heights) - 1, -1, -1):
        if over <= 0:
            break
        heights[at] = min(heights[at], ceiling)
        ceiling = heights[at] - apart
    return dict(zip(names, heights, strict=True))
