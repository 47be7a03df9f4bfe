"""Whatever rows are missing, the join loses none: each has its partner or is listed."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from origin_compare.season.join import build_season
from origin_compare.season.lot_shares import classes, origins
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.frames import shaped
from origin_compare.sheets.keys import key_text
from tests.store import small

ROWS = [(name, row) for name, frame in small.sheets().items() for row in range(len(frame))]


@settings(max_examples=8, deadline=None)
@given(st.sets(st.sampled_from(ROWS), max_size=len(ROWS)))
def test_every_row_has_its_partner_or_is_listed(gone: set[tuple[str, int]]) -> None:
    sheets = {
        name: frame.drop(index=[row for sheet, row in gone if sheet == name])
        for name, frame in small.sheets().items()
    }
    season = build_season(sheets)
    for name, frame in season.sheets.items():
        keys = key_text(name, frame)
        for column in SHEETS[name].columns:
            if not column.links_to:
                continue
            target = season.sheets[column.links_to][column.name]
            for key, value, kind in zip(
                keys, frame[column.name], frame.get("sample_kind", [None] * len(frame)), strict=True
            ):
                listed = season.unmatched[
                    (season.unmatched["sheet"] == name)
                    & (season.unmatched["key"] == key)
                    & (season.unmatched["missing_sheet"] == column.links_to)
                ]
                wanted = not (pd.notna(value) and value in set(target)) and kind != "control"
                assert len(listed) == int(wanted), (name, key, column.name)
    assert season.batches["batch_id"].tolist() == (
        season.sheets["fermentations"].sort_values("pitched_at")["batch_id"].tolist()
    )
    assert season.batches["n_readings"].sum() + sum(season.unmatched["sheet"] == "readings") == len(
        season.sheets["readings"]
    )


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["B1", "B2"]),
            st.sampled_from(["M1", "M2", "M3"]),
            st.one_of(st.none(), st.floats(1, 1e4)),
        ),
        min_size=1,
        max_size=6,
        unique_by=lambda row: row[:2],
    ),
    st.lists(
        st.tuples(
            st.sampled_from(["M1", "M2", "M3"]),
            st.sampled_from(["L1", "L2", "L3"]),
            st.one_of(st.none(), st.floats(0.01, 100)),
        ),
        max_size=7,
        unique_by=lambda row: row[:2],
    ),
)
def test_shares_add_to_one_exactly_where_every_malt_is_known(
    mashes: list[tuple[str, str, float]], malts: list[tuple[str, str, float]]
) -> None:
    shares = origins(
        {
            "lots": shaped("lots", small.sheets()["lots"]),
            "malts": shaped("malts", pd.DataFrame(malts, columns=["malt_id", "lot_id", "grain_t"])),
            "mashes": shaped(
                "mashes", pd.DataFrame(mashes, columns=["batch_id", "malt_id", "grist_kg"])
            ),
        }
    )
    assert (shares["share"] > 0).all()
    sums = shares.groupby("batch_id")["share"].sum()
    known = {malt for malt, _, _ in malts}
    origin = classes(shares)["origin"]
    for batch in {batch for batch, _, _ in mashes}:
        parts = {malt for name, malt, _ in mashes if name == batch}
        if parts <= known:
            assert sums[batch] == pytest.approx(1, abs=1e-12)
            assert origin[batch] != "not known"
        else:
            assert sums.get(batch, 0.0) < 1
            assert origin.get(batch, "not known") in ("not known", "mixed")
