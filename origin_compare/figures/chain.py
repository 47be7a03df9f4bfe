"""The chain of one batch, field at the top, panel at the bottom; widths are mass shares."""

from __future__ import annotations

from itertools import groupby
from typing import Any

import pandas as pd
import plotly.graph_objects as go

from origin_compare.figures.style import dress, ink
from origin_compare.records.chain import ChainView

_HEIGHT, _GAP = 0.74, 0.006
_LONGEST = 64


def chain(view: ChainView, dark: bool = False) -> go.Figure:
    """One row per step from grower to panel, one box per thing in it, as wide as its share.

    A dashed empty box is a step with nothing on record.
    """
    figure = go.Figure()
    named: list[Any] = list(view.steps.itertuples())
    rows = [(step, list(parts)) for step, parts in groupby(named, _step)]
    for place, (_, parts) in enumerate(rows):
        start = 0.0
        for part in parts:
            weighed = len(parts) > 1 and pd.notna(part.share)
            share = float(part.share) if weighed else 1 / len(parts)
            _box(figure, place, start, share, part, dark)
            start += share
    dress(figure, dark, height=46 * len(rows) + 50, left=90)
    figure.update_layout(margin={"t": 8, "b": 8})
    figure.update_xaxes(visible=False, range=[0, 1])
    figure.update_yaxes(
        tickvals=list(range(len(rows))), ticktext=[step for step, _ in rows],
        range=[len(rows) - 0.5, -0.5], showgrid=False, showline=False, ticks="",
    )  # fmt: skip
    return figure


def _step(part: Any) -> str:
    return str(part.step)


def _box(figure: go.Figure, place: int, start: float, share: float, part: Any, dark: bool) -> None:
    shades = ink(dark)
    figure.add_shape(
        type="rect", x0=start + _GAP, x1=start + share - _GAP,
        y0=place - _HEIGHT / 2, y1=place + _HEIGHT / 2,
        fillcolor=shades.window if part.there else "rgba(0,0,0,0)",
        line={"color": shades.soft, "width": 1, "dash": "solid" if part.there else "dash"},
    )  # fmt: skip
    name = f"<b>{part.name}</b>" if part.name else ""
    weight = f"{part.share:.0%}" if part.there and 0 < part.share < 1 else ""
    room = int(_LONGEST * share) - len(part.name or "")
    says = str(part.says) if len(str(part.says)) <= room else str(part.says)[: room - 1] + "…"
    figure.add_annotation(
        x=start + share / 2, y=place, showarrow=False,
        text=" &nbsp; ".join(text for text in (name, weight, says if room > 6 else "") if text),
        font={"size": 13, "color": shades.text if part.there else shades.soft},
    )  # fmt: skip
    figure.add_scatter(
        x=[start + share / 2], y=[place], mode="markers", marker={"opacity": 0, "size": 24},
        hovertemplate=f"{part.step} {part.name}: {part.says}<extra></extra>",
    )  # fmt: skip
