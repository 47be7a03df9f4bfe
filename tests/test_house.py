"""House rules: the shipped file, a site's own on top, and every refusal in full."""

import math
import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from origin_compare.errors import OriginCompareError
from origin_compare.house import (
    FEINTS,
    HouseRules,
    RuleFault,
    Window,
    default_rules,
    read_rules,
    rules_as_toml,
)
from origin_compare.sheets.catalogue import SHEETS


def _refused(text: str) -> str:
    with pytest.raises(RuleFault) as caught:
        read_rules(text)
    assert isinstance(caught.value, OriginCompareError)
    return str(caught.value)


def test_the_shipped_windows() -> None:
    rules = default_rules()
    ends = {name: (window.low, window.high) for name, window in rules.windows.items()}
    assert ends["length_h"] == (120, 140)
    assert ends["final_ph"] == (None, 3.5)
    assert ends["reading_gap_h"] == (None, 8.5)
    assert rules.time_zone == "UTC" and rules.hour_zero == "yeast in"
    for window in (*rules.windows.values(), *rules.plausible.values()):
        assert window.says and window.source
        assert window.low is not None or window.high is not None


def test_plausible_ranges_name_columns_there_are_and_lie_within_the_possible() -> None:
    for (sheet, column), window in default_rules().plausible.items():
        kept = SHEETS[sheet].column(column)
        assert kept.possible is not None
        low, high = kept.possible
        assert window.low is not None and low <= window.low
        assert window.high is not None and window.high <= high
        assert (low, high) != (window.low, window.high)


def test_the_defaults_cannot_be_changed_by_one_who_got_them() -> None:
    rules = default_rules()
    rules.windows.pop("length_h")  # type: ignore[attr-defined]
    assert "length_h" in default_rules().windows


def test_a_site_changes_only_what_it_writes() -> None:
    rules = read_rules('time_zone = "Europe/London"\n[windows.length_h]\nlow = 48\nhigh = 72\n')
    usual = default_rules()
    assert rules.time_zone == "Europe/London"
    window = rules.window("length_h")
    assert (window.low, window.high, window.unit) == (48.0, 72.0, "h")
    assert window.source == "the house's own"
    assert rules.window("og_sg") == usual.window("og_sg")
    assert rules.plausible == usual.plausible


def test_open_ends_own_windows_and_windows_not_held_to() -> None:
    rules = read_rules(
        'without = ["windows.og_sg", "plausible.lots.area_ha"]\n'
        '[windows.final_ph]\nlow = 3.2\nhigh = "open"\n'
        '[windows.haze_ebc]\nsays = "haze"\nunit = "EBC"\nlow = "open"\nhigh = 2\n'
    )
    assert "og_sg" not in rules.windows
    assert ("lots", "area_ha") not in rules.plausible
    assert rules.window("final_ph").high is None
    assert rules.window("haze_ebc").words() == "at most 2 EBC"


def test_a_file_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    path = tmp_path / "rules.toml"
    path.write_text("smallest_group = 7\n", "utf-8-sig")
    assert read_rules(path).smallest_group == 7
    assert read_rules(str(path)).smallest_group == 7


def test_no_text_is_the_defaults() -> None:
    assert read_rules("") == default_rules()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "smallest_group = 5\n[windows.lenght_h]\nlow = 1\n",
            "house rules line 2, windows.lenght_h: no such window among the defaults. Did you "
            'mean "length_h"? A window of your own needs says, unit and high too.',
        ),
        (
            "[windows.length_h]\nlow = 40\nhihg = 50\n",
            'house rules line 3, windows.length_h.hihg: unknown name. Did you mean "high"?',
        ),
        (
            "timezone = 'UTC'\n",
            'house rules line 1, timezone: unknown name. Did you mean "time_zone"?',
        ),
        (
            "qqq = 1\n",
            "house rules line 1, qqq: unknown name. Known are distillery, feints_kept_apart, "
            "hour_zero, plausible, scales, smallest_group, time_zone, windows and without.",
        ),
        (
            "[scales.'0-100']\nfactor = 0.1\n",
            "house rules line 1, scales.0-100: factor and offset have to be two numbers.",
        ),
        (
            "[scales]\n'0-100' = {factor = 0, offset = 1}\n",
            "house rules line 2, scales.0-100: factor 0 is not above 0.",
        ),
        (
            "[scales]\n'0-100' = 0.1\n",
            "house rules line 2, scales.0-100: 0.1 stands where a table of factor and offset "
            "belongs.",
        ),
        (
            "# days\n\n[windows.length_h]\nlow = '120'\n",
            "house rules line 4, windows.length_h.low: '120' is not a number or \"open\".",
        ),
        (
            "[windows.length_h]\nhigh = true\n",
            'house rules line 2, windows.length_h.high: True is not a number or "open".',
        ),
        (
            "[windows.length_h]\nunit = 3\n",
            "house rules line 2, windows.length_h.unit: 3 is not text in quotes.",
        ),
        (
            "[windows.length_h]\nlow = 150\n",
            "house rules line 1, windows.length_h: low 150 is above high 140. Swap the two.",
        ),
        (
            "[windows.length_h]\nlow = nan\n",
            "house rules line 1, windows.length_h: nan is no end of a window. Leave it open "
            "instead.",
        ),
        (
            "[plausible.lots]\narea_ha = {low = 30, high = 3}\n",
            "house rules line 2, plausible.lots.area_ha: low 30 is above high 3. Swap the two.",
        ),
        (
            "[plausible.lots]\narea_ha = {lwo = 3}\n",
            'house rules line 2, plausible.lots.area_ha.lwo: unknown name. Did you mean "low"?',
        ),
        (
            "[windows]\nlength_h = 72\n",
            "house rules line 2, windows.length_h: 72 stands where a table of says, unit, low, "
            "high and source belongs.",
        ),
        (
            "windows = 3\n",
            "house rules line 1, windows: 3 stands where a table belongs.",
        ),
        (
            "[plausible]\nlots = 3\n",
            "house rules line 2, plausible.lots: 3 stands where a table of says, unit, low, high "
            "and source belongs.",
        ),
        (
            "hour_zero = 'first yeast'\n",
            'house rules line 1, hour_zero: "first yeast" is not one of "yeast in", "first fill" '
            'and "last fill".',
        ),
        (
            "time_zone = 'Mars/Olympus'\n",
            'house rules line 1, time_zone: "Mars/Olympus" is not a known time zone. Write it as '
            'region/city, such as "Europe/London", or "UTC".',
        ),
        ("time_zone = 1\n", "house rules line 1, time_zone: 1 is not text in quotes."),
        (
            "smallest_group = 2.5\n",
            "house rules line 1, smallest_group: 2.5 is not a whole number.",
        ),
        (
            "smallest_group = 2\n",
            "house rules line 1, smallest_group: 2 is below 3. In a smaller group a grower could "
            "work out another's figures.",
        ),
        (
            "feints_kept_apart = 'yes'\n",
            'house rules line 1, feints_kept_apart: "yes" is not one of "by lot", "by grower", '
            '"no" and "not stated".',
        ),
        (
            "without = ['windows.og']\n",
            "house rules line 1, without: 'windows.og' is no window of the defaults. Did you mean "
            '"windows.og_sg"?',
        ),
        (
            "without = 'windows.og_sg'\n",
            "house rules line 1, without: 'windows.og_sg' is not a list of names.",
        ),
        (
            "[windows.length_h]\nlow = 12O\n",
            "house rules: not valid TOML: Expected newline or end of document after a statement "
            "(at line 2, column 9).",
        ),
    ],
)
def test_what_cannot_be_used_is_named_with_its_line(text: str, message: str) -> None:
    assert _refused(text) == message


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    missing = tmp_path / "none.toml"
    assert _refused(str(missing)) == f"{missing}: there is no such file of house rules."
    broken = tmp_path / "latin.toml"
    broken.write_bytes('time_zone = "é"'.encode("latin-1"))
    assert _refused(str(broken)) == f"{broken}: not in UTF-8. Save the file as UTF-8 text."
    wrong = tmp_path / "site.toml"
    wrong.write_text("smallest_group = 1\n")
    assert _refused(str(wrong)).startswith("site.toml line 1, smallest_group: 1 is below 3.")


def test_rules_made_in_code_are_held_to_the_same() -> None:
    with pytest.raises(RuleFault) as caught:
        HouseRules(windows={}, time_zone="Nowhere")
    assert str(caught.value) == (
        'time_zone: "Nowhere" is not a known time zone. Write it as region/city, such as '
        '"Europe/London", or "UTC".'
    )
    with pytest.raises(RuleFault) as caught:
        Window("final_ph", "final pH", "", 4.0, 3.5)
    assert str(caught.value) == "final_ph: low 4 is above high 3.5. Swap the two."


def test_a_window_holds_its_ends_and_not_what_is_missing() -> None:
    window = default_rules().window("length_h")
    assert window.holds(120) and window.holds(140)
    assert not window.holds(119.99) and not window.holds(math.nan)
    assert window.words() == "120 to 140 h"
    assert replace(window, high=None).words() == "at least 120 h"
    anything = replace(window, low=None, high=None)
    assert anything.words() == "any" and anything.holds(-1e9) and not anything.holds(math.nan)


def test_a_flag_names_its_rule_and_says_its_sentence() -> None:
    rules = default_rules()
    (flag,) = rules.flags("peak_temp_c", 33.1)
    assert flag.rule == "peak_temp_c" and flag.value == 33.1
    assert flag.says == (
        "peak temperature 33.1 °C is above the house window, 27 to 30.5 °C "
        "(common practice, no source)"
    )
    (flag,) = rules.unusual("lots", "thousand_grain_g", 30)
    assert flag.rule == "plausible.lots.thousand_grain_g"
    assert flag.says == (
        "thousand-grain weight 30 g is below what is usual, 38 to 55 g (common practice, no source)"
    )
    assert rules.flags("final_ph", 3.5) == ()
    assert rules.flags("final_ph", math.nan) == ()
    assert rules.flags("no such rule", 3.5) == ()
    assert rules.unusual("lots", "rain_mm", 900) == ()


def test_the_shipped_rules_go_to_text_and_back() -> None:
    assert read_rules(rules_as_toml(default_rules())) == default_rules()


_TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
_END = st.none() | st.floats(-1e6, 1e6)


@st.composite
def _windows(draw: st.DrawFn, name: str) -> Window:
    low, high = draw(_END), draw(_END)
    if low is not None and high is not None and low > high:
        low, high = high, low
    return Window(name, draw(_TEXT), draw(_TEXT), low, high, draw(_TEXT))


@given(st.data(), st.sets(_TEXT.filter(bool), max_size=3), st.integers(3, 50))
def test_any_rules_go_to_text_and_back(data: st.DataObject, names: set[str], group: int) -> None:
    windows = {name: data.draw(_windows(name)) for name in [*names, "length_h"]}
    rules = HouseRules(
        windows=windows,
        time_zone=data.draw(st.sampled_from(["UTC", "Europe/Dublin", "Australia/Perth"])),
        hour_zero=data.draw(st.sampled_from(["yeast in", "first fill", "last fill"])),
        smallest_group=group,
        plausible={("lots", name): data.draw(_windows(name)) for name in names},
        feints_kept_apart=data.draw(st.sampled_from(FEINTS)),
        scales={
            name: (data.draw(st.floats(0.01, 100)), data.draw(st.floats(-9, 9))) for name in names
        },
    )
    assert read_rules(rules_as_toml(rules)) == rules


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        ('time_zone = "right/Europe/London"', "is not a known time zone"),
        ('time_zone = "localtime"', "is not a known time zone"),
        ("smallest_group = 1001", "1001 is above 1000"),
        (f"smallest_group = {'9' * 6000}", "a number in it has too many digits"),
        (f"windows = {'{a = ' * 2000}1{'}' * 2000}", "lie too deep in one another"),
        (f"a = {'[' * 5000}{']' * 5000}", "lie too deep in one another"),
        (f"time_zone.{'.'.join('a' * 3000)} = 1", "what stands there is not text in quotes"),
        (f"[windows.length_h]\nlow = {'9' * 400}", "too large a number"),
        (f"[scales.x]\nfactor = {'9' * 400}\noffset = 0", "have to be two numbers"),
        ("without = [[[1]]]", "is no window of the defaults"),
    ],
)
def test_rules_that_would_break_a_page_are_refused_in_words(text: str, wrong: str) -> None:
    with pytest.raises(RuleFault, match=re.escape(wrong)):
        read_rules(f"{text}\n")
