"""What each batch's log comes to: length, attenuation, highest temperature, yield."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from origin_compare import measures
from origin_compare.answers import count, listed
from origin_compare.fermentation.curves.acid import AcidCurve, acid_curves
from origin_compare.fermentation.curves.curve import Curve, settled
from origin_compare.fermentation.curves.least_squares import Array
from origin_compare.fermentation.doubtful_readings import (
    CHANNEL_WORDS,
    SetAside,
    set_aside,
    without,
)
from origin_compare.house import HouseRules
from origin_compare.season.season import Season

LABELS = {
    "length_h": "length, h",
    "so_far_h": "last reading, h",
    "peak_temp_c": "highest recorded temperature, °C",
    "h_above_window": "hours above the temperature window (read between readings)",
    "final_ph": "final pH",
    "final_sg": "final gravity",
    "apparent_attenuation_pct": "apparent attenuation, %",
    "real_attenuation_pct": "real attenuation, %",
    "wash_abv_calc_pct": "wash strength from gravity, % vol",
    "lag_h": "lag, h",
    "max_rate_deg_h": "steepest fall, degrees an hour",
    "hour_90_pct": "hour of 90 % of the fall",
    "secondary_h": "secondary phase, h",
    "lpa": "litres of pure alcohol",
    "spirit_yield_lpa_t": "spirit yield, L pure alcohol per t",
    "yeast_g_l": "yeast pitched, g/L",
    "co2_kg": "CO2 given off, kg",
    "after_yeast_ph": "pH after the yeast's fall",
    "lactic_from_h": "hour the lactic fall of pH begins",
}
"""How each figure is named to people; the temperature is what was recorded, not the true peak."""


@dataclass(frozen=True)
class Derived:
    """One row per batch; see `derived`. `aside` lists the readings not used, with reasons."""

    frame: pd.DataFrame
    aside: tuple[SetAside, ...]
    n_readings: int

    def table(self) -> pd.DataFrame:
        return self.frame

    def sentence(self) -> str:
        ended = self.frame.loc[self.frame["length_h"].notna()]
        running = int(self.frame["still_fermenting"].sum())
        if ended.empty:
            return f"No batch has ended yet; {count(running, 'batch')} still fermenting."
        said = (
            f"{count(len(ended), 'batch')} ended after {ended['length_h'].median():.0f} h "
            f"(middle value) at gravity {ended['final_sg'].median():.4f}"
        )
        more = f"; {count(running, 'batch')} still fermenting" if running else ""
        return f"{said}{more}."

    def rests_on(self) -> str:
        said = f"{count(self.n_readings, 'reading')} of {count(len(self.frame), 'batch')}"
        if not self.aside:
            return f"{said}, none set aside"
        where = sorted({one.batch_id for one in self.aside})
        return f"{said}, {len(self.aside)} set aside as not true ({listed(where)})"


def derived(season: Season) -> Derived:
    """One row per batch of `season.batches`, in their order; missing where the log is silent.

    Columns: batch_id, still_fermenting, length_h (missing while fermenting), so_far_h,
    length_from (`ended_at`, `last reading` or empty), peak_temp_c (the highest recorded),
    peak_temp_h, h_above_window (above the house's peak_temp_c, straight lines between readings),
    final_ph, final_ph_h, final_sg, final_sg_h, apparent_attenuation_pct, real_attenuation_pct
    and wash_abv_calc_pct (Balling), lag_h, lag_se_h, max_rate_deg_h, hour_90_pct, level_h (from
    when gravity is within a degree of its end) and secondary_h (from then to the end: the time the
    lactic bacteria had; missing while fermenting), curve_form (`four` or `five`, by evidence),
    curve_borrowed_from (batches that steadied a curve of too few readings), curve_status,
    curve_reason, lpa, spirit_yield_lpa_t, yeast_g_l, co2_kg, acid_status, after_yeast_ph,
    lactic_from_h and lactic_from_se_h (see `acid`), n_readings, n_set_aside.
    The final figures are the last ones recorded; while a batch ferments they are missing.
    """
    readings = season.sheets["readings"]
    aside = set_aside(readings)
    kept = without(readings, aside)
    fitted = settled(kept) if len(kept) else {}
    acids = acid_curves(kept) if len(kept) else {}
    logs = {str(name): rows.sort_values("hours") for name, rows in kept.groupby("batch_id")}
    rows = [
        _batch(row, logs.get(str(row["batch_id"]), kept.iloc[:0]), fitted, aside, season.rules)
        | _acid(acids.get(str(row["batch_id"])))
        for row in season.batches.to_dict("records")
    ]
    return Derived(pd.DataFrame(rows, columns=_COLUMNS), tuple(aside), len(readings))


_COLUMNS = [
    "batch_id",
    "still_fermenting",
    "length_h",
    "so_far_h",
    "length_from",
    "peak_temp_c",
    "peak_temp_h",
    "h_above_window",
    "final_ph",
    "final_ph_h",
    "final_sg",
    "final_sg_h",
    "apparent_attenuation_pct",
    "real_attenuation_pct",
    "wash_abv_calc_pct",
    "lag_h",
    "lag_se_h",
    "max_rate_deg_h",
    "hour_90_pct",
    "level_h",
    "secondary_h",
    "curve_form",
    "curve_borrowed_from",
    "curve_status",
    "curve_reason",
    "lpa",
    "spirit_yield_lpa_t",
    "yeast_g_l",
    "co2_kg",
    "acid_status",
    "after_yeast_ph",
    "lactic_from_h",
    "lactic_from_se_h",
    "n_readings",
    "n_set_aside",
]

_NAN = float("nan")


def _batch(
    batch: dict,
    log: pd.DataFrame,
    fitted: dict[str, Curve],
    aside: list[SetAside],
    rules: HouseRules,
) -> dict[str, object]:
    name = str(batch["batch_id"])
    running = batch.get("status") == "fermenting"
    row: dict[str, object] = {"batch_id": name, "still_fermenting": running}
    row |= _length(batch, log, running)
    row |= _temperature(log, rules)
    row |= _ends(batch, log, running)
    row |= _course(fitted.get(name))
    row["secondary_h"] = _secondary(row)
    row |= _account(batch)
    row["n_readings"] = len(log)
    row["n_set_aside"] = sum(one.batch_id == name for one in aside)
    return row


def _length(batch: dict, log: pd.DataFrame, running: bool) -> dict[str, object]:
    last = float(log["hours"].max()) if len(log) else _NAN
    if running:
        return {"length_h": _NAN, "so_far_h": last, "length_from": ""}
    ended, zero = batch.get("ended_at"), batch.get("hour_zero_at", batch.get("pitched_at"))
    if pd.notna(ended) and pd.notna(zero):
        hours = (pd.Timestamp(ended) - pd.Timestamp(zero)).total_seconds() / 3600
        return {"length_h": hours, "so_far_h": last, "length_from": "ended_at"}
    return {"length_h": last, "so_far_h": last, "length_from": "last reading" if len(log) else ""}


def _temperature(log: pd.DataFrame, rules: HouseRules) -> dict[str, object]:
    seen = log.loc[log["temp_c"].notna() & (log["hours"] >= 0)]
    if seen.empty:
        return {"peak_temp_c": _NAN, "peak_temp_h": _NAN, "h_above_window": _NAN}
    hours, temps = seen["hours"].to_numpy(float), seen["temp_c"].to_numpy(float)
    highest = int(np.argmax(temps))
    window = rules.windows.get("peak_temp_c")
    top = window.high if window is not None else None
    above = hours_above(hours, temps, top) if top is not None else _NAN
    return {
        "peak_temp_c": temps[highest],
        "peak_temp_h": hours[highest],
        "h_above_window": above,
    }


def hours_above(hours: Array, values: Array, limit: float) -> float:
    """Hours spent above `limit`, with straight lines between readings sorted by hour."""
    width = np.diff(hours)
    a, b = values[:-1] - limit, values[1:] - limit
    rise = np.abs(b - a)
    crossing = np.maximum(a, b) / np.where(rise > 0, rise, 1.0)
    share = np.where((a > 0) & (b > 0), 1.0, np.where((a > 0) | (b > 0), crossing, 0.0))
    return float(np.sum(width * share))


def _ends(batch: dict, log: pd.DataFrame, running: bool) -> dict[str, object]:
    ph, ph_h = _last(log, "ph", running)
    final, final_h = _last(log, "sg", running)
    row: dict[str, object] = {
        "final_ph": ph,
        "final_ph_h": ph_h,
        "final_sg": final,
        "final_sg_h": final_h,
        "apparent_attenuation_pct": _NAN,
        "real_attenuation_pct": _NAN,
        "wash_abv_calc_pct": _NAN,
        "co2_kg": _NAN,
    }
    start = batch.get("og_sg")
    # a "final" gravity above the original is a slip of the pen, not an attenuation
    if pd.isna(final) or pd.isna(start) or not start > 1.0 or final >= start:
        return row
    row["apparent_attenuation_pct"] = 100 * float(measures.apparent_attenuation(start, final))
    row["real_attenuation_pct"] = 100 * float(measures.real_attenuation(start, final))
    row["wash_abv_calc_pct"] = float(measures.wash_abv(start, final))
    if pd.notna(batch.get("wort_l")):
        row["co2_kg"] = float(measures.co2_kg(batch["wort_l"], start, final))
    return row


def _last(log: pd.DataFrame, column: str, running: bool) -> tuple[float, float]:
    seen = log.loc[log[column].notna()]
    if seen.empty or running:
        return _NAN, _NAN
    return float(seen[column].iloc[-1]), float(seen["hours"].iloc[-1])


def _course(curve: Curve | None) -> dict[str, object]:
    if curve is None:
        return {"curve_status": "not_identified", "curve_reason": "no gravity reading"}
    return {
        "lag_h": curve.lag_h,
        "lag_se_h": curve.lag_se_h,
        "max_rate_deg_h": curve.max_rate_deg_h,
        "hour_90_pct": curve.hour_90_pct,
        "level_h": curve.level_h,
        "curve_form": curve.form,
        "curve_borrowed_from": curve.borrowed_from,
        "curve_status": curve.status,
        "curve_reason": curve.reason,
    }


def _secondary(row: Mapping[str, Any]) -> float:
    """Hours from level gravity to the end; none where it ended before gravity was level."""
    return float(np.maximum(row["length_h"] - row.get("level_h", _NAN), 0.0))


def _acid(curve: AcidCurve | None) -> dict[str, object]:
    if curve is None:
        return {"acid_status": "not_identified"}
    return {
        "acid_status": curve.status,
        "after_yeast_ph": curve.after_yeast_ph,
        "lactic_from_h": curve.lactic_from_h,
        "lactic_from_se_h": curve.lactic_from_se_h,
    }


def _account(batch: dict) -> dict[str, object]:
    """The alcohol account: missing where a volume, a strength or a weight is."""
    row: dict[str, object] = {"lpa": _NAN, "spirit_yield_lpa_t": _NAN, "yeast_g_l": _NAN}
    litres, strength, malt = (
        batch.get("new_make_l"),
        batch.get("new_make_abv_pct"),
        batch.get("grist_kg"),
    )
    if pd.notna(litres) and pd.notna(strength):
        lpa = float(measures.litres_of_alcohol(litres, strength))
        row["lpa"] = lpa
        if pd.notna(malt) and malt > 0:
            row["spirit_yield_lpa_t"] = float(measures.spirit_yield(lpa, malt))
    if pd.notna(batch.get("yeast_kg")) and pd.notna(batch.get("wort_l")):
        row["yeast_g_l"] = 1000 * float(batch["yeast_kg"]) / float(batch["wort_l"])
    return row


def said(aside: SetAside) -> str:
    """`34 h, gravity: ...`: one reading set aside, for a list."""
    return f"{aside.hours:.0f} h, {CHANNEL_WORDS[aside.channel]}: {aside.why}"
