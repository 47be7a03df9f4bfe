"""One look for every figure: quiet greys, one accent, the doubt drawn with the estimate."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import plotly.graph_objects as go

# Okabe and Ito, "Color Universal Design", 2008: told apart by the common kinds of colour blindness.
OKABE_ITO = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#000000")
# A second sign beside colour, so that no reader depends on colour alone.
SYMBOLS = ("circle", "square", "diamond", "triangle-up", "cross", "star", "hexagon")
LINE_STYLES = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot")


@dataclass(frozen=True, slots=True)
class Ink:
    """The colours of one ground: text, quiet marks, grid, the house window, the one accent."""

    text: str
    soft: str
    faint: str
    grid: str
    window: str
    accent: str
    estimate: str
    ground: str


LIGHT = Ink(
    text="#23261f",
    soft="#6b6f66",
    faint="#b9b8ae",
    grid="#e7e3d8",
    window="rgba(203,170,92,0.22)",
    accent="#c24a00",
    estimate="#0b5f8a",
    ground="#fdfcf9",
)
DARK = Ink(
    text="#ece8dd",
    soft="#a3a69d",
    faint="#5d6363",
    grid="#2d3435",
    window="rgba(214,184,110,0.17)",
    accent="#ff9a4d",
    estimate="#7cc0e8",
    ground="#16191a",
)


def ink(dark: bool) -> Ink:
    """The colours of a light or a dark ground."""
    return DARK if dark else LIGHT


def families_of(dark: bool) -> tuple[str, ...]:
    """Colours for categories; black turns to light grey on a dark ground."""
    return (*OKABE_ITO[:-1], "#d8d8d0" if dark else OKABE_ITO[-1])


def veil(colour: str, opacity: float) -> str:
    """A colour given as `#rrggbb`, seen through to `opacity` (0 to 1)."""
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    return f"rgba({red},{green},{blue},{opacity:g})"


def dress(figure: go.Figure, dark: bool, height: int, left: int = 60) -> go.Figure:
    """Ground, fonts, margins and grid, the same on every figure."""
    shades = ink(dark)
    figure.update_layout(
        height=height,
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        font={"color": shades.text, "size": 13, "family": "Source Sans, sans-serif"},
        margin={"l": left, "r": 24, "t": 34, "b": 48},
        hoverlabel={"bgcolor": shades.ground, "font": {"color": shades.text, "size": 13}},
        showlegend=False,
        dragmode=False,
        modebar={"remove": ["lasso2d", "select2d", "autoScale2d"]},
    )
    axis = {
        "gridcolor": shades.grid,
        "zeroline": False,
        "linecolor": shades.faint,
        "tickcolor": shades.faint,
        "automargin": True,
    }
    figure.update_xaxes(**axis)
    figure.update_yaxes(**axis)
    figure.update_annotations(font={"color": shades.text, "size": 13})
    return figure


def dress_attributes(figure: go.Figure, names: Sequence[str], dark: bool) -> go.Figure:
    """Small multiples over the same attributes: one scale, the first attribute on top."""
    dress(figure, dark, height=27 * len(names) + 120, left=110)
    figure.update_layout(margin={"t": 58})
    figure.update_annotations(font={"size": 12, "color": ink(dark).soft})
    figure.update_xaxes(matches="x")
    figure.update_yaxes(categoryorder="array", categoryarray=names, autorange="reversed")
    return figure


def interval(
    low: Iterable[float], high: Iterable[float], at: Iterable[object], colour: str, width: float = 2
) -> go.Scatter:
    """Horizontal lines from `low` to `high` at the rows `at`: one trace, gaps between.

    The ends are rounded by marks: an axis leaves room beside marks, but cuts bare lines off flush.
    """
    x: list[float | None] = []
    y: list[object] = []
    for start, end, row in zip(low, high, at, strict=True):
        x += [start, end, None]
        y += [row, row, None]
    return go.Scatter(
        x=x,
        y=y,
        mode="lines+markers",
        line={"color": colour, "width": width},
        marker={"color": colour, "size": width},
        hoverinfo="skip",
        showlegend=False,
    )


def stems(
    figure: go.Figure, values: Sequence[float], names: Sequence[str], colours: Sequence[str]
) -> None:
    """A thin bar from nothing to each value, for a mark to stand at its end."""
    figure.add_bar(
        x=values, y=names, orientation="h", width=0.12, marker={"color": colours}, hoverinfo="skip"
    )


def label_end(
    figure: go.Figure, row: int, text: str, font: Mapping[str, object], **place: object
) -> None:
    """Words to the right of a line's end; `place` holds x and y, and what they refer to."""
    # left to itself the anchor changes from third to third of the panel
    figure.add_annotation(
        text=text,
        xanchor="left",
        yanchor="middle",
        xshift=6,
        showarrow=False,
        row=row,
        col=1,
        font=font,
        **place,
    )


def window(
    figure: go.Figure, dark: bool, low: float | None, high: float | None, **place: object
) -> None:
    """The house window as a pale band; an open end runs to the axis limit given in `place`."""
    axis = str(place.pop("axis", "y"))
    ends = {"y0": low, "y1": high} if axis == "y" else {"x0": low, "x1": high}
    draw = figure.add_hrect if axis == "y" else figure.add_vrect
    draw(**ends, fillcolor=ink(dark).window, line_width=0, layer="below", **place)
