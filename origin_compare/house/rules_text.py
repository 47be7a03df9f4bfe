"""House rules as the text of a whole file."""

from __future__ import annotations

import json
import re

from origin_compare.house.house_rules import HouseRules
from origin_compare.house.rules_file import default_rules
from origin_compare.house.toml_lines import Place
from origin_compare.house.window import Window


def rules_as_toml(rules: HouseRules) -> str:
    """The rules as a whole file; `read_rules` of it gives equal rules."""
    stated = rules.zone_stated or rules.time_zone != default_rules().time_zone
    lines = [
        *([f"distillery = {_quoted(rules.distillery)}"] if rules.distillery else []),
        *([f"time_zone = {_quoted(rules.time_zone)}"] if stated else []),
        f"hour_zero = {_quoted(rules.hour_zero)}",
        f"smallest_group = {rules.smallest_group}",
        f"feints_kept_apart = {_quoted(rules.feints_kept_apart)}",
    ]
    usual = default_rules()
    gone = [f"windows.{name}" for name in usual.windows if name not in rules.windows]
    gone += [f"plausible.{'.'.join(key)}" for key in usual.plausible if key not in rules.plausible]
    if gone:
        lines.append(f"without = [{', '.join(_quoted(name) for name in gone)}]")
    for name, window in rules.windows.items():
        lines += _table(("windows", name), window)
    for key, window in rules.plausible.items():
        lines += _table(("plausible", *key), window)
    for name, (factor, offset) in rules.scales.items():
        lines += ["", f"[scales.{_quoted(name)}]", f"factor = {factor!r}", f"offset = {offset!r}"]
    return "\n".join(lines) + "\n"


def _table(path: Place, window: Window) -> list[str]:
    ends = ('"open"' if end is None else repr(float(end)) for end in (window.low, window.high))
    low, high = ends
    keys = (part if re.fullmatch(r"[A-Za-z0-9_-]+", part) else _quoted(part) for part in path)
    return [
        "",
        f"[{'.'.join(keys)}]",
        f"says = {_quoted(window.says)}",
        f"unit = {_quoted(window.unit)}",
        f"low = {low}",
        f"high = {high}",
        f"source = {_quoted(window.source)}",
    ]


def _quoted(text: str) -> str:
    # JSON's escapes are TOML's too, but for the delete character
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
