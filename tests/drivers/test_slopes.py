"""Slopes: the planted ones found, the tied ones refused, the counts told."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from origin_compare.answers import Answer
from origin_compare.drivers import effects
from origin_compare.drivers.verdicts import VERDICTS
from origin_compare.errors import NotEnoughData, UnknownName
from tests.drivers.seasons import Tasted, invent, two_true


def _row(table: pd.DataFrame, attribute: str, process: str) -> pd.Series:
    return table.set_index(["attribute", "process"]).loc[(attribute, process)]


def test_planted_slopes_are_clear_and_the_rest_is_not() -> None:
    season = invent(1, each=8, slopes=two_true())
    found = effects(season.batches, season.profile)
    assert isinstance(found, Answer)
    table = found.table()
    assert len(table) == 18
    assert set(table["verdict"]) <= set(VERDICTS)
    length = _row(table, "attribute 1", "length_h")
    acid = _row(table, "attribute 2", "final_ph")
    assert (length["verdict"], acid["verdict"]) == ("clear", "clear")
    assert (length["low"] < 0.5 < length["high"], acid["low"] < -0.5 < acid["high"]) == (True, True)
    assert (length["step"], acid["step"]) == ("10 h", "0.1 pH")
    assert (table["verdict"] == "clear").sum() == 2
    assert "goes with length (+0." in found.sentence()
    assert "caus" not in found.sentence()


def test_every_question_is_counted_and_bounded_together() -> None:
    season = invent(5, slopes=two_true())
    found = effects(season.batches, season.profile)
    assert found.tested == 18
    for table in (found.slopes, found.origins):
        q = stats.false_discovery_control(table["p"])
        np.testing.assert_allclose(table["q"], q)
    assert "18 slopes tested together, and 6 shares of the grower together" in found.rests_on()


def test_length_tied_to_ph_is_refused_and_named() -> None:
    season = invent(2, each=8, together=-0.999, slopes=two_true())
    found = effects(season.batches, season.profile)
    table = found.table()
    tied = table[table["verdict"] == "cannot be told apart"]
    assert set(tied["process"]) == {"length_h", "final_ph"}
    assert set(tied["tied_with"]) == {"length_h", "final_ph"}
    assert "length and final pH move together here (r = −" in tied["why"].iloc[0]
    assert found.tested == 6
    assert "this data cannot tell them apart" in found.sentence()


def test_process_set_by_the_grower_is_refused() -> None:
    season = invent(2, tied=1.0, slopes=two_true())
    table = effects(season.batches, season.profile).table()
    assert set(table["verdict"]) == {"cannot be told apart"}
    assert set(table["tied_with"]) == {"grower_id"}


def test_an_attribute_the_panel_cannot_tell_gets_no_verdict() -> None:
    season = invent(1, slopes=two_true())
    deaf = Tasted(season.profile.estimates, season.profile.errors, ("attribute 2",))
    found = effects(season.batches, deaf)
    one = found.table()[found.table()["attribute"] == "attribute 1"]
    assert set(one["verdict"]) == {"panel cannot tell"}
    assert found.tested == 3
    assert "The panel cannot tell batches apart on attribute 1, attribute 3, " in found.sentence()


def test_panel_error_is_carried_in() -> None:
    """The same scores with a noisier panel leave less for the batches, never a surer slope;
    unequal panel errors weigh the batches unequally."""
    season = invent(1, slopes=two_true())
    plain = effects(season.batches, season.profile).table()
    errors = season.profile.errors.copy()
    errors.iloc[::2] = 1.5
    loud = Tasted(season.profile.estimates, errors, season.profile.told)
    weighed = effects(season.batches, loud).table()
    assert not np.allclose(plain["slope"], weighed["slope"], atol=0.01)
    assert (weighed["se"] > 0).all()


def test_adjusted_against_alone_is_named() -> None:
    slopes = np.zeros((3, 6))
    slopes[2] = -0.6
    season = invent(7, each=10, together=-0.75, slopes=slopes)
    table = effects(season.batches, season.profile).table()
    row = table[table["process"] == "length_h"]
    assert (
        row["difference"] == "seen alone, gone once the other process variables are allowed for"
    ).sum() >= 4
    assert (row["alone"] > row["slope"]).all()


def test_growers_share_covers_its_truth_and_is_named() -> None:
    season = invent(12, growers=16, each=6, grower_sd=0.8)
    origins = effects(season.batches, season.profile).origins
    truth = 0.8**2 / (0.8**2 + 0.5**2)
    assert ((origins["low"] < truth) & (truth < origins["high"])).all()
    assert (origins["verdict"] == "clear").all()


def test_growers_behind_a_slope_are_seen() -> None:
    """Growers who run long also grow fruitier barley: nothing is clear, and it is said why."""
    false_clear = warned = 0
    for seed in range(12):
        season = invent(seed, growers=20, each=3, tied=0.6, hidden=0.6)
        table = effects(season.batches, season.profile).table()
        length = table[table["process"] == "length_h"]
        false_clear += int((length["verdict"] == "clear").sum())
        warned += int(length["warning"].str.contains("growers may stand behind it").sum())
    assert false_clear <= 2  # of 72
    assert warned > 20


def test_one_batch_that_carries_a_slope_is_named() -> None:
    season = invent(4, slopes=np.zeros((3, 6)))
    batches = season.batches.copy()
    batches.loc[0, "peak_temp_c"] = 36.0
    scores = season.profile.estimates.copy()
    scores.iloc[0] += 4.0
    found = effects(batches, Tasted(scores, season.profile.errors, season.profile.told)).table()
    peak = found[found["process"] == "peak_temp_c"]
    assert peak["fragile"].sum() >= 4
    assert set(peak.loc[peak["fragile"], "leans_on"]) == {"B000"}
    assert peak.loc[peak["fragile"], "warning"].str.contains("it leans on batch B000; with").all()


def test_a_bend_is_seen_and_a_straight_line_is_not_bent() -> None:
    season = invent(6, each=8, slopes=two_true())
    x = (season.batches["length_h"] - 130) / 10
    bent = season.profile.estimates.copy()
    bent["attribute 3"] += 0.4 * x.to_numpy() ** 2
    profile = Tasted(bent, season.profile.errors, season.profile.told)
    table = effects(season.batches, profile).table()
    assert _row(table, "attribute 3", "length_h")["curve_p"] < 0.001
    assert (table["curve_p"] < 0.01).sum() <= 2


def test_one_batch_per_grower_gives_no_share() -> None:
    season = invent(12, growers=20, each=1)
    found = effects(season.batches, season.profile)
    assert found.origins["share"].isna().all()
    assert set(found.origins["verdict"]) == {"cannot be told apart"}
    assert "With one batch per grower, grower and batch are one thing." in found.rests_on()


def test_cuts_enter_where_recorded_and_their_absence_is_said() -> None:
    season = invent(1, slopes=two_true())
    assert (
        "Not allowed for: new-make strength (recorded for 0 of 60 batches), cut-on strength "
        "(recorded for 0 of 60 batches) and cut-off strength (recorded for 0 of 60 batches). "
        "Cuts and strength can move a profile more than anything before the still"
        in effects(season.batches, season.profile).rests_on()
    )
    cut = np.random.default_rng(0).normal(65.0, 1.0, 60)
    batches = season.batches.assign(cut_off_abv_pct=cut)
    moved = Tasted(
        season.profile.estimates.add(0.8 * (cut - 65.0), axis=0),
        season.profile.errors,
        season.profile.told,
    )
    found = effects(batches, moved)
    assert "Allowed for: cut-off strength." in found.rests_on()
    without = effects(batches, moved, still=()).table()
    assert found.table()["se"].mean() < 0.8 * without["se"].mean()


def test_too_few_batches_are_refused() -> None:
    season = invent(1, growers=2, each=3)
    with pytest.raises(
        NotEnoughData,
        match=r"^A slope needs at least 7 ended, tasted batches of one known origin with all "
        r"process figures recorded; there are 6\.$",
    ):
        effects(season.batches, season.profile)


def test_an_attribute_nobody_scored() -> None:
    season = invent(1, attributes=2)
    with pytest.raises(
        UnknownName,
        match=r"^No attribute peaty in the scores; the panel scored attribute 1 and attribute 2\.$",
    ):
        effects(season.batches, season.profile, attributes=["peaty"])


def test_two_that_move_together_are_told_apart_by_enough_batches() -> None:
    season = invent(2, growers=30, each=10, together=-0.95, slopes=two_true())
    found = effects(season.batches, season.profile)
    table = found.table().set_index(["attribute", "process"])
    row = table.loc[("attribute 1", "length_h")]
    assert row["verdict"] == "clear"
    assert row["low"] < 0.5 < row["high"]
    assert row["high"] - row["low"] < 0.5
    assert "length and final pH move together here (r = −0.9" in row["why"]


def test_batches_that_break_a_tie_are_what_tells_the_two_apart() -> None:
    season = invent(2, growers=12, each=5, together=-0.99, slopes=two_true())
    batches = season.batches.copy()
    broken = np.arange(0, 60, 10)
    sign = np.where(np.arange(6) % 2 == 0, 1.0, -1.0)
    for name in ("length_h", "final_ph"):
        at = batches[name].mean() + sign * 1.5 * batches[name].std()
        batches.loc[broken, name] = at.to_numpy() if hasattr(at, "to_numpy") else at
    verdicts = effects(batches, season.profile).table()["verdict"]
    assert "cannot be told apart" not in set(verdicts)


def test_what_tied_variables_do_together_is_said_with_its_interval() -> None:
    held = []
    for seed in range(15):
        season = invent(seed, growers=12, each=5, together=-0.95, slopes=two_true())
        found = effects(season.batches, season.profile)
        row = found.table().set_index(["attribute", "process"]).loc[("attribute 1", "length_h")]
        x = season.batches[["length_h", "final_ph"]].to_numpy() / [10.0, 0.1]
        goes = np.polyfit(x[:, 0], x[:, 1], 1)[0]
        truth = float(season.slopes[0, 0] + goes * season.slopes[2, 0])
        held.append(row["along_low"] <= truth <= row["along_high"])
        assert row["along_high"] - row["along_low"] < 0.6 * (row["high"] - row["low"])
        assert row["together_q"] < 0.05
        assert row["along_says"].startswith("10 h longer, as it goes here with 0.")
    assert sum(held) >= 12
    assert "10 h longer, as it goes here with 0." in found.sentence()


@pytest.mark.parametrize("world", [{}, {"tied": 1.0}, {"together": -1.0}, {"together": -0.95}])
def test_every_variable_has_a_sentence_on_every_flavour(world: dict[str, float]) -> None:
    season = invent(4, slopes=two_true(), **world)
    deaf = Tasted(season.profile.estimates, season.profile.errors, season.profile.told[:4])
    found = effects(season.batches, deaf)
    for attribute in found.slopes["attribute"].unique():
        said = found.of(attribute)
        assert len(said) == 3
        assert all(len(one) > 20 and one.endswith(".") for one in said), said
        assert not any("nan" in one for one in said), said


def test_a_wide_slope_says_how_many_more_batches_would_tell() -> None:
    season = invent(7, growers=5, each=4, together=-0.95, slopes=two_true(), batch_sd=0.8)
    table = effects(season.batches, season.profile).table()
    wide = table[table["wide"] & table["more"].ge(1)]
    assert len(wide)
    row = wide.iloc[0]
    assert f"{row['more']:.0f} more batch" in row["says"]
    assert f"like {row['more_like']} would tell if it is as large as it looks." in row["says"]
