"""Layouts built from random tables: what goes in is what was drawn, or it is asked about."""

from __future__ import annotations

import csv
import io
import os

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.intake.helpers import plan

EXAMPLES = int(os.environ.get("LAYOUT_EXAMPLES", "25"))
Drawn = dict[tuple[str, int], tuple[float, float]]
"""Batch and hours -> gravity and temperature."""


@st.composite
def readings(draw: st.DrawFn) -> Drawn:
    batches = draw(
        st.lists(
            st.sampled_from([f"B{n}" for n in range(101, 140)]), min_size=1, max_size=4, unique=True
        )
    )
    hours = draw(
        st.lists(st.integers(1, 12).map(lambda n: 4 * n), min_size=3, max_size=5, unique=True)
    )
    gravity = st.integers(998, 1068).map(lambda n: n / 1000)
    temperature = st.integers(180, 340).map(lambda n: n / 10)
    return {
        (batch, hour): (draw(gravity), draw(temperature))
        for batch in batches
        for hour in sorted(hours)
    }


Row = list[str]


def long(drawn: Drawn) -> list[Row]:
    body = [[b, str(h), f"{g:.4f}", f"{t:.1f}"] for (b, h), (g, t) in drawn.items()]
    return [["Batch", "Hours", "Gravity", "Temperature"], *body]


def blanked(rows: list[Row]) -> list[Row]:
    """The batch written in its first row only."""
    before, result = "", []
    for row in rows:
        result.append([row[0] if row[0] != before else "", *row[1:]])
        before = row[0]
    return result


def with_headings(drawn: Drawn) -> list[Row]:
    """A line with the batch above its rows."""
    rows: list[Row] = [["Hours", "Gravity", "Temperature", "By"]]
    before = ""
    for (batch, hour), (gravity, temperature) in drawn.items():
        if batch != before:
            rows.append([f"Batch {batch}", "", "", ""])
        rows.append([str(hour), f"{gravity:.4f}", f"{temperature:.1f}", "JM"])
        before = batch
    return rows


def wide(drawn: Drawn) -> list[Row]:
    """Hours across, in one group for gravity and one for temperature."""
    batches = list(dict.fromkeys(batch for batch, _ in drawn))
    hours = list(dict.fromkeys(hour for _, hour in drawn))
    top = ["", "Gravity", *[""] * (len(hours) - 1), "Temperature", *[""] * (len(hours) - 1)]
    head = ["Batch", *(f"{hour}h" for hour in hours), *(f"{hour}h" for hour in hours)]
    body = [
        [
            batch,
            *(f"{drawn[batch, h][0]:.4f}" for h in hours),
            *(f"{drawn[batch, h][1]:.1f}" for h in hours),
        ]
        for batch in batches
    ]
    return [top, head, *body]


def by_hour(drawn: Drawn) -> list[Row]:
    """A group of columns per hour, gravity and temperature in each."""
    batches = list(dict.fromkeys(batch for batch, _ in drawn))
    hours = list(dict.fromkeys(hour for _, hour in drawn))
    top = ["", *(cell for hour in hours for cell in (f"{hour} h", ""))]
    head = ["Batch", *(name for _ in hours for name in ("Gravity", "Temperature"))]
    body = [
        [
            batch,
            *(
                text
                for h in hours
                for text in (f"{drawn[batch, h][0]:.4f}", f"{drawn[batch, h][1]:.1f}")
            ),
        ]
        for batch in batches
    ]
    return [top, head, *body]


def with_totals(rows: list[Row]) -> list[Row]:
    return [*rows, ["Average", "", "1.0300", "25.0"], ["", "", "", ""], ["checked by JM"]]


def shifted(rows: list[Row]) -> list[Row]:
    """Two lines and a column of nothing before the table, and a title."""
    return [["", "Tun room log"], [""], *([["", *row] for row in rows])]


LAYOUTS = {
    "long": long,
    "blank below": lambda drawn: blanked(long(drawn)),
    "headings": with_headings,
    "hours across": wide,
    "hours in groups": by_hour,
    "totals": lambda drawn: with_totals(long(drawn)),
    "shifted": lambda drawn: shifted(long(drawn)),
    "shifted hours across": lambda drawn: shifted(wide(drawn)),
    "blank below with totals": lambda drawn: with_totals(blanked(long(drawn))),
}


@settings(max_examples=EXAMPLES, deadline=None)
@given(readings(), st.sampled_from(sorted(LAYOUTS)))
def test_what_goes_in_is_what_was_drawn_or_is_asked_about(drawn: Drawn, name: str) -> None:
    text = io.StringIO()
    csv.writer(text).writerows(LAYOUTS[name](drawn))
    batches = dict.fromkeys(batch for batch, _ in drawn)
    parents = "batch_id,pitched_at\n" + "".join(f"{b},2025-03-01 08:00\n" for b in batches)
    planned = plan({"fermentations.csv": parents, "log.csv": text.getvalue()})
    frame = planned.sheets["readings"]
    keys = zip(frame["batch_id"], frame["hours"].astype("int64"), strict=True)
    values = zip(frame["sg"].round(4), frame["temp_c"].round(1), strict=True)
    got = dict(zip(keys, values, strict=True))
    assert set(got.items()) <= set(drawn.items())
    if got != drawn:
        told = [fault for fault in planned.faults if fault.weight == "fault"]
        assert planned.questions or told, f"{name}: {len(got)} of {len(drawn)}, and nothing said"
