"""What a file leaves open: asked with its evidence and a default, never guessed."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Where:
    """A place in what was brought in; row and column count from 1, 0 where it is no one cell."""

    file: str
    tab: str = ""
    row: int = 0
    column: int = 0

    def __str__(self) -> str:
        from origin_compare.intake.grid import address

        place = f"{self.file} tab {self.tab}" if self.tab else self.file
        if self.row and self.column:
            return f"{place} cell {address(self.row, self.column)}"
        return f"{place} row {self.row}" if self.row else place


@dataclass(frozen=True, slots=True)
class Question:
    """One thing to be said once for all files of a kind.

    `key`: what the answer is kept under in the reading plan, such as `sheet`, `fill down` or
    `column: Run`; `what`: the question in words; `evidence`: what in the file speaks for the
    default; `choices`: the answers there are, empty where any text may be one; `default`: the
    likeliest, "" where nothing is likelier; `kind`: the print of the kind of table it concerns
    (`ReadingPlan.kind`); `holds`: whether the table waits for the answer, or goes in as the
    default says.
    """

    key: str
    what: str
    evidence: str
    choices: tuple[str, ...]
    default: str
    where: Where
    kind: tuple[str, ...] = ()
    holds: bool = True

    def __str__(self) -> str:
        choices = f" ({' / '.join(self.choices)})" if self.choices else ""
        default = f" Likeliest: {self.default}." if self.default else ""
        return f"{self.where}: {self.what}{choices} {self.evidence}{default}"
