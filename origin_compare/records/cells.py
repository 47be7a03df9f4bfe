"""Text cells to values: each distinct text is read once, and what cannot be read says why."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from difflib import get_close_matches

import numpy as np
import pandas as pd

from origin_compare.records.findings import Finding, finding
from origin_compare.records.sheets import Column

MISSING_WORDS = frozenset(
    {"", "-", "--", "–", "—", "n/a", "na", "#n/a", "n.a.", "nan", "null", "none", ".", "nm", "x"}
    | {"not measured", "not taken", "missing", "blank"}
)
MISSING_KEYS = frozenset({"", "-", "–", "—"})
BELOW_LIMIT = frozenset({"tr", "tr.", "trace", "traces", "nd", "n.d.", "not detected", "nil"})


@dataclass(frozen=True)
class Hints:
    """What the file tells about a column beyond its cells.

    `unit`: of the header; `decimal_comma`: how the file writes figures, None if nothing tells;
    `month_first`: the order of dates, None if nothing tells; `time_zone`: the site's clock;
    `groups`: per row a number that says which rows follow one another in time (a batch).
    """

    unit: str = ""
    decimal_comma: bool | None = None
    month_first: bool | None = None
    time_zone: str = "UTC"
    groups: np.ndarray | None = None


@dataclass
class Distinct:
    """The distinct texts of a column, their counts, and the verdict on each as it is reached.

    `wrong` and `mend` hold "" where nothing is the matter; `weight` is "fault" unless said.
    """

    texts: pd.Series
    counts: np.ndarray
    missing: np.ndarray
    wrong: np.ndarray = field(init=False)
    mend: np.ndarray = field(init=False)
    warning: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        self.wrong = np.full(len(self.texts), "", dtype=object)
        self.mend = np.full(len(self.texts), "", dtype=object)
        self.warning = np.zeros(len(self.texts), dtype=bool)

    def blame(self, at: np.ndarray | int, wrong: str, mend: str, warning: bool = False) -> None:
        """Write a verdict on texts (a mask, positions or one position) that have none yet."""
        where = np.atleast_1d(np.asarray(at))
        places = np.flatnonzero(where) if where.dtype == bool else where
        free = places[self.wrong[places] == ""]
        self.wrong[free], self.mend[free], self.warning[free] = wrong, mend, warning

    @property
    def faulty(self) -> np.ndarray:
        return (self.wrong != "") & ~self.warning


@dataclass(frozen=True)
class Parsed:
    """A column read: `values` (missing where empty or faulty) and what was found."""

    values: pd.Series
    findings: tuple[Finding, ...] = ()


Reader = Callable[[Distinct, Column, Hints], pd.Series]


def distinct(texts: pd.Series, keep_words: bool = False) -> tuple[np.ndarray, Distinct]:
    """Codes per row, and the distinct texts with counts.

    `keep_words`: only an empty cell counts as missing, since a grower may be called NA.
    """
    codes, unique = pd.factorize(texts)
    cells = pd.Series(unique, dtype="str")
    words = MISSING_KEYS if keep_words else MISSING_WORDS
    missing = cells.str.casefold().isin(words).to_numpy(dtype=bool)
    return codes, Distinct(cells, np.bincount(codes, minlength=len(cells)), missing)


def spread(values: pd.Series, codes: np.ndarray) -> pd.Series:
    """Values per distinct text to values per row."""
    return values.take(codes).reset_index(drop=True)


def found(column: str, seen: Distinct, codes: np.ndarray) -> tuple[Finding, ...]:
    """The verdicts per distinct text as findings per row, faults before warnings."""
    findings = []
    for weight, mask in (("fault", seen.faulty), ("warning", seen.warning)):
        if mask.any():
            at = np.flatnonzero(mask[codes])
            which = codes[at]
            texts = seen.texts.to_numpy(dtype=object)
            findings.append(
                finding(
                    at,
                    column,
                    texts[which],
                    seen.wrong[which],
                    seen.mend[which],
                    weight,  # type: ignore[arg-type]
                )
            )
    return tuple(findings)


def parse_text(texts: pd.Series, column: Column) -> Parsed:
    """Text with single blanks; a column with choices takes those alone."""
    codes, seen = distinct(texts, keep_words=column.kind == "key")
    values = seen.texts.str.replace(r"\s+", " ", regex=True)
    if column.choices:
        values = values.str.casefold()
        unknown = ~values.isin(column.choices).to_numpy(dtype=bool) & ~seen.missing
        for at in np.flatnonzero(unknown):
            seen.blame(int(at), *_not_a_choice(values.iloc[at], column.choices))
    values = values.mask(seen.missing | seen.faulty)
    return Parsed(spread(values, codes), found(column.name, seen, codes))


def _not_a_choice(value: str, choices: tuple[str, ...]) -> tuple[str, str]:
    near = get_close_matches(value, choices, n=1)
    mend = f"Write {near[0]}." if near else "Write one of these, or leave the cell empty."
    return f"is none of {', '.join(choices)}", mend
