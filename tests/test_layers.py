"""Data flows one way: no module imports from a layer further down, and only the front knows the
page library."""

import ast
from pathlib import Path

import pytest

import origin_compare

PACKAGE = Path(origin_compare.__file__).parent
LAYERS = (
    {"errors", "answers", "places", "words"},
    {"measures"},
    {"house"},
    {"records"},
    {"mixed"},
    {"fermentation", "panel"},
    {"drivers", "families"},
    {"vatting"},
    {"harvest"},
    {"questions"},
    {"figures"},
    {"reports"},
    {"launcher", "page_parts"},
    {"page_answers"},
    {
        "page_assessors",
        "page_drivers",
        "page_fermentations",
        "page_intake",
        "page_origins",
        "page_panel",
        "page_records",
        "page_scoring",
        "page_tasting",
        "page_trials",
        "page_trials_form",
    },
    {"app", "scoring_app", "cli", "__main__"},
)
HEIGHT = {name: height for height, layer in enumerate(LAYERS) for name in layer}
FRONT = {
    "app",
    "cli",
    "launcher",
    "page_parts",
    "page_answers",
    "page_assessors",
    "page_drivers",
    "page_trials",
    "page_trials_form",
    "page_fermentations",
    "page_intake",
    "page_origins",
    "page_panel",
    "page_scoring",
    "page_tasting",
    "page_records",
    "scoring_app",
    "__main__",
}
MODULES = sorted(PACKAGE.rglob("*.py"))


def _part(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def _imports(path: Path) -> set[str]:
    """Every module named by an import statement, wherever it stands in the file."""
    named: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            named |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            named |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return named


def _own_parts(path: Path) -> set[str]:
    own = {name.split(".")[1] for name in _imports(path) if name.startswith("origin_compare.")}
    return own & set(HEIGHT)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_no_module_imports_from_further_down(path: Path) -> None:
    part = _part(path)
    if part == "__init__":
        return  # the public face names every part
    assert part in HEIGHT, f"{part} has no layer: add it to LAYERS"
    below = {name for name in _own_parts(path) if HEIGHT[name] > HEIGHT[part]}
    level = {name for name in _own_parts(path) if HEIGHT[name] == HEIGHT[part] and name != part}
    assert not below, f"{path.name} imports from further down: {sorted(below)}"
    assert not (level - LAYERS[0] - FRONT), f"{path.name} imports its neighbour: {sorted(level)}"


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_only_the_front_knows_the_page_library(path: Path) -> None:
    knows = any(name.split(".")[0] == "streamlit" for name in _imports(path))
    assert not knows or _part(path) in FRONT


def test_no_pages_folder_beside_the_entry_script() -> None:
    # A folder of that name beside app.py would be served without the frame.
    assert not (PACKAGE / "pages").exists()
