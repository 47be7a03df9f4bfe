"""Fermentations: all batches against the clock, and one batch channel by channel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from origin_compare.fermentation import BatchReview, Departure, Departures
from origin_compare.figures.style import Ink, dress, ink, interval

_CHANNELS = (
    ("sg", "gravity"),
    ("ph", "pH"),
    ("temp_c", "temperature, °C"),
    ("cooling_pct", "cooling, % open"),
)
MOST_POINTS = 4000
_KINDS = {
    "pitch": "triangle-up",
    "cooling": "square",
    "note": "circle",
    "end": "line-ns-open",
    "left": "x-thin-open",
}
_CHARS = 62
"""Letters that fit across the figure on a narrow screen."""
_LONGEST = 34
_MOST_NOTES = 4
"""More notes than this are marked only: their words are under the pointer and in the table."""
_ROW_PX, _TOLD_PX = 22, 40


def departures(
    found: Departures, lengths: pd.Series, everything: bool, dark: bool = False
) -> go.Figure:
    """One row per batch from hour zero to its end; where it left the band is drawn across.

    `lengths`: batch_id -> hours of log. Running batches come first, then those that left, then
    those of which nothing can be told; without `everything`, batches in style are left out.
    """
    shades = ink(dark)
    shown = sorted(
        (one for one in found if everything or one.status != "in style" or one.running), key=_rank
    )
    told = {one.batch_id: text for one in shown if (text := _told(one))}
    rows = _rows(shown, told)
    ends = {one.batch_id: float(lengths.get(one.batch_id, 0.0)) for one in shown}
    figure = go.Figure()
    figure.add_trace(interval([0.0] * len(rows), ends.values(), rows.values(), shades.faint, 5))
    _left(figure, shown, rows, shades)
    _running_or_untold(figure, shown, ends, rows, shades)
    dress(figure, dark, height=round(max(rows.values(), default=0.0) + 150), left=80)
    _words_below(figure, told, rows, shades)
    figure.update_yaxes(
        showgrid=False,
        tickvals=list(rows.values()),
        ticktext=list(rows),
        range=[max(rows.values(), default=0.0) + 34, -20],
    )
    longest = max([*ends.values(), 24.0])
    figure.update_xaxes(title_text=f"hours since {found.hour_zero}", range=[-2, longest * 1.03])
    return figure


def _left(
    figure: go.Figure, shown: Sequence[Departure], rows: Mapping[str, float], shades: Ink
) -> None:
    """Where each batch left the band: the span of hours, and the likeliest one."""
    left = [one for one in shown if one.status == "left"]
    at = [rows[one.batch_id] for one in left]
    figure.add_trace(
        interval([one.from_h for one in left], [one.to_h for one in left], at, shades.accent, 9)
    )
    figure.add_scatter(
        x=[one.likely_h for one in left],
        y=at,
        mode="markers",
        marker={"symbol": "line-ns", "size": 13, "line": {"width": 3, "color": shades.text}},
        customdata=[one.sentence() for one in left],
        hovertemplate="%{customdata}<extra></extra>",
    )


def _running_or_untold(
    figure: go.Figure,
    shown: Sequence[Departure],
    ends: Mapping[str, float],
    rows: Mapping[str, float],
    shades: Ink,
) -> None:
    """A mark at the end of what is known: an arrow where the batch runs on, else open."""
    others = [one for one in shown if one.running or one.status == "cannot tell"]
    figure.add_scatter(
        x=[ends[one.batch_id] for one in others],
        y=[rows[one.batch_id] for one in others],
        mode="markers",
        hoverinfo="skip",
        marker={
            "symbol": ["triangle-right" if one.running else "circle-open" for one in others],
            "size": 10,
            "color": shades.estimate,
        },
    )


def _words_below(
    figure: go.Figure, told: Mapping[str, str], rows: Mapping[str, float], shades: Ink
) -> None:
    for name, text in told.items():
        # under the line, so that no label runs out of a narrow figure
        figure.add_annotation(
            x=0,
            y=rows[name],
            text=text,
            showarrow=False,
            xanchor="left",
            yanchor="top",
            yshift=-4,
            font={"size": 12, "color": shades.soft},
        )


def _rows(shown: list[Departure], told: Mapping[str, str]) -> dict[str, float]:
    """Where each batch's line stands, in pixels from the first; deeper with words under it."""
    rows, at = {}, 0.0
    for one in shown:
        rows[one.batch_id] = at
        at += _TOLD_PX if one.batch_id in told else _ROW_PX
    return rows


def _rank(one: Departure) -> int:
    if one.running:
        return 0
    return {"left": 1, "cannot tell": 2}.get(one.status, 3)


def _told(one: Departure) -> str:
    """What is written under a batch's line."""
    if one.status == "left":
        cause = "cause cannot be told" if one.named == "cannot tell" else one.named
        said = cause if cause.lower().startswith(one.channel.lower()) else f"{one.channel}: {cause}"
        return f"{said}, still fermenting" if one.running else said
    if one.running:
        return "still fermenting"
    return "cannot tell" if one.status == "cannot tell" else ""


def batch(reviewed: BatchReview, dark: bool = False) -> go.Figure:
    """One batch: what happened, then gravity, pH, temperature and cooling on one clock, the house
    band behind.

    Readings set aside are open crosses; the stretch in which the batch left the band is shaded.
    """
    shades = ink(dark)
    shown = [(name, says) for name, says in _CHANNELS if name in reviewed.channels]
    lanes = _lanes(reviewed)
    deep = 18 * (1 + max((lane for *_, lane in lanes), default=0)) + 8
    rows = 1 + len(shown)
    figure = make_subplots(
        rows=rows,
        cols=1,
        shared_xaxes=True,
        vertical_spacing=0.055,
        row_heights=[deep, *[125] * len(shown)],
        subplot_titles=["what happened", *(says for _, says in shown)],
    )
    _strip(figure, lanes, shades)
    for row, (name, _) in enumerate(shown, start=2):
        house_band(figure, reviewed.bands, name, row, ink(dark))
        _readings(figure, reviewed.channels[name], row, dark)
        if name == "sg":
            figure.add_scatter(
                x=reviewed.curve_line["hours"],
                y=reviewed.curve_line["sg"],
                mode="lines",
                line={"color": shades.estimate, "width": 1.5},
                hoverinfo="skip",
                row=row,
                col=1,
            )
            figure.update_yaxes(tickformat=".3f", row=row, col=1)
    _departure(figure, reviewed, shades.accent)
    dress(figure, dark, height=165 * len(shown) + deep + 90, left=70)
    for title in figure.layout.annotations[:rows]:
        title.update(x=0, xanchor="left", font={"size": 13, "color": shades.soft})
    figure.update_yaxes(visible=False, range=[_depth(lanes) - 0.4, -0.6], row=1, col=1)
    figure.update_xaxes(title_text=f"hours since {reviewed.hour_zero}", row=rows, col=1)
    return figure


Lane = tuple[float, str, str, str, int]


def _lanes(reviewed: BatchReview) -> list[Lane]:
    """(hour, kind, short text, whole text, lane): each event on the first lane where its text
    does not run into another's. A long note is marked "note": words are never cut off."""
    told = reviewed.events[reviewed.events["kind"].isin(list(_KINDS))]
    last = max([1.0, *(float(frame["hours"].max()) for frame in reviewed.channels.values())])
    many = int((told["kind"] == "note").sum()) > _MOST_NOTES
    taken: list[float] = []
    out: list[Lane] = []
    for event in told.itertuples():
        whole = str(event.what)
        text = "note" if event.kind == "note" and len(whole) > _LONGEST else whole
        if event.kind == "note" and many:
            text = ""
        hour, wide = float(str(event.hours)), (len(text) + 3) * last / _CHARS
        start = hour - wide if hour + wide > last else hour
        lane = next((at for at, end in enumerate(taken) if end <= start), len(taken))
        taken[lane : lane + 1] = [max(hour, start + wide)]
        out.append((hour, str(event.kind), text, whole, lane))
    return out


def _depth(lanes: list[Lane]) -> int:
    return 1 + max((lane for *_, lane in lanes), default=0)


def _strip(figure: go.Figure, lanes: list[Lane], shades: Ink) -> None:
    """Events by hour with their words beside them."""
    last = max([1.0, *(hour for hour, *_ in lanes)])
    figure.add_scatter(
        x=[hour for hour, *_ in lanes],
        y=[lane for *_, lane in lanes],
        mode="markers+text",
        text=[f" {text} " for _, _, text, _, _ in lanes],
        textposition=[
            "middle left" if hour + (len(text) + 3) * last / _CHARS > last else "middle right"
            for hour, _, text, _, _ in lanes
        ],
        customdata=[whole for _, _, _, whole, _ in lanes],
        hovertemplate="%{x:.1f} h: %{customdata}<extra></extra>",
        textfont={"size": 12, "color": shades.soft},
        cliponaxis=False,
        marker={
            "symbol": [_KINDS[kind] for _, kind, *_ in lanes],
            "size": 9,
            "color": [shades.accent if kind == "left" else shades.soft for _, kind, *_ in lanes],
            "line": {
                "width": 2,
                "color": [
                    shades.accent if kind == "left" else shades.soft for _, kind, *_ in lanes
                ],
            },
        },
        row=1,
        col=1,
    )


def house_band(
    figure: go.Figure, bands: Mapping[str, pd.DataFrame], name: str, row: int, shades: Ink
) -> None:
    """The house band of one channel (hours, low, high) as a pale ground; none where it has none."""
    band = bands.get(name)
    if band is None:
        return
    edge = {"x": band["hours"], "mode": "lines", "line": {"width": 0}, "hoverinfo": "skip"}
    figure.add_scatter(y=band["low"], **edge, row=row, col=1)
    figure.add_scatter(
        y=band["high"], fill="tonexty", fillcolor=shades.window, **edge, row=row, col=1
    )


def readings_kept(
    figure: go.Figure, channel: pd.DataFrame, row: int, shades: Ink, digits: str = ""
) -> None:
    """The readings not set aside, as marks, a probe's as a line; hovering says them to `digits`."""
    kept = thinned(channel[~channel["set_aside"]])
    dense = len(kept) > 300
    figure.add_scatter(
        x=kept["hours"],
        y=kept["value"],
        mode="lines" if dense else "markers",
        marker={"size": 7, "color": shades.text},
        line={"color": shades.text, "width": 1},
        hovertemplate=f"%{{x:.1f}} h: %{{y{digits}}}<extra></extra>",
        row=row,
        col=1,
    )


def _readings(figure: go.Figure, channel: pd.DataFrame, row: int, dark: bool) -> None:
    shades = ink(dark)
    readings_kept(figure, channel, row, shades)
    aside = thinned(channel[channel["set_aside"]])
    figure.add_scatter(
        x=aside["hours"],
        y=aside["value"],
        mode="markers",
        customdata=aside["why"],
        marker={"size": 9, "symbol": "x-thin-open", "color": shades.soft, "line": {"width": 2}},
        hovertemplate="set aside, %{x:.1f} h: %{y}, %{customdata}<extra></extra>",
        row=row,
        col=1,
    )


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


def thinned(channel: pd.DataFrame, most: int = MOST_POINTS) -> pd.DataFrame:
    """At most about `most` readings, keeping the lowest and the highest of every stretch."""
    if len(channel) <= most:
        return channel
    ordered = channel.sort_values("hours").reset_index(drop=True)
    stretch = pd.Series(range(len(ordered))) * (most // 2) // len(ordered)
    values = ordered["value"].groupby(stretch)
    return ordered.loc[sorted({*values.idxmin(), *values.idxmax()})]
