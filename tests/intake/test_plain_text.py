"""Text without quotation marks has a parser of its own: it must say what the general one says."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from origin_compare.intake.files import text_files
from origin_compare.intake.files.text_files import SEPARATORS, read_text

CELLS = ["", "a", " b ", "é", "'=x", "1.5", "NA", "null", "#c", "\u00a0", "\x0b", "\\", "x\\", "  "]
ROWS = st.lists(st.lists(st.sampled_from(CELLS), min_size=1, max_size=4), min_size=1, max_size=6)


@given(rows=ROWS, separator=st.sampled_from(SEPARATORS), ends=st.sampled_from(["", "\n"]))
@settings(max_examples=150, deadline=None)
def test_both_ways_of_taking_rows_apart_agree(
    rows: list[list[str]], separator: str, ends: str
) -> None:
    lines = [["batch_id", "sg", "ph", "temp_c"], *rows]
    content = ("\n".join(map(separator.join, lines)) + ends).encode()
    quick = read_text("log.csv", content)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(text_files, "_plain", lambda body, separator, width: None)
        slow = read_text("log.csv", content)
    pd.testing.assert_frame_equal(quick.cells, slow.cells)
    assert (quick.headers, quick.rows.tolist(), quick.blank) == (
        slow.headers,
        slow.rows.tolist(),
        slow.blank,
    )


def test_only_what_can_be_taken_apart_in_one_way_is_taken_the_quick_way() -> None:
    assert text_files._plain("B1,1.05\nB2,1.04\n", ",", 2) is not None
    for body in ('B1,"1,05"\n', "B1\n", "B1,1.05,x\n"):
        assert text_files._plain(body, ",", 2) is None
