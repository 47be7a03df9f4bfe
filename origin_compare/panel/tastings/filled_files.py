"""Files of filled sheets: read as any other file of the house, then turned into scores."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from origin_compare.answers import listed
from origin_compare.errors import RefusedFile
from origin_compare.intake.files.readers import read_sources
from origin_compare.panel.tastings.filled_sheets import FilledSheets, read_filled
from origin_compare.panel.tastings.kept_plans import KeptPlan


def filled_rows(kept: KeptPlan, files: Mapping[str, bytes]) -> pd.DataFrame:
    """assessor_id, code and the attributes as text, one row per glass, from filled sheets.

    Glasses with no score at all were not tasted and are left out. Raises `RefusedFile` for a
    file that is no such sheet.
    """
    found = read_sources(files.items())
    if found.faults or not found.tables:
        fault = found.faults[0] if found.faults else None
        said = f"{fault.file} {fault.wrong}. {fault.mend}" if fault else "No table was found."
        raise RefusedFile(said)
    wanted = ["assessor_id", "code", *kept.plan.attributes]
    plain = {_plain(name): name for name in wanted}
    tables = []
    for raw in found.tables:
        headers = [plain.get(_plain(header), header) for header in raw.headers]
        table = raw.cells.set_axis(headers, axis=1)
        lacking = [name for name in wanted if name not in headers]
        if lacking:
            raise RefusedFile(
                f"{raw.label}: no column {listed(lacking)}. Keep the header of the sheet that "
                f"was printed for tasting {kept.plan.tasting_id}."
            )
        twice = [name for name in wanted if headers.count(name) > 1]
        if twice:
            raise RefusedFile(
                f"{raw.label}: two columns {listed(twice)}. Keep one of each, then bring it again."
            )
        if raw.findings:
            found_wrong = raw.findings[0]
            where = f" row {raw.rows[found_wrong.at[0]]}" if found_wrong.at[0] >= 0 else ""
            raise RefusedFile(
                f"{raw.label}{where}: {found_wrong.values[0]} {found_wrong.wrong[0]}. "
                f"{found_wrong.mend[0]}"
            )
        scored = table[list(kept.plan.attributes)].map(lambda cell: bool(str(cell).strip()))
        tables.append(table.loc[scored.any(axis=1), wanted])
    rows = pd.concat(tables, ignore_index=True)
    if rows.empty:
        raise RefusedFile("These sheets hold no score yet. Fill them in, then bring them back.")
    return rows


def read_back(kept: KeptPlan, filled: pd.DataFrame) -> FilledSheets:
    """Filled rows as scores of the batches behind the codes."""
    when = pd.Timestamp(kept.tasted_on) if kept.tasted_on else pd.NaT
    return read_filled(filled, kept.plan, when, kept.served_abv_pct, kept.ends)


def _plain(header: str) -> str:
    return " ".join(header.replace("_", " ").casefold().split())
