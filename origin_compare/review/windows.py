"""Which figures of a batch lay outside the house windows, each with the rule that says so."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from origin_compare.house import Flag, HouseRules, Window
from origin_compare.measures import limit_gap, per_t_dry

FERMENTING = "fermenting"
AT_PITCH = (
    "grain_moisture_pct",
    "pitch_temp_c",
    "og_sg",
    "wort_ph",
    "yeast_age_d",
    "yeast_g_l",
    "yeast_storage_c",
    "reading_gap_h",
)
AT_END = (
    "length_h",
    "peak_temp_c",
    "final_ph",
    "final_sg",
    "limit_gap_degrees",
    "wash_abv_pct",
    "cut_on_abv_pct",
    "cut_off_abv_pct",
    "new_make_abv_pct",
    "share_of_predicted_pct",
)
"""Held to only once a batch has ended: a batch half way has no length and no final pH."""

OF_PRESSED_YEAST = ("yeast_age_d", "yeast_g_l")
UNUSUAL = {
    "grain_n_pct_dm": ("lots", "grain_n_pct_dm"),
    "grain_moisture_pct": ("lots", "grain_moisture_pct"),
    "screenings_pct": ("lots", "screenings_pct"),
    "thousand_grain_g": ("lots", "thousand_grain_g"),
    "germination_pct": ("lots", "germination_pct"),
    "yield_t_ha": ("lots", "yield_t_ha"),
    "malt_moisture_pct": ("malts", "moisture_pct"),
    "extract_pct_dm": ("malts", "extract_pct_dm"),
    "soluble_n_ratio_pct": ("malts", "soluble_n_ratio_pct"),
    "friability_pct": ("malts", "friability_pct"),
    "fan_mg_l": ("malts", "fan_mg_l"),
    "predicted_lpa_t": ("malts", "predicted_lpa_t"),
    "strike_temp_c": ("mashes", "strike_temp_c"),
    "run_off_h": ("mashes", "run_off_h"),
    "yeast_viability_pct": ("yeasts", "viability_pct"),
    "cut_on_abv_pct": ("spirits", "cut_on_abv_pct"),
    "cut_off_abv_pct": ("spirits", "cut_off_abv_pct"),
}
OUTSIDE = ["batch_id", "measure", "says", "value", "low", "high", "rule", "source", "in_words"]


def with_checks(batches: pd.DataFrame) -> pd.DataFrame:
    """`batches` with what is got by setting one figure against another, where it can be had.

    `spirit_yield_dm_lpa_t` and `share_of_predicted_pct`: the prediction is joined per tonne of
    dry malt, so the yield is put on dry malt too; without the malt's moisture there is no share.
    `limit_gap_degrees`: final gravity above the bench limit test.
    """
    added = {}
    if {"spirit_yield_lpa_t", "predicted_lpa_t", "malt_moisture_pct"} <= set(batches):
        dry = per_t_dry(batches["spirit_yield_lpa_t"], batches["malt_moisture_pct"])
        added["spirit_yield_dm_lpa_t"] = dry
        added["share_of_predicted_pct"] = 100 * dry / batches["predicted_lpa_t"]
    if {"final_sg", "limit_sg"} <= set(batches):
        added["limit_gap_degrees"] = limit_gap(batches["final_sg"], batches["limit_sg"])
    return batches.assign(**added)


def outside_windows(batches: pd.DataFrame, rules: HouseRules) -> pd.DataFrame:
    """One row per figure outside a house window, columns `OUTSIDE`.

    `says` names the measure in words, `rule` the window, `source` where its numbers came from,
    `in_words` the whole flag. A missing figure, column or window flags nothing.
    """
    rows = [
        _line(batch_id, name, window, flag, f"windows.{flag.rule}")
        for name in watched(batches, rules)
        for batch_id, value in held(batches, name).items()
        for flag in rules.flags(name, float(value))
        for window in [rules.windows[name]]
    ]
    return _framed(rows)


def unusual_figures(batches: pd.DataFrame, rules: HouseRules) -> pd.DataFrame:
    """One row per figure of grain, malt, mash or cuts outside what is usual, columns `OUTSIDE`.

    These ask for a look at the figure, not at the batch.
    """
    rows = [
        _line(batch_id, name, window, flag, flag.rule)
        for name, place in UNUSUAL.items()
        if name in batches and (window := rules.plausible.get(place)) is not None
        for batch_id, value in _known(batches, name).items()
        for flag in rules.unusual(*place, float(value))
    ]
    return _framed(rows)


def watched(batches: pd.DataFrame, rules: HouseRules) -> list[str]:
    """The measures that both the batches and the house rules know."""
    return [name for name in (*AT_PITCH, *AT_END) if name in batches and name in rules.windows]


def held(batches: pd.DataFrame, name: str) -> pd.Series:
    """The figures of `name` that its window speaks of, by batch_id."""
    if name in AT_END:
        batches = batches[~is_fermenting(batches)]
    if name in OF_PRESSED_YEAST and "yeast_form" in batches:
        form = batches["yeast_form"].astype("str").str.lower()
        batches = batches[form.isna() | form.str.contains("press", na=True)]
    return _known(batches, name)


def is_fermenting(batches: pd.DataFrame) -> pd.Series:
    """By row whether the batch still ferments; none does where there is no `status`."""
    if "status" not in batches:
        return pd.Series(False, index=batches.index)
    return batches["status"].eq(FERMENTING).fillna(False).astype(bool)


def rules_used(batches: pd.DataFrame, rules: HouseRules, outside: pd.DataFrame) -> pd.DataFrame:
    """One row per window held to: rule, says, window, source, batches_held, batches_outside."""
    flagged = outside["measure"].value_counts()
    rows = [
        (
            f"windows.{name}",
            window.says,
            window.words(),
            window.source,
            len(held(batches, name)),
            int(flagged.get(name, 0)),
        )
        for name in watched(batches, rules)
        for window in [rules.windows[name]]
    ]
    columns = ["rule", "says", "window", "source", "batches_held", "batches_outside"]
    return pd.DataFrame(rows, columns=columns)


def _known(batches: pd.DataFrame, name: str) -> pd.Series:
    return batches.set_index("batch_id")[name].dropna()


def _line(batch_id: object, name: str, window: Window, flag: Flag, rule: str) -> tuple[object, ...]:
    """One row of `OUTSIDE`."""
    ends = (flag.value, window.low, window.high)
    return (batch_id, name, window.says, *ends, rule, window.source, flag.says)


def _framed(rows: list[tuple]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=OUTSIDE)
    ends = {"value": "float64", "low": "float64", "high": "float64"}
    texts = dict.fromkeys([name for name in OUTSIDE if name not in ends], "str")
    return frame.astype({**ends, **texts})


def said_of(outside: pd.DataFrame) -> Iterator[tuple[str, int]]:
    """Each measure in words with how many batches lay outside it, most first."""
    for says, number in outside["says"].value_counts().items():
        yield str(says), int(number)
