"""The demo's generator: reproducible, up to date, and true to what it says is planted."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from demo_harvests.make import SEED, Made, make, simulate, write_all
from demo_harvests.world import (
    ATTRIBUTES,
    DRIVER_CENTRES,
    DRIVER_UNITS,
    EFFECTS,
    NO_NOISE,
    Effects,
)
from origin_compare.sheets.catalogue import SHEETS

DEMO = Path(__file__).resolve().parents[2] / "demo_harvests"


@pytest.fixture(scope="module")
def made() -> Made:
    return make()


@pytest.fixture(scope="module")
def quiet() -> Made:
    """The same harvests with nothing random in the profile: only planted slopes and shifts."""
    silent: Effects = replace(EFFECTS, grower_sd={}, batch_sd={}, fault={})
    return simulate(SEED, silent, noise=NO_NOISE)


def test_the_same_seed_gives_the_same_bytes_and_they_are_those_in_the_repository(
    tmp_path: Path,
) -> None:
    write_all(SEED, tmp_path)
    written = {p.relative_to(tmp_path): p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    kept = {p.relative_to(DEMO): p.read_bytes() for p in (DEMO / "sheets").iterdir()}
    kept[Path("truth.json")] = (DEMO / "truth.json").read_bytes()
    assert sorted(written) == sorted(kept)
    stale = [str(name) for name in kept if kept[name] != written[name]]
    assert stale == [], "run `python demo_harvests/make.py` and commit what it writes"


def test_another_seed_gives_other_harvests(made: Made) -> None:
    other = make(SEED + 1)
    assert not other.sheets["readings"].equals(made.sheets["readings"])
    assert not other.sheets["scores"].equals(made.sheets["scores"])


def test_all_files_together_stay_small() -> None:
    assert sum(p.stat().st_size for p in (DEMO / "sheets").iterdir()) < 3_000_000


def test_counts(made: Made) -> None:
    sheets = made.sheets
    assert len(sheets["growers"]) == 20
    assert len(sheets["fermentations"]) == 60
    assert sheets["lots"]["season"].value_counts().to_dict() == {2024: 25, 2025: 24}
    assert sorted(sheets["scores"]["attribute"].unique()) == sorted(ATTRIBUTES)
    assert sheets["scores"]["assessor_id"].nunique() == 10
    log = sheets["readings"].query("instrument == 'probe'")
    assert log["batch_id"].unique().tolist() == ["Q25-06"]
    assert 7_500 < len(log) < 8_200
    batches_of = pd.Series(
        [grower for batch in made.truth["batches"] for grower in batch["grower_shares"]]
    ).value_counts()
    assert batches_of["G04"] == 4
    assert batches_of["G17"] == 1


def test_clean_frames_use_the_sheets_own_columns(made: Made) -> None:
    for name, frame in made.sheets.items():
        assert set(frame.columns) <= set(SHEETS[name].names()), name
        assert set(SHEETS[name].needed()) <= set(frame.columns), name
        key = [column for column in SHEETS[name].key if column in frame]
        assert not frame.duplicated(key).any(), name


def test_every_link_of_the_clean_frames_leads_somewhere(made: Made) -> None:
    for name, frame in made.sheets.items():
        for column in SHEETS[name].columns:
            if column.links_to is None or column.name not in frame:
                continue
            target = made.sheets[column.links_to][column.name]
            lost = set(frame[column.name].dropna()) - set(target)
            assert lost <= {"CONTROL"}, (name, column.name)


def _true_drivers(made: Made) -> pd.DataFrame:
    batches = pd.DataFrame(made.truth["batches"]).set_index("batch_id")
    batches = batches[batches["profile"].notna()]
    table = pd.DataFrame(index=batches.index)
    for name in DRIVER_UNITS:
        table[name] = (batches[name] - DRIVER_CENTRES[name]) / DRIVER_UNITS[name]
    table["second_season"] = (batches["season"] == 2025).astype(float)
    table["Tarrowhite"] = (batches["variety"] == "Tarrowhite").astype(float)
    return table


def test_ordinary_regression_on_the_true_profile_returns_the_planted_slopes(quiet: Made) -> None:
    drivers = _true_drivers(quiet)
    design = np.column_stack([np.ones(len(drivers)), drivers.to_numpy()])
    profile = pd.DataFrame(
        {b["batch_id"]: b["profile"] for b in quiet.truth["batches"] if b["profile"]}
    ).T
    for attribute in ATTRIBUTES:
        found, *_ = np.linalg.lstsq(design, profile[attribute].to_numpy(), rcond=None)
        wanted = [EFFECTS.level[attribute]]
        wanted += [EFFECTS.slopes.get(attribute, {}).get(name, 0.0) for name in DRIVER_UNITS]
        wanted.append(EFFECTS.second_season.get(attribute, 0.0))
        wanted.append(EFFECTS.variety["Tarrowhite"].get(attribute, 0.0))
        # the truth is kept to 4 decimals, drivers likewise
        assert found == pytest.approx(wanted, abs=2e-3), attribute


def test_truth_file_is_what_the_generator_says(made: Made) -> None:
    kept = json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))
    kept.pop("file_faults")
    assert kept == json.loads(json.dumps(made.truth))
