"""How days are written: weekdays, months in words, dots and slashes, brought to one form."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable

import pandas as pd

_SERIAL_ZERO = pd.Timestamp("1899-12-30")
_TIMES = ("", " %H:%M", " %H:%M:%S", " %I:%M %p", " %I:%M%p", " %I:%M:%S %p")
_WORDED = ("%d %b %Y", "%d %B %Y", "%d %b %y", "%b %d %Y", "%B %d %Y")
_PADDED = r"\d\d/\d\d/\d{4}(?: \d\d:\d\d(?::\d\d)?)?"
_ISO_WEEK = re.compile(r"(\d{4})-?W(\d{2})-?([1-7])(.*)", re.ASCII)
_MONTHS = {
    # German and French months the English forms below do not read
    **dict.fromkeys(("januar", "jänner", "janvier", "janv", "jän"), "Jan"),
    **dict.fromkeys(("februar", "février", "fevrier", "févr", "fevr", "fév"), "Feb"),
    **dict.fromkeys(("märz", "maerz", "mars", "mär", "mrz"), "Mar"),
    **dict.fromkeys(("avril", "avr"), "Apr"),
    **dict.fromkeys(("mai",), "May"),
    **dict.fromkeys(("juni", "juin"), "Jun"),
    **dict.fromkeys(("juli", "juillet", "juil"), "Jul"),
    **dict.fromkeys(("août", "aout"), "Aug"),
    **dict.fromkeys(("septembre", "sept"), "Sep"),
    **dict.fromkeys(("oktober", "octobre", "okt"), "Oct"),
    **dict.fromkeys(("novembre",), "Nov"),
    **dict.fromkeys(("dezember", "décembre", "decembre", "dez", "déc"), "Dec"),
}
_WEEKDAYS = {
    **dict.fromkeys(("mon", "monday", "mo", "montag", "lun", "lundi"), 0),
    **dict.fromkeys(("tue", "tues", "tuesday", "di", "dienstag", "mardi"), 1),
    **dict.fromkeys(("wed", "weds", "wednesday", "mi", "mittwoch", "mer", "mercredi"), 2),
    **dict.fromkeys(("thu", "thur", "thurs", "thursday", "do", "donnerstag", "jeu", "jeudi"), 3),
    **dict.fromkeys(("fri", "friday", "fr", "freitag", "ven", "vendredi"), 4),
    **dict.fromkeys(("sat", "saturday", "sa", "samstag", "samedi"), 5),
    **dict.fromkeys(("sun", "sunday", "so", "sonntag", "dim", "dimanche"), 6),
}
_WEEKDAY = re.compile(r"^([^\W\d_]{2,10})\.?,?\s+(?=\S)")
_WORD = re.compile(r"[^\W\d_]+")


def weekday_off(text: str) -> tuple[str, int]:
    """`Tue 11/03/2025` -> (`11/03/2025`, 1); -1 where no day of the week stands before the day."""
    match = _WEEKDAY.match(text)
    day = _WEEKDAYS.get(match[1].casefold(), -1) if match else -1
    return (text[match.end() :], day) if match and day >= 0 else (text, -1)


def in_one_form(texts: pd.Series) -> pd.Series:
    """Days as the formats below know them: `26. Februar 2025, 08.15 Uhr` -> `26 Feb 2025 08:15`."""
    return texts.map(_in_one_form).astype("str")


def _in_one_form(text: str) -> str:
    told = re.sub(r"\s+(?:Uhr|hrs?|h|o'clock)\.?$", "", _day_of_week(text), flags=re.I)
    told = re.sub(r",?\s+(?:at|um|à)\s+", " ", told)
    told = re.sub(r",\s*(?=\d{1,2}[:.h]\d{2})", " ", told)
    told = re.sub(r"^(\d{1,4})[.\-](\d{1,2})[.\-](\d{1,4})(?!\d)", r"\1/\2/\3", told)
    told = re.sub(r"(?<=\s)(\d{1,2})[.h](\d{2})(?=$|\s)", r"\1:\2", told)
    told = re.sub(r"(?<=\d{4}\s)(\d{2})(\d{2})$", r"\1:\2", told)
    told = re.sub(r"(?<=\d)\s*([ap])\.?m\.?$", r" \1m", told, flags=re.I)
    return _clock_of_24(_months(told)) if _WORD.search(told) else told


def _day_of_week(text: str) -> str:
    """`2025-W14-2`, the second day of week 14 by ISO 8601, as year, month and day."""
    week = _ISO_WEEK.fullmatch(text)
    if not week:
        return text
    try:
        day = dt.date.fromisocalendar(*(int(part) for part in week.groups()[:3]))
    except ValueError:
        return text
    return f"{day:%Y/%m/%d} {week[4].lstrip('T, ')}".strip()


def _months(text: str) -> str:
    told = re.sub(r"(?<=\d)(?:st|nd|rd|th)\b|(?<=\d)\.(?=\s*[^\W\d_])", "", text)
    told = re.sub(r"(?<=\d)[ \-.]*(?=[^\W\d_]{3})", " ", told)
    told = re.sub(r"(?<=[^\W\d_]{3})[.,\-]+\s*(?=\d)|(?<=\d),\s*", " ", told)
    told = _WORD.sub(lambda word: _MONTHS.get(word[0].casefold(), word[0]), told)
    return re.sub(r"\s+", " ", told).strip()


def _clock_of_24(text: str) -> str:
    """`14:30 PM` says one thing twice."""
    late = re.search(r" (1[3-9]|2[0-3]|0?0):\d{2}(?::\d{2})?( [ap]m)$", text, flags=re.I)
    return text[: -len(late[2])] if late else text


def formats(month_first: bool) -> tuple[str, ...]:
    """The forms days are read in, the usual first."""
    first, second = ("%m", "%d") if month_first else ("%d", "%m")
    days = (f"{first}/{second}/%Y", f"{first}/{second}/%y", "%Y/%m/%d")
    return tuple(day + time for day in days for time in _TIMES) + tuple(
        day + time for day in _WORDED for time in _TIMES
    )


def by_formats(
    texts: pd.Series, month_first: bool, iso: Callable[[pd.Series], pd.Series]
) -> pd.Series:
    """Local times; the usual way of writing goes first, turned round to year, month, day."""
    local = pd.Series(pd.NaT, index=texts.index, dtype="datetime64[us]")
    padded = texts.str.fullmatch(_PADDED)
    if bool(padded.any()):
        turned = r"\3-\1-\2" if month_first else r"\3-\2-\1"
        year_first = texts[padded].str.replace(r"^(\d\d)/(\d\d)/(\d{4})", turned, regex=True)
        local[padded] = iso(year_first)
    for form in formats(month_first):
        left = local.isna() & ~padded
        if not left.any():
            break
        read = pd.to_datetime(texts[left], format=form, errors="coerce")
        local[left] = read.astype("datetime64[us]")
    return local


def serial_days(texts: pd.Series) -> pd.Series:
    """Spreadsheet days since 30 December 1899, to the nearest second."""
    days = texts.str.replace(",", ".", regex=False).astype("float64")
    seconds = (days * 86400).round().astype("int64")
    return (_SERIAL_ZERO + pd.to_timedelta(seconds, unit="s")).astype("datetime64[us]")
