"""What the labels of a sheet may say: known headers, hours, totals, names of compounds."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache

from origin_compare.intake.headers import columns_for, is_known, plain
from origin_compare.sheets.catalogue import SHEETS, Column, Sheet
from origin_compare.sheets.units import split_unit, unit_words


def words(text: str) -> frozenset[str]:
    """The words of a text, as a set."""
    return frozenset(text.split())


LONGEST = 80
"""A label is no longer than this; what is longer is a sentence."""

TAGS = words(
    "tag channel point sensor signal parameter parameters measurement variable quantity "
    "item test analysis determination property testitem tagname pointname characteristic"
)
"""Headers, plain, of a column whose cells say what the value beside them is."""
VALUES = words("value result results reading val pv figure found values measured")
UNITS = frozenset(["unit", "units", "uom"])
ATTRIBUTES = words(
    "attribute attributes descriptor descriptors aroma flavour flavor term character"
)
COMPOUNDS = words(
    "acetaldehyde acetal methanol ethylacetate ethyllactate propanol npropanol 1propanol "
    "isobutanol 2methylpropanol butanol nbutanol 1butanol isoamylalcohol isoamylalcohols "
    "amylalcohol amylalcohols activeamylalcohol 2methylbutanol 3methylbutanol "
    "2methyl1butanol 3methyl1butanol 2methyl1propanol isoamylacetate furfural "
    "ethylhexanoate ethylcaproate ethyloctanoate ethylcaprylate ethyldecanoate "
    "ethylcaprate ethyldodecanoate ethyllaurate ethylbutyrate ethylbutanoate "
    "phenylethanol 2phenylethanol phenethylalcohol 2phenylethylacetate phenethylacetate "
    "diacetyl dms dmts dimethyltrisulphide dimethylsulphide guaiacol phenol cresol "
    "pcresol ocresol mcresol 4methylguaiacol 4ethylphenol 4ethylguaiacol higheralcohols "
    "fuseloil esters aldehydes aceticacid volatileacidity totalesters totalaldehydes "
    "totalhigheralcohols hexanol isovaleraldehyde diethylsuccinate isobutyraldehyde"
)
"""Compounds a laboratory reports of new make, plain; common practice, no source."""

_HOURS = re.compile(
    r"^(?P<base>.*?)[\s@_/,:(-]*(?:\b(?:t|at|after|hour|hours|h)\s*[=+]?\s*)?\+?"
    r"(?P<hours>\d+(?:[.,]\d+)?)\s*(?:h|hr|hrs|hour|hours)\s*\)?(?P<after>\b.*)?$",
    re.IGNORECASE,
)
_HOURS_FIRST = re.compile(r"^(?:hour|hours|hr|h|t)\s*[=+]?\s*(?P<hours>\d+(?:[.,]\d+)?)$", re.I)
_SUMMARY = re.compile(
    r"^(?:(?:[\w.]+\s){0,2}(?:sub|grand)?[\s-]*(?:totals?|sums?|subtotals?)"
    r"(?!\s*\w*\s*(?:nitrogen|n\b))"
    r"|all (?:farms|growers|batches|lots|runs)"
    r"|averages?|avg\.?|means?|min(?:imum)?|max(?:imum)?|std\.?(?:\s*dev\.?)?|s\.?d\.?|median"
    r"|range|count|cv(?:\s*%)?|overall|carried forward|brought forward|c/f|b/f|Σ|ø)"
    r"(?:[\s:.(/-].*)?$",
    re.IGNORECASE,
)
_PAIR = re.compile(r"^(?P<label>[^:=]{2,40}?)\s*[:=]\s*(?P<value>\S.*)$")
_NAME = re.compile(r"(?P<name>[\w/.\-#]*\d[\w/.\-]*)(?:\s+[-–—,;|(/].*)?$")
"""A name with a figure in it, perhaps with more behind a sign: `M118 - WB1`."""


@lru_cache(maxsize=8192)
def known(text: str) -> bool:
    """Whether a text is a header some sheet knows, with or without a unit."""
    return 0 < len(text) < LONGEST and is_known(text.strip().rstrip(":").strip())


def tidy_label(text: str) -> str:
    """A label without the signs written before and after it: `# Batch:` -> `Batch`."""
    return text.strip().lstrip("#* ").rstrip(":= .…").strip()


def hours_of(header: str) -> tuple[str, float] | None:
    """`SG 8h` -> (`SG`, 8.0), `24 h` -> (``, 24.0); None where no length of hours stands there."""
    text = header.strip()
    first = _HOURS_FIRST.match(text)
    if first:
        return "", float(first["hours"].replace(",", "."))
    match = _HOURS.match(text)
    if match is None:
        return None
    base = " ".join(
        part for part in (match["base"].strip(" ()-"), (match["after"] or "").strip()) if part
    )
    return base, float(match["hours"].replace(",", "."))


def is_summary(text: str) -> bool:
    """Whether a label says that its row or column sums others up."""
    return bool(_SUMMARY.match(text.strip()))


@lru_cache(maxsize=4096)
def pair_in(text: str) -> tuple[str, str] | None:
    """`Batch: F001`, `Batch No. F001`, `Batch F001` -> (label, value); None for other texts."""
    if len(text) > LONGEST:
        return None
    match = _PAIR.match(text)
    if match and known(tidy_label(match["label"])):
        return tidy_label(match["label"]), match["value"].strip()
    words = text.split()
    for cut in range(min(3, len(words) - 1), 0, -1):
        label, value = " ".join(words[:cut]), " ".join(words[cut:])
        match = _NAME.match(value)
        if known(label) and not known(text) and match:
            return tidy_label(label), match["name"]
    return None


def column_in(label: str, sheet: Sheet) -> Column | None:
    """The one column of a sheet that a label stands for, None where there is none or several."""
    found, _ = columns_for(label.strip().rstrip(":").strip(), sheet)
    return found[0] if len(found) == 1 else None


def is_compound(header: str) -> bool:
    """Whether a header is a compound's name, with or without a unit."""
    return plain(split_unit(header)[0]) in COMPOUNDS or plain(header) in COMPOUNDS


def is_unit(text: str) -> bool:
    """Whether a text is a unit and nothing else."""
    return 0 < len(text) <= 12 and unit_words(text)


def known_words(headers: Iterable[str]) -> tuple[str, ...]:
    """The print of a kind of table: its known headers, plain and in order of the alphabet.

    Where none is known, all of its words without figures.
    """
    said = [header for header in headers if header]
    words = {plain(split_unit(header)[0]) for header in said if known(header)}
    if not words:
        words = {plain(header) for header in said if not any(s.isdigit() for s in header)}
    return tuple(sorted(words))


@lru_cache(maxsize=8192)
def sheets_with(label: str) -> tuple[str, ...]:
    """The sheets that have a column of this label."""
    return tuple(name for name, sheet in SHEETS.items() if columns_for(label, sheet)[0])
