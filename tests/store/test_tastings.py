"""Plans of tastings and scores entered glass by glass."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
import pytest

from origin_compare.errors import StoreFault, UnknownName
from origin_compare.store.store import Store, open_store
from origin_compare.store.tastings import (
    drop_tasting,
    enter_scores,
    entered_scores,
    in_records,
    keep_tasting,
    kept_tasting,
    tastings,
)

GROWERS = b"grower_id\nG01\n"
SCORES = (
    b"tasting_id,assessor_id,batch_id,replicate,sample_kind,attribute,score\n"
    b"T1,A01,K,1,control,floral,4.5\n"
)


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return open_store(f"sqlite:///{tmp_path / 'store.sqlite'}")


def taken(store: Store, name: str, content: bytes) -> None:
    store.take_in(store.plan([(name, content)]), "tests", {name: content})


def test_a_plan_is_kept_under_a_name_of_its_own(store: Store) -> None:
    keep_tasting(store, "T1", '{"seed": 1}', "NB")
    assert kept_tasting(store, "T1") == '{"seed": 1}'
    row = tastings(store).iloc[0]
    assert (row["tasting_id"], row["who"], row["glasses_done"], row["in_records"]) == (
        "T1",
        "NB",
        0,
        0,
    )
    with pytest.raises(
        StoreFault,
        match=re.escape("There is a tasting T1 already. Give this one another name."),
    ):
        keep_tasting(store, "T1", "{}")
    with pytest.raises(
        StoreFault, match=re.escape("A tasting needs a name. Give one, such as T25-7.")
    ):
        keep_tasting(store, "  ", "{}")
    with pytest.raises(
        UnknownName,
        match=re.escape(
            "tasting T9: no plan of that name is kept here. Ask the panel leader for the address."
        ),
    ):
        kept_tasting(store, "T9")


def test_a_name_on_record_is_taken_too(store: Store) -> None:
    taken(store, "scores.csv", SCORES)
    with pytest.raises(
        StoreFault,
        match=re.escape("There is a tasting T1 already. Give this one another name."),
    ):
        keep_tasting(store, "T1", "{}")


def test_glasses_are_kept_one_by_one_and_the_last_word_counts(store: Store) -> None:
    keep_tasting(store, "T1", "{}")
    before = store.revision
    enter_scores(store, "T1", "A01", 417, {"floral": 3.0, "sour": None}, done=False)
    enter_scores(store, "T1", "A01", 417, {"floral": 3.5, "sour": None})
    enter_scores(store, "T1", "A02", 222, {"floral": 1.0, "sour": float("nan")})
    again = open_store(store.url)
    own = entered_scores(again, "T1", "A01")
    assert own[["assessor_id", "code", "done", "floral"]].values.tolist() == [
        ["A01", 417, True, 3.5]
    ]
    assert own["sour"].isna().all()
    assert set(entered_scores(again, "T1")["assessor_id"]) == {"A01", "A02"}
    assert tastings(again)["glasses_done"].tolist() == [2]
    assert store.revision == before


def test_a_view_that_is_older_takes_nothing_away(store: Store) -> None:
    keep_tasting(store, "T1", "{}")
    glass = (store, "T1", "A01", 417)
    assert enter_scores(*glass, {"sweet": 5.0, "floral": 6.0}, instead_of={}) == {}
    assert enter_scores(*glass, {"oily": 2.0}, done=False, instead_of={}) == {}
    own = entered_scores(store, "T1", "A01")
    assert own[["sweet", "floral", "oily", "done"]].values.tolist() == [[5.0, 6.0, 2.0, True]]


def test_a_figure_newer_than_the_one_seen_is_given_back_and_stands(store: Store) -> None:
    keep_tasting(store, "T1", "{}")
    glass = (store, "T1", "A01", 417)
    enter_scores(*glass, {"sweet": 5.0}, done=False)
    typed = {"sweet": 4.0, "oily": 1.0}
    assert enter_scores(*glass, typed, instead_of={"sweet": None}) == {"sweet": 5.0}
    own = entered_scores(store, "T1", "A01")
    assert own[["sweet", "oily", "done"]].values.tolist() == [[5.0, 1.0, False]]
    assert enter_scores(*glass, {"sweet": 4.0}, instead_of={"sweet": 5.0}) == {}
    assert entered_scores(store, "T1", "A01")["sweet"].tolist() == [4.0]
    assert enter_scores(*glass, {"sweet": None}, instead_of={"sweet": 4.0}) == {}
    assert entered_scores(store, "T1", "A01")["sweet"].isna().all()


def test_nothing_entered_is_an_empty_frame(store: Store) -> None:
    keep_tasting(store, "T1", "{}")
    found = entered_scores(store, "T1")
    assert found.empty
    assert list(found.columns) == ["assessor_id", "code", "done", "entered_at"]
    assert isinstance(found["entered_at"].dtype, pd.DatetimeTZDtype)


def test_what_was_taken_in_is_not_entered_again(store: Store) -> None:
    keep_tasting(store, "T1", "{}")
    taken(store, "scores.csv", SCORES)
    assert in_records(store, "T1") == {"A01": 1}
    with pytest.raises(
        StoreFault,
        match=re.escape(
            "The scores of A01 in tasting T1 were taken in already. The panel leader can take "
            "that intake back."
        ),
    ):
        enter_scores(store, "T1", "A01", 417, {"floral": 3.0})
    store.take_back(1)
    enter_scores(store, "T1", "A01", 417, {"floral": 3.0})


def test_a_plan_nobody_scored_can_be_dropped(store: Store) -> None:
    keep_tasting(store, "T1", "{}")
    drop_tasting(store, "T1")
    assert tastings(store).empty
    keep_tasting(store, "T1", "{}")
    enter_scores(store, "T1", "A01", 417, {"floral": 3.0})
    with pytest.raises(
        StoreFault,
        match=re.escape("Tasting T1 holds scores of 1 glass and is kept with them."),
    ):
        drop_tasting(store, "T1")
