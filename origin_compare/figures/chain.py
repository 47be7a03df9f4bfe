"""Field to spirit: the steps of one batch as boxes, one grower's barley as bands."""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from itertools import groupby
from typing import Any

import pandas as pd
import plotly.graph_objects as go

from origin_compare.chain.steps import ChainView, GrowerChain
from origin_compare.figures.style import dress, ink
from origin_compare.season.lot_shares import Span

_HEIGHT, _GAP = 0.74, 0.006
_LONGEST = 66


def chain(view: ChainView, dark: bool = False) -> go.Figure:
    """One row per step from grower to panel, one box per thing in it, as wide as its share.

    Widths are shares by mass, and boxes stand in the same order of growers in every row, so that
    a malt lies under its lots. A dashed empty box is a step with nothing on record. Under a
    distilled spirit one row says how much of its alcohol is the greatest grower's: deep
    in colour up to the least, pale up to the most.
    """
    figure = go.Figure()
    named: list[Any] = list(view.steps.itertuples())
    labels: list[str] = []
    for step, parts in groupby(named, _step):
        _row(figure, len(labels), list(parts), dark)
        labels.append(step)
        if step == "spirit" and view.purity.distilled:
            _purity(figure, view, len(labels), dark)
            labels.append("its alcohol")
    dress(figure, dark, height=46 * len(labels) + 50, left=90)
    figure.update_layout(margin={"t": 8, "b": 8})
    figure.update_xaxes(visible=False, range=[0, 1], fixedrange=True)
    figure.update_yaxes(
        tickvals=list(range(len(labels))),
        ticktext=labels,
        fixedrange=True,
        range=[len(labels) - 0.5, -0.5],
        showgrid=False,
        showline=False,
        ticks="",
    )
    return figure


def _row(figure: go.Figure, place: int, parts: list[Any], dark: bool) -> None:
    start = 0.0
    for part in parts:
        weighed = len(parts) > 1 and pd.notna(part.share)
        share = float(part.share) if weighed else 1 / len(parts)
        _box(figure, place, start, share, part, dark)
        start += share


def _step(part: Any) -> str:
    return str(part.step)


def _box(figure: go.Figure, place: int, start: float, share: float, part: Any, dark: bool) -> None:
    shades = ink(dark)
    figure.add_shape(
        type="rect",
        x0=start + _GAP,
        x1=start + share - _GAP,
        y0=place - _HEIGHT / 2,
        y1=place + _HEIGHT / 2,
        fillcolor=shades.window if part.there else "rgba(0,0,0,0)",
        layer="below",
        line={"color": shades.soft, "width": 1, "dash": "solid" if part.there else "dash"},
    )
    figure.add_annotation(
        x=start + share / 2,
        y=place,
        showarrow=False,
        text=_label(part, int(_LONGEST * share)),
        font={"size": 13, "color": shades.text if part.there else shades.soft},
    )
    figure.add_scatter(
        x=[start + share / 2],
        y=[place],
        mode="markers",
        marker={"opacity": 0, "size": 24},
        hovertemplate=f"{part.step} {part.name}: {part.says}<extra></extra>",
    )


def _label(part: Any, room: int) -> str:
    """Name, share and as many whole facts as the box has room for."""
    weight = f"{part.share:.0%}" if part.there and 0 < part.share < 1 else ""
    facts = str(part.says).split(", ")
    left = room - len(part.name or "") - len(weight) - 4
    shown = _fitting(facts, left)
    name = f"<b>{part.name}</b>" if part.name else ""
    return " &nbsp; ".join(text for text in (name, weight, shown) if text)


def _fitting(facts: list[str], room: int) -> str:
    while facts and len(", ".join(facts)) > room:
        facts = facts[:-1]
    return ", ".join(facts)


def _purity(figure: go.Figure, view: ChainView, place: int, dark: bool) -> None:
    """The span of the greatest grower's alcohol: deep to the least, pale to the most."""
    shades, share = ink(dark), view.purity.share
    y0, y1 = place - _HEIGHT / 2, place + _HEIGHT / 2
    box = {"type": "rect", "y0": y0, "y1": y1, "layer": "below"}
    figure.add_shape(
        **box, x0=_GAP, x1=1 - _GAP, line={"color": shades.soft, "width": 1, "dash": "dash"}
    )
    for end, opacity in ((share.most, 0.16), (share.least, 0.30)):
        figure.add_shape(
            **box,
            x0=_GAP,
            x1=max(_GAP, end - _GAP),
            fillcolor=shades.accent,
            opacity=opacity,
            line={"width": 0},
        )
    words = f"<b>{view.purity.of}</b> &nbsp; {share.words()}, from least to most"
    figure.add_annotation(x=0.5, y=place, showarrow=False, text=words)
    figure.add_scatter(
        x=[0.5],
        y=[place],
        mode="markers",
        marker={"opacity": 0, "size": 24},
        hovertemplate=f"{words}<extra></extra>",
    )


# One grower: three columns of boxes, joined by bands as broad as the malt that went that way.

_COLUMNS = {"lot_id": (0.0, 0.15), "malt_id": (0.29, 0.42), "batch_id": (0.56, 1.0)}
_BETWEEN, _LEAST = 0.35, 0.55
"""Room between boxes, and the least height of one, in units of the mean way."""


def grower_chain(view: GrowerChain, dark: bool = False) -> go.Figure:
    """Lots, malts and batches of one grower as boxes, joined by bands as broad as the malt in kg.

    A batch's box is as high as all its malt; what of it is other growers' is dashed. A lot not
    yet mashed is a dashed box.
    """
    ways = view.ways.assign(height=_heights(view.ways))
    figure = go.Figure()
    tops = {column: _tops(ways, column) for column in _COLUMNS}
    deepest = max(
        (top + height for one in tops.values() for top, height, _ in one.values()), default=1.0
    )
    for left, right in (("lot_id", "malt_id"), ("malt_id", "batch_id")):
        _bands(figure, ways, (left, tops[left]), (right, tops[right]), dark)
    shares = view.batches.set_index("batch_id")["share"]
    for column, boxes in tops.items():
        for name, (top, height, own) in boxes.items():
            _node(figure, column, str(name), (top, height, own), shares.get(name), view, dark)
    dress(figure, dark, height=int(90 + 62 * deepest), left=8)
    figure.update_layout(margin={"t": 34, "b": 8, "r": 8})
    figure.update_xaxes(visible=False, range=[0, 1], fixedrange=True)
    figure.update_yaxes(visible=False, range=[deepest + 0.1, -0.1], fixedrange=True)
    for column, (start, _) in _COLUMNS.items():
        figure.add_annotation(
            x=start,
            xanchor="left",
            y=1,
            yref="paper",
            yanchor="bottom",
            showarrow=False,
            text=_HEADS[column],
            font={"size": 13, "color": ink(dark).soft},
        )
    return figure


_HEADS = {"lot_id": "lot", "malt_id": "malting", "batch_id": "batch"}


def _heights(ways: pd.DataFrame) -> pd.Series:
    """Heights in units of the mean way; a way without a weight is drawn as high as the mean."""
    known = ways["malt_kg"].where(ways["batch_id"].notna())
    return (known / known.mean()).fillna(1.0) if known.notna().any() else known.fillna(1.0)


Box = tuple[float, float, float]
"""Top, height, and how much of the height is this grower's."""


def _tops(ways: pd.DataFrame, column: str) -> dict[Hashable, Box]:
    boxes: dict[Hashable, Box] = {}
    top = 0.0
    for name, rows in ways.dropna(subset=column).groupby(column, sort=False):
        own = float(rows["height"].sum())
        whole = own
        if column == "batch_id":
            ours = float(rows["malt_kg"].sum(skipna=False))
            whole = own * float(rows["batch_kg"].iloc[0]) / ours if ours > 0 else own
        boxes[name] = (top, max(whole, _LEAST), own)
        top += max(whole, _LEAST) + _BETWEEN
    return boxes


def _bands(
    figure: go.Figure,
    ways: pd.DataFrame,
    left: tuple[str, dict[Hashable, Box]],
    right: tuple[str, dict[Hashable, Box]],
    dark: bool,
) -> None:
    """One band per way, leaving and arriving below the one before."""
    (start, starts), (end, ends) = left, right
    used: dict[tuple[str, Hashable], float] = {}
    for way in ways.dropna(subset=[start, end]).to_dict("records"):
        height = float(way["height"])
        y0 = starts[way[start]][0] + used.get((start, way[start]), 0.0)
        y1 = ends[way[end]][0] + used.get((end, way[end]), 0.0)
        for key in ((start, way[start]), (end, way[end])):
            used[key] = used.get(key, 0.0) + height
        x0, x1 = _COLUMNS[start][1], _COLUMNS[end][0]
        middle = (x0 + x1) / 2
        figure.add_shape(
            type="path",
            fillcolor=ink(dark).window,
            line={"width": 0},
            layer="below",
            path=f"M {x0},{y0} C {middle},{y0} {middle},{y1} {x1},{y1} L {x1},{y1 + height} "
            f"C {middle},{y1 + height} {middle},{y0 + height} {x0},{y0 + height} Z",
        )


def _node(
    figure: go.Figure,
    column: str,
    name: str,
    box: Box,
    share: float | None,
    view: GrowerChain,
    dark: bool,
) -> None:
    shades, (x0, x1), (top, height, own) = ink(dark), _COLUMNS[column], box
    mashed = (
        column != "lot_id" or view.ways.loc[view.ways["lot_id"] == name, "batch_id"].notna().any()
    )
    if height > own + 1e-9 and share is not None and share < 1:
        _rect(figure, x0, x1, top + own, top + height, shades, there=False)
        if height - own > _BETWEEN:
            figure.add_annotation(
                x=x0 + 0.008,
                xanchor="left",
                y=top + (own + height) / 2,
                showarrow=False,
                text="other growers",
                font={"size": 12, "color": shades.soft},
            )
    height_own = own if share is not None and share < 1 else height
    _rect(figure, x0, x1, top, top + height_own, shades, there=bool(mashed))
    figure.add_annotation(
        x=x0 + 0.008,
        xanchor="left",
        y=top + height_own / 2,
        showarrow=False,
        align="left",
        text="<br>".join(_lines(column, name, share, view)),
        font={"size": 13, "color": shades.text if mashed else shades.soft},
    )
    figure.add_scatter(
        x=[(x0 + x1) / 2],
        y=[top + height / 2],
        mode="markers",
        marker={"opacity": 0, "size": 30},
        hovertemplate=f"{'<br>'.join(_hover(column, name, view))}<extra></extra>",
    )


def _rect(
    figure: go.Figure, x0: float, x1: float, y0: float, y1: float, shades: Any, there: bool
) -> None:
    figure.add_shape(
        type="rect",
        x0=x0,
        x1=x1,
        y0=y0,
        y1=y1,
        layer="below",
        fillcolor=shades.window if there else "rgba(0,0,0,0)",
        line={"color": shades.soft, "width": 1, "dash": "solid" if there else "dash"},
    )


def _lines(column: str, name: str, share: float | None, view: GrowerChain) -> Iterable[str]:
    yield f"<b>{name}</b>"
    if column == "batch_id" and share is not None:
        row = view.batches.set_index("batch_id").loc[[name]].iloc[0]
        told = f"{share:.0%} of its malt" if share < 1 else "all of its malt"
        ends = Span(row["least_pct"] / 100, row["most_pct"] / 100)
        yield f"{told}; alcohol {ends.words()}"


def _hover(column: str, name: str, view: GrowerChain) -> Iterable[str]:
    rows = view.ways[view.ways[column] == name]
    yield f"{_HEADS[column]} {name}"
    kg = rows["malt_kg"].sum(min_count=1)
    yield "not mashed, or no weight" if pd.isna(kg) else f"{kg:,.0f} kg of this grower's malt"
    if column == "batch_id":
        why = str(view.batches.set_index("batch_id").loc[name, "why_not"])
        yield why or "can be called of one grower"
