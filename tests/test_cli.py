"""The console from the outside: what it prints, and the code it ends with."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

from origin_compare import cli, open_store
from origin_compare.front import launcher
from origin_compare.intake.asking.reading_plan import ReadingPlan, read_plans
from origin_compare.season.folder import load_folder

GOOD = {
    "growers.csv": "grower_id,soil\nG1,clay\nG2,sand\n",
    "lots.csv": "lot_id,grower_id,season,variety\nL1,G1,2024,Ardent\nL2,G2,2024,Brook\n",
    "malts.csv": "malt_id,lot_id,grain_t\nM1,L1,5\nM2,L2,6\n",
    "mashes.csv": "batch_id,mash_no,malt_id,grist_kg\nB1,1,M1,900\nB2,1,M2,950\n",
    "fermentations.csv": (
        "batch_id,vessel,pitched_at,og_sg\n"
        "B1,V1,2024-11-07 08:00,1.0610\nB2,V2,2024-11-09 08:00,1.0625\n"
    ),
}
BAD_LINE = "L3,G1,20x4,Ardent\n"


@pytest.fixture
def sheets(tmp_path: Path) -> Path:
    folder = tmp_path / "sheets"
    folder.mkdir()
    for name, text in GOOD.items():
        (folder / name).write_text(text)
    return folder


@pytest.fixture(autouse=True)
def own_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("ORIGIN_COMPARE_STORE", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


def spoil(sheets: Path) -> None:
    with (sheets / "lots.csv").open("a") as file:
        file.write(BAD_LINE)


def test_good_files_are_said_to_be_good(sheets: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["check", str(sheets)]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0] == ("Takes in 2 growers, 2 lots, 2 malt rows, 2 mash rows and 2 fermentations.")
    assert said[1] == "5 files, 10 rows read."
    assert said[-1].startswith("0 faults")


def test_faults_are_listed_and_end_in_1(sheets: Path, capsys: pytest.CaptureFixture[str]) -> None:
    spoil(sheets)
    assert cli.main(["check", str(sheets)]) == 1
    said = capsys.readouterr().out.splitlines()
    assert any(line.startswith("lots.csv row 4, season: 20x4 ") for line in said)
    assert said[-1].startswith("1 fault, ")


def test_checking_stores_nothing(sheets: Path, tmp_path: Path) -> None:
    cli.main(["check", str(sheets)])
    assert not (tmp_path / "data").exists()


def test_take_in_then_look_then_take_back(sheets: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["take-in", str(sheets), "--who", "still house"]) == 0
    assert capsys.readouterr().out.splitlines()[0] == (
        "Intake 1 brought 2 rows of growers, 2 rows of lots, 2 rows of malts, 2 rows of mashes "
        "and 2 rows of fermentations."
    )
    assert cli.main(["take-in", str(sheets)]) == 0
    assert capsys.readouterr().out.splitlines()[0] == (
        "Nothing was new; 10 rows stood there already."
    )
    assert cli.main(["intakes"]) == 0
    said = capsys.readouterr().out
    assert "still house" in said
    assert len(said.splitlines()) == 2
    assert cli.main(["season"]) == 0
    said = capsys.readouterr().out
    assert "B1" in said
    assert said.splitlines()[-1] == "0 of 2 batches complete from field to panel."
    assert cli.main(["take-back", "1"]) == 0
    assert capsys.readouterr().out == "Intake 1 was taken back with 10 rows.\n"
    assert cli.main(["intakes"]) == 0
    assert capsys.readouterr().out == "Nothing has been taken in yet.\n"


def test_take_in_keeps_the_good_rows_and_tells_of_the_others(
    sheets: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    spoil(sheets)
    url = f"sqlite:///{tmp_path / 'here.sqlite'}"
    assert cli.main(["take-in", str(sheets), "--store", url]) == 1
    assert "lots.csv row 4, season: 20x4" in capsys.readouterr().out
    with open_store(url) as store:
        assert len(store.sheet("lots")) == 2
        assert store.original(1, "lots.csv").decode().endswith(BAD_LINE)
        assert list(store.set_aside(1)) == ["lots.csv"]


def test_take_in_names_warnings_and_what_was_left_out(
    sheets: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    growers = (sheets / "growers.csv").read_text().splitlines()
    told = [f"{line},{'mood' if at == 0 else 'fine'}" for at, line in enumerate(growers)]
    (sheets / "growers.csv").write_text("\n".join(told) + "\n")
    url = f"sqlite:///{tmp_path / 'here.sqlite'}"
    assert cli.main(["take-in", str(sheets), "--store", url, "--warnings"]) == 0
    said = capsys.readouterr().out.splitlines()
    assert "mood of growers.csv is left out: no such column is known." in said
    zone = "Which time zone do the clocks of the house keep? Until it is said, UTC is taken for"
    assert any(line.startswith(zone) for line in said)
    assert any(line.startswith("(unusual) growers.csv row 1, mood: is no column") for line in said)


def test_rules_and_headers_beside_the_files_are_followed(sheets: Path, tmp_path: Path) -> None:
    (sheets / "house_rules.toml").write_text('time_zone = "Europe/Helsinki"\n')
    (sheets / "headers.toml").write_text(
        '[[map]]\nsheet = "readings"\n[map.headers]\n'
        '"RUN" = "batch_id"\n"AT" = "read_at"\n"D.PV" = "sg"\n'
    )
    (sheets / "log.csv").write_text("RUN,AT,D.PV\nB1,2024-11-07 16:00,1.0500\n")
    url = f"sqlite:///{tmp_path / 'here.sqlite'}"
    assert cli.main(["take-in", str(sheets), "--store", url]) == 0
    with open_store(url) as store:
        season = store.season()
        assert store.rules().time_zone == "Europe/Helsinki"
        assert [one.sheet for one in store.reading_plans()] == ["readings"]
    assert season.batches["pitched_at"].iloc[0] == pd.Timestamp("2024-11-07 06:00", tz="UTC")
    assert season.sheets["readings"]["hours"].tolist() == [8.0]
    folder = load_folder(sheets)
    pd.testing.assert_frame_equal(folder.batches, season.batches)
    pd.testing.assert_frame_equal(folder.sheets["readings"], season.sheets["readings"])


def test_reading_plans_are_shown_written_and_forgotten(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    url = f"sqlite:///{tmp_path / 'here.sqlite'}"
    plan = ReadingPlan("readings", {"Run": "batch_id"}, kind=("gravity", "time"))
    with open_store(url) as store:
        store.remember_plan(plan)
    assert cli.main(["reading-plans", "--store", url]) == 0
    assert capsys.readouterr().out == f"readings: gravity, time\n{plan.to_toml()}\n"
    written = tmp_path / "reading_plans.toml"
    assert cli.main(["reading-plans", "--to", str(written), "--store", url]) == 0
    assert read_plans(written.read_text("utf-8")) == (plan,)
    assert cli.main(["reading-plans", "--forget", plan.name, "--store", url]) == 0
    assert cli.main(["reading-plans", "--forget", plan.name, "--store", url]) == 2
    with open_store(url) as store:
        assert store.reading_plans() == ()


def test_the_season_as_csv_runs_no_formula(
    sheets: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = GOOD["fermentations.csv"].replace("B1,V1", "B1,=1+1")
    (sheets / "fermentations.csv").write_text(text)
    cli.main(["take-in", str(sheets)])
    assert cli.main(["season", "--season", "2024", "--csv", str(tmp_path / "out.csv")]) == 0
    frame = pd.read_csv(tmp_path / "out.csv")
    assert frame["vessel"].tolist() == ["'=1+1", "V2"]
    assert frame["og_sg"].tolist() == [1.061, 1.0625]
    assert capsys.readouterr().out.endswith(f"2 batches written to {tmp_path / 'out.csv'}.\n")


def test_export_writes_a_package(
    sheets: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cli.main(["take-in", str(sheets)])
    assert cli.main(["export", str(tmp_path / "out")]) == 0
    assert capsys.readouterr().out.endswith(
        f"10 rows of 11 sheets written to {tmp_path / 'out'}.\n"
    )
    assert (tmp_path / "out" / "datapackage.json").is_file()


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (
            ["take-back", "4"],
            "There is no intake 4 in the store. List the intakes to see their numbers.",
        ),
        (
            ["season", "--season", "1999"],
            "There is no lot of harvest 1999. Harvests on record: none.",
        ),
        (["check", "nowhere"], "nowhere: there is no such file or folder. Check the path."),
        (
            ["intakes", "--store", "not a url"],
            "The store 'not a url' cannot be opened: Could not "
            "parse SQLAlchemy URL from given URL string. Check that the place exists, that you may "
            "write there and that it is a store of this program.",
        ),
        (
            ["season", "--csv", "nowhere/out.csv"],
            "nowhere/out.csv: No such file or directory. Check the place.",
        ),
        (["score"], "No tasting is drawn up in this store. Draw one up on the Tasting page first."),
    ],
)
def test_what_cannot_be_done_is_said_in_one_sentence(
    arguments: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(arguments) == 2
    told = capsys.readouterr()
    assert told.err == f"{sentence}\n"


@pytest.mark.parametrize("arguments", [[], ["distil"], ["check"], ["take-back", "two"]])
def test_wrong_use_ends_in_2(arguments: list[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        cli.main(arguments)
    assert ended.value.code == 2


VERBS = ["check", "take-in", "take-back", "intakes", "season", "export", "open", "score"]


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_explains_itself_with_an_example_that_parses(
    verb: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        cli.main([verb, "--help"])
    assert ended.value.code == 0
    example = capsys.readouterr().out.split("example:\n")[1].strip()
    assert example.startswith(f"origin-compare {verb}")
    cli._parser().parse_args(example.replace("'", "").replace("still house", "house").split()[1:])


def test_open_hands_over_to_the_app(monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[tuple[str, int, bool]] = []
    monkeypatch.setattr(launcher, "launch", lambda *given: calls.append(given))
    assert cli.main(["open", "--store", "sqlite:///x", "--port", "9001", "--no-browser"]) == 0
    assert cli.main(["open", "--store", "sqlite:///x"]) == 0
    assert calls == [("sqlite:///x", 9001, True), ("sqlite:///x", 8610, False)]


def test_the_demo_is_filled_once_and_never_into_records_of_one_s_own(
    sheets: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    calls: list[tuple[str, int, bool]] = []
    monkeypatch.setattr(launcher, "launch", lambda *given: calls.append(given))
    monkeypatch.setattr("origin_compare.places.demo_folder", lambda: sheets)
    for _ in range(2):
        assert cli.main(["open", "--demo"]) == 0
    assert capsys.readouterr().out.count("Intake 1 brought") == 1
    assert calls[0] == calls[1]
    with open_store(calls[0][0]) as store:
        assert store.intakes()["who"].tolist() == ["the demo"]
    own = f"sqlite:///{tmp_path / 'own.sqlite'}"
    cli.main(["take-in", str(sheets), "--store", own])
    assert cli.main(["open", "--demo", "--store", own]) == 2
    assert capsys.readouterr().err == (
        f"The store {own} holds records of its own. The demo wants a store to itself: leave "
        "--store out, or name a new one.\n"
    )
    assert len(calls) == 2


def test_run_as_a_module(sheets: Path) -> None:
    whole = subprocess.run(
        [sys.executable, "-m", "origin_compare", "check", str(sheets)],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ,
    )
    assert (whole.returncode, whole.stderr) == (0, "")
    assert whole.stdout.startswith("Takes in 2 growers")


def test_importing_the_package_brings_in_nothing_heavy() -> None:
    code = (
        "import sys, origin_compare, origin_compare.cli;"
        "print(sorted({'pandas', 'numpy', 'sqlalchemy', 'streamlit'} & set(sys.modules)));"
        "print(origin_compare.Season.__name__, origin_compare.measures.__name__)"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.splitlines() == ["[]", "Season origin_compare.measures"]


def test_a_name_the_package_does_not_have() -> None:
    import origin_compare

    with pytest.raises(AttributeError, match=r"^module 'origin_compare' has no attribute 'casks'$"):
        origin_compare.casks  # noqa: B018
    assert set(origin_compare.__all__) <= set(dir(origin_compare))


def test_the_console_asks_for_one_thread_before_numpy_is_there() -> None:
    # Later would be too late: the libraries read it when they are loaded.
    told = "import sys, origin_compare.cli; print('numpy' in sys.modules)"
    ran = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    assert ran.stdout == "False\n"
