"""What a letter says, whole, in every state a grower's season can be in."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pytest

from origin_compare import fermentation
from origin_compare.errors import UnknownName
from origin_compare.fermentation import Departure, Departures
from origin_compare.fermentation.departures.causes import INSTRUMENT
from origin_compare.growers import GrowerLetter, grower_letter
from origin_compare.reports.letter_pdf import ROOMS
from origin_compare.reports.letter_text import letter_data
from origin_compare.review import season_table
from tests.answers import owed
from tests.growers import demo
from tests.growers.small import KnownProfile, batch_frame, scores_for, season_of

SEVEN = ["A", "A", "B", "C", "D", "E", "F"]
MADE = "Your barley of 2025 became 4,800 L of new make"


def _letter(
    grower: str = "A",
    growers: list[str] = SEVEN,
    scores: list[float] | None = None,
    batches: pd.DataFrame | None = None,
) -> GrowerLetter:
    batches = batch_frame(growers) if batches is None else batches
    rng = np.random.default_rng(5)
    given = rng.normal(4, 0.2, len(batches)).tolist() if scores is None else scores
    profile = KnownProfile(scores_for(batches, oily=given), sd=0.1)
    return grower_letter(season_of(batches), batches, profile, grower, 2025)  # type: ignore[arg-type]


def test_it_is_an_answer() -> None:
    owed(_letter())


def test_nothing_stands_apart() -> None:
    assert _letter(scores=[4.0, 4.1, 4.0, 4.1, 3.9, 4.0, 4.1]).sentence() == (
        f"{MADE}; on no flavour did it clearly stand apart from the middle half "
        "of the season's growers."
    )


def test_something_clearly_does() -> None:
    letter = _letter("B", scores=[4.0, 4.1, 7.0, 4.1, 3.9, 4.0, 4.1])
    assert letter.sentence() == (
        "Your barley of 2025 became 2,400 L of new make; the panel found your one tasted batch "
        "clearly more oily than the middle half of the season's growers."
    )
    assert letter.rests_on() == (
        "1 lot and 1 batch of this grower alone, 1 tasted; the group is 6 growers, this one among "
        "them. With one batch, field and batch are one thing: the lines carry the panel's doubt "
        "only. Clear: outside the middle half at 95 % over the one flavour shown; a hint: at 95 % "
        "for that flavour alone."
    )


def test_two_batches_say_what_their_lines_carry() -> None:
    assert (
        _letter()
        .rests_on()
        .startswith(
            "1 lot and 2 batches of this grower alone, 2 tasted; the group is 6 growers, this one "
            "among them. The lines carry the panel's doubt and what differs between batches of one "
            "grower. Clear: "
        )
    )


def test_what_the_house_s_own_handling_did_is_said_beside_the_yield() -> None:
    batches = batch_frame(SEVEN)
    own = batches.loc[batches["grower_id"] == "A", "batch_id"].tolist()
    stuck = Departure(
        own[0], "W1", "left", "gravity", 24.0, 32.0, 28.0, (), "fermentation stalled", False, (), ""
    )
    of_reading = next(name for name, instrument in INSTRUMENT.items() if instrument)
    read_wrong = replace(stuck, batch_id=own[1], named=of_reading)
    verdicts = Departures((stuck, read_wrong), None, {}, (), "")
    letter = grower_letter(season_of(batches), batches, None, "A", 2025, verdicts)
    assert letter.handling == (
        f"In our vessels {own[0]} (fermentation stalled) did not ferment as our batches usually "
        "do: what that did to the spirit yield is our handling, not your barley.",
    )
    data = letter_data(letter, "Quernhallow (invented)", datetime(2026, 1, 5, tzinfo=UTC), ROOMS[0])
    assert data["bases"][0] == letter.handling[0]
    assert not grower_letter(season_of(batches), batches, None, "B", 2025, verdicts).handling


def test_a_group_that_may_not_be_shown() -> None:
    letter = _letter(growers=["A", "A", "B", "C", "D"])
    assert letter.sentence() == (
        f"{MADE}. The other growers' figures cannot be shown without giving somebody away, "
        "so only your own are here."
    )
    assert (
        "no group of spirits is shown (it takes 5 growers, none of them with more than half)"
        in (letter.rests_on())
    )


def test_not_tasted_not_told_apart_not_distilled() -> None:
    batches = batch_frame(SEVEN)
    season = season_of(batches)
    assert grower_letter(season, batches, None, "A", 2025).sentence() == (
        f"{MADE}; it has not been tasted yet."
    )
    nothing_told = _NothingTold(pd.DataFrame({"oily": 4.0}, index=batches["batch_id"].to_list()))
    assert grower_letter(season, batches, nothing_told, "A", 2025).sentence() == (  # type: ignore[arg-type]
        f"{MADE}; the panel could not tell this season's batches apart."
    )
    running = batches.assign(new_make_l=np.nan)
    assert grower_letter(season, running, None, "A", 2025).sentence() == (
        "Your barley of 2025 is in 2 batches, not yet distilled; it has not been tasted yet."
    )
    half = batches.copy()
    half.loc[0, "new_make_l"] = np.nan
    assert grower_letter(season, half, None, "A", 2025).sentence() == (
        "Your barley of 2025 has so far become 2,400 L of new make; it has not been tasted yet."
    )


class _NothingTold(KnownProfile):
    @property
    def told(self) -> tuple[str, ...]:
        return ()


def test_a_lot_that_is_in_no_batch_or_only_in_mixed_ones() -> None:
    batches = batch_frame(SEVEN)
    extra = pd.DataFrame({"lot_id": ["LZ"], "grower_id": ["Z"], "season": [2025]})
    season = season_of(batches, extra)
    assert grower_letter(season, batches, None, "Z", 2025).sentence() == (
        "Your 1 lot of 2025 has not been made into spirit yet."
    )
    mixed = batches.copy()
    mixed.loc[6, ["grower_id", "lot_id"]] = None
    mixed.loc[6, "origin"] = "mixed"
    shares = pd.DataFrame(
        {"batch_id": "B25-07", "lot_id": ["LZ", "L25-F"], "grower_id": ["Z", "F"], "season": 2025}
    )
    season = replace(season, shares=pd.concat([season.shares.iloc[:6], shares]))
    letter = grower_letter(season, mixed, None, "Z", 2025)
    assert letter.sentence() == (
        "Your 1 lot of 2025 went into B25-07 together with other growers' grain, "
        "so nothing can be said of your barley's own spirit."
    )
    assert letter.not_single == ("B25-07",)
    assert "Not used, made of several growers' grain: B25-07." in letter.rests_on()
    assert letter.batches.empty


def test_a_mixed_batch_never_enters_a_growers_figures() -> None:
    batches = batch_frame(SEVEN)
    scores = scores_for(batches, oily=[4.0, 9.0, 4.1, 4.1, 3.9, 4.0, 4.1])
    batches.loc[1, ["grower_id", "lot_id"]] = None
    batches.loc[1, "extract_pct_dm"] = 60.0
    letter = grower_letter(season_of(batches), batches, KnownProfile(scores), "A", 2025)  # type: ignore[arg-type]
    assert letter.flavours["own"].tolist() == [4.0]
    figures = letter.figures.set_index("figure")["own"]
    assert figures["extract, % dry"] == 80.0


def test_unknown_growers_and_harvests_are_refused_by_name() -> None:
    batches = batch_frame(SEVEN)
    season = season_of(batches)
    with pytest.raises(UnknownName) as without:
        grower_letter(season, batches, None, "A", 2031)
    assert str(without.value) == (
        "Grower A has no lot in the harvest of 2031. Harvests with a lot of this grower: 2025."
    )
    with pytest.raises(UnknownName) as nobody:
        grower_letter(season, batches, None, "Q9", 2025)
    assert str(nobody.value) == (
        "Grower Q9 has no lot on record. Check the code on the lots sheet."
    )


def test_own_past_years() -> None:
    batches = pd.concat([batch_frame(SEVEN, 2024), batch_frame(["A", "B"])], ignore_index=True)
    season = season_of(batches)
    past = grower_letter(season, batches, None, "A", 2025).past
    assert past["season"].tolist() == [2024, 2025]
    assert past["batches"].tolist() == [2, 1]
    np.testing.assert_allclose(past["spirit_yield_lpa_t"], [374.05, 374.0])
    assert grower_letter(season, batches, None, "A", 2024).past.empty
    assert grower_letter(season, batches, None, "C", 2024).past.empty


def test_no_free_text_of_the_cellar_is_carried() -> None:
    assert "note" in batch_frame(SEVEN)
    assert "note" not in _letter().batches


def test_every_demo_grower_has_a_letter_with_sound_figures() -> None:
    for grower, year in demo.growers_by_year():
        letter = demo.letter(grower, year)
        table = letter.table()
        assert letter.sentence().startswith(f"Your barley of {year} ")
        assert (table["low_all"] <= table["low"]).all()
        assert (table["low"] < table["own"]).all()
        assert (table["own"] < table["high"]).all()
        assert (table["group_low"] <= table["group_median"]).all()
        assert (table["group_median"] <= table["group_high"]).all()


def test_the_demo_names_the_mixed_batch_to_both_its_growers() -> None:
    for grower in ("G09", "G12"):
        assert demo.letter(grower, 2025).not_single == ("Q25-09",)
    assert demo.letter("G01", 2025).not_single == ()


def test_the_season_table_has_one_row_per_batch_with_scores_and_errors_beside() -> None:
    season, profile = demo.season(), demo.profile()
    derived = fermentation.derived(season)
    table = season_table(season, derived, profile)
    assert table["batch_id"].tolist() == season.batches["batch_id"].tolist()
    assert f"score_{profile.attributes[0]}" in table
    assert f"score_se_{profile.attributes[0]}" in table
    untasted = table["n_tastings"].eq(0)
    assert table.loc[untasted, f"score_{profile.attributes[0]}"].isna().all()
    assert len(season_table(season, derived, None).columns) < len(table.columns)
