"""What the figures of grain and malt were given by: laboratories, methods, moistures, bases."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.house import HouseRules
from origin_compare.sheets.bases import (
    EXTRACT,
    NITROGEN,
    ONE_MOISTURE,
    at_one_moisture,
    one_moisture,
    steps,
)

LEFT_OUT = "left out"


def noted(batches: pd.DataFrame) -> pd.Series:
    """Which batches have a figure that was converted, chosen or left out."""
    if "basis_notes" not in batches:
        return pd.Series(False, index=batches.index)
    return batches["basis_notes"].fillna("") != ""


def said(batches: pd.DataFrame, rules: HouseRules) -> list[str]:
    """Sentences on mixed methods, on the moisture of yields and on what was converted.

    That laboratories and methods are not interchangeable is common practice, no source.
    """
    parts = [
        _mixed(batches, "grain_method", "Grain figures"),
        _mixed(batches, "malt_lab", "Malt figures"),
        _yields(batches, rules),
        _predicted(batches),
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


def _yields(batches: pd.DataFrame, rules: HouseRules) -> str:
    """At what moisture field yields stand: tonnes of wetter grain are fewer tonnes of barley."""
    if "yield_moisture_pct" not in batches or "yield_t_ha" not in batches:
        return ""
    given = batches.loc[batches["yield_t_ha"].notna(), "yield_moisture_pct"]
    stated, wanted = given.dropna(), one_moisture(rules)
    if given.empty:
        return ""
    unsaid = len(given) - len(stated)
    bare = "no moisture is stated with them" if stated.empty else "no moisture is stated"
    harvested = f"as harvested for {count(unsaid, 'batch')}, since {bare}" if unsaid else ""
    if stated.empty:
        return f"Field yields stand {harvested}."
    if wanted is None:
        low, high = f"{stated.min():g}", f"{stated.max():g}"
        at = f"{low} %" if low == high else f"{low} to {high} %"
        told = f"Field yields are compared as written, at {at} moisture"
    else:
        source = rules.window(ONE_MOISTURE).source
        told = f"Field yields are brought to {wanted:g} % moisture ({source})"
    return f"{told}; they stand {harvested}." if harvested else f"{told}."


def _predicted(batches: pd.DataFrame) -> str:
    """On what basis the yields predicted by certificates were taken."""
    if "share_of_predicted_pct" not in batches:
        return ""
    given = batches[batches["predicted_lpa_t"].notna()]
    if given.empty:
        return ""
    text = "Predicted and actual spirit yield are compared per tonne of dry malt"
    bare = int(given.reindex(columns=["predicted_basis"])["predicted_basis"].isna().sum())
    if not bare:
        return f"{text}."
    return f"{text}; for {count(bare, 'batch')} the certificate names no basis and dry is taken."


def _converted(batches: pd.DataFrame) -> str:
    there = noted(batches)
    if not there.any():
        return ""
    lost = int(batches.loc[there, "basis_notes"].str.contains(LEFT_OUT).sum())
    text = (
        "A figure of grain or malt was converted, or chosen between two, for "
        f"{count(int(there.sum()), 'batch')}"
    )
    text += (
        f"; left out for want of a moisture, or as impossible, in {lost} of them" if lost else ""
    )
    return f"{text} (column brought to one basis)."


def for_grower(
    lots: pd.DataFrame, malts: pd.DataFrame, others: pd.DataFrame, rules: HouseRules
) -> tuple[str, ...]:
    """What a grower should know of how own figures were brought to one basis, in plain words.

    `lots`, `malts`: own ones of the harvest, as written; `others`: all lots of the harvest as they
    are compared, of which only a count is told.
    """
    return (
        *_nitrogen_for(lots),
        *_extract_for(malts),
        *_yield_for(lots, others, rules),
    )


def _nitrogen_for(lots: pd.DataFrame) -> Iterator[str]:
    done = steps("lots", NITROGEN, lots)
    wet = done["as_is"] & done["dry"].notna()
    if wet.any():
        told = [
            f"lot {lot}, {taken:.2f} % as it stood at {moisture:g} % moisture, is {dry:.2f} %"
            for lot, taken, moisture, dry in zip(
                lots["lot_id"][wet],
                done["taken"][wet],
                done["moisture"][wet],
                done["dry"][wet],
                strict=True,
            )
        ]
        yield f"Grain nitrogen is counted on the dry grain, without its water: {_told(told)}."
    if done["by_other"].any():
        told = [
            f"{protein:g} % of lot {lot} is {n:.2f} %"
            for lot, protein, n in zip(
                lots["lot_id"][done["by_other"]],
                done["other"][done["by_other"]],
                done["taken"][done["by_other"]],
                strict=True,
            )
        ]
        yield f"Nitrogen is protein divided by 6.25: protein {_told(told)} nitrogen."
    lost = lots.loc[done["taken"].notna() & done["dry"].isna(), "lot_id"]
    if len(lost):
        yield (
            f"The nitrogen of {_named('lot', lost)} is left out: it was given on the grain as it "
            "stood, and cannot be put on dry grain."
        )


def _extract_for(malts: pd.DataFrame) -> Iterator[str]:
    done = steps("malts", EXTRACT, malts)
    wet = done["as_is"] & done["dry"].notna()
    if wet.any():
        rows = done[wet].assign(malt=malts["malt_id"][wet]).drop_duplicates("malt")
        told = [
            f"malt {row.malt}, {row.taken:.1f} % as it stood at {row.moisture:g} % moisture, is "
            f"{row.dry:.1f} %"
            for row in rows.itertuples()
        ]
        yield f"Malt extract is counted on the dry malt: {_told(told)}."
    if done["by_other"].any():
        yield "Malt extract given in L°/kg is told in per cent, 3.86 L°/kg to one."
    lost = malts.loc[done["taken"].notna() & done["dry"].isna(), "malt_id"].drop_duplicates()
    if len(lost):
        yield (
            f"The extract of {_named('malt', lost)} is left out: it was given on the malt as it "
            "stood, and cannot be put on dry malt."
        )


def _yield_for(lots: pd.DataFrame, others: pd.DataFrame, rules: HouseRules) -> Iterator[str]:
    wanted = one_moisture(rules)
    given = lots[lots["yield_t_ha"].notna()]
    bare = given["yield_moisture_pct"].isna()
    if wanted is not None:
        moved = given[~bare & (given["yield_moisture_pct"] != wanted)]
        brought = at_one_moisture(moved, wanted)
        told = [
            f"lot {lot}, {was:g} t/ha at {moisture:g} % moisture, counts as {now:.2f} t/ha"
            for lot, was, moisture, now in zip(
                moved["lot_id"],
                moved["yield_t_ha"],
                moved["yield_moisture_pct"],
                brought["yield_t_ha"],
                strict=True,
            )
        ]
        if told:
            yield (
                f"Yields are compared at {wanted:g} % moisture, so that wet grain does not look "
                f"like a heavy crop: {_told(told)}."
            )
    if bare.any():
        which = f" of {_named('lot', given['lot_id'][bare])}" if not bare.all() else ""
        yield f"Your yield{which} is as harvested: the moisture at weighing is not on our books."
    compared = others[others["yield_t_ha"].notna()]
    mixed = compared["yield_moisture_pct"].isna()
    if len(given) and mixed.any() and not mixed.all():
        yield (
            f"The {count(len(compared), 'yield')} compared hold {int(mixed.sum())} as harvested: "
            "a point of moisture is 1.2 % of a yield."
        )


def _told(lines: list[str], most: int = 4) -> str:
    more = [f"and {len(lines) - most} more"] if len(lines) > most else []
    return "; ".join([*lines[:most], *more])


def _named(what: str, names: pd.Series) -> str:
    return f"{what if len(names) == 1 else what + 's'} {listed(list(names), 4)}"
