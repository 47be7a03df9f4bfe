"""What every answer of this package can do, whichever question it answers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol, runtime_checkable

if TYPE_CHECKING:  # the console answers at once where no table is needed
    import pandas as pd


@runtime_checkable
class Answer(Protocol):
    """A frozen result that can say itself.

    `sentence` is the answer in one sentence, the same words on page, letter and book.
    `table` is a tidy frame with units in its column names, one row per thing compared.
    `rests_on` names the data behind it: how many batches, assessors, readings, what was left out.
    """

    def sentence(self) -> str: ...

    def table(self) -> pd.DataFrame: ...

    def rests_on(self) -> str: ...


def count(number: int, noun: str, plural: str | None = None) -> str:
    """`1 batch`, `3 batches`: a count with its noun in the right form."""
    if number == 1:
        return f"1 {noun}"
    return f"{number:,} {plural or _plural(noun)}"


def listed(names: list[str] | tuple[str, ...], most: int = 6) -> str:
    """`A, B and C`; past `most` names the rest is counted, never dropped."""
    shown = [str(name) for name in names[:most]]
    if len(names) > most:
        return f"{', '.join(shown)} and {len(names) - most} more"
    if len(shown) < 2:
        return "".join(shown)
    return f"{', '.join(shown[:-1])} and {shown[-1]}"


def _plural(noun: str) -> str:
    if noun.endswith(("ch", "sh", "s", "x")):
        return noun + "es"
    return noun[:-1] + "ies" if noun.endswith("y") and noun[-2] not in "aeiou" else noun + "s"
