"""Which sheet a table is, and which of its headers stands for which column; ties are not broken."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import PurePosixPath

from origin_compare.intake.asking.reading_plan import ATTRIBUTE, IGNORE, ReadingPlan
from origin_compare.intake.attributes import (
    ATTRIBUTES,
    attribute_name,
    attributes_among,
    attributes_asked,
    name_told,
)
from origin_compare.intake.cells.day_and_time import (
    FIGURE,
    Mapped,
    holds,
    hour_of_day,
    join_halves,
    named_halves,
)
from origin_compare.intake.header_units import header_unit
from origin_compare.intake.headers import column_spellings, columns_for, plain
from origin_compare.intake.open_points import OpenPoint
from origin_compare.intake.raw_table import MEND_HEADER, RawTable
from origin_compare.intake.thin_match import twins_left_out, with_doubt
from origin_compare.sheets.bases import BASIS_OF
from origin_compare.sheets.catalogue import AS_IS, SHEETS, Column, Sheet
from origin_compare.sheets.units import split_unit


@dataclass(frozen=True)
class Guess:
    """How a table is understood.

    `attributes`: (position, attribute) of a wide tasting sheet, empty for others;
    `unknown`: headers left out; `units_refused`: (header, unit) left out for a basis it shares
    with no other; `open_points`: what the headers leave open; `answers`: what was said to open
    points of this kind of table, by their keys.
    """

    sheet: Sheet
    mapped: tuple[Mapped, ...]
    attributes: tuple[tuple[int, str], ...] = ()
    unknown: tuple[str, ...] = ()
    units_refused: tuple[tuple[str, str], ...] = ()
    missing: tuple[str, ...] = ()
    doubled: tuple[tuple[str, ...], ...] = ()
    constants: Mapping[str, str] = field(default_factory=dict)
    date_order: str = ""
    decimal_comma: bool | None = None
    open_points: tuple[OpenPoint, ...] = ()
    answers: Mapping[str, str] = field(default_factory=dict)

    @property
    def fits(self) -> bool:
        """Every needed column there, none twice, and something measured or named beyond the key."""
        return not self.missing and not self.doubled and self.weight >= self.least

    @property
    def weight(self) -> int:
        """How many headers are understood."""
        return len(self.mapped) + len(self.attributes)

    @property
    def least(self) -> int:
        """A grower may stand by code alone; any other sheet says something beside its first key."""
        return 1 if self.sheet.name == "growers" else 2


@dataclass(frozen=True)
class Verdict:
    """`guess` where exactly one sheet fits; else `candidates`, best first, and the reason."""

    guess: Guess | None
    candidates: tuple[Guess, ...] = ()
    wrong: str = ""
    mend: str = ""


def guess_sheet(raw: RawTable, plans: Iterable[ReadingPlan] = (), sheet: str = "") -> Verdict:
    """Which sheet `raw` is: by a reading plan, else by its headers; names only settle ties.

    `sheet`: the one it was taken for on the way, "" where that is open.
    """
    told = [plan for plan in plans if plan.fits(raw.kind, raw.headers)]
    if told:
        said = [match for plan in told for match in _by_plan(raw, plan, sheet)]
        verdict = _settle(raw, said, by_plan=any(plan.sheet for plan in told))
        asked = verdict.guess and twins_left_out(raw, verdict.guess)
        if verdict.guess and asked:
            points = (*verdict.guess.open_points, asked)
            return replace(verdict, guess=replace(verdict.guess, open_points=points))
        return verdict
    among = [SHEETS[sheet]] if sheet else list(SHEETS.values())
    return _settle(raw, [guess_as(raw, one) for one in among])


def _by_plan(raw: RawTable, plan: ReadingPlan, sheet: str) -> list[Guess]:
    """The guesses under a reading plan."""
    only = plan.sheet or sheet
    return [guess_as(raw, one, plan) for name, one in SHEETS.items() if only in ("", name)]


def guess_as(raw: RawTable, sheet: Sheet, plan: ReadingPlan | None = None) -> Guess:
    """How `raw` is understood as this sheet, whether it fits or not."""
    told = plan.columns if plan else {}
    allowed = {*sheet.names(), IGNORE, ATTRIBUTE}
    chosen = {plain(header): name for header, name in told.items() if name in allowed}
    attributes = tuple(
        (at, attribute_name(header))
        for at, header in enumerate(raw.headers)
        if chosen.get(plain(header)) == ATTRIBUTE and sheet.name == "scores"
    )
    guess = _assigned(raw, sheet, chosen, attributes, plan)
    if sheet.name == "scores" and "attribute" in guess.missing and not attributes:
        return _as_wide(raw, guess)
    return guess


def _as_wide(raw: RawTable, guess: Guess) -> Guess:
    """Unknown columns of figures beside assessor and batch are attributes."""
    taken = {one.column.name for one in guess.mapped}
    if not {"assessor_id", "batch_id"} <= taken or "score" in taken:
        return guess
    figures = [
        at
        for at, header in enumerate(raw.headers)
        if header in guess.unknown and holds(raw, at, FIGURE)
    ]
    found = attributes_among(raw, figures)
    if not found.columns:
        return guess
    melted = {raw.headers[at] for at, _ in found.columns}
    told = guess.answers.get(ATTRIBUTES, "")
    asked = attributes_asked([name for _, name in found.columns], found.left_out)
    scale = {"scale": found.scale} if found.scale and "scale" not in taken else {}
    return replace(
        guess,
        attributes=tuple((at, name_told(name, told)) for at, name in found.columns),
        constants={**scale, **guess.constants},
        open_points=guess.open_points if told else (*guess.open_points, asked),
        unknown=tuple(header for header in guess.unknown if header not in melted),
        missing=tuple(name for name in guess.missing if name not in ("attribute", "score")),
    )


def _assigned(
    raw: RawTable,
    sheet: Sheet,
    chosen: Mapping[str, str],
    attributes: tuple[tuple[int, str], ...],
    remembered: ReadingPlan | None,
) -> Guess:
    """Each header to at most one column; headers with a choice take what no other header names."""
    constants = _constants_of(remembered, sheet)
    options = _options(raw, sheet, chosen, {at for at, _ in attributes})
    certain = {names[0].name for names, _ in options.values() if len(names) == 1} | set(constants)
    mapped: list[Mapped] = []
    unknown: list[str] = []
    refused: list[tuple[str, str]] = []
    answers = remembered.answers if remembered else {}
    asked: list[OpenPoint] = []
    for at, header in enumerate(raw.headers):
        if at not in options:
            if not _is_ignored(header, chosen) and at not in dict(attributes):
                unknown.append(header)
            continue
        names, unit = options[at]
        left = [one for one in names if len(names) == 1 or one.name not in certain]
        if len(left) != 1:
            unknown.append(header)
            continue
        alone = _ENDS_IN_BASIS.sub("", unit)
        told = header_unit(left[0], header, alone, answers, column_spellings(left[0]))
        if not told.left_out:
            kept = unit if told.unit == alone else told.unit
            mapped.append(Mapped(at, header, left[0], kept))
        if told.open_point:
            asked.append(told.open_point)
    mapped, unknown = _without_words(raw, mapped, unknown)
    mapped, refused, bases = _with_bases(mapped, refused)
    constants = {**bases, **constants}
    mapped, unknown = hour_of_day(raw, sheet, mapped, unknown)
    mapped, unknown = join_halves(raw, mapped, unknown)
    mapped, unknown = named_halves(raw, sheet, mapped, unknown)
    taken = {one.column.name for one in mapped} | set(constants)
    missing = _missing(sheet, taken, bool(attributes))
    return Guess(
        sheet,
        tuple(mapped),
        attributes,
        tuple(unknown),
        tuple(refused),
        missing,
        _doubled(mapped),
        constants,
        remembered.date_order if remembered else "",
        remembered.decimal_comma if remembered else None,
        tuple(asked),
        answers,
    )


def _constants_of(plan: ReadingPlan | None, sheet: Sheet) -> dict[str, str]:
    told = plan.constants if plan else {}
    return {name: text for name, text in told.items() if name in sheet.names()}


def _options(
    raw: RawTable, sheet: Sheet, chosen: Mapping[str, str], attributes: set[int]
) -> dict[int, tuple[tuple[Column, ...], str]]:
    """Per header position the columns it may stand for, and its unit."""
    options: dict[int, tuple[tuple[Column, ...], str]] = {}
    for at, header in enumerate(raw.headers):
        picked = chosen.get(plain(header))
        if at in attributes or picked == IGNORE or plain(header) == plain(MEND_HEADER):
            continue
        if picked:
            options[at] = (sheet.column(picked),), split_unit(header)[1]
            continue
        columns, unit = columns_for(header, sheet)
        if columns:
            options[at] = columns, unit
    return options


def _is_ignored(header: str, chosen: Mapping[str, str]) -> bool:
    return chosen.get(plain(header)) == IGNORE or plain(header) == plain(MEND_HEADER)


def _without_words(
    raw: RawTable, mapped: list[Mapped], unknown: list[str]
) -> tuple[list[Mapped], list[str]]:
    """Of two headers for one figure, the one whose cells are words is another thing.

    `Yeast` with `pressed` beside `Yeast kg` with `20`.
    """
    often = Counter(one.column.name for one in mapped)
    words = [
        one
        for one in mapped
        if often[one.column.name] > 1
        and one.column.kind in ("number", "count", "gravity", "temperature")
        and not holds(raw, one.at, _SOME_FIGURE)
    ]
    kept = [one for one in mapped if one not in words]
    still = {one.column.name for one in kept}
    lost = [one for one in words if one.column.name in still]
    return [one for one in mapped if one not in lost], [*unknown, *(one.header for one in lost)]


_SOME_FIGURE = re.compile(r"[^A-Za-z]{0,3}\d.*")


def _with_bases(
    mapped: list[Mapped], refused: list[tuple[str, str]]
) -> tuple[list[Mapped], list[tuple[str, str]], dict[str, str]]:
    """Headers that name a basis, such as `Protein (% as is)`, give it to every row.

    A header whose basis another column of the table would wrongly share is left out: read as dry,
    every figure would be wrong. So is `as is` on a column of dry matter that keeps no basis.
    """
    kept: list[Mapped] = []
    bases: dict[str, str] = {}
    for one in mapped:
        basis = BASIS_OF.get(one.column.name, "")
        said = _basis_said(one)
        apart = {_basis_said(other) for other in mapped if BASIS_OF.get(other.column.name) == basis}
        if said == AS_IS and (not basis or len(apart) > 1):
            refused = [*refused, (one.header, one.unit)]
            continue
        if said and basis:
            bases[basis] = said
        kept.append(replace(one, unit=_ENDS_IN_BASIS.sub("", one.unit)) if said else one)
    return kept, refused, bases


_ENDS_IN_BASIS = re.compile(r"[,;]?(as-?is|(?<=/t)(dm|dry))$")


def _basis_said(one: Mapped) -> str:
    """The basis a header names in its unit; dry only where the column's name does not say it."""
    if "asis" in plain(one.unit) and one.column.kind == "number":
        return AS_IS
    dry = one.column.name == "predicted_lpa_t" and _ENDS_IN_BASIS.search(one.unit)
    return "dry" if dry else ""


def _doubled(mapped: Sequence[Mapped]) -> tuple[tuple[str, ...], ...]:
    by_column: dict[str, list[str]] = {}
    for one in mapped:
        by_column.setdefault(one.column.name, []).append(one.header)
    return tuple(tuple(headers) for headers in by_column.values() if len(headers) > 1)


def _missing(sheet: Sheet, taken: set[str], wide: bool) -> tuple[str, ...]:
    """Needed columns not there, and groups of which none is there (joined by "or")."""
    lacking = [name for name in sheet.needed() if name not in taken]
    if wide:
        lacking = [name for name in lacking if name != "attribute"]
    elif sheet.name == "scores" and "score" not in taken:
        lacking.append("score")
    for group in sheet.one_of:
        if not taken & set(group):
            lacking.append(" or ".join(group))
    return tuple(lacking)


def _settle(raw: RawTable, guesses: Sequence[Guess], by_plan: bool = False) -> Verdict:
    ranked = sorted(guesses, key=lambda guess: guess.weight, reverse=True)
    fitting = [guess for guess in ranked if guess.fits]
    best = [guess for guess in fitting if guess.weight == fitting[0].weight]
    if len(best) > 1:
        named = [guess for guess in best if is_named(raw, guess.sheet.name)]
        best = named if len(named) == 1 else best
    if len(best) == 1:
        others = [guess for guess in ranked if guess is not best[0]]
        sure = by_plan or is_named(raw, best[0].sheet.name)
        return Verdict(best[0] if sure else with_doubt(best[0], others))
    if best:
        names = " and ".join(guess.sheet.name for guess in best)
        return Verdict(
            None,
            tuple(best),
            f"fits {names} equally well",
            "Say once which sheet it is, or give the file its sheet's name.",
        )
    return _unfitting(raw, ranked)


def _unfitting(raw: RawTable, ranked: Sequence[Guess]) -> Verdict:
    # of a sheet that was said, the columns can be asked for though no header is known
    near = [guess for guess in ranked if guess.weight or len(ranked) == 1]
    most = near[0].weight if near else 0
    # the name of a file breaks ties; it does not outweigh what its headers say
    named = [guess for guess in ranked if guess.weight == most and is_named(raw, guess.sheet.name)]
    candidates = _unique(named + near)
    if not candidates:
        return Verdict(
            None,
            (),
            "none of its headers is known",
            "Map its headers to a sheet once, and they are remembered.",
        )
    first = candidates[0]
    if first.doubled:
        pair = _told_apart(raw, first.doubled[0])
        wrong = f"looks like {first.sheet.name}, but {pair} both stand for the same column"
        return Verdict(None, candidates, wrong, "Rename one of them, or map it to be left out.")
    lacking = ", ".join(first.missing) or "anything beside its key"
    refused = "".join(
        f"; the unit {unit} of {head} is not known" for head, unit in first.units_refused
    )
    return Verdict(
        None,
        candidates[:3],
        f"looks like {first.sheet.name}, but has no {lacking}{refused}",
        "Add the column, or map the header that stands for it once.",
    )


def _told_apart(raw: RawTable, headers: Sequence[str]) -> str:
    """Headers of one meaning; those that read alike by the places they stand at."""
    if len(set(headers)) == len(headers):
        return " and ".join(headers)
    places = [str(at + 1) for at, header in enumerate(raw.headers) if header in headers]
    return f"columns {' and '.join(places)}, headed {headers[0]},"


def _unique(guesses: Sequence[Guess]) -> tuple[Guess, ...]:
    by_name: dict[str, Guess] = {}
    for guess in guesses:
        by_name.setdefault(guess.sheet.name, guess)
    return tuple(by_name.values())


def is_named(raw: RawTable, sheet: str) -> bool:
    """Whether tab or file is called like the sheet, in singular or plural."""
    stem = PurePosixPath(raw.file.replace("\\", "/")).stem
    return any(plain(sheet)[:-1] in plain(name) for name in (raw.tab, stem) if name)
