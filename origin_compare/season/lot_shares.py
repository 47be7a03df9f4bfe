"""Which lots a batch was mashed from, and in what shares: by mass and by extract."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare.sheets.bases import on_dry
from origin_compare.sheets.frames import Sheets, looked_up

SHARE_COLUMNS = [
    *["batch_id", "lot_id", "grower_id", "season", "share", "weighed", "extract_share"],
]
ONE_FIELD, ONE_GROWER, MIXED, NOT_KNOWN = "one field", "one grower", "mixed", "not known"

# Shares are sums of products of fractions; a hundred terms stay well inside this.
WHOLE = 1 - 1e-9


def origins(sheets: Sheets) -> pd.DataFrame:
    """Batch x lot shares, one row per pair: `SHARE_COLUMNS`.

    `share` is by mass: a batch's malts weigh by `grist_kg`, a malt's lots by `grain_t`. Where one
    of the weights of a mash or malting is missing its parts count as equal and `weighed` is
    False. `extract_share` weighs the malts by extract, grist x (1 - moisture) x extract of the
    dry malt; missing where a figure of it is and it matters. A malt whose lots are not known
    leaves its part out: the shares of that batch add to less than 1.
    """
    grist = _malts_in_batches(sheets)
    grain = _parts(sheets["malts"], "malt_id", "lot_id", "grain_t")
    pairs = grist.merge(grain, on="malt_id", suffixes=("_grist", "_grain"))
    pairs["share"] = pairs["part_grist"] * pairs["part_grain"]
    pairs["weighed"] = pairs["weighed_grist"] & pairs["weighed_grain"]
    pairs["by_extract"] = (pairs["part_extract"] * pairs["part_grain"]).where(
        pairs["weighed_grain"]
    )
    by_pair = pairs.groupby(["batch_id", "lot_id"], sort=True)
    shares = by_pair.agg(share=("share", "sum"), weighed=("weighed", "all"))
    shares["extract_share"] = by_pair["by_extract"].sum(skipna=False)
    lots = sheets["lots"][["lot_id", "grower_id", "season"]].drop_duplicates("lot_id")
    return shares.reset_index().merge(lots, on="lot_id", how="left")[SHARE_COLUMNS]


def flows(sheets: Sheets) -> pd.DataFrame:
    """Lot to malt to batch, one row per way: lot_id, malt_id, batch_id and malt_kg by mass."""
    grist = sheets["mashes"].groupby(["batch_id", "malt_id"])["grist_kg"].sum(skipna=False)
    grain = _parts(sheets["malts"], "malt_id", "lot_id", "grain_t")
    ways = grist.reset_index().merge(grain, on="malt_id")
    ways["malt_kg"] = ways["grist_kg"] * ways["part"]
    return ways[["lot_id", "malt_id", "batch_id", "malt_kg"]]


def malt_shares(sheets: Sheets, batch_id: str) -> pd.DataFrame:
    """The malts of one batch, indexed by `malt_id`: part (mass), weighed, part_extract."""
    mashes = sheets["mashes"]
    only = {**sheets, "mashes": mashes[mashes["batch_id"] == batch_id]}
    return _malts_in_batches(only).set_index("malt_id")


def extract_of_malt(malts: pd.DataFrame) -> pd.Series:
    """kg of laboratory extract in a kg of each malt as it is: (1 - moisture) x extract.

    The certificate is the whole malting's, whether written beside each of its lots or only once.
    """
    figures = on_dry("malts", malts).groupby("malt_id")[["moisture_pct", "extract_pct_dm"]].mean()
    return (1 - figures["moisture_pct"] / 100) * figures["extract_pct_dm"] / 100


def predicted_of_malt(malts: pd.DataFrame) -> pd.Series:
    """L of pure alcohol predicted of a tonne of each malt as it is, the basis of what is mashed.

    (1 - moisture) x the prediction per tonne of dry malt; missing without a moisture.
    """
    figures = on_dry("malts", malts).groupby("malt_id")[["moisture_pct", "predicted_lpa_t"]].mean()
    return (1 - figures["moisture_pct"] / 100) * figures["predicted_lpa_t"]


def _malts_in_batches(sheets: Sheets) -> pd.DataFrame:
    """batch_id, malt_id, part and weighed by mass, part_extract (missing where not known)."""
    mashes = sheets["mashes"]
    in_kg = looked_up(mashes["malt_id"], extract_of_malt(sheets["malts"]))
    mashed = mashes.assign(extract_kg=mashes["grist_kg"] * in_kg)
    by_extract = _parts(mashed, "batch_id", "malt_id", "extract_kg")
    parts = _parts(mashes, "batch_id", "malt_id", "grist_kg")
    parts["part_extract"] = by_extract["part"].where(by_extract["weighed"])
    return parts


def _parts(frame: pd.DataFrame, whole: str, part: str, weight: str) -> pd.DataFrame:
    """One row per (whole, part): its fraction of the whole by weight, or by count."""
    rows = frame.dropna(subset=[whole, part])
    sums = rows.groupby([whole, part])[weight].sum(skipna=False).rename("mass").reset_index()
    by_whole = sums.groupby(whole)["mass"]
    total = looked_up(sums[whole], by_whole.sum(skipna=False))
    number = looked_up(sums[whole], by_whole.size())
    known = total.notna() & (total > 0)
    sums["part"] = np.where(known, sums["mass"] / total.where(known), 1 / number)
    sums["weighed"] = known | (number == 1)
    return sums[[whole, part, "part", "weighed"]]


@dataclass(frozen=True, slots=True)
class Span:
    """A share as a range from least to most, both fractions."""

    least: float
    most: float

    def mixed(self, part: Span, other: Span) -> Span:
        """The share after `part` of the whole was replaced by something whose share is `other`."""
        ends = (part.least, part.most)
        return Span(
            min((1 - a) * self.least + a * other.least for a in ends),
            max((1 - a) * self.most + a * other.most for a in ends),
        )

    def of(self, whole: Span) -> Span:
        """This part of a `whole` which is itself a range."""
        return Span(self.least * whole.least, self.most * whole.most)

    def rest(self) -> Span:
        """What is not this share: 1 less it."""
        return Span(max(0.0, 1 - self.most), max(0.0, 1 - self.least))

    def words(self) -> str:
        """`97 to 100 %`; one figure where both ends round to it, never 100 for less."""
        low, high = f"{_floor(self.least):g}", f"{_ceil(self.most):g}"
        return f"{low} %" if low == high else f"{low} to {high} %"

    def between(self) -> str:
        """`Between 97 and 100 %`; one figure where both ends round to it."""
        low, high = f"{_floor(self.least):g}", f"{_ceil(self.most):g}"
        return f"{low} %" if low == high else f"Between {low} and {high} %"


NOTHING, ANYTHING, ALL = Span(0.0, 0.0), Span(0.0, 1.0), Span(1.0, 1.0)
_SLACK = 1e-9


def _floor(share: float) -> float:
    return float(np.floor(share * 100 + _SLACK))


def _ceil(share: float) -> float:
    return max(0.0, float(np.ceil(share * 100 - _SLACK)))


Spans = Mapping[str, Span]
ANY_OTHER = ""
"""Under this name a batch's span for whoever is not named in it: what the unknown part may be."""


def spans(sheets: Sheets, key: str) -> dict[str, dict[str, Span]]:
    """Per batch and value of `key` (`grower_id` or `lot_id`): its share of the grain, a `Span`.

    From the lesser to the greater of mass and extract; where a weight is missing, from none to
    all of what the weight would share out; a part of which no lot is known may be anybody's.
    """
    inside = _inside_malts(sheets, key)
    found: dict[str, dict[str, Span]] = {}
    for batch_id, rows in _malts_in_batches(sheets).groupby("batch_id"):
        malts = [inside.get(malt, {ANY_OTHER: ANYTHING}) for malt in rows["malt_id"]]
        names = {name for malt in malts for name in malt}
        found[str(batch_id)] = {
            name: _over_malts([malt.get(name, malt[ANY_OTHER]) for malt in malts], rows)
            for name in names
        }
    return found


def _inside_malts(sheets: Sheets, key: str) -> dict[str, dict[str, Span]]:
    parts = _parts(sheets["malts"], "malt_id", "lot_id", "grain_t")
    lots = sheets["lots"].drop_duplicates("lot_id").set_index("lot_id", drop=False)
    parts["name"] = looked_up(parts["lot_id"], lots[key])
    return {str(malt): _in_one_malt(rows) for malt, rows in parts.groupby("malt_id")}


def _in_one_malt(rows: pd.DataFrame) -> dict[str, Span]:
    named = rows.dropna(subset="name").groupby("name")["part"].sum()
    lost = bool(rows["name"].isna().any())
    if not rows["weighed"].all():
        if len(named) == 1 and not lost:
            return {str(named.index[0]): ALL, ANY_OTHER: NOTHING}
        ends = {str(name): ANYTHING for name in named.index}
        return {**ends, ANY_OTHER: ANYTHING if lost else NOTHING}
    rest = float(rows.loc[rows["name"].isna(), "part"].sum())
    ends = {str(name): Span(float(part), float(part) + rest) for name, part in named.items()}
    return {**ends, ANY_OTHER: Span(0.0, rest)}


def _over_malts(ends: list[Span], rows: pd.DataFrame) -> Span:
    least = np.array([end.least for end in ends])
    most = np.array([end.most for end in ends])
    if not rows["weighed"].all():
        return Span(float(least.min()), float(most.max()))
    ways = [rows["part"].to_numpy()]
    if rows["part_extract"].notna().all():
        ways.append(rows["part_extract"].to_numpy())
    low, high = min(float(way @ least) for way in ways), max(float(way @ most) for way in ways)
    return Span(max(0.0, low), min(1.0, high))


def classes(shares: pd.DataFrame) -> pd.DataFrame:
    """One row per batch, indexed by `batch_id`: origin, grower_id, lot_id, growers, lots, season.

    `origin` is "one field" (a single lot), "one grower", "mixed" or "not known"; a batch of which
    a part is not known is "mixed" only if two growers are proved. `season` is missing when the
    lots are of two harvests.
    """
    by_batch = shares.groupby("batch_id", sort=True)
    numbers = by_batch[["grower_id", "lot_id", "season"]].nunique()
    in_full = (by_batch["share"].sum() >= WHOLE) & (
        by_batch["grower_id"].count() == by_batch.size()
    )
    table = pd.DataFrame(index=numbers.index)
    table["origin"] = np.select(
        [numbers["grower_id"] > 1, ~in_full, numbers["lot_id"] == 1],
        [MIXED, NOT_KNOWN, ONE_FIELD],
        ONE_GROWER,
    )
    for name in ("grower_id", "lot_id", "season"):
        table[name] = by_batch[name].first()
    table["grower_id"] = table["grower_id"].where(table["origin"].isin([ONE_FIELD, ONE_GROWER]))
    table["lot_id"] = table["lot_id"].where(table["origin"] == ONE_FIELD)
    table["season"] = table["season"].where(numbers["season"] == 1)
    table["growers"] = joined_names(shares, "batch_id", "grower_id").reindex(table.index)
    table["lots"] = joined_names(shares, "batch_id", "lot_id").reindex(table.index)
    return table.astype({"season": "Int64"})


def joined_names(frame: pd.DataFrame, by: str, name: str) -> pd.Series:
    """`A + B`: the different values of `name` in order, per value of `by`; missing left out."""
    pairs = frame[[by, name]].dropna().drop_duplicates().sort_values([by, name])
    return pairs.groupby(by)[name].agg(" + ".join)
