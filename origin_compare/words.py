"""How a column is called across a table, and how many decimals its figures can bear."""

from __future__ import annotations

from math import isnan
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

_PLAIN = {
    "batch_id": "batch",
    "grower_id": "grower",
    "lot_id": "lot",
    "malt_id": "malt",
    "delivery_id": "yeast delivery",
    "assessor_id": "assessor",
    "tasting_id": "tasting",
    "og_sg": "original gravity",
    "final_sg": "final gravity",
    "limit_sg": "bench limit gravity",
    "sg": "gravity",
    "ph": "pH",
    "final_ph": "final pH",
    "wort_ph": "wort pH",
    "lpa": "pure alcohol, L",
    "grain_n_pct_dm": "grain nitrogen, % dry",
    "extract_pct_dm": "extract, % dry",
    "grain_n_basis": "basis of nitrogen",
    "extract_basis": "basis of extract",
    "extract_l_deg_kg": "extract, L°/kg",
    "predicted_basis": "basis of predicted yield",
    "malt_lab": "laboratory and method of malt",
    "basis_notes": "brought to one basis",
    "thousand_grain_g": "thousand-grain weight, g",
    "peak_temp_c": "highest recorded temperature, °C",
    "length_h": "length, h",
    "reading_gap_h": "longest gap between readings, h",
    "h_above_window": "hours above the window, h",
    "max_rate_deg_h": "steepest fall, degrees/h",
    "spirit_yield_lpa_t": "spirit yield, L pure alcohol per t",
    "spirit_yield_dm_lpa_t": "spirit yield, L pure alcohol per dry t",
    "predicted_lpa_t": "predicted yield, L pure alcohol per dry t",
    "wash_abv_calc_pct": "wash strength by gravity, % vol",
    "se": "standard error",
    "f": "F",
    "df_batch": "df, batches",
    "df_error": "df, error",
    "p_adjusted": "p (after counting all attributes)",
    "reliability": "share not noise, 0-1",
    "df": "degrees of freedom",
    "p": "p (chance alone)",
    "q": "q (after counting all tests)",
    "yield_low_lpa_t": "least yield, L pure alcohol per t",
    "yield_high_lpa_t": "greatest yield, L pure alcohol per t",
    "limit_gap_degrees": "above the bench limit, degrees",
    "share_of_predicted_pct": "share of predicted yield, %",
    "low_all": "95 % from, all together",
    "high_all": "95 % to, all together",
    "usual": "at usual process",
    "usual_low": "usual from",
    "usual_high": "usual to",
    "handling": "handling gave",
    "handling_low": "handling from",
    "handling_high": "handling to",
    "total_low": "total from",
    "total_high": "total to",
    "direct_low": "direct from",
    "direct_high": "direct to",
    "by_way_of_low": "by way of, from",
    "by_way_of_high": "by way of, to",
    "seen_now": "smallest seen now",
    "seen_then": "smallest seen then",
    "se_now": "standard error now",
    "se_then": "standard error then",
    "low": "95 % from",
    "high": "95 % to",
    "mend": "what to do",
    "wrong": "what is wrong",
    "n_scores": "scores",
    "n_assessors": "assessors",
    "n_readings": "readings",
    "n_tastings": "tastings",
    "vif": "variance inflation",
}

# Longest first: the first ending that fits names the unit.
_UNITS = (
    ("_abv_calc_pct", ", % vol"),
    ("_abv_pct", ", % vol"),
    ("_pct_dm", ", % dry"),
    ("_lpa_t", ", L pure alcohol per t"),
    ("_t_ha", ", t/ha"),
    ("_mg_l", ", mg/L"),
    ("_g_l", ", g/L"),
    ("_pct", ", %"),
    ("_lpa", ", L pure alcohol"),
    ("_kg", ", kg"),
    ("_mm", ", mm"),
    ("_ha", ", ha"),
    ("_sg", " gravity"),
    ("_ph", " pH"),
    ("_c", ", °C"),
    ("_h", ", h"),
    ("_l", ", L"),
    ("_g", ", g"),
    ("_d", ", days"),
    ("_t", ", t"),
)

_DECIMALS = (
    ("_sg", 4),
    ("_ph", 2),
    ("_temp_c", 1),
    ("_t_ha", 2),
    ("_abv_pct", 1),
    ("_n_pct_dm", 2),
    ("_h", 0),
    ("_l", 0),
    ("_kg", 0),
    ("_lpa_t", 0),
    ("_lpa", 0),
    ("_pct_dm", 1),
    ("_pct", 1),
    ("_c", 1),
)
_NAMES_BY_DECIMALS = {
    0: "lpa hours df df_batch df_error share_pct from_h to_h likely_h season",
    1: "lag_h reading_gap_h h_above_window f run_off_h amount steps group_low group_high",
    2: "ph max_rate_deg_h estimate se low high low_all high_all share extract_share reliability "
    "distance in_nearest_five stays_with_family family_stability strength within r of_step_before "
    "slope yeast_g_l total total_low total_high direct direct_low direct_high by_way_of "
    "by_way_of_low by_way_of_high own error error_of_mean seen_now seen_then within_share vif "
    "within_growers between_growers points low_points high_points with_length scored usual "
    "usual_low usual_high handling handling_low handling_high",
    3: "se_now se_then sd least most",
    4: "sg",
}
_DECIMALS_BY_NAME = {
    name: places for places, names in _NAMES_BY_DECIMALS.items() for name in names.split()
}


def label(column: str) -> str:
    """A column name as people say it, with its unit: `pitch_temp_c` is `pitch temp, °C`."""
    if column in _PLAIN:
        return _PLAIN[column]
    for ending, unit in _UNITS:
        if column.endswith(ending) and len(column) > len(ending):
            return column.removesuffix(ending).replace("_", " ") + unit
    return column.replace("_", " ")


def flavour(attribute: str) -> str:
    """An attribute as it is said: `green_grassy` is `green grassy`."""
    return attribute.replace("_", " ")


def begun(text: str) -> str:
    """Words as a sentence begins with them, though pH stays pH."""
    return text if text.startswith("pH") else text[:1].upper() + text[1:]


def decimals(column: str) -> int | None:
    """Decimals the figures of a column can bear; None to leave them as they are."""
    if column in _DECIMALS_BY_NAME:
        return _DECIMALS_BY_NAME[column]
    return next((places for ending, places in _DECIMALS if column.endswith(ending)), None)


def bearable(table: pd.DataFrame) -> pd.DataFrame:
    """Figures of unlike size in one column, each as text of three digits: 8,834, 98.6 and 1.53."""
    return table.map(lambda cell: _three_digits(cell) if isinstance(cell, float) else cell)


def chance(p: float) -> str:
    """A p-value as it is said: never zero, for none is."""
    return "" if isnan(p) else "<0.001" if p < 0.001 else f"{p:.3f}"


def _three_digits(figure: float) -> str:
    if isnan(figure):
        return ""
    return f"{figure:,.0f}" if abs(figure) >= 1000 else f"{figure:.3g}"


def rounded(table: pd.DataFrame) -> pd.DataFrame:
    """The same table with every figure rounded to what it can bear."""
    places = {
        column: digits
        for column in table.select_dtypes("float").columns
        if (digits := decimals(str(column))) is not None
    }
    return table.round(places)
