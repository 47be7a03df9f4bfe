"""What an intake found: rows per file, good beside set aside."""

from __future__ import annotations

import plotly.graph_objects as go

from origin_compare.figures.style import dress, ink
from origin_compare.intake.plan import IntakePlan

_KINDS = (
    ("good", "to take in", "estimate"),
    ("already_there", "already there", "faint"),
    ("repeated", "repeated", "soft"),
    ("set_aside", "set aside", "accent"),
)


def intake(plan: IntakePlan, dark: bool = False) -> go.Figure:
    """One bar per table: rows to take in, already there, repeated and set aside.

    Bars run to each table's own full length, since a minute log would dwarf every other sheet;
    the counts stand in the bars.
    """
    shades = ink(dark)
    account = plan.account
    names = account["file"].str.cat(account["sheet"].replace("", "not placed"), " · ").tolist()
    whole = account[[kind for kind, _, _ in _KINDS]].sum(axis=1).clip(lower=1)
    figure = go.Figure()
    for kind, says, shade in _KINDS:
        counts = account[kind]
        figure.add_bar(
            x=counts / whole * 100,
            y=names,
            orientation="h",
            name=says,
            showlegend=True,
            marker={
                "color": getattr(shades, shade),
                "pattern": {"shape": "/" if kind == "set_aside" else ""},
            },
            text=[f"{number:,}" if number else "" for number in counts],
            textposition="inside",
            insidetextanchor="middle",
            textangle=0,
            customdata=counts,
            hovertemplate="%{y}: %{customdata:,} " + says + "<extra></extra>",
        )
    dress(figure, dark, height=30 * len(names) + 110, left=120)
    figure.update_layout(
        barmode="stack",
        bargap=0.35,
        showlegend=True,
        legend={"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0, "traceorder": "normal"},
    )
    figure.update_xaxes(title_text="share of the table's rows, %", range=[0, 100])
    figure.update_yaxes(autorange="reversed", showgrid=False)
    return figure
