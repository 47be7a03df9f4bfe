"""The demo, loaded once for all tests of letters and reviews."""

from __future__ import annotations

from functools import cache

import pandas as pd

import origin_compare
from origin_compare import fermentation, panel, places
from origin_compare.growers import GrowerLetter, grower_letter
from origin_compare.panel import Profile
from origin_compare.review import batches_with_measures
from origin_compare.season.season import Season


@cache
def season() -> Season:
    return origin_compare.load_folder(places.demo_folder())


@cache
def batches() -> pd.DataFrame:
    return batches_with_measures(season(), fermentation.derived(season()))


@cache
def profile() -> Profile:
    return panel.adjusted(season().sheets["scores"])


def growers_by_year() -> list[tuple[str, int]]:
    """Whose barley became spirit, and in which harvest; one lot was never malted."""
    made = season().shares[["grower_id", "season"]].dropna().drop_duplicates()
    return sorted((str(grower), int(year)) for grower, year in made.to_numpy())


@cache
def letter(grower_id: str, year: int) -> GrowerLetter:
    return grower_letter(season(), batches(), profile(), grower_id, year)
