"""No text that leaves runs in a spreadsheet, and every text comes back as it was."""

import io

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from origin_compare.sheets.formula_signs import as_it_was, harmless, harmless_text

RISKY = [
    "=1+1",
    "+2",
    "-3",
    "@SUM(A1)",
    "\tx",
    "\rx",
    "\n=x",
    " =1",
    "＝1",
    "\xa0=1",
    "'=1",
    "'' -2",
]
TEXTS = st.text(max_size=12) | st.text(alphabet="'= +-@\t\r\n＝x1", max_size=8)


@pytest.mark.parametrize("text", RISKY)
def test_what_would_run_gets_one_apostrophe(text: str) -> None:
    assert harmless_text(text) == "'" + text


@pytest.mark.parametrize("plain", ["a-b", "O'Neill", "'quoted'", "", "1 + 1", None, -3, -2.5])
def test_what_runs_nothing_stays(plain: object) -> None:
    assert harmless_text(plain) == plain


@given(TEXTS)
def test_no_text_begins_like_a_formula_and_each_comes_back(text: str) -> None:
    out = harmless_text(text)
    assert not out.lstrip().startswith(tuple("=+-@＝＋－＠"))
    assert not out.startswith(("\t", "\r", "\n"))
    assert as_it_was(pd.Series([out], dtype="str"))[0] == text


@given(st.lists(TEXTS, min_size=1, max_size=4))
def test_a_table_comes_back_from_its_csv(texts: list[str]) -> None:
    texts = [text.encode("utf-8", "ignore").decode() for text in texts]
    table = pd.DataFrame({"=head": pd.Series(texts, dtype="str"), "n": range(len(texts))})
    written = harmless(table).to_csv(index=False, lineterminator="\r\n")
    back = pd.read_csv(io.StringIO(written, newline=""), dtype={0: "str"}, keep_default_na=False)
    assert list(back) == ["'=head", "n"]
    ours = as_it_was(back["'=head"]).str.replace("\r\n|\r|\n", "\n", regex=True)
    wanted = pd.Series(texts, dtype="str").str.replace("\r\n|\r|\n", "\n", regex=True)
    assert ours.tolist() == wanted.tolist()
