"""Next batches: the runs in their order, and what they would let one see."""

from __future__ import annotations

import plotly.graph_objects as go
from plotly.subplots import make_subplots

from origin_compare.drivers.wording import title, upper
from origin_compare.figures.style import LINE_STYLES, dress, families_of, ink
from origin_compare.trials import TrialPower, Trials, TrialSizes
from origin_compare.trials.proposal import KINDS


def runs(found: Trials, dark: bool = False) -> go.Figure:
    """The settings in the order of the batches, a row per setting, lots named on top."""
    shades = ink(dark)
    table = found.table()
    names = [str(name) for name in table if name not in KINDS]
    figure = make_subplots(
        rows=len(names),
        cols=1,
        shared_xaxes=True,
        vertical_spacing=0.09,
        subplot_titles=[upper(title(name)) for name in names],
    )
    lot = table["lot_id"] if "lot_id" in table else table["order"].map(lambda _: "")
    for row, name in enumerate(names, start=1):
        figure.add_scatter(
            x=table["order"],
            y=table[name],
            mode="lines+markers+text" if row == 1 else "lines+markers",
            text=lot,
            textposition="top center",
            textfont={"size": 11, "color": shades.soft},
            line={"color": shades.faint, "width": 1},
            marker={"size": 11, "color": shades.estimate},
            customdata=[f"{one}, " if one else "" for one in lot],
            hovertemplate=f"batch %{{x}}: %{{customdata}}{title(name)} %{{y}}<extra></extra>",
            row=row,
            col=1,
        )
        levels = sorted(table[name].unique())
        room = (levels[-1] - levels[0]) * 0.45 or 1.0
        figure.update_yaxes(
            tickvals=levels, range=[levels[0] - room, levels[-1] + room], row=row, col=1
        )
    dress(figure, dark, height=125 * len(names) + 90, left=70)
    figure.update_annotations(font={"size": 12, "color": shades.soft}, x=0, xanchor="left")
    figure.update_xaxes(dtick=1 if len(table) <= 16 else 2)
    figure.update_xaxes(title_text="batch, in the order to make them", row=len(names), col=1)
    return figure


def visible(found: TrialPower, dark: bool = False) -> go.Figure:
    """Smallest slope seen four times in five, before (open) and after (full) the batches."""
    shades = ink(dark)
    table = found.terms
    names = [f"{name}, per {unit}" for name, unit in found.told_terms()]
    figure = go.Figure()
    for name, before, after in zip(
        names, table["visible_before"], table["visible_after"], strict=True
    ):
        figure.add_scatter(
            x=[before, after],
            y=[name, name],
            mode="lines",
            hoverinfo="skip",
            line={"color": shades.faint, "width": 2},
        )
    for column, symbol, colour, says in (
        ("visible_before", "circle-open", shades.soft, "now"),
        ("visible_after", "circle", shades.accent, "with the new batches"),
    ):
        figure.add_scatter(
            x=table[column],
            y=names,
            mode="markers",
            marker={"symbol": symbol, "size": 11, "color": colour, "line": {"width": 2}},
            hovertemplate=f"%{{y}}, {says}: %{{x:.2f}}<extra></extra>",
        )
    dress(figure, dark, height=34 * len(names) + 110, left=220)
    figure.update_yaxes(categoryorder="array", categoryarray=names, autorange="reversed")
    figure.update_xaxes(rangemode="tozero", title_text="smallest slope seen, score points")
    return figure


def trial_sizes(found: TrialSizes, dark: bool = False) -> go.Figure:
    """Smallest visible slope against the number of batches, a line per setting."""
    shades = ink(dark)
    figure = go.Figure()
    colours = families_of(dark)
    for place, (term, rows) in enumerate(found.sizes.groupby("term", sort=False)):
        unit = rows["step"].iloc[0]
        colour = colours[place % len(colours)]
        figure.add_scatter(
            x=rows["batches"],
            y=rows["visible"],
            mode="lines+markers",
            line={"color": colour, "dash": LINE_STYLES[place % len(LINE_STYLES)]},
            marker={"size": 7},
            hovertemplate=f"{title(str(term))}: %{{y:.2f}} per {unit} with %{{x}} batches"
            "<extra></extra>",
        )
        last = rows.iloc[-1]
        figure.add_annotation(
            x=last["batches"],
            y=last["visible"],
            text=f" {title(str(term))}, per {unit}",
            showarrow=False,
            xanchor="left",
            font={"size": 12, "color": colour},
        )
    dress(figure, dark, height=360)
    figure.add_vline(x=found.asked, line={"color": shades.accent, "width": 1, "dash": "dot"})
    figure.update_layout(margin={"r": 190})
    figure.update_xaxes(
        title_text="number of batches", tickvals=sorted(set(found.sizes["batches"]))
    )
    figure.update_yaxes(title_text="smallest slope seen, score points", rangemode="tozero")
    return figure
