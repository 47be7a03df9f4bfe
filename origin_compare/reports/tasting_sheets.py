"""A tasting on paper: one sheet per assessor and sitting, and the key for the one who pours."""

from __future__ import annotations

from html import escape

import pandas as pd

from origin_compare import words
from origin_compare.answers import count
from origin_compare.panel import TASTING_CAUTIONS, KeptPlan

_STYLE = """
@page {size: A4; margin: 14mm;}
body {font-family: "Source Sans 3", "Segoe UI", Helvetica, Arial, sans-serif; color: #23261f;
  margin: 0 auto; max-width: 182mm; font-size: 11pt; line-height: 1.35;}
section {break-after: page; padding: 6mm 0;} section:last-of-type {break-after: auto;}
h1 {font-size: 17pt; margin: 0 0 1mm 0;} p {margin: 0 0 2.5mm 0;}
table {border-collapse: collapse; width: 100%; margin: 4mm 0;}
th, td {border: .3mm solid #6b6f66; height: 10.5mm; text-align: center; padding: 0 2mm;
  font-variant-numeric: tabular-nums;}
th.code {font-size: 16pt; letter-spacing: .06em;} th[scope=row] {text-align: left;
  font-weight: 400; width: 42mm;}
table.list th, table.list td {height: 6.6mm; font-size: 10pt;}
ul {margin: 0; padding-left: 5mm; font-size: 9.5pt; color: #4a4d45;}
.warn {border: .6mm solid #23261f; padding: 2mm 3mm; font-weight: 600;}
"""


def sheets_html(kept: KeptPlan) -> str:
    """All assessors' sheets as one page to print: codes only, an attribute to a row."""
    plan = kept.plan
    sections = [
        _sheet(kept, who, own)
        for who in kept.assessors
        for _, own in kept.glasses(who).groupby(["replicate", "sitting"], sort=True)
    ]
    return _page(f"Tasting {plan.tasting_id}: sheets", sections)


def key_html(kept: KeptPlan, strengths: pd.Series | None = None, glass_ml: float = 30.0) -> str:
    """The key as a page to print: what each sample is and who gets it when.

    `strengths`: sample -> new make strength, % vol; where known, how much new make makes up a
    glass of `glass_ml` at the plan's strength (volumes taken as adding up; a hydrometer decides).
    """
    plan = kept.plan
    head = (
        f"<h1>Key of tasting {escape(plan.tasting_id)}</h1>"
        '<p class="warn">For the one who pours. Keep it away from the panel.</p>'
        f"<p>{escape(plan.sentence())}</p>"
    )
    return _page(
        f"Tasting {plan.tasting_id}: key",
        [head + _pours(kept, strengths, glass_ml), "<h1>Who gets what</h1>" + _key_rows(plan.key)],
    )


def pours(kept: KeptPlan, strengths: pd.Series | None, glass_ml: float = 30.0) -> pd.DataFrame:
    """What to cut for each sample: sample, sample_kind, glasses, new_make_ml, water_ml.

    The two volumes are for all glasses of the sample; missing where its strength is not known.
    """
    key = kept.plan.key
    rows = key.groupby(["sample", "sample_kind"], sort=True).size().rename("glasses").reset_index()
    known = rows["sample"].map({} if strengths is None else strengths.to_dict()).astype("float64")
    total = rows["glasses"] * glass_ml
    spirit = total * kept.served_abv_pct / known.where(known > kept.served_abv_pct)
    return rows.assign(new_make_ml=spirit.round(0), water_ml=(total - spirit).round(0))


def _sheet(kept: KeptPlan, who: str, own: pd.DataFrame) -> str:
    plan = kept.plan
    first = own.iloc[0]
    where = f"Round {first['replicate']}, sitting {first['sitting']}"
    day = f" on {kept.tasted_on}" if kept.tasted_on else ""
    codes = "".join(f'<th scope="col" class="code">{int(code)}</th>' for code in own["code"])
    blank = "<td></td>" * len(own)
    rows = "".join(
        f'<tr><th scope="row">{escape(words.flavour(name))}</th>{blank}</tr>'
        for name in plan.attributes
    )
    cautions = "".join(f"<li>{escape(text)}</li>" for text in TASTING_CAUTIONS)
    return (
        f"<h1>Tasting {escape(plan.tasting_id)}{escape(day)}: assessor {escape(who)}</h1>"
        f"<p>{where}: {count(len(own), 'glass', 'glasses')} from left to right, {escape(kept.how)}."
        f" Score each on {escape(plan.scale)}; leave a cell empty if you would rather not.</p>"
        f'<table><thead><tr><th scope="col">Glass</th>{codes}</tr></thead>'
        f"<tbody>{rows}</tbody></table><ul>{cautions}</ul>"
    )


def _pours(kept: KeptPlan, strengths: pd.Series | None, glass_ml: float) -> str:
    table = pours(kept, strengths, glass_ml)
    cells = "".join(
        f"<tr><td>{escape(str(row['sample']))}</td><td>{escape(str(row['sample_kind']))}</td>"
        f"<td>{row['glasses']}</td><td>{_ml(row['new_make_ml'])}</td>"
        f"<td>{_ml(row['water_ml'])}</td></tr>"
        for row in table.to_dict("records")
    )
    return (
        f"<p>To {kept.served_abv_pct:g} % vol, {glass_ml:g} mL a glass. Volumes shrink a little "
        "when mixed: check with a hydrometer (common practice, no source).</p>"
        '<table class="list"><thead><tr><th>Sample</th><th>Kind</th><th>Glasses</th>'
        f"<th>New make, mL</th><th>Water, mL</th></tr></thead><tbody>{cells}</tbody></table>"
    )


def _ml(value: float) -> str:
    return "" if pd.isna(value) else f"{value:.0f}"


def _key_rows(key: pd.DataFrame) -> str:
    names = ["assessor_id", "replicate", "sitting", "position", "code", "sample", "sample_kind"]
    head = "".join(f"<th>{escape(words.label(name))}</th>" for name in names)
    cells = "".join(
        "<tr>" + "".join(f"<td>{escape(str(cell))}</td>" for cell in row) + "</tr>"
        for row in key[names].itertuples(index=False)
    )
    return f'<table class="list"><thead><tr>{head}</tr></thead><tbody>{cells}</tbody></table>'


def _page(title: str, sections: list[str]) -> str:
    body = "".join(f"<section>{one}</section>" for one in sections)
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        f"<style>{_STYLE}</style></head><body>{body}</body></html>"
    )
