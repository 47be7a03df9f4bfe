"""From a cell of a table to the trace page: the lead names the batch, the lot or the reading."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from origin_compare.trace.leads import leading, leads
from tests.growers.demo import season

OWN = {"grower_id": "G12", "season": "2025"}


@pytest.mark.parametrize(
    ("row", "column", "about", "said"),
    [
        ({"batch_id": "Q25-09"}, "peak_temp_c", {}, ["highest recorded temperature, °C of Q25-09"]),
        ({"batch_id": "Q25-09"}, "og_sg", {}, ["original gravity of Q25-09"]),
        ({"batch_id": "Q25-09"}, "says", {}, ["record of Q25-09"]),
        ({"attribute": "cereal"}, "estimate", {"batch_id": "Q25-09"}, ["score cereal of Q25-09"]),
        (
            {"attribute": "cereal"},
            "gap",
            {"batch_id": "Q25-09", "beside": "Q25-08"},
            ["score cereal of Q25-09", "score cereal of Q25-08"],
        ),
        (
            {"batch_id": "Q25-09", "channel": "pH"},
            "from_h",
            {},
            ["after yeast pH of Q25-09"],
        ),
        ({"lot_id": "L25-12A"}, "grain_n_pct_dm", {}, ["grain nitrogen, % dry of L25-12A"]),
        (
            {"step": "lot", "name": "L25-12A"},
            "share",
            {"batch_id": "Q25-09"},
            ["record of L25-12A"],
        ),
        (
            {"step": "alcohol in new make"},
            "amount",
            {"batch_id": "Q25-09"},
            ["pure alcohol, L of Q25-09"],
        ),
        ({"step": "panel"}, "says", {"batch_id": "Q25-09"}, []),
        ({"figure": "screenings, %"}, "own", OWN, ["screenings, % of L25-12A"]),
        ({"grower_id": "G12"}, "note", {}, ["record of G12"]),
        ({"step": "grain steeped"}, "amount", {}, []),
    ],
)
def test_a_cell_leads_to_what_stands_behind_it(
    row: Mapping[str, object],
    column: str,
    about: Mapping[str, str],
    said: list[str],
) -> None:
    assert [one.says for one in leading(season(), **about)(row, column)] == said


def test_a_lot_s_figure_that_its_batches_gave_leads_to_each_of_them() -> None:
    shares = season().shares
    batches = shares.loc[shares["lot_id"] == "L25-12A", "batch_id"].unique()
    found = leads(season(), {"lot_id": "L25-12A"}, "length_h", {})
    assert len(batches) > 1
    assert [one.query["of"] for one in found] == list(batches)


def test_a_reading_of_a_batch_leads_to_its_own_row() -> None:
    readings = season().sheets["readings"]
    one = readings[readings["batch_id"] == "Q25-09"].iloc[3]
    about = {"batch_id": "Q25-09"}
    (lead,) = leads(season(), {"hours": round(one["hours"], 2)}, "sg", about)
    assert lead.query["sheet"] == "readings" and lead.query["key"] == "Q25-09"
    assert lead.query["row"].startswith(f"{one['read_at']:%Y-%m-%d %H:%M}")
