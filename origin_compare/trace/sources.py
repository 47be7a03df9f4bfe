"""Which recorded cells a worked-out figure of a batch was computed from."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from origin_compare import words
from origin_compare.answers import count
from origin_compare.errors import UnknownName
from origin_compare.fermentation import Derived
from origin_compare.fermentation.doubtful_readings import without
from origin_compare.house import HouseRules
from origin_compare.season.join import LOT_NUMBERS, MALT_NUMBERS, MASH_NUMBERS
from origin_compare.season.package import as_given
from origin_compare.season.season import Season
from origin_compare.sheets.bases import cells_used, said_of
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.hour_zero import MOMENT_OF
from origin_compare.sheets.keys import key_text

if TYPE_CHECKING:
    from origin_compare.panel import Profile

INPUTS = ["sheet", "row", "column", "value"]
Cells = list[tuple[str, pd.DataFrame, str]]
"""A sheet, rows of it, and the column that was used of them."""


@dataclass(frozen=True)
class Sources:
    """How a figure was worked out, and the cells it was worked out from.

    `figure`: a column of the joined batches or `score_<attribute>`; `value`: as it stands in
    words, empty where it is missing; `how`: in words; `cells`: one row per cell, `INPUTS`, where
    `row` is the row's key as people read it; `keys`: that key by column, in the same order
    (`_hours`: the hours of a reading as joined, should they be written in the file as well).
    """

    batch_id: str
    figure: str
    value: str
    how: str
    cells: pd.DataFrame
    keys: tuple[Mapping[str, object], ...]

    def sentence(self) -> str:
        name = words.label(self.figure)
        if not self.value and self.figure.startswith(_SCORE) and len(self.cells):
            return f"Of {self.batch_id}, {name}: {self.how}."
        if not self.value:
            return f"Of {self.batch_id}, {name}: not known. It would be {self.how}."
        return f"Of {self.batch_id}, {name}: {self.value}. It is {self.how}."

    def table(self) -> pd.DataFrame:
        return self.cells

    def rests_on(self) -> str:
        sheets = list(dict.fromkeys(self.cells["sheet"]))
        named = f" of {' and '.join(sheets)}" if sheets else ""
        return f"{count(len(self.cells), 'recorded cell')}{named}."


def is_worked_out(figure: str) -> bool:
    """Whether `figure_sources` can take this figure of a batch apart."""
    return figure in _WAYS


def traceable(batches: pd.DataFrame) -> list[str]:
    """The figures of the joined batches that `figure_sources` can take apart."""
    return [name for name in _WAYS if name in batches]


def figure_sources(
    season: Season, derived: Derived, batch_id: str, figure: str, profile: Profile | None = None
) -> Sources:
    """The cells behind one figure of one batch.

    `figure`: one of `traceable`, or `score_<attribute>`, whose value `profile` gives. Raises
    `UnknownName` for a batch or a figure that is not there.
    """
    at = _At(season, derived, batch_id)
    if figure.startswith(_SCORE):
        attribute = figure.removeprefix(_SCORE)
        value = _estimate(profile, at.batch["batch_id"], attribute)
        return at.sources(figure, value, _SCORED, at.scores(attribute))
    if figure not in _WAYS:
        raise UnknownName(
            f"There is no worked-out figure {figure}. Figures: {', '.join(_WAYS)}, or "
            f"{_SCORE}<attribute>."
        )
    how, way = _WAYS[figure]
    cells = way(at)
    how = "; ".join([how, *_converted_said(figure, cells, season.rules)])
    return at.sources(figure, at.value(figure), how, cells)


_SCORE = "score_"
_SCORED = (
    "worked out from these scores and, for each assessor's own level, from all others of the "
    "same tastings"
)


@dataclass(frozen=True)
class _At:
    """One batch of a season, and the rows that belong to it."""

    season: Season
    derived: Derived
    batch_id: str

    def rows(self, sheet: str) -> pd.DataFrame:
        frame = self.season.sheets[sheet]
        return frame[frame["batch_id"] == self.batch_id]

    @property
    def batch(self) -> pd.Series:
        batches = self.season.batches
        found = batches[batches["batch_id"] == self.batch_id]
        if found.empty:
            raise UnknownName(
                f"There is no batch {self.batch_id}. Choose one of the season's batches."
            )
        return found.iloc[0]

    @property
    def measured(self) -> pd.Series:
        table = self.derived.table()
        return table[table["batch_id"] == self.batch_id].iloc[0]

    @property
    def log(self) -> pd.DataFrame:
        """The readings as they were used: what was set aside as not true is missing."""
        kept = without(
            self.rows("readings"),
            [one for one in self.derived.aside if one.batch_id == self.batch_id],
        )
        return kept.sort_values("hours")

    def value(self, figure: str) -> str:
        batch, measured = self.batch, self.measured
        value = measured[figure] if figure in measured.index else batch[figure]
        if pd.isna(value):
            return ""
        places = words.decimals(figure)
        return f"{float(value):.{places}f}" if places is not None else f"{float(value):.6g}"

    def own(self, *columns: str) -> Cells:
        return [("fermentations", self.rows("fermentations"), column) for column in columns]

    def last(self, column: str) -> Cells:
        log = self.log
        return [("readings", log[log[column].notna()].tail(1), column)]

    def every(self, column: str) -> Cells:
        log = self.log
        return [("readings", log[log[column].notna()], column)]

    def hottest(self) -> Cells:
        log = self.log
        seen = log[log["temp_c"].notna() & (log["hours"] >= 0)].reset_index()
        at = seen["temp_c"].idxmax() if len(seen) else None
        return [("readings", seen.loc[[at]] if at is not None else seen, "temp_c")]

    def length(self) -> Cells:
        if self.measured["length_from"] == "ended_at":
            return self.own(MOMENT_OF[str(self.batch["hour_zero"])], "ended_at")
        last = self.log.tail(1)
        return [("readings", last, "read_at" if last["read_at"].notna().any() else "hours")]

    def of(self, sheet: str, *columns: str) -> Cells:
        rows = self.rows(sheet)
        return [(sheet, rows, column) for column in columns]

    def lots(self, column: str) -> Cells:
        shares = self.season.shares
        mine = shares.loc[shares["batch_id"] == self.batch_id, "lot_id"]
        lots = self.season.sheets["lots"]
        malts = self.season.sheets["malts"]
        used = malts["malt_id"].isin(self.rows("mashes")["malt_id"])
        return [
            *self.compared("lots", lots[lots["lot_id"].isin(mine)], column),
            ("malts", malts[used & malts["lot_id"].isin(mine)], "grain_t"),
            *self.of("mashes", "grist_kg"),
        ]

    def malts(self, column: str) -> Cells:
        malts = self.season.sheets["malts"]
        used = malts["malt_id"].isin(self.rows("mashes")["malt_id"])
        return [*self.compared("malts", malts[used], column), *self.of("mashes", "grist_kg")]

    def compared(self, sheet: str, rows: pd.DataFrame, column: str) -> Cells:
        """The column's cells, and those it was put on one basis with."""
        return [(sheet, *used) for used in cells_used(sheet, rows, column)]

    def scores(self, attribute: str) -> Cells:
        rows = self.rows("scores")
        return [("scores", rows[rows["attribute"] == attribute], "score")]

    def sources(self, figure: str, value: str, how: str, cells: Cells) -> Sources:
        lines, keys = [], []
        for sheet, rows, column in cells:
            given = as_given(sheet, rows, self.season)
            filled = given[given[column].notna()]
            texts = key_text(sheet, filled).tolist()
            lines += [
                (sheet, text, column, _said(cell))
                for text, cell in zip(texts, filled[column], strict=True)
            ]
            named = filled[list(SHEETS[sheet].key)]
            if sheet == "readings":
                named = named.assign(_hours=rows.loc[filled.index, "hours"])
            keys += named.to_dict("records")
        table = pd.DataFrame(lines, columns=INPUTS, dtype="str")
        return Sources(self.batch_id, figure, value, how, table, tuple(keys))  # type: ignore[arg-type]


def _converted_said(figure: str, cells: Cells, rules: HouseRules) -> list[str]:
    """What was converted on the way to one basis, in words."""
    mine = [one for one in cells if one[2] == figure]
    return [text for sheet, rows, column in mine for text in said_of(sheet, rows, column, rules)]


def _estimate(profile: Profile | None, batch_id: str, attribute: str) -> str:
    if profile is None:
        return ""
    table = profile.table()
    mine = table[(table["batch_id"] == batch_id) & (table["attribute"] == attribute)]
    return "" if mine.empty else f"{mine['estimate'].iloc[0]:.2f}"


def _said(value: object) -> str:
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d %H:%M} UTC" if value.tzinfo else f"{value:%Y-%m-%d}"
    return f"{value:.12g}" if isinstance(value, float) else str(value)


Way = tuple[str, Callable[[_At], Cells]]
_FALL = "original gravity against the last gravity recorded (Balling)"
_CURVE = "read off a curve laid through every gravity reading not set aside"
_ACID = "read off a curve laid through every pH reading not set aside"
_WAYS: dict[str, Way] = {
    "length_h": (
        "hour zero to the end, or to the last reading where no end is recorded",
        lambda at: at.length(),
    ),
    "peak_temp_c": ("the highest temperature recorded after hour zero", lambda at: at.hottest()),
    "h_above_window": (
        "time above the house window, straight lines between the readings",
        lambda at: at.every("temp_c"),
    ),
    "final_ph": ("the last pH recorded", lambda at: at.last("ph")),
    "final_sg": ("the last gravity recorded", lambda at: at.last("sg")),
    "apparent_attenuation_pct": (_FALL, lambda at: at.own("og_sg") + at.last("sg")),
    "real_attenuation_pct": (_FALL, lambda at: at.own("og_sg") + at.last("sg")),
    "wash_abv_calc_pct": (_FALL, lambda at: at.own("og_sg") + at.last("sg")),
    "co2_kg": (f"{_FALL}, times the wort", lambda at: at.own("og_sg", "wort_l") + at.last("sg")),
    "lag_h": (_CURVE, lambda at: at.every("sg")),
    "max_rate_deg_h": (_CURVE, lambda at: at.every("sg")),
    "after_yeast_ph": (_ACID, lambda at: at.every("ph")),
    "lactic_from_h": (_ACID, lambda at: at.every("ph")),
    "yeast_g_l": ("yeast pitched over wort pitched", lambda at: at.own("yeast_kg", "wort_l")),
    "lpa": (
        "new make times its strength, over all runs",
        lambda at: at.of("spirits", "new_make_l", "new_make_abv_pct"),
    ),
    "spirit_yield_lpa_t": (
        "pure alcohol over malt mashed",
        lambda at: at.of("spirits", "new_make_l", "new_make_abv_pct") + at.of("mashes", "grist_kg"),
    ),
    "new_make_l": ("the sum over all runs", lambda at: at.of("spirits", "new_make_l")),
    "grist_kg": ("the sum over all mashes", lambda at: at.of("mashes", "grist_kg")),
    "limit_sg": ("the latest bench limit test", lambda at: at.of("attenuations", "limit_sg")),
    "n_readings": ("readings counted", lambda at: at.of("readings", "batch_id")),
}


def _by_lot(column: str) -> Way:
    how = "the mean over the lots in this batch, by the share of each"
    return how, lambda at: at.lots(column)


def _by_malt(column: str) -> Way:
    return "the mean over the malts in this batch, by grist", lambda at: at.malts(column)


def _by_mash(column: str) -> Way:
    how = "the mean over the mashes of this batch, by wort"
    return how, lambda at: at.of("mashes", column, "wort_l")


_WAYS |= {name: _by_lot(name) for name in LOT_NUMBERS}
_WAYS |= {joined: _by_malt(name) for name, joined in MALT_NUMBERS.items()}
_WAYS |= {joined: _by_mash(name) for name, joined in MASH_NUMBERS.items()}
