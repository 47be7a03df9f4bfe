"""A hand-made distillery, small enough to work every figure out on paper."""

from __future__ import annotations

import pandas as pd


def moment(text: str) -> pd.Timestamp:
    return pd.Timestamp(text, tz="UTC")


def sheets() -> dict[str, pd.DataFrame]:
    """Four batches: one field, one grower, mixed, and one whose malt nobody wrote down."""
    return {
        "growers": pd.DataFrame(
            {"grower_id": ["G1", "G2", "G9"], "soil": ["clay", "sand", "silt"]}
        ),
        "lots": pd.DataFrame(
            {
                "lot_id": ["L1", "L2", "L3", "L4"],
                "grower_id": ["G1", "G1", "G2", "G2"],
                "season": [2024, 2024, 2024, 2023],
                "field": ["Top", "Low", "Mill", "Mill"],
                "variety": ["Ardent", "Ardent", "Brook", "Brook"],
                "grain_n_pct_dm": [1.4, 1.6, 1.5, 1.7],
                "rain_mm": [100.0, 120.0, None, 80.0],
            }
        ),
        "malts": pd.DataFrame(
            {
                "malt_id": ["M1", "M2", "M2", "M3"],
                "lot_id": ["L1", "L1", "L2", "L3"],
                "grain_t": [10.0, 3.0, 1.0, 8.0],
                "tonnes": [8.0, 3.2, 3.2, 6.5],
                "extract_pct_dm": [80.0, 79.0, None, 78.0],
            }
        ),
        "mashes": pd.DataFrame(
            {
                "batch_id": ["B1", "B1", "B2", "B3", "B3", "B4"],
                "mash_no": [1, 2, 1, 1, 1, 1],
                "malt_id": ["M1", "M1", "M2", "M1", "M3", "M8"],
                "grist_kg": [500.0, 500.0, 1000.0, 750.0, 250.0, 1000.0],
                "wort_l": [2500.0, 2600.0, 5000.0, 5100.0, 5100.0, 5000.0],
                "wort_sg": [1.060, 1.062, 1.061, 1.063, 1.063, 1.060],
            }
        ),
        "yeasts": pd.DataFrame(
            {
                "delivery_id": ["Y1", "Y2"],
                "strain": ["S-1", "S-1"],
                "form": ["pressed", "pressed"],
                "made_on": [pd.Timestamp("2024-11-01"), pd.Timestamp("2024-11-20")],
                "viability_pct": [97.0, 96.0],
            }
        ),
        "fermentations": pd.DataFrame(
            {
                "batch_id": ["B2", "B1", "B3", "B4"],
                "vessel": ["V2", "V1", "V1", "V2"],
                "pitched_at": [
                    moment("2024-11-08 06:00"),
                    moment("2024-11-07 22:30"),
                    moment("2024-11-15 06:00"),
                    moment("2024-11-16 06:00"),
                ],
                "pitch_temp_c": [21.0, 20.5, 21.5, 22.0],
                "wort_l": [5000.0, 5100.0, 5050.0, 5000.0],
                "og_sg": [1.061, 1.061, 1.063, 1.060],
                "delivery_id": ["Y1", "Y1", "Y7", None],
                "ended_at": [moment("2024-11-13 14:00"), moment("2024-11-13 04:30"), None, None],
            }
        ),
        "readings": pd.DataFrame(
            {
                "batch_id": ["B1", "B1", "B2", "B9"],
                "read_at": [
                    moment("2024-11-08 06:30"),
                    pd.NaT,
                    moment("2024-11-08 14:00"),
                    moment("2024-11-08 14:00"),
                ],
                "hours": [None, 16.0, None, None],
                "sg": [1.055, 1.040, 1.050, 1.050],
                "instrument": ["hand"] * 4,
            }
        ),
        "attenuations": pd.DataFrame(
            {
                "batch_id": ["B1", "B1"],
                "tested_on": [pd.Timestamp("2024-11-10"), pd.Timestamp("2024-11-09")],
                "limit_sg": [0.998, 1.000],
            }
        ),
        "spirits": pd.DataFrame(
            {
                "batch_id": ["B1", "B1"],
                "run_no": [1, 2],
                "distilled_on": [pd.Timestamp("2024-11-14"), pd.Timestamp("2024-11-15")],
                "still": ["East", "West"],
                "wash_l": [2500.0, 2500.0],
                "wash_abv_pct": [8.0, 8.2],
                "new_make_l": [300.0, 100.0],
                "new_make_abv_pct": [68.0, 64.0],
            }
        ),
        "scores": pd.DataFrame(
            {
                "tasting_id": ["T1"] * 5,
                "assessor_id": ["A1", "A2", "A1", "A1", "A1"],
                "batch_id": ["B1", "B1", "B2", "CONTROL", "B9"],
                "replicate": [1] * 5,
                "sample_kind": ["batch", "batch", "batch", "control", "batch"],
                "attribute": ["cereal"] * 5,
                "score": [4.0, 5.0, None, 3.0, 6.0],
            }
        ),
    }
