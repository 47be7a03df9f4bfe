"""Times of readings and runs held against the batch they belong to: a wrong year, a wrong batch."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from origin_compare.intake.clean import AT
from origin_compare.intake.findings import finding
from origin_compare.intake.ledger import Ledger
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.hour_zero import ALWAYS_THERE, hour_zeros

_TIMES = ["batch_id", "pitched_at", "ended_at"]
_ZERO = ["hour_zero_at", "hour_zero"]
_HOURS = SHEETS["readings"].column("hours").possible or (-np.inf, np.inf)
_AGREE_H = 0.75
"""Hours written and hours from the clock may differ by rounding and by the minute of pitching."""


def batch_times(
    ledgers: Sequence[Ledger],
    stored: pd.DataFrame | None = None,
    hour_zero: str = ALWAYS_THERE,
) -> pd.DataFrame:
    """`pitched_at`, `ended_at` and the house's hour zero by `batch_id`, from files and store."""
    frames = [one.frame for one in ledgers] + ([] if stored is None else [stored])
    parts = [frame[_TIMES].join(hour_zeros(frame, hour_zero)) for frame in frames if len(frame)]
    if not parts:
        return pd.DataFrame(columns=[*_TIMES, *_ZERO]).set_index("batch_id")
    return pd.concat(parts).drop_duplicates("batch_id").set_index("batch_id")


def check_reading_times(ledgers: Sequence[Ledger], times: pd.DataFrame) -> None:
    """A reading far outside its fermentation is a fault; hours that contradict the clock too."""
    for one in ledgers:
        zero = _looked_up(one.frame, times, "hour_zero_at")
        since = (one.frame["read_at"] - zero).dt.total_seconds() / 3600
        low, high = _HOURS
        far = one.frame[(since < low) | (since > high)]
        _blame_far(one, far, since[far.index], zero[far.index], times)
        apart = (since[one.frame.index] - one.frame["hours"]).abs() > _AGREE_H
        rows = one.frame[apart]
        _blame_hours(one, rows, since[rows.index], times)


def check_run_days(ledgers: Sequence[Ledger], times: pd.DataFrame) -> None:
    """A batch cannot be distilled before its yeast went in."""
    for one in ledgers:
        pitched = _looked_up(one.frame, times, "pitched_at")
        # a day's leeway: the day is local, the moment is not
        early = one.frame["distilled_on"] < pitched.dt.tz_localize(None) - pd.Timedelta(days=1)
        rows = one.frame[early]
        if len(rows):
            wrong = [f"is before yeast in ({when:%Y-%m-%d %H:%M} UTC)" for when in pitched[early]]
            values = [f"{day:%Y-%m-%d}" for day in rows["distilled_on"]]
            _put(one, rows, "distilled_on", values, wrong, _CHECK)


_CHECK = "Check the year and the batch number."


def _looked_up(frame: pd.DataFrame, times: pd.DataFrame, name: str) -> pd.Series:
    """The batch's time per row, missing where the batch is not known."""
    if times.empty:
        return pd.Series(pd.NaT, index=frame.index, dtype="datetime64[us, UTC]")
    codes, batches = pd.factorize(frame["batch_id"])
    at = np.append(times.index.get_indexer(pd.Index(batches)), -1)
    found = times[name].array.take(at[codes], allow_fill=True)
    return pd.Series(found, index=frame.index)


def _zero_words(rows: pd.DataFrame, times: pd.DataFrame) -> list[str]:
    """Per row what hour zero of its batch is: `yeast in`, `first fill` or `last fill`."""
    return list(times["hour_zero"].reindex(pd.Index(rows["batch_id"])))


def _blame_far(
    one: Ledger, rows: pd.DataFrame, since: pd.Series, zero: pd.Series, times: pd.DataFrame
) -> None:
    if len(rows):
        wrong = [
            f"is {abs(hours):,.0f} h {'before' if hours < 0 else 'after'} {what} "
            f"({when:%Y-%m-%d %H:%M} UTC)"
            for hours, when, what in zip(since, zero, _zero_words(rows, times), strict=True)
        ]
        values = [f"{when:%Y-%m-%d %H:%M} UTC" for when in rows["read_at"]]
        _put(one, rows, "read_at", values, wrong, _CHECK)


def _blame_hours(one: Ledger, rows: pd.DataFrame, since: pd.Series, times: pd.DataFrame) -> None:
    if len(rows):
        wrong = [
            f"differs from the {by:.1f} h that read_at and {what} give"
            for by, what in zip(since, _zero_words(rows, times), strict=True)
        ]
        values = [f"{written:g}" for written in rows["hours"]]
        mend = "Correct the one that is wrong, or leave the hours out."
        _put(one, rows, "hours", values, wrong, mend)


def _put(
    one: Ledger,
    rows: pd.DataFrame,
    column: str,
    values: list[str],
    wrong: list[str],
    mend: str,
) -> None:
    one.put_aside(finding(rows[AT].to_numpy(), column, values, wrong, mend))
