"""The house rules: targets and windows a distillery sets for itself, each with where it came from.

The shipped defaults stand in `house_rules.toml` beside this module. A distillery's own file has
the same form and holds only what differs.
"""

from __future__ import annotations

import difflib
import json
import math
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any
from zoneinfo import available_timezones

from origin_compare.answers import listed
from origin_compare.errors import OriginCompareError

_MOST_SAID = 80
COMMON = "common practice, no source"
HOUR_ZEROS = ("yeast in", "first fill", "last fill")
FEINTS = ("by lot", "by grower", "no", "not stated")
FEWEST_IN_A_GROUP = 3
"""In a group of two each member can work out the other's figure from the mean."""
MOST_IN_A_GROUP = 1000
"""No house has so many growers: above it a slip of the keys is likelier than a wish."""


class RuleFault(OriginCompareError):
    """House rules that cannot be used; the text says which line or name, and what to write."""


@dataclass(frozen=True, slots=True)
class Window:
    """A range the house holds to; either end may be open (None). `RuleFault` if low > high."""

    name: str
    says: str
    unit: str
    low: float | None
    high: float | None
    source: str = COMMON

    def __post_init__(self) -> None:
        for end in (self.low, self.high):
            if end is not None and not math.isfinite(end):
                raise RuleFault(f"{self.name}: {end} is no end of a window. Leave it open instead.")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise RuleFault(
                f"{self.name}: low {self.low:g} is above high {self.high:g}. Swap the two."
            )

    def holds(self, value: float) -> bool:
        """Whether `value` lies inside, ends included; NaN does not."""
        above = self.low is None or value >= self.low
        below = self.high is None or value <= self.high
        return bool(above and below) and not math.isnan(value)

    def words(self) -> str:
        """The window in words with its unit: `19 to 23 °C`, `at most 3.5`, `15 %`, `any`."""
        low, high = (None if end is None else f"{end:g}" for end in (self.low, self.high))
        if low is None and high is None:
            return "any"
        if low is None:
            return f"at most {high} {self.unit}".rstrip()
        if high is None:
            return f"at least {low} {self.unit}".rstrip()
        if low == high:
            return f"{low} {self.unit}".rstrip()
        return f"{low} to {high} {self.unit}".rstrip()


@dataclass(frozen=True, slots=True)
class Flag:
    """A value outside a window: `rule` names the window, `says` is the sentence to print."""

    rule: str
    value: float
    says: str


@dataclass(frozen=True)
class HouseRules:
    """All windows by name, and the site's clock.

    `hour_zero` is what hour 0 of a fermentation means: yeast in, first fill or last fill.
    `smallest_group`: growers a group needs before its middle may be shown to another grower.
    `plausible`: what is usual, by (sheet, column); outside earns a warning, never a refusal.
    `feints_kept_apart`: whether foreshots and feints of one lot or grower stay out of the next.
    `zone_stated`: whether the house said its time zone; until then it is asked for.
    `scales`: how scores of each tasting scale become the house's, by name: (factor, offset).
    `RuleFault` for an unknown time zone, hour zero or way with feints, or a group under 3 or over
    1000.
    """

    windows: Mapping[str, Window]
    time_zone: str = "UTC"
    hour_zero: str = "yeast in"
    smallest_group: int = 5
    plausible: Mapping[tuple[str, str], Window] = field(default_factory=dict)
    feints_kept_apart: str = "not stated"
    scales: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    zone_stated: bool = field(default=False, compare=False)

    def __post_init__(self) -> None:
        _check_zone(self.time_zone)
        _check_choice("hour_zero", self.hour_zero, HOUR_ZEROS)
        _check_choice("feints_kept_apart", self.feints_kept_apart, FEINTS)
        if self.smallest_group < FEWEST_IN_A_GROUP:
            raise RuleFault(
                f"smallest_group: {self.smallest_group} is below {FEWEST_IN_A_GROUP}. In a smaller "
                "group a grower could work out another's figures."
            )
        if self.smallest_group > MOST_IN_A_GROUP:
            raise RuleFault(
                f"smallest_group: {_short(self.smallest_group)} is above {MOST_IN_A_GROUP}, more "
                "growers than a house has, so no group would ever be shown."
            )

    def window(self, name: str) -> Window:
        """The window of that name; `KeyError` if the rules hold none."""
        return self.windows[name]

    def flags(self, name: str, value: float) -> tuple[Flag, ...]:
        """One `Flag` if `value` lies outside the window `name`, else none; NaN earns none.

        A name without a window earns none either: the house holds to nothing there.
        """
        window = self.windows.get(name)
        if window is None:
            return ()
        return _flags(window, value, name, "the house window")

    def unusual(self, sheet: str, column: str, value: float) -> tuple[Flag, ...]:
        """One `Flag` if a cell's value is outside what is usual in that column, else none."""
        window = self.plausible.get((sheet, column))
        if window is None:
            return ()
        return _flags(window, value, f"plausible.{sheet}.{column}", "what is usual")


def _flags(window: Window, value: float, rule: str, held_to: str) -> tuple[Flag, ...]:
    if math.isnan(value) or window.holds(value):
        return ()
    side = "below" if window.low is not None and value < window.low else "above"
    shown = f"{value:.6g} {window.unit}".rstrip()
    says = f"{window.says} {shown} is {side} {held_to}, {window.words()} ({window.source})"
    return (Flag(rule, float(value), says),)


def _check_choice(name: str, chosen: str, choices: tuple[str, ...]) -> None:
    if chosen not in choices:
        known = listed([f'"{choice}"' for choice in choices])
        raise RuleFault(f'{name}: "{chosen}" is not one of {known}.')


@cache
def time_zones() -> tuple[str, ...]:
    """The zones a site can be in: none that counts leap seconds, none a machine calls its own."""
    return tuple(sorted(available_timezones() - {"localtime", "Factory"}))


def _check_zone(name: str) -> None:
    if name not in time_zones():
        raise RuleFault(
            f'time_zone: "{_short(name)}" is not a known time zone. Write it as region/city, such '
            'as "Europe/London", or "UTC".'
        )


def _short(value: object) -> str:
    """A value as a message can bear it."""
    try:
        said = str(value)
    except (ValueError, RecursionError):  # more digits, or more tables, than can be written out
        return "what stands there"
    return said if len(said) <= _MOST_SAID else f"{said[:_MOST_SAID]} …"


def default_rules() -> HouseRules:
    """The rules a new store starts with, read from the shipped `house_rules.toml`.

    A distillery replaces them by its own (`read_rules`).
    """
    shipped = _shipped()
    windows, plausible = dict(shipped.windows), dict(shipped.plausible)
    return replace(shipped, windows=windows, plausible=plausible, zone_stated=False)


@cache
def _shipped() -> HouseRules:
    text = resources.files("origin_compare").joinpath("house_rules.toml").read_text("utf-8")
    return _Reader(text, "house_rules.toml", HouseRules(windows={})).rules()


def read_rules(path_or_text: Path | str) -> HouseRules:
    """House rules from a TOML file or its text; what it leaves out keeps the shipped default.

    Text of one line without `=` or `[` is taken as a path. A window may give only the fields
    that differ; `low = "open"` opens an end; a window of the house's own needs `says`, `unit`,
    `low` and `high`; `without` lists windows the house does not hold to. `RuleFault` names file,
    line and key for what is unknown, of the wrong kind, or a window upside down.
    """
    if isinstance(path_or_text, Path) or _is_path(path_or_text):
        path = Path(path_or_text)
        return _Reader(_file_text(path), path.name, default_rules()).rules()
    return _Reader(path_or_text, "house rules", default_rules()).rules()


def _is_path(text: str) -> bool:
    return bool(text.strip()) and not re.search(r"[=\[\n#]", text)


def _file_text(path: Path) -> str:
    try:
        return path.read_text("utf-8-sig")
    except FileNotFoundError as wrong:
        raise RuleFault(f"{path}: there is no such file of house rules.") from wrong
    except UnicodeDecodeError as wrong:
        raise RuleFault(f"{path}: not in UTF-8. Save the file as UTF-8 text.") from wrong
    except OSError as wrong:
        raise RuleFault(f"{path}: cannot be read ({wrong.strerror}).") from wrong


Place = tuple[str, ...]
_TOP = (
    *("time_zone", "hour_zero", "smallest_group", "feints_kept_apart"),
    *("without", "windows", "plausible", "scales"),
)
_FIELDS = ("says", "unit", "low", "high", "source")
_MAPPING = ("factor", "offset")


@dataclass(frozen=True)
class _Reader:
    """One file of rules, laid over `base`."""

    text: str
    file: str
    base: HouseRules

    def rules(self) -> HouseRules:
        try:
            data = tomllib.loads(self.text)
        except tomllib.TOMLDecodeError as wrong:
            raise RuleFault(f"{self.file}: not valid TOML: {wrong}.") from wrong
        except ValueError as wrong:
            raise RuleFault(f"{self.file}: a number in it has too many digits.") from wrong
        except RecursionError as wrong:
            raise RuleFault(
                f"{self.file}: tables or lists lie too deep in one another. House rules need three "
                "levels at most, such as [plausible.lots.area_ha]."
            ) from wrong
        self._known(data, _TOP, ())
        kept = self._kept(data.get("without", []))
        windows = {name: window for name, window in self.base.windows.items() if (name,) in kept}
        windows |= dict(self._windows(data))
        plausible = {key: window for key, window in self.base.plausible.items() if key in kept}
        plausible |= dict(self._plausible(data))
        zone = self._value(data, "time_zone", str, self.base.time_zone)
        zero = self._value(data, "hour_zero", str, self.base.hour_zero)
        group = self._value(data, "smallest_group", int, self.base.smallest_group)
        feints = self._value(data, "feints_kept_apart", str, self.base.feints_kept_apart)
        scales = self._scales(data)
        try:
            stated = self.base.zone_stated or "time_zone" in data
            return HouseRules(windows, zone, zero, group, plausible, feints, scales, stated)
        except RuleFault as wrong:
            raise self._reworded(wrong) from wrong

    def _value(self, data: Mapping[str, Any], key: str, kind: type, default: Any) -> Any:
        found = data.get(key, default)
        if type(found) is not kind:
            wanted = "text in quotes" if kind is str else "a whole number"
            raise self._fault((key,), f"{_quoted_short(found)} is not {wanted}")
        return found

    def _scales(self, data: Mapping[str, Any]) -> dict[str, tuple[float, float]]:
        found = dict(self.base.scales)
        for name, given in self._tables(data, ("scales",), fields=_MAPPING):
            self._known(given, _MAPPING, ("scales", name))
            factor, offset = given.get("factor", ""), given.get("offset", "")
            if not all(type(one) in (int, float) and abs(one) < 1e300 for one in (factor, offset)):
                raise self._fault(("scales", name), "factor and offset have to be two numbers")
            if factor <= 0:
                raise self._fault(("scales", name), f"factor {factor:g} is not above 0")
            found[name] = float(factor), float(offset)
        return found

    def _kept(self, without: Any) -> set[Place]:
        known: dict[str, Place] = {f"windows.{name}": (name,) for name in self.base.windows}
        known |= {f"plausible.{'.'.join(key)}": key for key in self.base.plausible}
        if not isinstance(without, list):
            raise self._fault(("without",), f"{_quoted_short(without)} is not a list of names")
        for name in without:
            if not isinstance(name, str) or name not in known:
                hint = _nearest(_short(name), known)
                raise self._fault(
                    ("without",), f"{_quoted_short(name)} is no window of the defaults. {hint}"
                )
        return {key for name, key in known.items() if name not in without}

    def _windows(self, data: Mapping[str, Any]) -> Iterator[tuple[str, Window]]:
        for name, given in self._tables(data, ("windows",)):
            path = ("windows", name)
            yield name, self._window(name, path, given, self.base.windows.get(name))

    def _plausible(self, data: Mapping[str, Any]) -> Iterator[tuple[tuple[str, str], Window]]:
        for sheet, columns in self._tables(data, ("plausible",)):
            for column, given in self._tables({sheet: columns}, (sheet,), ("plausible",)):
                path = ("plausible", sheet, column)
                usual = self.base.plausible.get((sheet, column))
                yield (sheet, column), self._window(column, path, given, usual)

    def _tables(
        self,
        data: Mapping[str, Any],
        path: Place,
        above: Place = (),
        fields: tuple[str, ...] = _FIELDS,
    ) -> Iterator[tuple[str, Mapping[str, Any]]]:
        table = data.get(path[-1], {})
        if not isinstance(table, dict):
            raise self._fault(
                (*above, *path), f"{_quoted_short(table)} stands where a table belongs"
            )
        for name, given in table.items():
            if not isinstance(given, dict):
                raise self._fault(
                    (*above, *path, name),
                    f"{_quoted_short(given)} stands where a table of {listed(fields)} belongs",
                )
            yield name, given

    def _window(
        self, name: str, path: Place, given: Mapping[str, Any], usual: Window | None
    ) -> Window:
        self._known(given, _FIELDS, path)
        if usual is None:
            missing = [key for key in ("says", "unit", "low", "high") if key not in given]
            if missing:
                known = [*self.base.windows, *(column for _, column in self.base.plausible)]
                raise self._fault(
                    path,
                    f"no such window among the defaults. {_nearest(name, known)} A window of your "
                    f"own needs {listed(missing)} too",
                )
            usual = Window(name, "", "", None, None)
        changed = {key: self._field(path, key, value) for key, value in given.items()}
        if {"low", "high"} & set(given) and "source" not in given:
            changed["source"] = "the house's own"
        try:
            return replace(usual, **changed)
        except RuleFault as wrong:
            raise self._fault(path, str(wrong).split(": ", 1)[1].rstrip(".")) from wrong

    def _field(self, path: Place, key: str, value: Any) -> Any:
        if key in ("low", "high"):
            if value == "open":
                return None
            if isinstance(value, bool) or not isinstance(value, int | float):
                raise self._fault((*path, key), f'{_quoted_short(value)} is not a number or "open"')
            try:
                return float(value)
            except OverflowError:
                raise self._fault((*path, key), "too large a number") from None
        if not isinstance(value, str):
            raise self._fault((*path, key), f"{_quoted_short(value)} is not text in quotes")
        return value

    def _known(self, given: Mapping[str, Any], known: tuple[str, ...], path: Place) -> None:
        for key in given:
            if key not in known:
                raise self._fault((*path, key), f"unknown name. {_nearest(key, known)}")

    def _reworded(self, wrong: RuleFault) -> RuleFault:
        key, text = str(wrong).split(": ", 1)
        return self._fault((key,), text)

    def _fault(self, path: Place, text: str) -> RuleFault:
        line = _line(self.text, path)
        place = f"{self.file} line {line}" if line else self.file
        end = "" if text.endswith((".", "?")) else "."
        return RuleFault(f"{place}, {'.'.join(path)}: {text}{end}")


def _quoted_short(value: object) -> str:
    try:
        return _short(repr(value))
    except (ValueError, RecursionError):
        return "what stands there"


def _line(text: str, path: Place) -> int | None:
    """The line on which a key or its table stands; None where it cannot be told."""
    header: Place = ()
    for number, line in enumerate(text.splitlines(), start=1):
        if found := re.match(r"\s*\[([^\[\]]+)\]", line):
            header = _parts(found[1])
            at = header
        elif found := re.match(r"\s*([^=#\s][^=#]*?)\s*=", line):
            at = (*header, *_parts(found[1]))
        else:
            continue
        if at[: len(path)] == path or (line.rstrip().endswith("}") and path[: len(at)] == at):
            return number
    return None


def _parts(dotted: str) -> Place:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))


def _nearest(name: str, known: Any) -> str:
    close = difflib.get_close_matches(name, list(known), n=1)
    return f'Did you mean "{close[0]}"?' if close else f"Known are {listed(sorted(known), 8)}."


def rules_as_toml(rules: HouseRules) -> str:
    """The rules as a whole file; `read_rules` of it gives equal rules."""
    stated = rules.zone_stated or rules.time_zone != default_rules().time_zone
    lines = [
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
