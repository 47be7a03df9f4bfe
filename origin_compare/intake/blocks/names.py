"""Names that stand already, in the store or in other files of the same intake."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

import pandas as pd

LABELS: Mapping[str, str] = {
    "fermentations": "Batch",
    "malts": "Malt",
    "lots": "Lot",
    "growers": "Grower",
    "yeasts": "Yeast delivery",
    "vessel": "Washback",
    "assessor": "Assessor",
}
"""What names of a kind are headed when they become a column."""


@dataclass(frozen=True, slots=True)
class Run:
    """A batch in its vessel, from when to when (UTC), None where no end is known."""

    batch: str
    vessel: str
    began: pd.Timestamp
    ended: pd.Timestamp | None


@dataclass(frozen=True, slots=True)
class Names:
    """Known names by kind: the sheets that are pointed to, `vessel` and `assessor`.

    `runs`: the batches on record in their vessels; `zone`: the site's clock.
    """

    by_kind: Mapping[str, frozenset[str]] = field(default_factory=dict)
    runs: tuple[Run, ...] = ()
    zone: str = "UTC"

    def kind_of(self, texts: Iterable[str]) -> str:
        """The one kind that holds all of these names, "" where none or several do."""
        wanted = {text for text in texts if text}
        if not wanted:
            return ""
        kinds = [kind for kind, names in self.by_kind.items() if wanted <= names]
        return kinds[0] if len(kinds) == 1 else ""

    def holds(self, kind: str, text: str) -> bool:
        """Whether `text` is known as a name of this kind."""
        return text in self.by_kind.get(kind, frozenset())

    def joined(self, kind: str, names: Iterable[str]) -> Names:
        """With more names of one kind."""
        before = self.by_kind.get(kind, frozenset())
        more = {**self.by_kind, kind: before | {name for name in names if name}}
        return replace(self, by_kind=more)
