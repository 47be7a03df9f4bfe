"""Nitrogen and extract as the paper gave them: kept as written, joined on dry matter, and said.

Dry from as is is x 100 / (100 - moisture), protein is nitrogen x 6.25; own arithmetic throughout.
The 3.86 L°/kg in one per cent of extract is from memory.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import pytest
from alembic import command
from sqlalchemy import create_engine

from origin_compare import load_folder, open_store
from origin_compare.chain.balance import batch_flows
from origin_compare.fermentation import derived
from origin_compare.growers import grower_letter
from origin_compare.house import default_rules, read_rules
from origin_compare.intake.plan import plan_intake
from origin_compare.questions import ask
from origin_compare.reports.letter_pdf import letter_pdf
from origin_compare.reports.letter_text import Room, letter_data
from origin_compare.review import season_review
from origin_compare.review.laboratories import for_grower
from origin_compare.season.join import build_season
from origin_compare.season.lot_shares import extract_of_malt
from origin_compare.season.one_harvest import one_harvest
from origin_compare.season.package import export_package, read_package
from origin_compare.season.season import Season
from origin_compare.sheets.bases import on_dry, one_moisture, said
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.fingerprint import _prints, content_prints
from origin_compare.sheets.frames import shaped
from origin_compare.store.connect import _settings
from origin_compare.trace import correct, trace
from origin_compare.trace.sources import figure_sources
from tests.chain.stills import runs_of
from tests.store import small

NEW = {
    "lots": {"grain_n_basis", "grain_protein_pct", "yield_moisture_pct", "grain_method"},
    "malts": {"extract_basis", "extract_l_deg_kg", "predicted_basis"},
}
FILES = {
    "growers.csv": "grower_id\nG1\n",
    "lots.csv": (
        "Lot,Grower,Harvest,Protein (%),Grain N,Moisture,Nitrogen basis,Grain lab,Yield,"
        "Yield moisture\n"
        "L1,G1,2025,10.0,,,,near infrared,7,14.5\n"
        "L2,G1,2025,,1.36,15,As-is,combustion,7,20\n"
        "L3,G1,2025,11,1.6,14,dm,near infrared,7,\n"
    ),
    "malts.csv": (
        "Malt,Lot,Malt moisture,Extract,Extract basis,HWE (L°/kg),Method,PSY,PSY basis\n"
        "M1,L1,4.5,76.0,as is,,EBC,400,as is\n"
        "M2,L2,,76,as is,,IoB,415,dm\n"
        "M3,L3,4.5,,,305,IoB,415,\n"
    ),
    "mashes.csv": "batch_id,malt_id,grist_kg\nB1,M1,1000\nB2,M2,1000\nB3,M3,1000\n",
    "fermentations.csv": (
        "batch_id,pitched_at\nB1,2025-11-01 08:00\nB2,2025-11-02 08:00\nB3,2025-11-03 08:00\n"
    ),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("bases")
    for name, text in FILES.items():
        (place / name).write_text(text, encoding="utf-8")
    return place


@pytest.fixture(scope="module")
def season(folder: Path) -> Season:
    return load_folder(folder)


def lots(**columns: object) -> pd.DataFrame:
    return shaped("lots", pd.DataFrame({"lot_id": ["L1"], **{k: [v] for k, v in columns.items()}}))


def malts(**columns: list[object]) -> pd.DataFrame:
    rows = len(next(iter(columns.values())))
    return shaped("malts", pd.DataFrame({"malt_id": ["M1"] * rows, **columns}))


def test_an_extract_as_is_is_put_on_dry_matter() -> None:
    given = malts(extract_pct_dm=[76.0], extract_basis=["as is"], moisture_pct=[4.5])
    dry = on_dry("malts", given)
    assert dry["extract_pct_dm"].tolist() == [pytest.approx(79.58, abs=0.005)]
    assert dry["extract_pct_dm"].iloc[0] * (100 - 4.5) / 100 == pytest.approx(76.0)
    assert given["extract_pct_dm"].tolist() == [76.0], "what was given stays"
    assert said("malts", given).tolist() == [
        "malt M1, extract: 76 % as is at 4.5 % moisture makes 79.58 % dry"
    ]
    pd.testing.assert_frame_equal(on_dry("malts", dry), dry)
    assert said("malts", dry).tolist() == [""]


def test_protein_is_nitrogen_times_6_25_on_the_same_basis() -> None:
    dry = lots(grain_protein_pct=10.0, grain_n_basis="dry")
    assert on_dry("lots", dry)["grain_n_pct_dm"].tolist() == [pytest.approx(1.60)]
    assert said("lots", dry).tolist() == ["lot L1, nitrogen: 1.60 % from protein 10 %"]
    wet = lots(grain_protein_pct=10.0, grain_n_basis="as is", grain_moisture_pct=20.0)
    assert on_dry("lots", wet)["grain_n_pct_dm"].tolist() == [pytest.approx(2.00)]
    assert said("lots", wet).tolist() == [
        "lot L1, nitrogen: 1.60 % from protein 10 %; 1.6 % as is at 20 % moisture makes 2.00 % dry"
    ]


@pytest.mark.parametrize(
    ("protein", "words"),
    [
        (10.0, ""),
        (10.08, ""),  # 1.6128, which 1.60 and 10.1 would round from
        (11.0, "lot L1, nitrogen: 1.6 % is kept, though protein 11 % would be 1.76 %"),
    ],
)
def test_nitrogen_is_kept_where_protein_disagrees(protein: float, words: str) -> None:
    both = lots(grain_n_pct_dm=1.6, grain_protein_pct=protein)
    assert on_dry("lots", both)["grain_n_pct_dm"].tolist() == [1.6]
    assert said("lots", both).tolist() == [words]


def test_without_a_moisture_or_beyond_what_can_be_a_figure_is_left_out_and_said() -> None:
    bare = lots(grain_n_pct_dm=1.4, grain_n_basis="as is")
    assert on_dry("lots", bare)["grain_n_pct_dm"].isna().all()
    assert said("lots", bare).tolist() == [
        "lot L1, nitrogen: 1.4 % is as is and no moisture is given, so it is left out"
    ]
    much = malts(extract_pct_dm=[90.0], extract_basis=["as is"], moisture_pct=[10.0])
    assert on_dry("malts", much)["extract_pct_dm"].isna().all()
    assert said("malts", much).tolist() == [
        "malt M1, extract: 90 % as is at 10 % moisture makes 100.00 % dry; 100.00 % cannot be, so "
        "it is left out"
    ]


def test_a_figure_without_a_basis_is_as_its_column_says() -> None:
    plain = lots(grain_n_pct_dm=1.4, grain_moisture_pct=15.0)
    pd.testing.assert_frame_equal(on_dry("lots", plain), plain)
    assert said("lots", plain).tolist() == [""]


def test_basis_and_moisture_beside_one_lot_hold_for_the_whole_malting() -> None:
    rows = malts(
        extract_pct_dm=[76.0, 76.0], extract_basis=["as is", None], moisture_pct=[None, 4.5]
    )
    assert on_dry("malts", rows)["extract_pct_dm"].tolist() == [pytest.approx(7600 / 95.5)] * 2
    assert extract_of_malt(rows).tolist() == [pytest.approx(0.76)], "kg of extract in a kg as it is"


def test_files_with_headers_of_their_own_are_joined_on_dry_matter(season: Season) -> None:
    assert [str(one) for one in season.faults if one.weight == "fault"] == []
    batches = season.batches.set_index("batch_id")
    assert batches["grain_n_pct_dm"].tolist() == pytest.approx([1.60, 1.60, 1.60])
    assert batches.loc["B1", "extract_pct_dm"] == pytest.approx(79.58, abs=0.005)
    assert batches["extract_pct_dm"].isna().tolist() == [False, True, False]
    assert batches.loc["B3", "extract_pct_dm"] == pytest.approx(305 / 3.86)
    assert batches["basis_notes"].tolist() == [
        "lot L1, nitrogen: 1.60 % from protein 10 %; no basis is given, taken as dry; "
        "lot L1, yield: 7 t/ha at 14.5 % moisture makes 7.04 at 15 %; "
        "malt M1, extract: 76 % as is at 4.5 % moisture makes 79.58 % dry; "
        "malt M1, predicted yield: 400 L/t as is at 4.5 % moisture makes 419 L/t dry",
        "lot L2, nitrogen: 1.36 % as is at 15 % moisture makes 1.60 % dry; "
        "lot L2, yield: 7 t/ha at 20 % moisture makes 6.59 at 15 %; "
        "malt M2, extract: 76 % is as is and no moisture is given, so it is left out",
        "lot L3, nitrogen: 1.6 % is kept, though protein 11 % would be 1.76 %; "
        "malt M3, extract: 79.02 % from 305 L°/kg; no basis is given, taken as dry",
    ]
    assert batches["yield_t_ha"].tolist() == pytest.approx([7 * 85.5 / 85, 7 * 80 / 85, 7.0])
    assert batches["yield_moisture_pct"].tolist() == pytest.approx(
        [15, 15, float("nan")], nan_ok=True
    )
    assert batches["predicted_lpa_t"].tolist() == pytest.approx([400 / 0.955, 415, 415])
    assert season.sheets["lots"]["grain_n_basis"].tolist()[1:] == ["as is", "dry"]
    assert season.sheets["malts"]["extract_pct_dm"].tolist()[:2] == [76.0, 76.0], "as written"


def test_one_harvest_of_it_is_converted_once(season: Season) -> None:
    pd.testing.assert_frame_equal(one_harvest(season, 2025).batches, season.batches)


def test_the_review_says_mixed_methods_moistures_and_what_was_converted(season: Season) -> None:
    review = season_review(season.batches, season.rules)
    assert review.rests_on().endswith(
        "Grain figures are by 2 laboratories or methods (combustion and near infrared) and are "
        "compared as written: a gap between such batches may be the method's. Malt figures are by "
        "2 laboratories or methods (EBC and IoB) and are compared as written: a gap between such "
        "batches may be the method's. Field yields are brought to 15 % moisture (usual for cereal "
        "yields in Britain, where 14 % or dry matter is usual elsewhere; from memory: common "
        "practice, no source); they stand as harvested for 1 batch, since no moisture is stated. A "
        "figure of grain or malt was converted, or chosen between two, for 3 batches; left out for "
        "want of a moisture, or as impossible, in 1 of them (column brought to one basis)."
    )
    assert list(review.table().columns[-2:]) == ["basis_notes", "missing_links"]


def test_a_season_of_one_basis_and_method_is_not_told_of_any() -> None:
    season = build_season(small.sheets(), default_rules())
    review = season_review(season.batches, season.rules)
    assert "basis_notes" not in review.table()
    for word in ("laboratories", "converted", "dry matter"):
        assert word not in review.rests_on()


def test_yields_stay_as_written_where_the_house_holds_to_no_one_moisture(folder: Path) -> None:
    own = read_rules('without = ["windows.yield_at_moisture_pct"]\n')
    assert (one_moisture(default_rules()), one_moisture(own)) == (15.0, None)
    as_written = load_folder(folder)
    season = build_season(as_written.sheets, own)
    assert season.batches["yield_t_ha"].tolist() == [7.0, 7.0, 7.0]
    assert (
        "Field yields are compared as written, at 14.5 to 20 % moisture; they stand as harvested "
        "for 1 batch, since no moisture is stated."
    ) in season_review(season.batches, own).rests_on()


def test_predicted_and_actual_spirit_yield_meet_on_dry_malt() -> None:
    # 1 t of malt of 4 % moisture gave 350 L; 364.6 L a dry tonne, of 400 predicted on dry malt,
    # or of 384 predicted on the malt as it is
    for predicted, basis in ((400.0, "dry"), (400.0, None), (384.0, "as is")):
        season = runs_of(
            ["A"], default_rules(), malts__predicted_lpa_t=predicted, malts__predicted_basis=basis
        )
        review = ask(season).review
        row = review.batches.iloc[0]
        assert row["spirit_yield_dm_lpa_t"] == pytest.approx(350 / 0.96)
        assert row["predicted_lpa_t"] == pytest.approx(400.0)
        assert row["share_of_predicted_pct"] == pytest.approx(100 * 350 / 384)
        assert batch_flows(season).loc["B1", "predicted_lpa"] == pytest.approx(384.0)
        told = "compared per tonne of dry malt"
        told += "." if basis else "; for 1 batch the certificate names no basis and dry is taken."
        assert f"Predicted and actual spirit yield are {told}" in review.rests_on()


def test_at_intake_a_figure_is_held_to_the_range_on_the_range_s_own_basis() -> None:
    planned = plan_intake(
        [
            ("growers.csv", b"grower_id\nG1\n"),
            (
                "lots.csv",
                b"lot_id,grower_id,season,grain n,moisture,nitrogen basis,protein\n"
                b"L1,G1,2025,1.15,15,as is,\nL2,G1,2025,1.9,18,as is,\nL3,G1,2025,,,dry,14\n"
                b"L4,G1,2025,1.4,,as is,\n",
            ),
        ],
        default_rules(),
    )
    # 1.15 is below 1.2 to 2.1 as it stands and 1.35 inside it dry; 1.9 the other way round
    assert [str(one) for one in planned.faults] == [
        "lots.csv row 3, grain_n_pct_dm: 1.9 is unusual: 1.9 % as is at 18 % moisture makes 2.32 % "
        "dry, and the house rules expect 1.2 to 2.1 % dry. Check it, if it is new.",
        "lots.csv row 5, grain_n_pct_dm: 1.4 stands in no comparison: 1.4 % is as is and no "
        "moisture is given, so it is left out. Give the moisture beside it, or check the figure.",
        "lots.csv row 4, grain_protein_pct: 14 is unusual: 2.24 % from protein 14 %, and the house "
        "rules expect 1.2 to 2.1 % dry. Check it, if it is new.",
    ]


def test_the_letter_holds_nitrogen_on_dry_matter(season: Season) -> None:
    letter = grower_letter(season, season.batches, None, "G1", 2025)
    assert letter.lots["grain_n_pct_dm"].tolist() == pytest.approx([1.60, 1.60, 1.60])
    assert letter.lots["yield_t_ha"].tolist() == pytest.approx([7 * 85.5 / 85, 7 * 80 / 85, 7.0])


def test_the_letter_says_in_a_grower_s_words_what_was_converted(season: Season) -> None:
    letter = grower_letter(season, season.batches, None, "G1", 2025)
    assert letter.bases == (
        "Grain nitrogen is counted on the dry grain, without its water: lot L2, 1.36 % as it stood "
        "at 15 % moisture, is 1.60 %.",
        "Nitrogen is protein divided by 6.25: protein 10 % of lot L1 is 1.60 % nitrogen.",
        "Malt extract is counted on the dry malt: malt M1, 76.0 % as it stood at 4.5 % moisture, "
        "is 79.6 %.",
        "Malt extract given in L°/kg is told in per cent, 3.86 L°/kg to one.",
        "The extract of malt M2 is left out: it was given on the malt as it stood, and cannot be "
        "put on dry malt.",
        "Yields are compared at 15 % moisture, so that wet grain does not look like a heavy crop: "
        "lot L1, 7 t/ha at 14.5 % moisture, counts as 7.04 t/ha; lot L2, 7 t/ha at 20 % "
        "moisture, counts as 6.59 t/ha.",
        "Your yield of lot L3 is as harvested: the moisture at weighing is not on our books.",
        "The 3 yields compared hold 1 as harvested: a point of moisture is 1.2 % of a yield.",
    )
    told = letter_data(letter, "", datetime(2025, 12, 1, tzinfo=UTC), Room(10, 10, 40))
    assert told["bases"] == list(letter.bases)
    assert letter_pdf(letter, "A house").startswith(b"%PDF")
    bare, none = lots(yield_t_ha=7.0), malts(extract_pct_dm=[80.0])
    assert for_grower(bare, none, bare, default_rules()) == (
        "Your yield is as harvested: the moisture at weighing is not on our books.",
    )


def test_the_sources_of_a_converted_figure_name_every_cell(season: Season) -> None:
    worked_out = derived(season)
    found = figure_sources(season, worked_out, "B1", "extract_pct_dm")
    assert found.table().values.tolist() == [
        ["malts", "M1 / L1", "extract_pct_dm", "76"],
        ["malts", "M1 / L1", "extract_basis", "as is"],
        ["malts", "M1 / L1", "moisture_pct", "4.5"],
        ["mashes", "B1 / 1 / M1", "grist_kg", "1000"],
    ]
    assert found.sentence() == (
        "Of B1, extract, % dry: 79.6. It is the mean over the malts in this batch, by grist; "
        "malt M1, extract: 76 % as is at 4.5 % moisture makes 79.58 % dry."
    )
    protein = figure_sources(season, worked_out, "B1", "grain_n_pct_dm").table()
    assert protein["column"].tolist() == ["grain_protein_pct", "grist_kg"]
    out = figure_sources(season, worked_out, "B2", "extract_pct_dm")
    assert out.sentence() == (
        "Of B2, extract, % dry: not known. It would be the mean over the malts in this batch, by "
        "grist; malt M2, extract: 76 % is as is and no moisture is given, so it is left out."
    )


def test_a_basis_is_traced_to_the_words_in_the_file(folder: Path, tmp_path: Path) -> None:
    files = [(one.name, one.read_bytes()) for one in sorted(folder.glob("*.csv"))]
    with open_store(f"sqlite:///{tmp_path / 'store.sqlite'}") as store:
        store.take_in(plan_intake(files, default_rules()), who="AB")
        basis = trace(store, "lots", "L2", "grain_n_basis")
        assert (basis.value, basis.cell, basis.file, basis.row) == ("as is", "As-is", "lots.csv", 3)
        protein = trace(store, "lots", "L1", "grain_protein_pct")
        assert (protein.value, protein.cell) == ("10", "10.0")
        extract = trace(store, "malts", ["M1", "L1"], "extract_pct_dm")
        assert (extract.value, extract.cell) == ("76", "76.0")
        key, why = ["M2", "L2"], "left off the paper"
        correct(store, "malts", key, "moisture_pct", "4,5", "AB", why, instead_of="")
        batches = store.season().batches.set_index("batch_id")
        assert batches.loc["B2", "extract_pct_dm"] == pytest.approx(7600 / 95.5)


def test_a_word_that_is_no_basis_is_a_fault() -> None:
    text = "malt_id,lot_id,extract_pct_dm,extract_basis\nM1,L1,76,sort of\n"
    plan = plan_intake([("malts.csv", text.encode())], default_rules())
    assert [str(one) for one in plan.faults if one.column == "extract_basis"] == [
        "malts.csv row 2, extract_basis: sort of is none of dry, as is. Write one of these, or "
        "leave the cell empty."
    ]


def test_a_package_brings_bases_back_and_an_older_one_is_still_read(
    season: Season, tmp_path: Path
) -> None:
    export_package(season, tmp_path / "out")
    back = read_package(tmp_path / "out")
    for name, frame in season.sheets.items():
        pd.testing.assert_frame_equal(back.sheets[name], frame)
    pd.testing.assert_frame_equal(back.batches, season.batches)
    for sheet, names in NEW.items():
        file = tmp_path / "out" / f"{sheet}.csv"
        pd.read_csv(file, dtype="str").drop(columns=list(names)).to_csv(file, index=False)
    older = read_package(tmp_path / "out")
    assert older.sheets["lots"][sorted(NEW["lots"])].isna().all(axis=None)
    assert older.sheets["lots"]["lot_id"].tolist() == ["L1", "L2", "L3"]


def test_a_store_of_the_fourth_form_gets_the_columns_and_keeps_its_rows(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'store.sqlite'}"
    engine = create_engine(url)
    with engine.begin() as link:
        command.upgrade(_settings(link), "0004")
    with engine.begin() as link:
        link.exec_driver_sql("INSERT INTO intakes VALUES (1, 0, 'AB', 'one lot')")
        start = "(intake_id, from_file, from_tab, from_row, raw_text, key_print, content_print, "
        link.exec_driver_sql(
            f"INSERT INTO lots {start} lot_id, grower_id, season, grain_n_pct_dm) "
            "VALUES (1, 'l.csv', '', 2, '{}', 11, 12, 'L1', 'G1', 2025, 1.52)"
        )
        link.exec_driver_sql(
            f"INSERT INTO malts {start} malt_id, lot_id, extract_pct_dm) "
            "VALUES (1, 'm.csv', '', 2, '{}', 13, 14, 'M1', 'L1', 80.5)"
        )
    engine.dispose()
    with open_store(url) as store:
        grain, malt = store.sheet("lots"), store.sheet("malts")
        assert grain[["lot_id", "grain_n_pct_dm"]].values.tolist() == [["L1", 1.52]]
        assert malt[["malt_id", "extract_pct_dm"]].values.tolist() == [["M1", 80.5]]
        assert grain[sorted(NEW["lots"])].isna().all(axis=None)
        assert malt[sorted(NEW["malts"])].isna().all(axis=None)


@pytest.mark.parametrize("sheet", ["lots", "malts"])
def test_a_row_kept_before_keeps_its_print(sheet: str) -> None:
    frame = shaped(sheet, small.sheets()[sheet])
    then = tuple(one.name for one in SHEETS[sheet].columns if one.since == 1)
    assert set(SHEETS[sheet].names()) - set(then) == NEW[sheet]
    assert content_prints(sheet, frame).tolist() == _prints(frame, then).tolist()
