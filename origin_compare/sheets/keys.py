"""A row's key as people read it."""

from __future__ import annotations

import pandas as pd

from origin_compare.sheets.catalogue import SHEETS


def key_text(sheet: str, frame: pd.DataFrame) -> pd.Series:
    """A row's key as people read it: `B01 / 2 / M3`, parts not given left out."""
    text = pd.Series("", index=frame.index, dtype="str")
    for name in SHEETS[sheet].key:
        part = frame[name].astype("str").where(frame[name].notna(), "")
        between = pd.Series(" / ", index=frame.index).where((text != "") & (part != ""), "")
        text = text + between + part
    return text
