"""The house rules page: read, changed, brought in as a file, set with who, and kept."""

from __future__ import annotations

from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from origin_compare.front.records_page import rules_of
from origin_compare.house import default_rules, rules_as_toml
from origin_compare.store.store import open_store
from tests.front.reading import opened, said, table_with, told


@pytest.fixture(autouse=True)
def no_cached_answers() -> None:
    st.cache_resource.clear()


@pytest.fixture
def store_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "rules.sqlite"
    monkeypatch.setenv("ORIGIN_COMPARE_STORE", f"sqlite:///{file}")
    return file


def brought(app: AppTest, content: bytes) -> AppTest:
    app.segmented_control[0].set_value("a file").run()
    app.file_uploader[0].upload("house_rules.toml", content, "application/toml")
    return app.run()


def set_by(app: AppTest, who: str) -> AppTest:
    next(one for one in app.text_input if one.label.startswith("Who sets")).set_value(who)
    return next(one for one in app.button if one.label.startswith("Set these")).click().run()


def test_shipped_rules_are_shown_as_what_they_are(store_file: Path) -> None:
    app = opened("rules")
    assert not app.exception
    rules = default_rules()
    assert (
        f"The house holds to {len(rules.windows)} windows and takes {len(rules.plausible)} ranges "
        "as usual; none of these are its own." in said(app)
    )
    assert "As shipped; nobody has set rules here yet." in said(app)
    assert "Nothing is changed against the rules in force." in said(app)
    assert "There is nothing in this store yet, so nothing is flagged." in said(app)


def test_a_file_is_read_shown_as_changes_and_set_with_who(store_file: Path) -> None:
    app = brought(opened("rules"), b"[windows.length_h]\nlow = 94\nhigh = 142\n")
    changes = table_with(app, "after")
    assert changes.values.tolist() == [
        [
            "windows.length_h",
            "120 to 140 h (common practice, no source)",
            "94 to 142 h (the house's own)",
        ]
    ]
    with open_store(f"sqlite:///{store_file}") as store:
        assert store.rules() == default_rules(), "nothing is set before the button"
        app = set_by(app, "")
        assert told(app.error[0]) == "Rules are kept with who set them. Say who."
        assert not store.has_own_rules
        app = set_by(app, "AB")
        assert told(app.success[0]) == "1 rule set by AB."
        assert store.rules().windows["length_h"].low == 94
        assert [who for _, _, who, _ in store.rules_history()] == ["AB"]
    assert "1 of these is its own" in said(app)
    history = table_with(app, "version")
    assert history[["version", "who", "rule", "after"]].values.tolist() == [
        [1, "AB", "windows.length_h", "94 to 142 h (the house's own)"]
    ]


def test_settings_are_changed_on_the_page_itself(store_file: Path) -> None:
    app = opened("rules")
    next(box for box in app.selectbox if box.label == "Hour zero").select("first fill")
    next(box for box in app.selectbox if box.label == "Time zone").select("Europe/Dublin")
    app = set_by(app.run(), "CD")
    with open_store(f"sqlite:///{store_file}") as store:
        assert (store.rules().hour_zero, store.rules().time_zone) == (
            "first fill",
            "Europe/Dublin",
        )


@pytest.mark.parametrize(
    ("content", "wanted"),
    [
        (
            b"[windows.length_h]\nlow = 200\n",
            "house_rules.toml line 1, windows.length_h: low 200 is above high 140. Swap the two.",
        ),
        (
            b'time_zone = "Mars/Base"\n',
            'house_rules.toml line 1, time_zone: "Mars/Base" is not a known time zone. Write it as '
            'region/city, such as "Europe/London", or "UTC".',
        ),
        (b"\xff\xfe\x00", "house_rules.toml: not in UTF-8. Save the file as UTF-8 text."),
        (
            b'time_zone = "right/UTC"\n',
            'house_rules.toml line 1, time_zone: "right/UTC" is not a known time zone. Write it as '
            'region/city, such as "Europe/London", or "UTC".',
        ),
        (
            b"smallest_group = 5000\n",
            "house_rules.toml line 1, smallest_group: 5000 is above 1000, more growers than a "
            "house has, so no group would ever be shown.",
        ),
        (
            b"windows = " + b"{a = " * 2000 + b"1" + b"}" * 2000 + b"\n",
            "house_rules.toml: tables or lists lie too deep in one another. House rules need three "
            "levels at most, such as [plausible.lots.area_ha].",
        ),
        (b"/etc/hostname", None),
    ],
)
def test_a_file_that_cannot_be_used_is_refused_in_words(
    content: bytes, wanted: str | None, store_file: Path
) -> None:
    app = brought(opened("rules"), content)
    assert not app.exception
    message = told(app.error[0])
    if wanted is None:  # text that looks like a path is text
        assert message.startswith("house_rules.toml: not valid TOML: ")
    else:
        assert message == wanted
    assert not open_store(f"sqlite:///{store_file}").has_own_rules


def test_a_group_larger_than_any_here_still_opens_the_pages(
    full: Path,
) -> None:
    app = set_by(brought(opened("rules"), b"smallest_group = 60\n"), "AB")
    assert told(app.success[0]).endswith("set by AB.")
    assert not app.exception
    growers = opened("growers")
    assert not growers.exception
    assert not growers.error
    assert "it takes 60 growers" in said(growers)


def test_the_file_downloaded_is_the_file_read() -> None:
    rules = default_rules()
    assert rules_of("house_rules.toml", rules_as_toml(rules).encode()) == rules


def test_each_rule_names_the_batches_it_flags(full: Path) -> None:
    app = opened("rules")
    assert not app.exception
    flags = table_with(app, "batches flagged")
    assert flags["batches flagged"].sum() > 0
    assert "Hour 0 is yeast in." in said(app)
