"""Data flows one way: no module imports from a layer further down, none in a circle, and only the
front knows the page library."""

import ast
from functools import cache
from pathlib import Path

import pytest

import origin_compare

PACKAGE = Path(origin_compare.__file__).parent
ROOT = "origin_compare"

# From the ground up. A module belongs to the longest prefix that fits it; it may import what
# stands in a lower line, or in its own room.
LAYERS = (
    ("errors", "answers", "places", "words", "estimates", "recent", "one_thread"),
    ("measures",),
    ("house", "typed"),
    ("sheets",),
    ("intake",),
    ("season",),
    ("store",),
    ("trace.cell_origin", "trace.as_written"),
    ("chain",),
    ("mixed",),
    ("fermentation", "panel"),
    ("drivers", "families"),
    ("trials", "vatting"),
    ("review",),
    ("growers",),
    ("trace",),
    ("questions",),
    ("figures",),
    ("reports",),
    ("front",),
    ("cli",),
    ("__main__",),
)
HEIGHT = {prefix: height for height, layer in enumerate(LAYERS) for prefix in layer}
# The page library's server is started from the console too.
KNOWS_PAGES = ("front",)
MOST_SIDE_BY_SIDE = 16


def _name(path: Path) -> str:
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {_name(path): path for path in sorted(PACKAGE.rglob("*.py"))}
INSIDE = {name: path for name, path in MODULES.items() if name and "migrations" not in name}


def _prefix(module: str) -> str | None:
    """The longest prefix of the order that a dotted name falls under."""
    parts = module.split(".")
    tried = (".".join(parts[:length]) for length in range(len(parts), 0, -1))
    return next((one for one in tried if one in HEIGHT), None)


@cache
def _imports(path: Path) -> frozenset[str]:
    """Every module named by an import statement, wherever it stands in the file."""
    named: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            named |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            named |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return frozenset(named)


def _own(path: Path) -> set[str]:
    """The package's own modules that a file imports, the root left out."""
    own = {name.removeprefix(f"{ROOT}.") for name in _imports(path) if name.startswith(f"{ROOT}.")}
    return own & set(INSIDE)


def _at_run_time(path: Path) -> set[str]:
    """The same, without what is imported for type hints alone."""
    tree = ast.parse(path.read_text("utf-8"))
    hints = [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING"
    ]
    skipped = {id(inner) for node in hints for inner in ast.walk(node)}
    named: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module and id(node) not in skipped:
            whole = {f"{node.module}.{alias.name}" for alias in node.names}
            named |= {one for one in whole if one.removeprefix(f"{ROOT}.") in INSIDE} or {
                node.module
            }
    return {one.removeprefix(f"{ROOT}.") for one in named} & set(INSIDE)


@pytest.mark.parametrize("module", INSIDE)
def test_no_module_imports_from_further_down(module: str) -> None:
    mine = _prefix(module)
    assert mine, f"{module} has no layer: add it to LAYERS"
    for other in sorted(_own(INSIDE[module])):
        theirs = _prefix(other)
        assert theirs, f"{other} has no layer: add it to LAYERS"
        room = module.split(".", maxsplit=1)[0] == other.split(".")[0]
        lower = HEIGHT[theirs] < HEIGHT[mine] or HEIGHT[theirs] == HEIGHT[mine] == 0
        same = mine == theirs or (room and HEIGHT[theirs] <= HEIGHT[mine])
        assert lower or same, f"{module} imports {other}, which stands further down or beside it"


def test_no_modules_import_one_another_in_a_circle() -> None:
    arrows = {name: _at_run_time(path) - {name} for name, path in INSIDE.items()}
    assert _circle(arrows) == []


def test_a_circle_would_be_found() -> None:
    assert _circle({"a": {"b"}, "b": {"c"}, "c": {"b"}}) == ["b", "c"]
    assert _circle({"a": {"b", "c"}, "b": {"c"}, "c": set()}) == []


def _circle(arrows: dict[str, set[str]]) -> list[str]:
    """The modules that still import one another once all that import nothing are taken away."""
    left = dict(arrows)
    while free := [name for name, onto in left.items() if not onto & set(left)]:
        for name in free:
            del left[name]
    while ends := [name for name in left if not any(name in onto for onto in left.values())]:
        for name in ends:
            del left[name]
    return sorted(left)


@pytest.mark.parametrize("module", INSIDE)
def test_only_the_front_knows_the_page_library(module: str) -> None:
    knows = any(name.split(".")[0] == "streamlit" for name in _imports(INSIDE[module]))
    assert not knows or module.startswith(KNOWS_PAGES)


def test_no_pages_folder_beside_the_entry_script() -> None:
    # A folder of that name beside app.py would be served without the frame.
    entries = list(PACKAGE.rglob("*app.py"))
    assert len(entries) == 2
    assert not [entry for entry in entries if (entry.parent / "pages").exists()]


def test_no_room_is_crowded() -> None:
    rooms = {path.parent for path in INSIDE.values()}
    files = {room: [one for one in room.glob("*.py") if one.stem != "__init__"] for room in rooms}
    crowded = {
        _name(room / "__init__.py"): len(found)
        for room, found in files.items()
        if len(found) > MOST_SIDE_BY_SIDE
    }
    assert not crowded, f"give these rooms of their own: {crowded}"


def test_no_two_rooms_share_a_file_name() -> None:
    rooms = {name.split(".")[0] for name in INSIDE if "." in name}
    stems: dict[str, list[str]] = {}
    for name, path in INSIDE.items():
        if path.stem == "__init__":
            continue
        room, stem = name.split(".")[0], name.rsplit(".", 1)[-1]
        # a figure is named after the room whose result it draws, a room's own file after the room
        if room not in ("figures",) and stem not in rooms and "." in name:
            stems.setdefault(stem, []).append(name)
    shared = {stem: names for stem, names in stems.items() if len(names) > 1}
    assert not shared, shared
