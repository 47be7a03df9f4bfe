"""The first page: what needs a word with its links, and what an empty store says."""

from __future__ import annotations

from pathlib import Path

from origin_compare.answers import count
from origin_compare.store.store import open_store
from tests.front.reading import as_read, opened, said


def _links(page: str) -> list[tuple[str, str]]:
    """Label and query of every link on the page."""
    found = opened(page).get("page_link")
    return [(as_read(one.proto.label), str(one.proto.query_string)) for one in found]


def test_every_batch_and_grower_named_is_a_link(read_only: Path) -> None:
    links = _links("week")
    assert ("**Q25-06**", "batch=Q25-06&season=all") in links
    assert ("G09", "grower=G09") in links
    assert any(label.startswith("Read Q25-30 in W3 by") for label, _ in links)


def test_it_says_what_came_in_and_what_was_set_aside(read_only: Path) -> None:
    with open_store(f"sqlite:///{read_only}") as store:
        (rows,), (faults,) = store.intakes()["rows"], store.intakes()["faults"]
        aside = sum(len(table) for table in store.set_aside(1).values())
    app = opened("week")
    assert f"from tests: {rows:,} rows, {faults} faults found." in said(app)
    labels = [as_read(one.proto.label) for one in app.get("page_link")]
    assert aside > 0
    assert f"{count(aside, 'row')} set aside by the last intake" in labels


def test_an_empty_store_says_what_to_do_first(empty: None) -> None:
    app = opened("week")
    assert not app.exception
    assert "There is nothing in this store yet." in said(app)


def test_a_house_without_a_name_goes_by_the_programs(empty: None) -> None:
    assert "origin_compare" in said(opened("rules"))
