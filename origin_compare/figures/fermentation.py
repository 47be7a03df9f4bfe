"""Fermentations: all batches against the clock, and one batch channel by channel."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from origin_compare.fermentation import BatchReview, Departures
from origin_compare.figures.style import dress, ink, interval

_CHANNELS = (
    ("sg", "gravity"),
    ("ph", "pH"),
    ("temp_c", "temperature, °C"),
    ("cooling_pct", "cooling, % open"),
)
_MARKS = {"left": "x", "still fermenting": "triangle-right", "cannot tell": "circle-open"}
MOST_POINTS = 4000


def departures(
    found: Departures, lengths: pd.Series, everything: bool, dark: bool = False
) -> go.Figure:
    """One row per batch from yeast in to its end; where it left the band is drawn across.

    `lengths`: batch_id -> hours of log. Without `everything`, batches in style are left out.
    """
    shades = ink(dark)
    shown = [one for one in found if everything or one.status != "in style" or one.running]
    names = [one.batch_id for one in shown]
    figure = go.Figure()
    figure.add_trace(
        interval(
            [0.0] * len(names), [float(lengths.get(n, 0)) for n in names], names, shades.faint, 5
        )
    )
    left = [one for one in shown if one.status == "left"]
    at = [one.batch_id for one in left]
    figure.add_trace(
        interval([one.from_h for one in left], [one.to_h for one in left], at, shades.accent, 9)
    )
    figure.add_scatter(
        x=[one.likely_h for one in left], y=at, mode="markers",
        marker={"symbol": "line-ns", "size": 13, "line": {"width": 3, "color": shades.text}},
        customdata=[one.sentence() for one in left], hovertemplate="%{customdata}<extra></extra>",
    )  # fmt: skip
    figure.add_scatter(
        x=[float(lengths.get(name, 0)) for name in at], y=at, mode="text",
        text=[f"   {one.channel}: {one.named}" for one in left], textposition="middle right",
        textfont={"size": 12, "color": shades.text}, hoverinfo="skip",
    )  # fmt: skip
    others = [
        one for one in shown if one.status != "left" and (one.running or one.status in _MARKS)
    ]
    figure.add_scatter(
        x=[float(lengths.get(one.batch_id, 0)) for one in others],
        y=[one.batch_id for one in others], mode="markers+text",
        text=["  still fermenting" if one.running else f"  {one.status}" for one in others],
        textposition="middle right", textfont={"size": 12, "color": shades.soft},
        marker={
            "symbol": ["triangle-right" if one.running else "circle-open" for one in others],
            "size": 10, "color": shades.estimate,
        },
        hovertemplate="%{y}<extra></extra>",
    )  # fmt: skip
    dress(figure, dark, height=max(24 * len(names) + 90, 200), left=90)
    figure.update_yaxes(
        autorange="reversed", showgrid=False, type="category",
        categoryorder="array", categoryarray=names,
    )  # fmt: skip
    longest = max([float(lengths.get(name, 0)) for name in names], default=100.0)
    figure.update_xaxes(title_text="hours since yeast in", range=[-2, longest * 1.75])
    return figure


def batch(reviewed: BatchReview, dark: bool = False) -> go.Figure:
    """One batch: gravity, pH, temperature and cooling on one clock, the house band behind.

    Readings set aside are open crosses; the stretch in which the batch left the band is shaded.
    """
    shades = ink(dark)
    shown = [(name, says) for name, says in _CHANNELS if name in reviewed.channels]
    figure = make_subplots(
        rows=len(shown), cols=1, shared_xaxes=True, vertical_spacing=0.06,
        subplot_titles=[says for _, says in shown],
    )  # fmt: skip
    for row, (name, _) in enumerate(shown, start=1):
        _band(figure, reviewed, name, row, dark)
        _readings(figure, reviewed.channels[name], row, dark)
        if name == "sg":
            figure.add_scatter(
                x=reviewed.curve_line["hours"], y=reviewed.curve_line["sg"], mode="lines",
                line={"color": shades.estimate, "width": 1.5}, hoverinfo="skip", row=row, col=1,
            )  # fmt: skip
            figure.update_yaxes(tickformat=".3f", row=row, col=1)
    _departure(figure, reviewed, shades.accent)
    _events(figure, reviewed, len(shown), dark)
    dress(figure, dark, height=165 * len(shown) + 70, left=70)
    titles = figure.layout.annotations[: len(shown)]
    for title in titles:
        title.update(x=0, xanchor="left", font={"size": 13, "color": shades.soft})
    figure.update_xaxes(title_text=f"hours since {reviewed.hour_zero}", row=len(shown), col=1)
    return figure


def _band(figure: go.Figure, reviewed: BatchReview, name: str, row: int, dark: bool) -> None:
    band = reviewed.bands.get(name)
    if band is None:
        return
    shades = ink(dark)
    edge = {"x": band["hours"], "mode": "lines", "line": {"width": 0}, "hoverinfo": "skip"}
    figure.add_scatter(y=band["low"], **edge, row=row, col=1)
    figure.add_scatter(
        y=band["high"], fill="tonexty", fillcolor=shades.window, **edge, row=row, col=1
    )


def _readings(figure: go.Figure, channel: pd.DataFrame, row: int, dark: bool) -> None:
    shades = ink(dark)
    kept = thinned(channel[~channel["set_aside"]])
    dense = len(kept) > 300
    figure.add_scatter(
        x=kept["hours"], y=kept["value"], mode="lines" if dense else "markers",
        marker={"size": 7, "color": shades.text}, line={"color": shades.text, "width": 1},
        hovertemplate="%{x:.1f} h: %{y}<extra></extra>", row=row, col=1,
    )  # fmt: skip
    aside = thinned(channel[channel["set_aside"]])
    figure.add_scatter(
        x=aside["hours"], y=aside["value"], mode="markers", customdata=aside["why"],
        marker={"size": 9, "symbol": "x-thin-open", "color": shades.soft, "line": {"width": 2}},
        hovertemplate="set aside, %{x:.1f} h: %{y}, %{customdata}<extra></extra>", row=row, col=1,
    )  # fmt: skip


def _departure(figure: go.Figure, reviewed: BatchReview, accent: str) -> None:
    found = reviewed.departure
    if found.status != "left":
        return
    figure.add_vrect(
        x0=found.from_h,
        x1=found.to_h,
        fillcolor=accent,
        opacity=0.16,
        line_width=0,
        row="all",
        col=1,
    )
    figure.add_vline(
        x=found.likely_h, line={"color": accent, "width": 1.5, "dash": "dash"}, row="all", col=1
    )


def _events(figure: go.Figure, reviewed: BatchReview, rows: int, dark: bool) -> None:
    shades = ink(dark)
    told = reviewed.events[reviewed.events["kind"].isin(["end", "note"])]
    for event in told.itertuples():
        figure.add_vline(
            x=event.hours, line={"color": shades.soft, "width": 1, "dash": "dot"}, row="all", col=1
        )
        figure.add_annotation(
            x=event.hours, y=1, yref="y domain", text=str(event.what), showarrow=False,
            xanchor="right", yanchor="top", font={"size": 11, "color": shades.soft}, row=1, col=1,
        )  # fmt: skip


def thinned(channel: pd.DataFrame, most: int = MOST_POINTS) -> pd.DataFrame:
    """At most about `most` readings, keeping the lowest and the highest of every stretch."""
    if len(channel) <= most:
        return channel
    ordered = channel.sort_values("hours").reset_index(drop=True)
    stretch = pd.Series(range(len(ordered))) * (most // 2) // len(ordered)
    values = ordered["value"].groupby(stretch)
    return ordered.loc[sorted({*values.idxmin(), *values.idxmax()})]
