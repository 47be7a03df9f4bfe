"""Small made-up seasons, and a panel profile whose errors are known exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare.season.season import Season
from origin_compare.sheets.catalogue import SHEETS


@dataclass(frozen=True)
class KnownProfile:
    """Stands in for a panel profile: scores as given, one error sd for all, plus a shared one."""

    scores: pd.DataFrame
    sd: float = 0.2
    shared_sd: float = 0.0
    df: float = 60.0

    @property
    def told(self) -> tuple[str, ...]:
        return tuple(self.scores.columns)

    def wide(self) -> pd.DataFrame:
        return self.scores

    def error_cov(self, attribute: str) -> pd.DataFrame:
        scored = self.scores[attribute].dropna().index
        cov = np.eye(len(scored)) * self.sd**2 + self.shared_sd**2
        return pd.DataFrame(cov, scored, scored)

    def table(self) -> pd.DataFrame:
        long = (
            self.scores.rename_axis("batch_id")
            .reset_index()
            .melt("batch_id", var_name="attribute", value_name="estimate")
        )
        return long.dropna().assign(df_compare=self.df)


def batch_frame(
    growers: list[str], year: int = 2025, lots: list[str] | None = None
) -> pd.DataFrame:
    """One distilled batch per entry, all of one grower each, figures spread a little."""
    n = len(growers)
    step = np.arange(n, dtype="float64")
    lots = lots or [f"L{year % 100}-{grower}" for grower in growers]
    return pd.DataFrame(
        {
            "batch_id": [f"B{year % 100}-{place:02d}" for place in range(1, n + 1)],
            "season": pd.array([year] * n, dtype="Int64"),
            "status": "distilled",
            "origin": "one field",
            "grower_id": growers,
            "lot_id": lots,
            "growers": growers,
            "lots": lots,
            "field": [f"Field of {lot}" for lot in lots],
            "variety": "Ostrel",
            "grain_n_pct_dm": 1.4 + 0.01 * step,
            "extract_pct_dm": 80.0 - 0.05 * step,
            "malt_moisture_pct": 4.5,
            "predicted_lpa_t": 415.0,
            "grist_kg": 4400.0,
            "pitched_at": pd.date_range("2025-10-01", periods=n, freq="3D", tz="UTC"),
            "length_h": 125.0 + 0.1 * step,
            "peak_temp_c": 29.0,
            "final_ph": 3.4,
            "final_sg": 0.999,
            "new_make_l": 2400.0,
            "spirit_yield_lpa_t": 374.0 + 0.1 * step,
            "n_tastings": 1,
            "missing_links": "",
            "note": [f"after the batch of {growers[place - 1]}" for place in range(n)],
        }
    )


def season_of(batches: pd.DataFrame, extra_lots: pd.DataFrame | None = None) -> Season:
    """A season holding exactly these batches, one lot per lot_id, a farm per grower."""
    single = batches[batches["lot_id"].notna()].drop_duplicates("lot_id")
    lots = _shaped("lots", single[["lot_id", "grower_id", "season", "field", "variety"]])
    n = np.arange(len(lots), dtype="float64")
    lots = lots.assign(
        yield_t_ha=6.0 + 0.07 * n,
        grain_n_pct_dm=single["grain_n_pct_dm"].to_numpy(),
        screenings_pct=2.0 + 0.1 * n,
        delivered_t=11.0,
        sown_on=pd.Timestamp("2025-03-20"),
        harvested_on=pd.Timestamp("2025-08-12"),
    )
    if extra_lots is not None:
        lots = pd.concat([lots, _shaped("lots", extra_lots)], ignore_index=True)
        lots = lots.astype(dict.fromkeys(["sown_on", "harvested_on"], "datetime64[us]"))
    codes = sorted(lots["grower_id"].dropna().unique())
    farms = pd.DataFrame({"grower_id": codes, "farm_name": [f"Farm of {one}" for one in codes]})
    shares = batches[batches["lot_id"].notna()][["batch_id", "lot_id", "grower_id", "season"]]
    return Season(
        sheets={"lots": lots, "growers": _shaped("growers", farms)},
        batches=batches,
        shares=shares.assign(share=1.0),
        unmatched=pd.DataFrame(),
        site="Quernhallow (invented)",
    )


def scores_for(batches: pd.DataFrame, **by_attribute: list[float]) -> pd.DataFrame:
    return pd.DataFrame(by_attribute, index=batches["batch_id"].to_list())


def _shaped(sheet: str, frame: pd.DataFrame) -> pd.DataFrame:
    names = [column.name for column in SHEETS[sheet].columns]
    return frame.reindex(columns=names).reset_index(drop=True)
