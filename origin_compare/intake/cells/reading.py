"""Text cells to values: each distinct text is read once, and what cannot be read says why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches

import numpy as np
import pandas as pd

from origin_compare.intake.findings import Finding, finding
from origin_compare.intake.open_points import OpenPoint
from origin_compare.sheets.catalogue import Column

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
    `month_first`: the order of dates, None if nothing tells; `time_zone`: the site's clock,
    and `zone_stated` whether anybody said so;
    `groups`: per row a number that says which rows follow one another in time (a batch);
    `header`: as written; `answers`: what was said to open points, by their keys; `spellings`:
    what the column is called, plain.
    """

    unit: str = ""
    decimal_comma: bool | None = None
    month_first: bool | None = None
    time_zone: str = "UTC"
    zone_stated: bool = True
    groups: np.ndarray | None = None
    header: str = ""
    answers: Mapping[str, str] = field(default_factory=dict)
    spellings: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Coded:
    """A column of texts by its distinct ones: `texts.take(codes)` is the column again."""

    codes: np.ndarray
    texts: pd.Series

    def filled(self, fill: str) -> Coded:
        """The column with its empty cells filled."""
        return Coded(self.codes, self.texts.where(self.texts != "", fill))

    def spread(self, values: pd.Series) -> pd.Series:
        """Values per distinct text to values per row."""
        return values.take(self.codes).reset_index(drop=True)


def code(texts: pd.Series) -> Coded:
    """The distinct texts of a column: each is read once, however often it stands there."""
    codes, unique = pd.factorize(texts)
    return Coded(codes, pd.Series(unique, dtype="str").str.strip())


class Distinct:
    """The distinct texts of a column and the verdict on each as it is reached.

    `missing`: whether the text stands for an empty cell; `wrong` and `mend` hold "" where
    nothing is the matter; `warning`: whether the verdict only warns.
    """

    def __init__(self, coded: Coded, keep_words: bool = False) -> None:
        """`keep_words`: only an empty cell counts as missing, since a grower may be called NA."""
        words = MISSING_KEYS if keep_words else MISSING_WORDS
        self.coded = coded
        self.texts = coded.texts
        self.missing = self.texts.str.casefold().isin(words).to_numpy(dtype=bool)
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
        """(n,) which of the texts cannot be taken, warnings apart."""
        return (self.wrong != "") & ~self.warning

    @property
    def counts(self) -> np.ndarray:
        """How many rows hold each text."""
        return np.bincount(self.coded.codes, minlength=len(self.texts))


@dataclass(frozen=True)
class Parsed:
    """A column read: `values` (missing where empty or faulty) and what was found.

    `open_points`: what the column leaves open; `remarks`: per row what stood beside the figure
    ("" where nothing), None if nothing did; `beside`: further columns that the cells told.
    """

    values: pd.Series
    findings: tuple[Finding, ...] = ()
    open_points: tuple[OpenPoint, ...] = ()
    remarks: pd.Series | None = None
    beside: Mapping[str, pd.Series] = field(default_factory=dict)


def parsed(
    column: str,
    seen: Distinct,
    values: pd.Series,
    open_points: tuple[OpenPoint, ...] = (),
    remarks: np.ndarray | None = None,
) -> Parsed:
    """Values of the distinct texts spread over the rows, with the verdicts as findings."""
    findings = []
    for weight, mask in (("fault", seen.faulty), ("warning", seen.warning)):
        if mask.any():
            at = np.flatnonzero(mask[seen.coded.codes])
            which = seen.coded.codes[at]
            texts = seen.texts.to_numpy(dtype=object)
            findings.append(
                finding(at, column, texts[which], seen.wrong[which], seen.mend[which], weight)  # type: ignore[arg-type]
            )
    noted = remarks is not None and bool((remarks != "").any())
    told = seen.coded.spread(pd.Series(remarks, dtype="str")) if noted else None
    return Parsed(seen.coded.spread(values), tuple(findings), open_points, told)


def parse_text(coded: Coded, column: Column) -> Parsed:
    """Text with single blanks; a column with choices takes those alone."""
    seen = Distinct(coded, keep_words=column.kind == "key")
    values = single_blanks(seen.texts)
    if column.choices:
        values = values.str.casefold().replace(dict(column.same))
        unknown = ~values.isin(column.choices).to_numpy(dtype=bool) & ~seen.missing
        for at in np.flatnonzero(unknown):
            seen.blame(int(at), *_not_a_choice(values.iloc[at], column.choices))
    return parsed(column.name, seen, values.mask(seen.missing | seen.faulty))


def single_blanks(texts: pd.Series) -> pd.Series:
    """Runs of blanks as one; the costly way is gone only where there is such a run."""
    if bool(texts.str.contains("[\t\n\x0b\f\r\u00a0\u2000-\u200a\u202f]|  ", regex=True).any()):
        return texts.str.replace(r"\s+", " ", regex=True)
    return texts


def _not_a_choice(value: str, choices: tuple[str, ...]) -> tuple[str, str]:
    near = get_close_matches(value, choices, n=1)
    mend = f"Write {near[0]}." if near else "Write one of these, or leave the cell empty."
    return f"is none of {', '.join(choices)}", mend
