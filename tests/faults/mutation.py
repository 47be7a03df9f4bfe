"""Do the tests notice when a room's code is broken? One small change at a time, and who fails.

    nice -n 10 python -m tests.faults.mutation measures --sample 120 --seed 20

mutmut leaves decorated functions alone, and every measure is decorated; cosmic-ray starts Python
and the libraries anew for each change. A change here is one of: a comparison turned, an
arithmetic sign swapped, `and` for `or`, a condition negated or a mask not turned, True for False,
a whole number one more, a fraction a tenth more. Each is tried in a process forked before the
package is imported, so that it costs its tests and not the libraries' start. A change no test
notices is a survivor, shown with its line; some of those mean the same program.
"""

from __future__ import annotations

import argparse
import ast
import importlib.machinery
import os
import random
import resource
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import hypothesis
import numpy
import pandas
import pytest
import sqlalchemy

PRELOADED = (hypothesis, numpy, pandas, pytest, sqlalchemy)
"""Imported before the fork, so that no mutant pays for them."""

ROOT = Path(__file__).resolve().parents[2]
TESTS = {
    "measures": [
        *["tests/measures", "tests/outside/attenuation", "tests/outside/density"],
        *["tests/outside/gravity", "tests/outside/proof"],
    ],
    "season": ["tests/season", "tests/chain/test_shares.py", "tests/store/test_accounting.py"],
    "chain": ["tests/chain"],
}
FIRST = {"season": ("join", "shares")}
CPU_LIMIT_S = 240
COMPARED = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
}
COUNTED = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
JOINED = {ast.And: ast.Or, ast.Or: ast.And}


@dataclass(frozen=True)
class Mutant:
    """One changed module: `tree` is its whole code, `before` and `after` the place changed."""

    file: Path
    line: int
    before: str
    after: str
    tree: ast.Module


def places(file: Path) -> Iterator[tuple[Path, int]]:
    """Every place of a module where a change can be made, by its number in a walk of the tree."""
    whole = ast.parse(file.read_text("utf-8"))
    silent = _silent(whole)
    for place, node in enumerate(ast.walk(whole)):
        if id(node) not in silent and _can_change(node):
            yield file, place


def mutant(file: Path, place: int) -> Mutant:
    """The module with the change at that place."""
    tree = ast.parse(file.read_text("utf-8"))
    node: Any = next(one for at, one in enumerate(ast.walk(tree)) if at == place)
    before, line = ast.unparse(node), node.lineno
    _change(node)
    ast.fix_missing_locations(tree)
    return Mutant(file, line, _short(before), _short(ast.unparse(node)), tree)


def _short(code: str) -> str:
    return code if len(code) < 70 else f"{code[:66]} ..."


def _silent(whole: ast.Module) -> set[int]:
    """Nodes that say nothing to the program: annotations, and what only the type checker reads."""
    found: set[int] = set()
    for node in ast.walk(whole):
        told = [getattr(node, name, None) for name in ("annotation", "returns")]
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            told.append(node)
        found |= {id(one) for root in told if root for one in ast.walk(root)}
    return found


def _can_change(node: ast.AST) -> bool:
    if isinstance(node, ast.Compare):
        return type(node.ops[0]) in COMPARED
    if isinstance(node, ast.BinOp):
        return type(node.op) in COUNTED
    if isinstance(node, ast.UnaryOp):
        return isinstance(node.op, ast.Invert)
    if isinstance(node, ast.Constant):
        return type(node.value) in (bool, int, float)
    return isinstance(node, ast.BoolOp | ast.If | ast.IfExp)


def _change(node: Any) -> None:
    match node:
        case ast.Compare():
            node.ops[0] = COMPARED[type(node.ops[0])]()
        case ast.BinOp():
            node.op = COUNTED[type(node.op)]()
        case ast.UnaryOp():
            node.operand = ast.UnaryOp(ast.Invert(), node.operand)  # turned twice: as it was
        case ast.BoolOp():
            node.op = JOINED[type(node.op)]()
        case ast.If() | ast.IfExp():
            node.test = ast.UnaryOp(ast.Not(), node.test)
        case ast.Constant():
            node.value = _other(node.value)


def _other(value: float) -> float:
    if isinstance(value, bool):
        return not value
    return value + 1 if isinstance(value, int) or value == 0 else value * 1.1


def tests_for(room: str, file: Path) -> tuple[list[str], list[str]]:
    """The room's test files that share a word with the module, and the rest of them.

    Most changes fall to the first, and only those files are read for them.
    """
    found = dict.fromkeys(one for place in TESTS[room] for one in _test_files(ROOT / place))
    words = {*file.stem.split("_"), *FIRST.get(room, ())}
    near = [one for one in found if words & set(one.stem.split("_"))]
    return [str(one) for one in near], [str(one) for one in found if one not in near]


def _test_files(place: Path) -> list[Path]:
    return [place] if place.is_file() else sorted(place.glob("test_*.py"))


def survives(change: Mutant | None, tests: list[str]) -> bool:
    """Whether all tests pass with the change made; None tries the code as it is."""
    child = os.fork()
    if child == 0:
        _quietly(change, tests)
    _, status = os.waitpid(child, 0)
    return status == 0


def _passes(tests: list[str]) -> bool:
    return not tests or survives(None, tests)


def _quietly(change: Mutant | None, tests: list[str]) -> None:
    """Run the tests in this forked process and end it; never returns."""
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_LIMIT_S, CPU_LIMIT_S))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    if change is not None:
        _put_in(change)
        silent = os.open(os.devnull, os.O_WRONLY)
        os.dup2(silent, 1)
        os.dup2(silent, 2)
    code = 1
    try:
        options = ["-x", "-q", "-p", "no:cacheprovider", "--override-ini=addopts="]
        code = int(pytest.main([*options, *tests]))
    finally:
        os._exit(code)


def _put_in(change: Mutant) -> None:
    loader = importlib.machinery.SourceFileLoader
    usual = loader.get_code

    def get_code(self: importlib.machinery.SourceFileLoader, name: str) -> object:
        if Path(self.path) == change.file:
            return compile(change.tree, self.path, "exec")
        return usual(self, name)

    loader.get_code = get_code  # type: ignore[method-assign, assignment]


def main() -> None:
    """Print every survivor and the share killed."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("room", choices=sorted(TESTS))
    asked.add_argument("--sample", type=int, default=0, help="so many changes, drawn by chance")
    asked.add_argument("--seed", type=int, default=20)
    asked.add_argument("--only", default="", help="changes of files whose name holds this")
    asked.add_argument("--unproved", action="store_true", help="do not try the code as it is")
    given = asked.parse_args()
    files = sorted((ROOT / "origin_compare" / given.room).glob("*.py"))
    files = [file for file in files if given.only in file.name]
    every = [place for file in files for place in places(file)]
    tried = every
    if 0 < given.sample < len(every):
        tried = random.Random(given.seed).sample(every, given.sample)
    print(f"{len(every)} changes possible, {len(tried)} tried", flush=True)
    if not given.unproved and not all(map(_passes, tests_for(given.room, files[0]))):
        sys.exit("The tests fail on the code as it is.")
    begun, left = time.monotonic(), 0
    for number, place in enumerate(tried, start=1):
        change = mutant(*place)
        near, rest = tests_for(given.room, change.file)
        if all(not tests or survives(change, tests) for tests in (near, rest)):
            left += 1
            where = f"{change.file.relative_to(ROOT)}:{change.line}"
            print(f"survives {where}: {change.before}  ->  {change.after}", flush=True)
        if number % 10 == 0:
            took = time.monotonic() - begun
            print(f"{number} tried, {number - left} killed, {took:.0f} s", flush=True)
    print(f"{len(tried) - left} of {len(tried)} killed, {(len(tried) - left) / len(tried):.1%}")


if __name__ == "__main__":
    main()
