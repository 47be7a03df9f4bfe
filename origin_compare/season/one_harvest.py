"""One harvest out of several: its batches and what hangs on them."""

from __future__ import annotations

import pandas as pd

from origin_compare.answers import listed
from origin_compare.errors import UnknownName
from origin_compare.season.join import build_season
from origin_compare.season.season import Season
from origin_compare.sheets.frames import Sheets


def harvests(season: Season) -> list[int]:
    """The harvest years there are, oldest first."""
    return sorted(int(year) for year in season.sheets["lots"]["season"].dropna().unique())


def one_harvest(season: Season, *years: int) -> Season:
    """The season cut down to the given harvest years; a batch of unknown harvest is left out.

    Samples which are not batches stay in with the tastings they were served in. Raises
    `UnknownName` for a year of which there is no lot.
    """
    known = harvests(season)
    unknown = [year for year in years if year not in known]
    if unknown:
        there = listed([str(year) for year in known], most=20) or "none"
        raise UnknownName(
            f"There is no lot of harvest {listed([str(year) for year in unknown])}. "
            f"Harvests on record: {there}."
        )
    return build_season(
        _sheets_of(season, years),
        season.rules,
        faults=season.faults,
        revision=season.revision,
        site=season.site,
    )


def _sheets_of(season: Season, years: tuple[int, ...]) -> dict[str, pd.DataFrame]:
    sheets = dict(season.sheets)
    batches = season.batches.loc[season.batches["season"].isin(years), "batch_id"]
    for name in ("fermentations", "mashes", "readings", "attenuations", "spirits", "congeners"):
        sheets[name] = _among(sheets[name], "batch_id", batches)
    sheets["lots"] = _among(sheets["lots"], "season", pd.Series(years))
    sheets["malts"] = _malts_of(sheets)
    sheets["growers"] = _among(sheets["growers"], "grower_id", sheets["lots"]["grower_id"])
    sheets["yeasts"] = _among(
        sheets["yeasts"], "delivery_id", sheets["fermentations"]["delivery_id"]
    )
    sheets["scores"] = _scores_of(sheets["scores"], batches)
    return sheets


def _among(frame: pd.DataFrame, column: str, values: pd.Series) -> pd.DataFrame:
    return frame[frame[column].isin(values.dropna())]


def _malts_of(sheets: Sheets) -> pd.DataFrame:
    malts = sheets["malts"]
    here = malts["lot_id"].isin(sheets["lots"]["lot_id"])
    return malts[here | malts["malt_id"].isin(sheets["mashes"]["malt_id"])]


def _scores_of(scores: pd.DataFrame, batches: pd.Series) -> pd.DataFrame:
    ours = scores["batch_id"].isin(batches)
    other = scores["sample_kind"].fillna("batch") != "batch"
    together = scores["tasting_id"].isin(scores.loc[ours, "tasting_id"])
    return scores[ours | (other & together)]
