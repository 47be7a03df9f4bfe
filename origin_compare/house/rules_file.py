"""House rules read from a file or its text, laid over the shipped defaults."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from origin_compare.answers import listed
from origin_compare.house.house_rules import HouseRules
from origin_compare.house.toml_lines import Place, line_of
from origin_compare.house.window import RuleFault, Window, short


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


_TOP = (
    *("distillery", "time_zone", "hour_zero", "smallest_group", "feints_kept_apart"),
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
        name = self._value(data, "distillery", str, self.base.distillery)
        try:
            stated = self.base.zone_stated or "time_zone" in data
            return HouseRules(windows, zone, zero, group, plausible, feints, scales, stated, name)
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
                hint = _nearest(short(name), known)
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
        line = line_of(self.text, path)
        place = f"{self.file} line {line}" if line else self.file
        end = "" if text.endswith((".", "?")) else "."
        return RuleFault(f"{place}, {'.'.join(path)}: {text}{end}")


def _quoted_short(value: object) -> str:
    try:
        return short(repr(value))
    except (ValueError, RecursionError):
        return "what stands there"


def _nearest(name: str, known: Any) -> str:
    close = difflib.get_close_matches(name, list(known), n=1)
    return f'Did you mean "{close[0]}"?' if close else f"Known are {listed(sorted(known), 9)}."
