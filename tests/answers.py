"""What every answer owes its reader, whichever question it answers."""

from __future__ import annotations

import dataclasses

import pandas as pd
import pytest


def owed(answer: object) -> None:
    """Fail unless it says itself, tabulates itself, names what it rests on, and stays as it is.

    A protocol's `isinstance` only looks whether the names are there; here they are called.
    """
    kind = type(answer).__name__
    said: object = answer.sentence()  # type: ignore[attr-defined]
    assert isinstance(said, str) and said.strip() == said != "", f"{kind} says {said!r}"
    assert said[0].isupper() or not said[0].isalpha(), f"{kind} begins small: {said!r}"
    assert said.endswith((".", "?", "!")), f"{kind} says no whole sentence: {said!r}"
    rests: object = answer.rests_on()  # type: ignore[attr-defined]
    assert isinstance(rests, str) and rests.strip(), f"{kind} rests on {rests!r}"
    table: object = answer.table()  # type: ignore[attr-defined]
    assert isinstance(table, pd.DataFrame), f"{kind} gives a {type(table).__name__} as its table"
    assert not [name for name in table if not (isinstance(name, str) and name)], kind
    assert table.columns.is_unique, f"{kind} names a column twice: {list(table)}"
    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(answer, dataclasses.fields(answer)[0].name, None)  # type: ignore[arg-type]
