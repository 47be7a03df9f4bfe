"""What was said once about a kind of file, and holds for all files like it: the reading plan.

A plan is plain TOML, one `[[plan]]` per kind of table; beside a folder it lies in
`reading_plans.toml`:

    [[plan]]
    kind = ["batch", "gravity", "time"]
    sheet = "readings"
    columns = { "Run" = "batch_id", "Initials" = "ignore" }
    constants = { "instrument" = "hand" }
    date_order = "day first"
    answers = { "fill down" = "yes" }
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace
from typing import Any, Self

from origin_compare.errors import RefusedFile
from origin_compare.intake.asking.open_questions import Question
from origin_compare.intake.headers import plain
from origin_compare.sheets.catalogue import SHEETS

IGNORE = "ignore"
"""In `ReadingPlan.columns`: the column is left out."""
ATTRIBUTE = "attribute"
"""In `ReadingPlan.columns`: the column holds one attribute's scores, the header being its name."""
YES, NO = "yes", "no"
DATE_ORDERS = ("day first", "month first")


@dataclass(frozen=True)
class ReadingPlan:
    """How files of one kind are read, as a user said it once.

    `sheet`: what a row of the table is, "" to go by the headers; `columns`: header as written ->
    column, `"ignore"` or `"attribute"` (scores only); `constants`: columns the file lacks and
    every row gets; `date_order`: `"day first"` or `"month first"`, "" to go by the evidence;
    `decimal_comma`: how figures are written, None to go by the evidence; `answers`: all else that
    was asked, question key -> choice; `kind`: the print of the kind of table, the words of its
    headers that are known (`kind_of_table`); () for any table that has all headers of `columns`.

    Raises `ValueError` for a sheet or a column that does not exist.
    """

    sheet: str
    columns: Mapping[str, str] = field(default_factory=dict)
    constants: Mapping[str, str] = field(default_factory=dict)
    date_order: str = ""
    decimal_comma: bool | None = None
    answers: Mapping[str, str] = field(default_factory=dict)
    kind: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.sheet and self.sheet not in SHEETS:
            raise ValueError(f"{self.sheet!r} is no sheet. Choose one of {', '.join(SHEETS)}.")
        allowed = _columns_of(self.sheet)
        for name in (*self.columns.values(), *self.constants):
            if name not in allowed:
                raise ValueError(f"{name!r} is no column of {self.sheet or 'any sheet'}.")
        if self.date_order not in ("", *DATE_ORDERS):
            raise ValueError(f"{self.date_order!r} is no date order: {' or '.join(DATE_ORDERS)}.")

    @property
    def name(self) -> str:
        """What the plan is listed, shown and forgotten by."""
        words = self.kind or sorted(self.columns)
        return f"{self.sheet or 'any sheet'}: {', '.join(words)}"

    @property
    def wanted(self) -> tuple[str, ...]:
        """The headers a table must have for the plan to hold."""
        return tuple(head for head, name in self.columns.items() if name != IGNORE)

    def fits(self, kind: Sequence[str], headers: Iterable[str]) -> bool:
        """Whether a table of this kind and these headers is one the plan was made for."""
        if self.kind:
            return set(self.kind) == set(kind)
        own = {plain(header) for header in headers}
        return bool(self.wanted) and {plain(head) for head in self.wanted} <= own

    def answer(self, key: str) -> str:
        """What was said to a question, "" where nothing was."""
        head, _, rest = key.partition(": ")
        if key == "sheet":
            return self.sheet
        if key == "date order":
            return self.date_order
        if head == "column":
            return next((to for one, to in self.columns.items() if plain(one) == plain(rest)), "")
        if head == "constant":
            return self.constants.get(rest, "")
        return self.answers.get(key, "")

    def answered(self, question: Question, choice: str) -> Self:
        """The plan with one more answer."""
        head, _, rest = question.key.partition(": ")
        if question.key == "sheet":
            return replace(self, sheet=choice)
        if question.key == "date order":
            return replace(self, date_order=choice)
        if head == "column":
            return replace(self, columns={**self.columns, rest: choice})
        if head == "constant":
            return replace(self, constants={**self.constants, rest: choice})
        return replace(self, answers={**self.answers, question.key: choice})

    def to_toml(self) -> str:
        """The plan as one `[[plan]]` table of a TOML file."""
        return plans_as_toml([self])

    @classmethod
    def from_toml(cls, text: str) -> Self:
        """The one plan of a TOML text; `RefusedFile` if it holds none or several."""
        found = read_plans(text)
        if len(found) != 1:
            raise RefusedFile(f"The text holds {len(found)} reading plans, not one. Give one.")
        return cls(**vars(found[0]))


def answer(
    questions: Mapping[Question, str] | Iterable[tuple[Question, str]],
    plans: Iterable[ReadingPlan] = (),
) -> tuple[ReadingPlan, ...]:
    """The plans that follow from answers, one per kind of table; `plans` of the kind are kept."""
    made = {tuple(one.kind): one for one in plans}
    told = questions.items() if isinstance(questions, Mapping) else questions
    for question, choice in told:
        before = made.get(question.kind, ReadingPlan("", kind=question.kind))
        made[question.kind] = before.answered(question, choice)
    return tuple(made.values())


def plan_for(
    kind: Sequence[str], headers: Sequence[str], plans: Iterable[ReadingPlan]
) -> ReadingPlan | None:
    """The first plan made for a table of this kind, None if there is none."""
    return next((one for one in plans if one.fits(kind, headers)), None)


def plans_as_toml(plans: Iterable[ReadingPlan]) -> str:
    """Plans as a TOML text that `read_plans` reads back."""
    return "\n".join(_as_toml(one) for one in plans)


def read_plans(text: str, place: str = "The text") -> tuple[ReadingPlan, ...]:
    """The plans of a TOML text; `[[map]]`, the form before there were plans, is read as well.

    Raises `RefusedFile`, naming `place`, for what is no plan.
    """
    try:
        told = tomllib.loads(text)
        return tuple(_from_table(one) for one in (*told.get("plan", ()), *told.get("map", ())))
    except (tomllib.TOMLDecodeError, KeyError, TypeError, ValueError) as why:
        raise RefusedFile(
            f"{place}: this is no reading plan: {why}. Write a [[plan]] with a sheet and its "
            "columns."
        ) from why


def _from_table(table: Mapping[str, Any]) -> ReadingPlan:
    told = dict(table)
    columns = told.pop("columns", None) or told.pop("headers", {})
    kind = tuple(str(word) for word in told.pop("kind", ()))
    if not columns and not kind:
        raise ValueError("it names neither its kind nor any columns")
    return ReadingPlan(told.pop("sheet", ""), dict(columns), kind=kind, **told)


def _as_toml(plan: ReadingPlan) -> str:
    lines = ["[[plan]]"]
    if plan.kind:
        lines.append(f"kind = [{', '.join(_text(word) for word in plan.kind)}]")
    if plan.sheet:
        lines.append(f"sheet = {_text(plan.sheet)}")
    for name in ("columns", "constants", "answers"):
        told: Mapping[str, str] = getattr(plan, name)
        if told:
            inside = ", ".join(f"{_text(key)} = {_text(value)}" for key, value in told.items())
            lines.append(f"{name} = {{ {inside} }}")
    if plan.date_order:
        lines.append(f"date_order = {_text(plan.date_order)}")
    if plan.decimal_comma is not None:
        lines.append(f"decimal_comma = {str(plan.decimal_comma).lower()}")
    return "\n".join(lines) + "\n"


def _text(value: str) -> str:
    """A basic string of TOML, which escapes as JSON does but for the control sign 127."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _columns_of(sheet: str) -> Set[str]:
    sheets = [SHEETS[sheet]] if sheet else list(SHEETS.values())
    names = {name for one in sheets for name in one.names()} | {IGNORE}
    return names | ({ATTRIBUTE} if sheet in ("", "scores") else set())
