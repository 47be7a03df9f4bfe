"""The answers the pages show, each computed once per store revision and choice of harvests.

Results are frozen and shared between sessions: pages read them and never change them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from origin_compare import page_parts as parts
from origin_compare.errors import NotEnoughData

if TYPE_CHECKING:
    from origin_compare.drivers import Effects, Separability, Split
    from origin_compare.families import Families, Likeness
    from origin_compare.fermentation import BatchReview, Departures, Derived
    from origin_compare.harvest import SeasonReview
    from origin_compare.panel import Performance, Profile
    from origin_compare.records.chain import ChainView
    from origin_compare.records.season import Season

Years = tuple[int, ...]


def season(years: Years) -> Season:
    """The joined sheets of these harvests."""
    return _season(parts.store_url(), parts.store().revision, years)


@st.cache_resource(max_entries=6, show_spinner="Joining the sheets, field to spirit …")
def _season(url: str, revision: int, years: Years) -> Season:
    return parts.store().season(years)


def derived(years: Years) -> Derived:
    """Derived measures, one row per batch."""
    return _derived(parts.store_url(), parts.store().revision, years)


@st.cache_resource(max_entries=6, show_spinner="Fitting the fermentation curves …")
def _derived(url: str, revision: int, years: Years) -> Derived:
    from origin_compare import fermentation

    return fermentation.derived(season(years), parts.store().rules())


def batches(years: Years) -> pd.DataFrame:
    """One row per batch: the chain joined, derived measures beside it."""
    from origin_compare.harvest import batches_with_measures

    return batches_with_measures(season(years), derived(years))


def review(years: Years) -> SeasonReview:
    """Every batch against the house windows."""
    from origin_compare.harvest import season_review

    return season_review(batches(years), parts.store().rules())


def departures(years: Years) -> Departures:
    """Which batches left the house band, when, and the ranked causes."""
    return _departures(parts.store_url(), parts.store().revision, years)


@st.cache_resource(max_entries=6, show_spinner="Holding every batch against the house band …")
def _departures(url: str, revision: int, years: Years) -> Departures:
    from origin_compare import fermentation

    return fermentation.departures(season(years), parts.store().rules())


def batch_review(years: Years, batch_id: str) -> BatchReview:
    """One batch's channels, band and events."""
    return _batch_review(parts.store_url(), parts.store().revision, years, batch_id)


@st.cache_resource(max_entries=40, show_spinner="Reading the batch …")
def _batch_review(url: str, revision: int, years: Years, batch_id: str) -> BatchReview:
    from origin_compare import fermentation

    return fermentation.review(season(years), batch_id, parts.store().rules())


def profile(years: Years) -> Profile:
    """The adjusted panel profile; `NotEnoughData` when nothing was tasted."""
    return _profile(parts.store_url(), parts.store().revision, years)


@st.cache_resource(max_entries=6, show_spinner="Adjusting the panel's scores …")
def _profile(url: str, revision: int, years: Years) -> Profile:
    from origin_compare import panel

    scores = season(years).sheets["scores"]
    if scores.empty:
        raise NotEnoughData(
            "Nothing was tasted in these harvests yet. Take in a tasting sheet on the Intake page."
        )
    return panel.adjusted(scores)


def profile_if_tasted(years: Years) -> Profile | None:
    """The panel profile, or None when nothing was tasted."""
    try:
        return profile(years)
    except NotEnoughData:
        return None


def performance(years: Years) -> Performance:
    """How well the panel and its assessors tell batches apart."""
    return _performance(parts.store_url(), parts.store().revision, years)


@st.cache_resource(max_entries=6, show_spinner="Weighing the panel …")
def _performance(url: str, revision: int, years: Years) -> Performance:
    from origin_compare import panel

    profile(years)
    return panel.assess(season(years).sheets["scores"])


def separable(years: Years) -> Separability:
    """What can be told apart in these batches, before any coefficient."""
    return _separable(parts.store_url(), parts.store().revision, years)


@st.cache_resource(max_entries=6, show_spinner="Checking what can be told apart …")
def _separable(url: str, revision: int, years: Years) -> Separability:
    from origin_compare import drivers

    return drivers.separable(batches(years))


def effects(years: Years) -> Effects:
    """Slopes of process measures on each attribute."""
    return _effects(parts.store_url(), parts.store().revision, years)


@st.cache_resource(max_entries=6, show_spinner="Estimating what goes with flavour …")
def _effects(url: str, revision: int, years: Years) -> Effects:
    from origin_compare import drivers

    return drivers.effects(batches(years), profile(years))


def split(years: Years) -> Split:
    """Shares of variation to origin, process, both together, panel and the unexplained."""
    return _split(parts.store_url(), parts.store().revision, years)


@st.cache_resource(max_entries=6, show_spinner="Splitting origin from process …")
def _split(url: str, revision: int, years: Years) -> Split:
    from origin_compare import drivers

    return drivers.split(batches(years), profile(years))


def families(years: Years) -> Families:
    """Families of alike batches."""
    return _families(parts.store_url(), parts.store().revision, years)


@st.cache_resource(max_entries=6, show_spinner="Looking for families …")
def _families(url: str, revision: int, years: Years) -> Families:
    from origin_compare import families as likeness

    return likeness.find(profile(years), seed=20)


def nearest(years: Years, batch_id: str, margin: float) -> Likeness:
    """The other batches by their distance from one."""
    from origin_compare import families as likeness

    return likeness.nearest(profile(years), batch_id, margin=margin)


def chain(years: Years, batch_id: str) -> ChainView:
    """The chain of one batch, from grower to panel."""
    from origin_compare.records.chain import chain_of

    return chain_of(season(years), batch_id)
