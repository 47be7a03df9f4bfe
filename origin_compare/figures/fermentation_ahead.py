"""Where a running batch is heading: what was read, then the fan of what like batches did."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from origin_compare.fermentation import BatchReview, Forecast
from origin_compare.figures.fermentation import house_band, readings_kept
from origin_compare.figures.style import Ink, dress, ink, label_end, veil

_SHOWN = (("sg", "gravity", ".4f"), ("ph", "pH", ".2f"))


def ahead(made: Forecast, reviewed: BatchReview, dark: bool = False) -> go.Figure:
    """Gravity and pH of a running batch: readings so far, then median and 90 % interval to the
    planned end against the house band."""
    shades = ink(dark)
    figure = make_subplots(
        rows=len(_SHOWN),
        cols=1,
        shared_xaxes=True,
        vertical_spacing=0.12,
        subplot_titles=[says for _, says, _ in _SHOWN],
    )
    for row, (name, _, digits) in enumerate(_SHOWN, start=1):
        house_band(figure, made.band, name, row, shades)
        _fan(figure, made.path[made.path["channel"] == name], row, digits, shades)
        if name in reviewed.channels:
            readings_kept(figure, reviewed.channels[name], row, shades, f":{digits}")
    figure.add_vline(
        x=made.so_far_h, line={"color": shades.soft, "width": 1, "dash": "dot"}, row="all", col=1
    )
    dress(figure, dark, height=430, left=70)
    for title in figure.layout.annotations[: len(_SHOWN)]:
        title.update(x=0, xanchor="left", font={"size": 13, "color": shades.soft})
    _ends(figure, made, shades)
    figure.update_yaxes(tickformat=".3f", row=1, col=1)
    last = max(made.end_h, made.so_far_h)
    # room on the right for the words at the fan's end
    figure.update_xaxes(range=[-2, last * 1.16])
    figure.update_xaxes(title_text=f"hours since {reviewed.hour_zero}", row=len(_SHOWN), col=1)
    return figure


def _fan(figure: go.Figure, path: pd.DataFrame, row: int, digits: str, shades: Ink) -> None:
    line = {"color": shades.estimate, "width": 1}
    edge = {"x": path["hours"], "mode": "lines", "line": line, "hoverinfo": "skip"}
    pale = veil(shades.estimate, 0.16)
    figure.add_scatter(y=path["low"], **edge, row=row, col=1)
    figure.add_scatter(y=path["high"], fill="tonexty", fillcolor=pale, **edge, row=row, col=1)
    figure.add_scatter(
        x=path["hours"],
        y=path["mid"],
        mode="lines",
        line={"color": shades.estimate, "width": 2.5, "dash": "dash"},
        customdata=path[["low", "high"]].to_numpy(),
        hovertemplate=f"%{{x:.0f}} h: likely %{{y:{digits}}}, 90 % %{{customdata[0]:{digits}}} to "
        f"%{{customdata[1]:{digits}}}<extra></extra>",
        row=row,
        col=1,
    )


def _ends(figure: go.Figure, made: Forecast, shades: Ink) -> None:
    for row, (figures, digits) in enumerate(((made.final_sg, 4), (made.final_ph, 2)), start=1):
        label_end(
            figure,
            row,
            f"<b>{figures[1]:.{digits}f}</b>",
            {"size": 13, "color": shades.estimate},
            x=made.path["hours"].max(),
            y=figures[1],
        )
    figure.add_annotation(
        x=made.so_far_h,
        y=1.0,
        yref="y domain",
        text=" from here on foreseen ",
        showarrow=False,
        xanchor="left",
        yanchor="top",
        font={"size": 12, "color": shades.soft},
        row=1,
        col=1,
    )
