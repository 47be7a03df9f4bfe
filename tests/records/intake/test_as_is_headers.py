"""A header that says `as is` is never read as dry matter without a word."""

import pytest

from tests.records.intake.helpers import plan


@pytest.mark.parametrize("header", ["Grain N (% as is)", "Grain N (as-is)", "Grain N % as is"])
def test_an_as_is_header_is_left_out_with_a_warning(header: str) -> None:
    planned = plan(
        {
            "growers.csv": "grower_id\nG1\n",
            "lots.csv": f"lot_id,grower_id,season,{header}\nL1,G1,2025,1.36\n",
        }
    )
    assert planned.sheets["lots"]["grain_n_pct_dm"].isna().all()
    warned = [fault for fault in planned.faults if fault.column == header]
    assert [fault.weight for fault in warned] == ["warning"]


def test_a_dry_header_is_read() -> None:
    planned = plan(
        {
            "growers.csv": "grower_id\nG1\n",
            "lots.csv": "lot_id,grower_id,season,Grain N (% dm)\nL1,G1,2025,1.60\n",
        }
    )
    assert planned.sheets["lots"]["grain_n_pct_dm"].tolist() == [1.6]
