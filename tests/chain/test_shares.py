"""Shares by mass and by extract, and how far apart they can be."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from origin_compare.season.lot_shares import ANY_OTHER, Span, flows, origins, spans
from tests.store import small

MASS = 1e-12


def sheets() -> dict[str, pd.DataFrame]:
    found = small.sheets()
    found["malts"] = found["malts"].assign(moisture_pct=[4.0, 4.5, 4.5, 5.0])
    return found


def season_sheets(**changed: Any) -> dict[str, pd.DataFrame]:
    from origin_compare.sheets.frames import all_shaped

    found = sheets()
    for place, values in changed.items():
        sheet, column = place.split("__")
        found[sheet] = found[sheet].assign(**{column: values})
    return all_shaped(found)


def test_by_extract_the_drier_richer_malt_counts_for_more() -> None:
    # B3: 750 kg of M1 (80 % of 96 % dry) and 250 kg of M3 (78 % of 95 % dry).
    shares = origins(season_sheets()).set_index(["batch_id", "lot_id"])["extract_share"]
    first, second = 750 * 0.96 * 0.80, 250 * 0.95 * 0.78
    assert shares["B3", "L1"] == pytest.approx(first / (first + second), abs=MASS)
    assert shares["B3", "L3"] == pytest.approx(second / (first + second), abs=MASS)


def test_within_one_malt_extract_goes_by_the_grain() -> None:
    shares = origins(season_sheets()).set_index(["batch_id", "lot_id"])["extract_share"]
    assert (shares["B2", "L1"], shares["B2", "L2"]) == (0.75, 0.25)


def test_without_an_extract_only_a_single_malt_is_known_by_extract() -> None:
    shares = origins(season_sheets(malts__extract_pct_dm=None)).set_index(["batch_id", "lot_id"])
    assert shares["extract_share"].isna()["B3", "L1"]
    assert shares.loc[("B3", "L1"), "share"] == 0.75
    assert shares.loc[("B1", "L1"), "extract_share"] == 1.0


def test_a_span_runs_from_mass_to_extract() -> None:
    known = spans(season_sheets(), "grower_id")["B3"]
    by_extract = 750 * 0.96 * 0.80 / (750 * 0.96 * 0.80 + 250 * 0.95 * 0.78)
    assert known["G1"].least == pytest.approx(0.75)
    assert known["G1"].most == pytest.approx(by_extract)
    assert known[ANY_OTHER] == Span(0.0, 0.0)


def test_without_weights_a_malt_of_two_growers_may_be_all_of_either() -> None:
    changed = season_sheets(malts__grain_t=None, lots__grower_id=["G1", "G2", "G2", "G2"])
    known = spans(changed, "grower_id")["B2"]
    assert known["G1"] == Span(0.0, 1.0) and known["G2"] == Span(0.0, 1.0)
    assert known[ANY_OTHER] == Span(0.0, 0.0)
    same = spans(season_sheets(malts__grain_t=None), "grower_id")["B2"]
    assert same["G1"] == Span(1.0, 1.0), "both lots are of one grower, whatever they weigh"


def test_without_grist_a_batch_of_two_malts_may_be_all_of_either() -> None:
    known = spans(season_sheets(mashes__grist_kg=None), "grower_id")
    assert known["B3"]["G1"] == Span(0.0, 1.0)
    assert known["B1"]["G1"] == Span(1.0, 1.0)


def test_a_malt_nobody_knows_may_be_anybody_s() -> None:
    assert spans(season_sheets(), "grower_id")["B4"] == {ANY_OTHER: Span(0.0, 1.0)}
    lost = season_sheets(malts__lot_id=["L1", "L1", "L77", "L3"])
    known = spans(lost, "grower_id")["B2"]
    assert known["G1"] == Span(0.75, 1.0) and known[ANY_OTHER] == Span(0.0, 0.25)


def test_ways_from_lot_to_batch_add_up_to_the_grist() -> None:
    ways = flows(season_sheets())
    assert ways.groupby("batch_id")["malt_kg"].sum().to_dict() == {
        "B1": 1000.0,
        "B2": 1000.0,
        "B3": 1000.0,
    }
    part = ways[(ways["batch_id"] == "B2") & (ways["lot_id"] == "L2")]
    assert part["malt_kg"].tolist() == [250.0]


@pytest.mark.parametrize(
    ("span", "words", "between"),
    [
        (Span(0.561, 1.0), "56 to 100 %", "Between 56 and 100 %"),
        (Span(0.999, 1.0), "99 to 100 %", "Between 99 and 100 %"),
        (Span(1.0, 1.0), "100 %", "100 %"),
        (Span(0.0, 0.0), "0 %", "0 %"),
        (Span(0.6, 0.6), "60 %", "60 %"),
    ],
)
def test_a_span_is_never_said_narrower_than_it_is(span: Span, words: str, between: str) -> None:
    assert span.words() == words
    assert span.between() == between


def test_mixing_in_takes_the_worse_and_the_better_end() -> None:
    mixed = Span(0.6, 0.8).mixed(Span(0.0, 0.5), Span(0.0, 1.0))
    assert (mixed.least, mixed.most) == pytest.approx((0.3, 0.9))
    assert Span(0.2, 0.3).mixed(Span(0.1, 0.2), Span(1.0, 1.0)).least == pytest.approx(0.28)
