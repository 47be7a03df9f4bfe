"""A header that says `as is` gives its basis to every row, and is never read as dry matter."""

import pytest

from tests.intake.helpers import plan

GROWERS = {"growers.csv": "grower_id\nG1\n"}


def lots(headers: str, cells: str):
    return plan(GROWERS | {"lots.csv": f"lot_id,grower_id,season,{headers}\nL1,G1,2025,{cells}\n"})


@pytest.mark.parametrize("header", ["Grain N (% as is)", "Grain N (as-is)"])
def test_an_as_is_header_fills_the_basis(header: str) -> None:
    grain = lots(f"{header},moisture", "1.36,15").sheets["lots"]
    assert grain["grain_n_pct_dm"].tolist() == [1.36]
    assert grain["grain_n_basis"].tolist() == ["as is"]


def test_protein_and_predicted_yield_take_their_header_s_basis_too() -> None:
    grain = lots("Protein (% as is),moisture", "8.5,15").sheets["lots"]
    assert grain[["grain_protein_pct", "grain_n_basis"]].values.tolist() == [[8.5, "as is"]]
    for header, basis in (("LPA/t as is", "as is"), ("as is", "as is"), ("LPA/t dm", "dry")):
        text = f"malt_id,lot_id,moisture,PSY ({header})\nM1,L1,4.5,395\n"
        malt = plan({"malts.csv": text}).sheets["malts"]
        assert malt[["predicted_lpa_t", "predicted_basis"]].values.tolist() == [[395.0, basis]]


@pytest.mark.parametrize(
    ("headers", "left_out"),
    [
        ("Grain N % as is", "Grain N % as is"),
        ("Grain N (% as is),Protein (% dm)", "Grain N (% as is)"),
        ("Protein (% as is),Grain N (% dm)", "Protein (% as is)"),
    ],
)
def test_what_cannot_have_a_basis_of_its_own_is_left_out_with_a_warning(
    headers: str, left_out: str
) -> None:
    cells = ",".join("9" if name.startswith("P") else "1.5" for name in headers.split(","))
    planned = lots(headers, cells)
    assert planned.sheets["lots"]["grain_n_basis"].isna().all()
    column = "grain_protein_pct" if left_out.startswith("P") else "grain_n_pct_dm"
    assert planned.sheets["lots"][column].isna().all()
    warned = [fault for fault in planned.faults if fault.column == left_out]
    assert [fault.weight for fault in warned] == ["warning"]


def test_a_dry_header_is_read() -> None:
    assert lots("Grain N (% dm)", "1.60").sheets["lots"]["grain_n_pct_dm"].tolist() == [1.6]


def test_another_quantity_in_a_column_is_named_for_what_it_is() -> None:
    told = [str(one) for one in lots("grain n", "10.1").faults if one.is_to_mend]
    assert told == [
        "lots.csv row 2, grain_n_pct_dm: 10.1 is outside 0.5 to 4. Protein? 10.1 % protein is 1.62 "
        "% nitrogen. Write that, or put protein into a column of its own."
    ]
    malt = plan({"malts.csv": "malt_id,lot_id,extract\nM1,L1,305\n"})
    assert [str(one) for one in malt.faults if one.is_to_mend] == [
        "malts.csv row 2, extract_pct_dm: 305 is outside 50 to 95. In L°/kg? 305 L°/kg is about "
        "79.0 %. Write that, or put L°/kg into a column of its own."
    ]


def gravities(*cells: str):
    rows = "".join(f"B1,{8 * at},{cell}\n" for at, cell in enumerate(cells))
    return plan({"readings.csv": f"batch_id,hours,gravity (°P)\n{rows}"})


def test_a_specific_gravity_among_degrees_plato_is_listed() -> None:
    told = gravities("15.9", "14.2", "1.0452", "1045.2", "1.2")
    assert [str(one) for one in told.faults if one.is_to_mend] == [
        f"readings.csv row {row}, sg: {cell} is on another scale than the rest of the column (°P). "
        "If it is the same reading, write 11.24."
        for row, cell in ((4, "1.0452"), (5, "1045.2"))
    ]
    fine = gravities("15.902", "14.215", "1.045", "-1.2")
    assert [one for one in fine.faults if one.is_to_mend] == []
