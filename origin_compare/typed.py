"""What somebody typed, shown as typed: names, remarks and file names are never markup.

A page that took `![](http://...)` in a lot's name for a picture would ask another machine for it.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterable

_BEGINS_MARKUP = re.compile(r"([\\`*_{}\[\]<>#+$~|:&@/])")
_SOUGHT_LATE = re.compile(r"(:(?!\d{1,2}:)(?=[\w+/-]+:)|https?:(?=//)|www(?=\.)|@)", re.IGNORECASE)
_BEGINS_LIST = re.compile(r"^\s*(?:(?=[-=])|(\d+)(?=[.)]))")
_JOINER = "\u2060"  # no width, no break


def plain(text: object) -> str:
    """Any text as Markdown that shows just this text, in a body or in a widget's label.

    Line breaks become blanks. Icons, emoji (`:name:`) and bare addresses are sought in the finished
    text, where an escape is gone, so a mark without width parts them.
    """
    one_line = " ".join(str(text).split("\n"))
    escaped = _BEGINS_MARKUP.sub(r"\\\1", _SOUGHT_LATE.sub(rf"\1{_JOINER}", one_line))
    return _BEGINS_LIST.sub(lambda found: f"{found[1] or ''}\\", escaped)


def bullets(lines: Iterable[object]) -> str:
    """Each text plain, as a line of a list."""
    return "\n".join(f"- {plain(line)}" for line in lines)


def as_html(text: object) -> str:
    """Any text as HTML that shows just this text, between tags."""
    return html.escape(str(text), quote=False)
