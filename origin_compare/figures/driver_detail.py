"""Drivers in detail: one attribute's batches, growers side by side, field figures, paths."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from origin_compare import words
from origin_compare.drivers import (
    Agreement,
    FixedHours,
    Opened,
    Origins,
    Path,
    Traits,
    VarianceParts,
)
from origin_compare.drivers.wording import step, title, upper
from origin_compare.figures.style import (
    OKABE_ITO,
    SYMBOLS,
    dress,
    dress_attributes,
    ink,
    interval,
    veil,
)

_SEASON_SYMBOLS = ("circle", "diamond-open", "square", "triangle-up-open")


def opened(found: Opened, dark: bool = False) -> go.Figure:
    """The attribute's batches against each process variable, with the slope and its band.

    A sign per harvest; a name on batches that a finding leans on. Broken line: the slope of this
    variable alone, since it cannot be told apart from another.
    """
    shades = ink(dark)
    shown = list(found.process)
    figure = make_subplots(
        rows=1,
        cols=len(shown),
        shared_yaxes=True,
        horizontal_spacing=0.025,
        subplot_titles=[_headline(found, name) for name in shown],
    )
    seasons = sorted(found.points["season"].unique())
    for column, name in enumerate(shown, start=1):
        line = found.lines[found.lines["process"] == name]
        verdict = str(found.slopes.loc[found.slopes["process"] == name, "verdict"].iloc[0])
        colour = shades.accent if verdict == "clear" else shades.estimate
        figure.add_scatter(
            x=[*line["at"], *line["at"][::-1]],
            y=[*line["low"], *line["high"][::-1]],
            fill="toself",
            fillcolor=veil(colour, 0.14),
            line={"width": 0},
            hoverinfo="skip",
            mode="lines",
            row=1,
            col=column,
        )
        dash = "dash" if line["kind"].iloc[0] == "alone" else "solid"
        figure.add_scatter(
            x=line["at"],
            y=line["fit"],
            mode="lines",
            hoverinfo="skip",
            line={"color": colour, "width": 2, "dash": dash},
            row=1,
            col=column,
        )
        for place, season in enumerate(seasons):
            _batches(figure, found, name, season, place, column, dark)
    dress(figure, dark, height=420, left=62)
    figure.update_layout(margin={"t": 58, "b": 58})
    figure.update_annotations(font={"size": 12, "color": shades.soft})
    figure.update_yaxes(title_text="adjusted score", title_standoff=6, col=1, row=1)
    for column, name in enumerate(shown, start=1):
        figure.update_xaxes(title_text=_axis(name), row=1, col=column)
    return figure


def _batches(
    figure: go.Figure, found: Opened, name: str, season: object, place: int, column: int, dark: bool
) -> None:
    shades = ink(dark)
    rows = found.points[found.points["season"] == season]
    marked = rows["batch_id"].isin(found.named[name])
    figure.add_scatter(
        x=rows[name],
        y=rows["estimate"],
        mode="markers+text",
        text=rows["batch_id"].where(marked, ""),
        textposition=_inwards(rows[name], found.points[name]),
        textfont={"size": 12, "color": shades.text},
        marker={
            "symbol": _SEASON_SYMBOLS[place % len(_SEASON_SYMBOLS)],
            "size": [10 if one else 7 for one in marked],
            "color": [shades.text if one else shades.soft for one in marked],
        },
        error_y={
            "type": "data",
            "symmetric": False,
            "array": rows["high"] - rows["estimate"],
            "arrayminus": rows["estimate"] - rows["low"],
            "color": shades.faint,
            "thickness": 1,
            "width": 0,
        },
        customdata=rows[["batch_id", found.origin, "low", "high"]].to_numpy(),
        hovertemplate="%{customdata[0]} (%{customdata[1]})<br>%{y:.2f} "
        "(%{customdata[2]:.2f} to %{customdata[3]:.2f}) at %{x}<extra></extra>",
        row=1,
        col=column,
    )


def _inwards(at: pd.Series, every: pd.Series) -> list[str]:
    """Names written towards the middle of the panel, so that none is cut off at its edge."""
    middle = (every.min() + every.max()) / 2
    return ["middle left" if one > middle else "middle right" for one in at]


def _headline(found: Opened, name: str) -> str:
    row = found.slopes[found.slopes["process"] == name].iloc[0]
    says = str(row["verdict"])
    if says == "cannot be told apart":
        says = f"cannot be told from {title(str(row['tied_with']))}"
    return f"{upper(title(name))}<br>{says}"


_AXES = {"length_h": "h", "peak_temp_c": "°C", "final_ph": "pH"}


def _axis(name: str) -> str:
    unit = _AXES.get(name, "")
    return unit if unit in ("pH", "") else f"{title(name)}, {unit}"


def origins(
    found: Origins,
    agreement: Agreement | None,
    attribute: str | None = None,
    grower: str | None = None,
    dark: bool = False,
) -> go.Figure:
    """Growers on one attribute, or one grower on every attribute: points from the mean of all.

    Full: process left as it was (total). Open: at like process (direct). Small signs: what each
    harvest alone gave, not drawn towards the mean. Name one of `attribute` and `grower`.
    """
    shades = ink(dark)
    key, across = (found.origin, "attribute") if attribute else ("attribute", found.origin)
    table = found.table()
    table = table[table[across] == (attribute or grower)]
    if grower:
        table = table[table["told_apart"]]
    names = [words.flavour(str(name)) for name in table[key]]
    places = list(range(len(names)))
    figure = go.Figure()
    figure.add_vline(x=0, line={"color": shades.soft, "width": 1})
    for shift, (low, mid, high), colour, symbol, says in (
        (-0.16, ("low", "estimate", "high"), shades.estimate, "circle", "total"),
        (0.16, ("direct_low", "direct", "direct_high"), shades.soft, "circle-open", "like process"),
    ):
        at = [place + shift for place in places]
        figure.add_trace(interval(table[low], table[high], at, colour))
        figure.add_scatter(
            x=table[mid],
            y=at,
            mode="markers",
            marker={"symbol": symbol, "size": 9, "color": colour},
            customdata=list(zip(names, table[low], table[high], strict=True)),
            hovertemplate=f"%{{customdata[0]}}, {says}: %{{x:.2f}} (%{{customdata[1]:.2f}} to "
            "%{customdata[2]:.2f})<extra></extra>",
        )
    if agreement is not None:
        _harvests(figure, agreement, list(table[key]), key, across, attribute or grower, dark)
    dress(figure, dark, height=26 * len(names) + 110, left=90)
    figure.update_yaxes(
        tickvals=places, ticktext=names, range=[len(names) - 0.4, -0.6], showgrid=False
    )
    figure.update_xaxes(title_text="score points from the mean of all")
    return figure


def _harvests(
    figure: go.Figure,
    agreement: Agreement,
    names: list[str],
    key: str,
    across: str,
    chosen: str | None,
    dark: bool,
) -> None:
    means = agreement.means[agreement.means[across] == chosen]
    for place, season in enumerate(agreement.seasons):
        rows = means[(means["season"] == season) & means[key].isin(names)]
        colour = OKABE_ITO[(1, 2, 3, 4)[place % 4]]
        figure.add_scatter(
            x=rows["score"],
            y=[names.index(name) + 0.38 for name in rows[key]],
            mode="markers",
            marker={"symbol": f"{SYMBOLS[1 + place % 4]}-open", "size": 6, "color": colour},
            customdata=rows[["season", "n"]].to_numpy(),
            hovertemplate="%{customdata[0]}: %{x:.2f}, %{customdata[1]} batches<extra></extra>",
        )


def season_signs(agreement: Agreement) -> str:
    """Which small sign stands for which harvest, in words."""
    shapes = ("square", "diamond", "triangle", "cross")
    told = [f"{season} {shapes[place % 4]}" for place, season in enumerate(agreement.seasons)]
    return ", ".join(told)


def batch_signs(found: Opened) -> str:
    """Which sign stands for which harvest among the batches, in words."""
    shapes = ("dot", "open diamond", "square", "open triangle")
    seasons = sorted(found.points["season"].unique())
    return ", ".join(f"{shapes[place % 4]} {season}" for place, season in enumerate(seasons))


def traits(found: Traits, attribute: str, dark: bool = False) -> go.Figure:
    """One row per figure of field and malt: slope of the attribute with its 95 % interval."""
    shades = ink(dark)
    rows = found.of(attribute)
    names = [f"{title(name)}, per {unit}" for name, unit in rows[["trait", "step"]].to_numpy()]
    figure = go.Figure()
    figure.add_vline(x=0, line={"color": shades.soft, "width": 1})
    clear = rows["verdict"] == "clear"
    for mine, colour, size in ((clear, shades.accent, 12), (~clear, shades.estimate, 8)):
        at = [name for name, one in zip(names, mine, strict=True) if one]
        figure.add_trace(interval(rows.loc[mine, "low"], rows.loc[mine, "high"], at, colour))
        figure.add_scatter(
            x=rows.loc[mine, "slope"],
            y=at,
            mode="markers",
            marker={"size": size, "color": colour},
            customdata=rows.loc[mine, ["low", "high", "verdict"]].to_numpy(),
            hovertemplate="%{y}: %{x:.2f} (%{customdata[0]:.2f} to %{customdata[1]:.2f}), "
            "%{customdata[2]}<extra></extra>",
        )
    dress(figure, dark, height=27 * len(names) + 100, left=230)
    figure.update_yaxes(categoryorder="array", categoryarray=names, autorange="reversed")
    figure.update_xaxes(title_text="score points")
    return figure


def fixed_hours(found: FixedHours, attribute: str, dark: bool = False) -> go.Figure:
    """Slope of the attribute on pH and on gravity at each hour, a panel each, with intervals."""
    shades = ink(dark)
    rows = found.of(attribute)
    kinds = [("ph_", "pH, per 0.1 pH"), ("sg_", "gravity, per degree")]
    figure = make_subplots(
        rows=1, cols=2, horizontal_spacing=0.12, subplot_titles=[says for _, says in kinds]
    )
    for column, (start, _) in enumerate(kinds, start=1):
        mine = rows[rows["column"].str.startswith(start)]
        for verdicts, symbol, colour in (
            (["clear"], "circle", shades.accent),
            (["a hint"], "circle-open", shades.estimate),
            (["not shown", "panel cannot tell"], "circle", shades.soft),
            (["cannot be told apart"], "x-thin-open", shades.faint),
        ):
            part = mine[mine["verdict"].isin(verdicts)]
            figure.add_scatter(
                x=part["hour"],
                y=part["slope"],
                mode="markers",
                marker={"symbol": symbol, "size": 10, "color": colour, "line": {"width": 2}},
                error_y={
                    "type": "data",
                    "symmetric": False,
                    "width": 0,
                    "color": colour,
                    "array": part["high"] - part["slope"],
                    "arrayminus": part["slope"] - part["low"],
                },
                customdata=part[["low", "high", "verdict"]].to_numpy(),
                hovertemplate="%{x} h: %{y:.2f} (%{customdata[0]:.2f} to %{customdata[1]:.2f}), "
                "%{customdata[2]}<extra></extra>",
                row=1,
                col=column,
            )
        figure.add_hline(y=0, line={"color": shades.soft, "width": 1}, row=1, col=column)
    dress(figure, dark, height=300, left=60)
    figure.update_annotations(font={"size": 12, "color": shades.soft})
    figure.update_xaxes(title_text="hours", tickvals=sorted(rows["hour"].unique()))
    figure.update_yaxes(title_text="score points", row=1, col=1)
    return figure


def variance_parts(found: VarianceParts, dark: bool = False) -> go.Figure:
    """How far season, grower, grower in its season, batch and panel set scores apart."""
    shades = ink(dark)
    table = found.table()
    names = [words.flavour(name) for name in dict.fromkeys(table["attribute"])]
    kinds = list(dict.fromkeys(table["part"]))
    figure = make_subplots(
        rows=1, cols=len(kinds), shared_yaxes=True, horizontal_spacing=0.03, subplot_titles=kinds
    )
    for column, kind in enumerate(kinds, start=1):
        rows = table[table["part"] == kind]
        at = rows["attribute"].map(words.flavour).tolist()
        if rows["low"].notna().any():
            line = interval(rows["low"], rows["high"], at, shades.estimate)
            figure.add_trace(line, row=1, col=column)
        figure.add_scatter(
            x=rows["sd"],
            y=at,
            mode="markers",
            marker={"size": 8, "color": shades.estimate},
            customdata=rows[["low", "high"]].to_numpy(),
            hovertemplate="%{y}: %{x:.2f} (%{customdata[0]:.2f} to %{customdata[1]:.2f})"
            "<extra></extra>",
            row=1,
            col=column,
        )
    dress(figure, dark, height=27 * len(names) + 120, left=110)
    figure.update_layout(margin={"t": 58})
    figure.update_annotations(font={"size": 12, "color": shades.soft})
    figure.update_xaxes(matches="x", rangemode="tozero")
    figure.update_xaxes(title_text="score points", row=1, col=1)
    figure.update_yaxes(categoryorder="array", categoryarray=names, autorange="reversed")
    return figure


def path(found: Path, dark: bool = False) -> go.Figure:
    """Per attribute: the part by way of the variable between, beside the direct part."""
    shades = ink(dark)
    rows = found.parts[found.parts["told_apart"]]
    names = [words.flavour(str(name)) for name in rows["attribute"]]
    heads = [
        f"By way of {title(found.between)}",
        f"At like {title(found.between)}",
        "Both together",
    ]
    per = step(found.trait)[1]
    figure = make_subplots(
        rows=1,
        cols=3,
        shared_yaxes=True,
        horizontal_spacing=0.025,
        subplot_titles=[f"{head}<br>points per {per}" for head in heads],
    )
    for column, part in enumerate(("by_way_of", "direct", "total"), start=1):
        seen = (rows[f"{part}_low"] > 0) | (rows[f"{part}_high"] < 0)
        colour = [shades.accent if one else shades.estimate for one in seen]
        figure.add_trace(
            interval(rows[f"{part}_low"], rows[f"{part}_high"], names, shades.estimate),
            row=1,
            col=column,
        )
        figure.add_scatter(
            x=rows[part],
            y=names,
            mode="markers",
            marker={"size": 9, "color": colour},
            hovertemplate="%{y}: %{x:.2f}<extra></extra>",
            row=1,
            col=column,
        )
        figure.add_vline(x=0, line={"color": shades.soft, "width": 1}, row=1, col=column)
    return dress_attributes(figure, names, dark)
