"""Texts that somebody typed reach no page as markup: the function, and every call that shows."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from origin_compare.places import FRONT, pages_folder
from origin_compare.typed import as_html, plain

SHOWN_AS_MARKDOWN = {
    *("markdown", "caption", "header", "subheader", "title", "warning", "error", "info", "success"),
    *("toast", "spinner", "expander", "popover", "progress", "metric", "button", "checkbox"),
    *("toggle", "radio", "selectbox", "multiselect", "slider", "text_input", "text_area"),
    *("number_input", "date_input", "file_uploader", "download_button", "form_submit_button"),
    *("page_link", "segmented_control", "tabs", "pick", "choose"),
}
OUR_OWN = {"plain", "bullets", "count", "len", "title", "label"}
"""Calls whose result is safe: escaped, a number, or a column's own name."""
HANDED_ON = {"label", "title", "heading"}
"""Parameters of our own pieces, held to this where they are given."""


def test_plain_escapes_what_begins_markup() -> None:
    assert plain("**a** [b](c) <i> $x$ `d`") == r"\*\*a\*\* \[b\](c) \<i\> \$x\$ \`d\`"
    assert plain("1. first") == r"1\. first"
    assert plain("- first\n# second") == r"\- first \# second"
    assert plain("www.place.example") == "www\u2060.place.example"
    assert plain("http://place") == "http\\:\u2060\\/\\/place"
    assert plain("12:30:15") == r"12\:30\:15"
    assert plain(":material/delete:").replace("\\", "") == ":\u2060material/delete:"
    assert plain(":red[x]") == r"\:red\[x\]"
    assert plain(3) == "3"


def test_as_html_leaves_no_tag() -> None:
    assert as_html('<img src="x">') == '&lt;img src="x"&gt;'


def calls(file: Path) -> list[ast.Call]:
    return [
        node
        for node in ast.walk(ast.parse(file.read_text("utf-8")))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr in SHOWN_AS_MARKDOWN
    ]


def shown(call: ast.Call) -> list[ast.expr]:
    """What the call shows as Markdown: its first words, its help, its placeholder."""
    no_words_first = ("progress", "page_link")
    first = [] if call.func.attr in no_words_first else call.args[:1]  # type: ignore[attr-defined]
    named = [one.value for one in call.keywords if one.arg in ("label", "help", "text", "body")]
    return [*first, *named]


def safe(node: ast.AST) -> bool:
    """Our own words, numbers, or typed text made plain."""
    if isinstance(node, ast.Call):
        name = node.func.attr if isinstance(node.func, ast.Attribute) else node.func.id
        return safe(node.args[0]) if name == "join" else name in OUR_OWN
    if isinstance(node, ast.Name | ast.Attribute):
        name = node.id if isinstance(node, ast.Name) else node.attr
        return name.isupper() or name in HANDED_ON
    if isinstance(node, ast.FormattedValue):
        return node.format_spec is not None or safe(node.value)
    return all(safe(part) for part in _said(node))


def _said(node: ast.AST) -> list[ast.AST]:
    """The parts of an expression that can end up in its text."""
    if isinstance(node, ast.IfExp):
        return [node.body, node.orelse]
    if isinstance(node, ast.Subscript):
        return [node.value]
    if isinstance(node, ast.ListComp | ast.GeneratorExp):
        return [node.elt]
    known = (ast.Constant, ast.JoinedStr, ast.BinOp, ast.BoolOp, ast.List, ast.Tuple, ast.Starred)
    assert isinstance(node, known), ast.unparse(node)
    return [part for part in ast.iter_child_nodes(node) if isinstance(part, ast.expr)]


@pytest.mark.parametrize(
    "file",
    [*sorted(FRONT.rglob("*.py")), *sorted(pages_folder().glob("*.py"))],
    ids=lambda file: file.name,
)
def test_no_call_shows_typed_text_as_markup(file: Path) -> None:
    loose = [
        f"{file.name}:{node.lineno} {ast.unparse(node)[:90]}"
        for call in calls(file)
        for node in shown(call)
        if not safe(node)
    ]
    assert not loose, "\n".join(loose)
