"""What the figures of grain and malt were given by: laboratories, methods, moistures, bases."""

from __future__ import annotations

import pandas as pd

from origin_compare.answers import count, listed

LEFT_OUT = "left out"


def noted(batches: pd.DataFrame) -> pd.Series:
    """Which batches have a figure that was converted, chosen or left out."""
    if "basis_notes" not in batches:
        return pd.Series(False, index=batches.index)
    return batches["basis_notes"].fillna("") != ""


def said(batches: pd.DataFrame) -> list[str]:
    """Sentences on mixed methods, mixed moistures and what was put on dry matter.

    That laboratories and methods are not interchangeable is common practice, no source.
    """
    parts = [
        _mixed(batches, "grain_method", "Grain figures"),
        _mixed(batches, "malt_lab", "Malt figures"),
        _yields(batches),
        _converted(batches),
    ]
    return [part for part in parts if part]


def _mixed(batches: pd.DataFrame, column: str, figures: str) -> str:
    if column not in batches:
        return ""
    known = batches[column].dropna().astype("str").str.split(" + ", regex=False).explode()
    names = sorted(known.unique())
    if len(names) < 2:
        return ""
    return (
        f"{figures} are by {len(names)} laboratories or methods ({listed(names, 6)}) and are "
        "compared as written: a gap between such batches may be the method's."
    )


def _yields(batches: pd.DataFrame) -> str:
    """Tonnes of wetter grain are fewer tonnes of barley."""
    if "yield_moisture_pct" not in batches or "yield_t_ha" not in batches:
        return ""
    given = batches.loc[batches["yield_t_ha"].notna(), "yield_moisture_pct"]
    stated = given.dropna()
    if stated.empty or (stated.max() - stated.min() < 0.05 and len(stated) == len(given)):
        return ""
    low, high = f"{stated.min():g}", f"{stated.max():g}"
    at = f"{low} % moisture" if low == high else f"{low} to {high} % moisture"
    unsaid = len(given) - len(stated)
    rest = f", for {count(unsaid, 'batch')} at none" if unsaid else ""
    return f"Field yields are stated at {at}{rest}, and are compared as written."


def _converted(batches: pd.DataFrame) -> str:
    there = noted(batches)
    if not there.any():
        return ""
    lost = int(batches.loc[there, "basis_notes"].str.contains(LEFT_OUT).sum())
    text = (
        "Nitrogen or extract was converted, or chosen between two figures, for "
        f"{count(int(there.sum()), 'batch')}"
    )
    text += (
        f"; left out for want of a moisture, or as impossible, in {lost} of them" if lost else ""
    )
    return f"{text} (column put on dry matter)."
