"""The house rules as a table: nothing lost on the way there and back, changes said in words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from origin_compare.house import HouseRules, RuleFault, default_rules, read_rules
from origin_compare.questions import ask
from origin_compare.review.house_table import (
    flagged_now,
    rules_changes,
    rules_from_table,
    rules_table,
    used_for,
)
from origin_compare.season.season import Season

OWN = read_rules(
    'time_zone = "Europe/Dublin"\nwithout = ["windows.og_sg", "plausible.lots.area_ha"]\n'
    "[windows.length_h]\nlow = 94\nhigh = 142\n"
    '[windows."heel_wash_l W1"]\nsays = "heel of W1"\nunit = "L"\nlow = 0\nhigh = 20\n'
)


@pytest.mark.parametrize("rules", [default_rules(), OWN])
def test_there_and_back(rules: HouseRules) -> None:
    table = rules_table(rules)
    assert rules_from_table(table, rules) == replace(
        rules, windows=dict(rules.windows), plausible=dict(rules.plausible)
    )
    assert len(table) == len(set(table["rule"]))
    assert (table["used_for"] != "").all()


def test_standing_and_left_out_are_said() -> None:
    table = rules_table(OWN).set_index("rule")
    assert table.loc["windows.length_h", "standing"] == "changed"
    assert table.loc["windows.length_h", "source"] == "the house's own"
    assert table.loc["windows.final_ph", "standing"] == "as shipped"
    assert table.loc["windows.heel_wash_l W1", "standing"] == "the house's own"
    assert not table.loc["windows.og_sg", "held"]
    assert not table.loc["plausible.lots.area_ha", "held"]


def test_a_changed_end_makes_the_range_the_house_s_own() -> None:
    table = rules_table(default_rules())
    at = table.index[table["rule"] == "windows.final_ph"][0]
    table.loc[at, "high"] = 3.8
    after = rules_from_table(table, default_rules())
    assert after.windows["final_ph"].source == "the house's own"
    table.loc[at, "source"] = "records of 2024"
    after = rules_from_table(table, default_rules())
    assert rules_changes(default_rules(), after).values.tolist() == [
        [
            "windows.final_ph",
            "at most 3.5 (common practice, no source)",
            "at most 3.8 (records of 2024)",
        ]
    ]


def test_leaving_a_window_out_and_settings_are_changes_too() -> None:
    table = rules_table(default_rules())
    table.loc[table["rule"] == "plausible.lots.area_ha", "held"] = False
    after = replace(rules_from_table(table, default_rules()), hour_zero="first fill")
    assert rules_changes(default_rules(), after).values.tolist() == [
        ["hour_zero", "yeast in", "first fill"],
        [
            "plausible.lots.area_ha",
            "2 to 40 ha (common practice, no source)",
            "not held to",
        ],
    ]


def test_a_range_upside_down_or_without_source_is_refused() -> None:
    table = rules_table(default_rules())
    at = table.index[table["rule"] == "plausible.readings.ph"][0]
    table.loc[at, "low"] = 9.0
    with pytest.raises(RuleFault) as told:
        rules_from_table(table, default_rules())
    assert str(told.value) == "plausible.readings.ph: low 9 is above high 5.8. Swap the two."
    table.loc[at, "low"] = 3.2
    table.loc[at, "source"] = " "
    with pytest.raises(RuleFault) as told:
        rules_from_table(table, default_rules())
    assert str(told.value) == (
        "plausible.readings.ph: no source is given. Say where the numbers came from, such as "
        '"the house\'s own" or "common practice, no source".'
    )


def test_the_batches_each_rule_flags(demo_season: Season) -> None:
    review = ask(demo_season).review
    found = flagged_now(review)
    both = len(review.outside) + len(review.unusual)
    assert found["batches_flagged"].sum() == both > 0
    assert found["batches_flagged"].is_monotonic_decreasing
    first = found.iloc[0]
    mine = [*review.outside.itertuples(), *review.unusual.itertuples()]
    named = [str(one.batch_id) for one in mine if one.rule == first["rule"]]
    assert [one.split(" (")[0] for one in first["batches"].split(", ")] == named
    assert "(1.0077)" in str(found.set_index("rule")["batches"]["windows.final_sg"])


def test_what_a_rule_is_used_for() -> None:
    unused = "kept on record; no page holds anything to it"
    assert used_for("windows.a_habit_of_ours") == unused
    assert unused not in set(rules_table(default_rules())["used_for"]), "every default is held to"
    assert used_for("plausible.lots.area_ha") == (
        "asks for a second look at intake, refuses nothing"
    )
