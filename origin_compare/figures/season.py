"""The season at a glance: every batch as a dot, the house windows as pale bands."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from origin_compare import words
from origin_compare.figures.style import SYMBOLS, dress, ink, window
from origin_compare.review.season_review import SeasonReview

_MEASURES = ("length_h", "peak_temp_c", "final_ph", "spirit_yield_lpa_t")
# A yield has no window of its own: it is judged by its share of what the malt promised.
_JUDGED_BY = {"spirit_yield_lpa_t": "share_of_predicted_pct"}


def season_review(review: SeasonReview, dark: bool = False) -> go.Figure:
    """Small multiples over the season: one panel per measure, one dot per batch.

    Batches outside a window are named and drawn in the accent colour as open marks;
    harvests differ by the shape of the mark.
    """
    shades = ink(dark)
    shown = [name for name in _MEASURES if name in review.batches]
    figure = make_subplots(
        rows=len(shown),
        cols=1,
        shared_xaxes=True,
        vertical_spacing=0.07,
        subplot_titles=[words.label(name) for name in shown],
    )
    for row, name in enumerate(shown, start=1):
        _one_measure(figure, review, name, row, dark)
    dress(figure, dark, height=150 * len(shown) + 60)
    for heading in figure.layout.annotations[: len(shown)]:
        heading.update(x=0, xanchor="left", font={"size": 13, "color": shades.soft})
    figure.update_xaxes(title_text="yeast in", row=len(shown), col=1)
    return figure


def _one_measure(figure: go.Figure, review: SeasonReview, name: str, row: int, dark: bool) -> None:
    shades = ink(dark)
    batches = review.batches.dropna(subset=[name])
    out = set(_outside(review, name)["batch_id"])
    for place, (year, harvest) in enumerate(batches.groupby("season", dropna=False)):
        is_out = harvest["batch_id"].isin(out)
        figure.add_scatter(
            x=harvest["pitched_at"],
            y=harvest[name],
            mode="markers",
            marker={
                "symbol": [SYMBOLS[place % 7] + ("-open" if far else "") for far in is_out],
                "color": [shades.accent if far else shades.soft for far in is_out],
                "size": 9,
                "line": {"width": 2},
            },
            customdata=harvest[["batch_id", "growers"]].fillna("").to_numpy(),
            hovertemplate="%{customdata[0]} · %{customdata[1]} · %{y}<extra></extra>",
            name=f"harvest {year}",
            row=row,
            col=1,
        )
    rule = review.rules.windows.get(name)
    if rule is not None and len(batches):
        low = rule.low if rule.low is not None else min(batches[name].min(), rule.high or 0)
        high = rule.high if rule.high is not None else max(batches[name].max(), low)
        window(figure, dark, low, high, row=row, col=1)
    _name_the_furthest(figure, review, name, row, dark)


def _outside(review: SeasonReview, name: str) -> pd.DataFrame:
    """The rows of `review.outside` that judge the measure `name`."""
    return review.outside[review.outside["measure"] == _JUDGED_BY.get(name, name)]


def _name_the_furthest(
    figure: go.Figure, review: SeasonReview, name: str, row: int, dark: bool, most: int = 3
) -> None:
    """Direct labels for the few batches furthest outside, so that no legend is needed."""
    far = _outside(review, name).copy()
    if far.empty:
        return
    far["by"] = (far["low"] - far["value"]).clip(lower=0).fillna(0) + (
        far["value"] - far["high"]
    ).clip(lower=0).fillna(0)
    columns = ["batch_id", "pitched_at", name]
    placed = far.nlargest(most, "by").merge(review.batches[columns], on="batch_id")
    for batch in placed.itertuples():
        figure.add_annotation(
            x=batch.pitched_at,
            y=getattr(batch, name),
            text=f" {batch.batch_id}",
            showarrow=False,
            xanchor="left",
            font={"size": 12, "color": ink(dark).accent},
            row=row,
            col=1,
        )
