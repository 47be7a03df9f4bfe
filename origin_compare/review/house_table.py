"""The house rules as a table one can read and change, and a changed table back to rules."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any

import pandas as pd

from origin_compare import words
from origin_compare.house import HouseRules, RuleFault, Window, default_rules
from origin_compare.review import windows
from origin_compare.review.season_review import SeasonReview

COLUMNS = ["rule", "says", "unit", "low", "high", "held", "standing", "source", "used_for"]
CHANGED = ["rule", "before", "after"]
FLAGGED = ["rule", "says", "window", "batches_flagged", "batches"]
OWN = "the house's own"
_BALANCE = "balance of mass and alcohol on Chain"
_RETURNED = "reckons what earlier runs leave in a charge"
_ONE_GROWER = "whether a batch is called one grower's on Chain"
_REVIEWED = "marks batches on Season"
_ALSO_USED = {
    "peak_temp_c": "sets hours above the window; chooses examples of the house band",
    "final_ph": "chooses examples of the house band; forecasts",
    "final_sg": "chooses examples of the house band; forecasts",
    "length_h": "forecasts, where no length is planned",
    "pitch_temp_c": "evidence for a cause on Fermentations",
    "yeast_age_d": "evidence for a cause on Fermentations",
    "yeast_storage_c": "evidence for a cause on Fermentations",
    "yeast_g_l": "evidence for a cause on Fermentations",
    "yield_at_moisture_pct": "brings field yields to one moisture",
    "brewhouse_yield_pct": _BALANCE,
    "grain_steeped_pct": _BALANCE,
    "malt_per_grain_pct": _BALANCE,
    "malt_mashed_pct": _BALANCE,
    "wash_over_gravity_pct": _BALANCE,
    "new_make_over_wash_pct": _BALANCE,
    "returned_share_pct": _RETURNED,
    "returned_abv_pct": _RETURNED,
    "low_wines_abv_pct": _RETURNED,
    "carry_over_pct": _ONE_GROWER,
    "single_origin_pct": _ONE_GROWER,
}
_ASKS = "asks for a second look at intake, refuses nothing"


def rules_table(rules: HouseRules) -> pd.DataFrame:
    """One row per window and usual range, `COLUMNS`.

    `held`: whether the house holds to it (one of the defaults may be left out); `standing`:
    `as shipped`, `changed` or `the house's own`; an open end is missing. `windows.<name>` come
    first, then `plausible.<sheet>.<column>`.
    """
    usual = _named(default_rules())
    now = _named(rules)
    names = sorted([*now, *(name for name in usual if name not in now)], key=_order(usual))
    rows = []
    for name in names:
        window = now.get(name, usual.get(name))
        if window is not None:
            ends = (window.low, window.high)
            told = (_standing(window, usual.get(name)), window.source, used_for(name))
            rows.append((name, window.says, window.unit, *ends, name in now, *told))
    kinds = {"low": "float64", "high": "float64", "held": "bool"}
    return pd.DataFrame(rows, columns=COLUMNS).astype(kinds)


def rules_from_table(table: pd.DataFrame, rules: HouseRules) -> HouseRules:
    """`rules` with the windows as the table has them (`rule, low, high, held, source`).

    A range whose ends were changed while its source stayed as it was is the house's own from now
    on. Raises `RuleFault`, naming the rule, for a range upside down or without a source.
    """
    known = _named(default_rules()) | _named(rules)
    kept: dict[str, Window] = {}
    for row in table.to_dict("records"):
        name = str(row["rule"])
        if bool(row["held"]):
            kept[name] = _changed(name, known[name], row)
    named = {name.split(".", 1)[1]: one for name, one in kept.items() if _is_window(name)}
    usual = {
        (name.split(".")[1], name.split(".")[2]): one
        for name, one in kept.items()
        if not _is_window(name)
    }
    return replace(rules, windows=named, plausible=usual)


def rules_changes(before: HouseRules, after: HouseRules) -> pd.DataFrame:
    """What differs between two sets of rules, one row per rule: `rule, before, after` in words."""
    then, now = _in_words(before), _in_words(after)
    rows = [
        (name, then.get(name, "not held to"), now.get(name, "not held to"))
        for name in [*then, *(name for name in now if name not in then)]
        if then.get(name) != now.get(name)
    ]
    return pd.DataFrame(rows, columns=CHANGED, dtype="str")


def flagged_now(review: SeasonReview) -> pd.DataFrame:
    """Per rule the batches it flags, most first: `FLAGGED`; the figure stands behind each batch."""
    both = pd.concat([review.outside, review.unusual], ignore_index=True)
    named = _named(review.rules)
    rows = []
    for rule, mine in both.groupby("rule", sort=False):
        window = named[str(rule)]
        figures = zip(mine["batch_id"], mine["value"], strict=True)
        batches = ", ".join(f"{batch} ({_figure(str(rule), value)})" for batch, value in figures)
        rows.append((rule, window.says, window.words(), len(mine), batches))
    found = pd.DataFrame(rows, columns=FLAGGED)
    return found.sort_values("batches_flagged", ascending=False, kind="stable", ignore_index=True)


def _figure(rule: str, value: float) -> str:
    places = words.decimals(rule.rsplit(".", 1)[1])
    return f"{value:.4g}" if places is None else f"{value:.{places}f}"


def used_for(name: str) -> str:
    """Where a rule is used, in words."""
    if not _is_window(name):
        return _ASKS
    short = name.removeprefix("windows.")
    reviewed = [_REVIEWED] if short in (*windows.AT_PITCH, *windows.AT_END) else []
    also = [_ALSO_USED[short]] if short in _ALSO_USED else []
    if short.startswith("heel_"):
        return "heel left in a vessel, on Chain"
    if short == "weak_worts_pct":
        return "weak worts of the mash before, on Chain"
    return "; ".join([*reviewed, *also]) or "kept on record; no page holds anything to it"


def _named(rules: HouseRules) -> dict[str, Window]:
    return {f"windows.{name}": one for name, one in rules.windows.items()} | {
        f"plausible.{'.'.join(key)}": one for key, one in rules.plausible.items()
    }


def _is_window(name: str) -> bool:
    return name.startswith("windows.")


def _order(usual: Mapping[str, Window]) -> Callable[[str], tuple[bool, int]]:
    places = {name: place for place, name in enumerate(usual)}
    return lambda name: (not _is_window(name), places.get(name, len(places)))


def _standing(window: Window, usual: Window | None) -> str:
    if usual is None:
        return OWN
    same = (window.low, window.high, window.source) == (usual.low, usual.high, usual.source)
    return "as shipped" if same else "changed"


def _changed(name: str, window: Window, row: Mapping[Any, Any]) -> Window:
    low, high = (None if pd.isna(end) else float(end) for end in (row["low"], row["high"]))
    source = "" if pd.isna(row["source"]) else str(row["source"]).strip()
    if not source:
        raise RuleFault(
            f"{name}: no source is given. Say where the numbers came from, such as "
            f'"{OWN}" or "common practice, no source".'
        )
    if (low, high) != (window.low, window.high) and source == window.source:
        source = OWN
    try:
        return replace(window, low=low, high=high, source=source)
    except RuleFault as wrong:
        raise RuleFault(f"{name}: {str(wrong).split(': ', 1)[1]}") from wrong


def _in_words(rules: HouseRules) -> dict[str, str]:
    return dict(_settings(rules)) | {
        name: f"{window.words()} ({window.source})" for name, window in _named(rules).items()
    }


def _settings(rules: HouseRules) -> Iterator[tuple[str, str]]:
    if rules.distillery:
        yield "distillery", rules.distillery
    yield "time_zone", rules.time_zone
    yield "hour_zero", rules.hour_zero
    yield "smallest_group", str(rules.smallest_group)
    yield "feints_kept_apart", rules.feints_kept_apart
    for name, (factor, offset) in rules.scales.items():
        yield f"scales.{name}", f"{factor:g} x score + {offset:g}"
