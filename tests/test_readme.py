"""README's code runs, its verbs exist, and its commands are those CI calls."""

import contextlib
import io
import re
from pathlib import Path

import pytest

from origin_compare import cli

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text("utf-8")


def _blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", README, re.S)


def test_the_python_example_runs_and_says_something(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    (example,) = _blocks("python")
    monkeypatch.chdir(ROOT)
    said = io.StringIO()
    names: dict[str, object] = {}
    with contextlib.redirect_stdout(said):
        exec(compile(example, "README.md", "exec"), names)
    assert len(said.getvalue().splitlines()) == example.count("print(")
    assert len(names["table"]) == 60  # type: ignore[arg-type]


@pytest.mark.parametrize("verb", re.findall(r"`origin-compare ([a-z-]+)", README))
def test_every_verb_it_names_explains_itself_with_an_example(
    verb: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as end:
        cli.main([verb, "--help"])
    assert end.value.code == 0
    assert f"example:\n  origin-compare {verb}" in capsys.readouterr().out


def test_every_verb_there_is_stands_in_it(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        cli.main(["--help"])
    verbs = re.findall(r"^    ([a-z][a-z-]+)(?: |$)", capsys.readouterr().out, re.M)
    assert len(verbs) >= 7
    assert all(verb in README for verb in verbs)


def test_the_job_comes_first_in_one_paragraph() -> None:
    title, paragraph, *_ = README.split("\n\n")
    assert title == "# origin_compare"
    assert paragraph.startswith("A distillery buys malting barley from many growers")


def test_pictures_it_shows_are_there() -> None:
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", README)
    assert pictures
    assert all((ROOT / picture).is_file() for picture in pictures)


def test_the_top_level_holds_what_was_agreed() -> None:
    files = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml"}
    locks = {"requirements.txt", "requirements-test.txt"}
    named = files | locks | {"origin_compare", "pages", "tests", "demo_harvests"}
    there = {entry.name for entry in ROOT.iterdir() if not entry.name.startswith(".")}
    assert there - {"build", "dist"} == named
