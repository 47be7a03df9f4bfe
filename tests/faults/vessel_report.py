"""How the fermentation verdicts do in mechanistic houses whose faults are known.

python -m tests.faults.vessel_report --seasons 8 --seed 100

Asks only what anyone can ask: a folder is loaded, its departures and its watch are tabled. The
seasons go through the styles in turn. Further tables: instruments of one vessel that are off over
all its batches, and forecasts of running batches against naive ones.
"""

from __future__ import annotations

import argparse
import re
import tempfile
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

import origin_compare as oc
from origin_compare.questions import Questions
from tests.faults.worlds import vessel
from tests.faults.worlds.house import STYLES

NAMES: Mapping[str, tuple[str, ...]] = {
    "stuck": ("stuck fermentation",),
    "slow from an hour": ("stuck fermentation", "sluggish"),
    "valve shut": ("cooling failed", "valve"),
    "valve open": ("chilled", "valve"),
    "valve stuck": ("chilled", "cooling failed", "valve"),
    "hot": ("hot fermentation", "cooling failed"),
    "cold pitch": ("slow lag", "cold"),
    "over-pitch": ("over-pitch", "too much yeast"),
    "under-pitch": ("under-pitch", "too little yeast"),
    "old yeast": ("poor or too little yeast", "old yeast", "slow lag"),
    "early infection": ("early lactic", "lactic fall earlier"),
    "no lactic fall": ("weak or late lactic", "no lactic"),
    "poor wort": ("wort",),
    "thermometer step": ("temperature probe", "thermometer"),
    "thermometer drift": ("temperature probe", "thermometer"),
    "pH drift": ("ph meter",),
    "gravity step": ("gravity instrument", "hydrometer", "gravity probe"),
    "clock error": ("clock",),
}
"""What the verdict has to say for the planted fault to count as named."""
INSTRUMENTS = {"sg": ("gravity", "hydrometer"), "temp_c": ("temperature", "thermometer")}
CUTS_H = (24.0, 40.0, 56.0, 72.0)
SLACK_H = 0.5
"""Times on cards are rounded to half an hour."""


def asked_of(made: vessel.Vessels) -> Questions:
    """The season taken through files, as a stranger's would be."""
    with tempfile.TemporaryDirectory() as folder:
        vessel.write(made, folder)
        return oc.ask(oc.load_folder(folder))


def verdicts(made: vessel.Vessels, asked: Questions) -> pd.DataFrame:
    """Truth and verdict of every batch, side by side, with what counts."""
    told = asked.departures.table().drop(columns="vessel")
    both = made.truth.merge(told, on="batch_id")
    both["left"] = ~both["status"].str.startswith("in style")
    both["named"] = [
        bool(left) and _says(cause, NAMES.get(kind, ()))
        for left, cause, kind in zip(both["left"], both["cause"], both["kind"], strict=True)
    ]
    first, last = both["onset_h"], both[["onset_h", "shows_h"]].max(axis=1)
    both["inside"] = (both["from_h"] <= last + SLACK_H) & (both["to_h"] >= first - SLACK_H)
    both["width_h"] = both["to_h"] - both["from_h"]
    both["share_pct"] = [_first_share(causes) for causes in both["causes"]]
    return both


def _says(cause: str, words: Sequence[str]) -> bool:
    return any(word in str(cause).lower() for word in words)


def _first_share(causes: str) -> float:
    found = re.search(r"\((\d+) ?%\)", str(causes))
    return float(found[1]) if found else np.nan


def by_kind(both: pd.DataFrame) -> pd.DataFrame:
    """One row per fault: how many, found, named first, hour inside the interval, its width."""
    faulty = both[both["kind"] != "none"]
    groups = [*faulty.groupby("kind"), ("all", faulty)]
    return pd.DataFrame([{"fault": name, **_found_row(group)} for name, group in groups])


def _found_row(group: pd.DataFrame) -> dict[str, object]:
    found = group[group["left"]]
    dated = found[found["from_h"].notna()]
    return {
        "batches": len(group),
        "found_pct": 100 * group["left"].mean(),
        "named_pct_of_found": 100 * found["named"].mean() if len(found) else np.nan,
        "hour_inside_pct": 100 * dated["inside"].mean() if len(dated) else np.nan,
        "median_width_h": dated["width_h"].median(),
        "said_most": found["cause"].mode().iloc[0] if len(found) else "",
    }


def false_alarms(both: pd.DataFrame) -> pd.DataFrame:
    """Good batches said to have left, per 100, by style and by vessel."""
    good = both[both["kind"] == "none"]
    groups = [*good.groupby("style"), *good.groupby("vessel"), ("all", good)]
    rows = [(n, len(g), 100 * g["left"].mean()) for n, g in groups]
    return pd.DataFrame(rows, columns=["where", "good_batches", "false_alarms_per_100"])


def reliability(both: pd.DataFrame) -> pd.DataFrame:
    """How often the first cause is right where its share is so high, false alarms included."""
    told = both[both["left"] & both["share_pct"].notna()]
    bands = pd.cut(told["share_pct"], [0, 50, 70, 80, 90, 101], right=False)
    grouped = told.groupby(bands, observed=True)
    table = grouped.agg(batches=("named", "size"), right_pct=("named", lambda x: 100 * x.mean()))
    return table.reset_index()


def logged(seasons: int, seed: int, batches: int) -> pd.DataFrame:
    """`by_kind` where a probe's log stands beside the hand readings of every faulty batch."""
    parts = []
    for k in range(seasons):
        made = vessel.season(seed + k, batches, minute_logs=batches // 4)
        parts.append(verdicts(made, asked_of(made)))
    return by_kind(pd.concat(parts, ignore_index=True))


BIASES = {
    "night shift reads warm": vessel.Bias(vessel.EVERY_VESSEL, "sg", 1.0, warm=True, shift_h=22),
    "hydrometer 3 degrees high": vessel.Bias("W2", "sg", 0.003),
    "hydrometer read warm": vessel.Bias("W2", "sg", 1.0, warm=True),
    "hydrometer drifting to 4": vessel.Bias("W2", "sg", 0.004, "drifting"),
    "thermometer 1.5 °C low": vessel.Bias("W2", "temp_c", -1.5),
    "pH meter 0.25 high": vessel.Bias("W2", "ph", 0.25),
    "pH meter 0.25 high from batch 20": vessel.Bias("W2", "ph", 0.25, "from a date", 20),
}


def biased(seasons: int, seed: int, batches: int) -> pd.DataFrame:
    """Good batches of a vessel whose instrument is off: how many leave, how many by its name."""
    rows = []
    for name, bias in BIASES.items():
        parts = []
        for k in range(seasons):
            made = vessel.season(seed + k, batches, faults={}, biases=[bias])
            parts.append(verdicts(made, asked_of(made)).query("bias != ''"))
        touched = pd.concat(parts)
        words = INSTRUMENTS.get(bias.channel, ("ph meter",))
        named = touched["left"] & touched["cause"].map(lambda cause, of=words: _says(cause, of))
        shares = (100 * touched["left"].mean(), 100 * named.mean())
        rows.append((name, len(touched), *shares))
    return pd.DataFrame(
        rows, columns=["instrument of W2, or shift", "batches", "left_pct", "named_pct"]
    )


def forecasts(seasons: int, seed: int, batches: int, last: int = 6) -> pd.DataFrame:
    """Error of the forecast final gravity, degrees, against the house's median and last reading."""
    rows = []
    for k in range(seasons):
        made = vessel.season(seed + k, batches, faults={})
        names = list(made.truth["batch_id"].tail(last))
        for hour in CUTS_H:
            seen = vessel.running(made, dict.fromkeys(names, hour))
            rows += _forecast_rows(made, seen, names, hour)
    table = pd.DataFrame(rows).dropna()
    return table.groupby("at_h").agg(
        batches=("tool", "size"),
        tool=("tool", "mean"),
        median_of_house=("median", "mean"),
        last_reading=("last", "mean"),
        nearest_batch=("nearest", "mean"),
        held_pct=("held", lambda x: 100 * x.mean()),
    )


def _forecast_rows(
    made: vessel.Vessels, seen: vessel.Vessels, names: Sequence[str], hour: float
) -> list[dict[str, float]]:
    told = asked_of(seen).watch.table().set_index("batch_id")
    true = made.truth.set_index("batch_id")["end_sg"]
    curves = _on_grid(seen)
    known = [name for name in curves.columns if name not in names]
    ends = seen.sheets["readings"].query("instrument == 'hand'").groupby("batch_id")["sg"].last()
    rows = []
    for name in names:
        near = str((curves[known].sub(curves[name], axis=0) ** 2).loc[:hour].mean().idxmin())
        guess = {"median": ends[known].median(), "last": ends[name], "nearest": ends[near]}
        errors = {key: 1000 * abs(value - true[name]) for key, value in guess.items()}
        row = told.loc[name]
        errors["tool"] = 1000 * abs(row["end_sg"] - true[name])
        errors["held"] = float(row["end_sg_low"] <= true[name] <= row["end_sg_high"])
        rows.append({"at_h": hour, **errors})
    return rows


def _on_grid(seen: vessel.Vessels) -> pd.DataFrame:
    """Gravity read, by hour (every 4) and batch."""
    readings = seen.sheets["readings"]
    pitched = seen.sheets["fermentations"].set_index("batch_id")["pitched_at"]
    grid = np.arange(0.0, 76.0, 4.0)
    drawn = {}
    for name, own in readings.groupby("batch_id"):
        hours = (own["read_at"] - pitched.loc[str(name)]).dt.total_seconds() / 3600
        drawn[name] = np.interp(grid, hours, own["sg"], right=np.nan)
    return pd.DataFrame(drawn, index=grid)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seasons", type=int, default=8)
    parser.add_argument("--seed", type=int, default=100)
    parser.add_argument("--batches", type=int, default=60)
    parser.add_argument("--only", choices=("faults", "logs", "biases", "forecasts"))
    asked = parser.parse_args()
    if asked.only in (None, "faults"):
        parts = []
        for k in range(asked.seasons):
            style = list(STYLES)[k % len(STYLES)]
            made = vessel.season(asked.seed + k, asked.batches, style)
            parts.append(verdicts(made, asked_of(made)).assign(style=style))
        both = pd.concat(parts, ignore_index=True)
        for table in (by_kind(both), false_alarms(both), reliability(both)):
            print(table.round(1).to_string(index=False), end="\n\n", flush=True)
    few = max(asked.seasons // 4, 1)
    if asked.only in (None, "logs"):
        table = logged(few, asked.seed + 300, asked.batches)
        print("with a probe's log", table.round(1).to_string(index=False), sep="\n", end="\n\n")
    if asked.only in (None, "biases"):
        table = biased(few, asked.seed + 500, asked.batches)
        print(table.round(1).to_string(index=False), end="\n\n", flush=True)
    if asked.only in (None, "forecasts"):
        print(forecasts(few, asked.seed + 900, asked.batches).round(2).to_string())


if __name__ == "__main__":
    main()
