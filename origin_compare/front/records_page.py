"""Pieces of the pages on house rules and on where a figure came from."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import replace

import pandas as pd
import streamlit as st

from origin_compare import words
from origin_compare.answers import count
from origin_compare.errors import NotEnoughData, OriginCompareError, StoreFault
from origin_compare.front import parts
from origin_compare.house import (
    FEINTS,
    FEWEST_IN_A_GROUP,
    HOUR_ZEROS,
    MOST_IN_A_GROUP,
    HouseRules,
    RuleFault,
    default_rules,
    read_rules,
    rules_as_toml,
    time_zones,
)
from origin_compare.review.house_table import (
    CHANGED,
    rules_changes,
    rules_from_table,
    rules_table,
)
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.trace import correct, trace
from origin_compare.trace.cell_origin import Traced, names_in, original_of, places, rows_under
from origin_compare.trace.sources import Sources
from origin_compare.typed import plain

STARTS = ("the rules in force", "the rules as shipped", "a file")
CELL, FIGURE = "a recorded cell", "a worked-out figure"
Key = Mapping[str, object]


# House rules


def rules_said(rules: HouseRules) -> str:
    """How much the house holds to, and how much of it is its own."""
    table = rules_table(rules)
    held = table[table["held"]]
    own = int((held["standing"] != "as shipped").sum())
    windows = int(held["rule"].str.startswith("windows.").sum())
    gone = int((~table["held"]).sum())
    said = f"The house holds to {count(windows, 'window')} and takes {len(held) - windows} ranges "
    said += f"as usual; {own or 'none'} of these {'is' if own == 1 else 'are'} its own"
    return (
        f"{said}, and {gone} of those shipped {'is' if gone == 1 else 'are'} left out."
        if gone
        else f"{said}."
    )


def rules_rest_on(rules: HouseRules) -> str:
    """Who set the rules and when, and how many of the numbers have no source."""
    held = rules_table(rules).query("held")
    bare = int(held["source"].str.contains("no source").sum())
    history = parts.store().rules_history()
    if history:
        number, when, who, _ = history[-1]
        by = f" by {who}" if who else ""
        said = f"Set{by} on {when:%Y-%m-%d %H:%M} UTC (version {number})"
    else:
        said = "As shipped; nobody has set rules here yet"
    return f"{said}. {bare} of {len(held)} ranges are common practice without a source."


def rules_to_start_from(attempt: int) -> HouseRules:
    """The rules the table begins with: those in force, the shipped ones, or a file's."""
    chosen = st.segmented_control(
        "Start from", STARTS, default=STARTS[0], key=f"rules_start_{attempt}"
    )
    if chosen == STARTS[1]:
        return default_rules()
    if chosen != STARTS[2]:
        return parts.store().rules()
    file = st.file_uploader(
        "House rules (TOML), whole or only what differs from the rules as shipped",
        key=f"rules_file_{attempt}",
    )
    return parts.store().rules() if file is None else rules_of(file.name, file.getvalue())


def rules_of(name: str, content: bytes) -> HouseRules:
    """The rules in a file brought in; `RuleFault` with line and key for what cannot be used."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as wrong:
        raise RuleFault(f"{name}: not in UTF-8. Save the file as UTF-8 text.") from wrong
    try:
        return read_rules(text + "\n")  # with a line end it is text, never taken for a path
    except RuleFault as wrong:
        raise RuleFault(str(wrong).replace("house rules", name, 1)) from wrong


def edited(start: HouseRules) -> HouseRules:
    """The rules as the table and the settings have them now; `RuleFault` for what cannot be."""
    mark = hashlib.sha256(rules_as_toml(start).encode()).hexdigest()[:12]
    settled = _settings(start, mark)
    table = rules_table(start)
    windows = table["rule"].str.startswith("windows.")
    held, usual = st.tabs(["What the house holds to", "What is usual in a column"])
    with held:
        first = _editor(table[windows], f"edit_windows_{mark}", "windows")
    with usual:
        second = _editor(table[~windows], f"edit_usual_{mark}", "usual ranges")
    return rules_from_table(pd.concat([first, second]), settled)


def _settings(start: HouseRules, mark: str) -> HouseRules:
    zones = time_zones()
    name = st.text_input(
        "Name of the distillery",
        start.distillery,
        key=f"distillery_{mark}",
        max_chars=60,
        help="Stands over every page and letter.",
    )
    one, two, three, four = st.columns(4)
    with one:
        zone = st.selectbox(
            "Time zone",
            zones,
            index=zones.index(start.time_zone),
            key=f"zone_{mark}",
            help="How clock times in the next files are read. What is in the store stays as read.",
        )
    with two:
        zero = st.selectbox(
            "Hour zero",
            HOUR_ZEROS,
            index=HOUR_ZEROS.index(start.hour_zero),
            key=f"zero_{mark}",
            help="The moment hours count from. Where it is not on record hours count from yeast "
            "in, and that is said. Hours written in files are taken as counted from it too.",
        )
    with three:
        group = st.number_input(
            "Smallest group of growers",
            FEWEST_IN_A_GROUP,
            MOST_IN_A_GROUP,
            start.smallest_group,
            key=f"group_{mark}",
            help="Growers a group needs before its middle is shown to another grower.",
        )
    with four:
        feints = st.selectbox(
            "Feints kept apart",
            FEINTS,
            index=FEINTS.index(start.feints_kept_apart),
            key=f"feints_{mark}",
            help="Whether foreshots and feints stay out of the next lot.",
        )
    return replace(
        start,
        distillery=name.strip(),
        time_zone=zone or start.time_zone,
        zone_stated=True,
        hour_zero=zero or start.hour_zero,
        smallest_group=int(group),
        feints_kept_apart=feints or start.feints_kept_apart,
    )


def _editor(table: pd.DataFrame, key: str, says: str) -> pd.DataFrame:
    shown = ["held", "says", "low", "high", "unit", "source", "standing", "used_for", "rule"]
    fixed = ["says", "unit", "standing", "used_for", "rule"]
    column = st.column_config
    return st.data_editor(
        table[shown],
        key=key,
        hide_index=True,
        disabled=fixed,
        height=460,
        alt=f"Table of {says} to change",
        placeholder="open",
        column_config={
            "held": column.CheckboxColumn("held to", width=95),
            "says": column.TextColumn("what", width="medium"),
            "low": column.NumberColumn("from", help="Empty: open", width=80),
            "high": column.NumberColumn("to", help="Empty: open", width=80),
            "unit": column.TextColumn("unit", width=90),
            "source": column.TextColumn(
                "source", help="Where the numbers came from", width="medium"
            ),
            "standing": column.TextColumn("standing", width=100),
            "used_for": column.TextColumn("used for", width="medium"),
            "rule": column.TextColumn("name in the file", width="medium"),
        },
    )


def save_rules(after: HouseRules, attempt: int) -> None:
    """What would change, and the button that sets it."""
    changes = rules_changes(parts.store().rules(), after)
    if changes.empty:
        st.caption("Nothing is changed against the rules in force.")
        return
    st.header("What would change", anchor=False)
    parts.show_table(changes, "rules_changes")
    with st.form("set_rules", border=True):
        who = st.text_input("Who sets these rules (initials or a name the site uses)")
        if st.form_submit_button(
            f"Set these rules ({count(len(changes), 'change')})", type="primary"
        ):
            if not who.strip():
                st.error("Rules are kept with who set them. Say who.", icon=":material/error:")
                return
            parts.store().set_rules(after, who.strip())
            st.session_state["rules_saved"] = f"{count(len(changes), 'rule')} set by {who.strip()}."
            st.session_state["rules_attempt"] = attempt + 1
            st.rerun()


def rules_history_table() -> pd.DataFrame:
    """One row per rule changed: `version, set_at, who, rule, before, after`, latest first."""
    before = default_rules()
    rows: list[tuple[object, ...]] = []
    for number, when, who, rules in parts.store().rules_history():
        changed = rules_changes(before, rules).itertuples(index=False)
        rows = [*((number, when, who, *line) for line in changed), *rows]
        before = rules
    return pd.DataFrame(rows, columns=["version", "set_at", "who", *CHANGED])


# Where a figure came from


_ASKED = ("what", "sheet", "key", "row", "column", "of", "figure")


def from_address() -> None:
    """Put what an address asks for into the choices, once, when it is not the page's own.

    Bound widgets would not do: coming from a link within the app they keep what they had.
    """
    asked = {name: text for name, text in st.query_params.to_dict().items() if name in _ASKED}
    if asked and asked != st.session_state.get("trace_address"):
        for name in _ASKED:
            st.session_state.pop(f"trace_{name}", None)
        st.session_state.update({f"trace_{name}": text for name, text in asked.items()})


def to_address() -> None:
    """Keep the choices made in the address, so that a bookmark reopens them."""
    cell = st.session_state.get("trace_what") != FIGURE
    names = ("what", *(("sheet", "key", "row", "column") if cell else ("of", "figure")))
    chosen = {name: str(st.session_state.get(f"trace_{name}") or "") for name in names}
    told = {name: text for name, text in chosen.items() if text}
    # A link from this page to itself reaches the script but leaves the browser's address bar.
    if told != st.query_params.to_dict() or told != st.session_state.get("trace_address"):
        st.query_params.from_dict(told)
    st.session_state["trace_address"] = told


def choose(label: str, options: Sequence[str], name: str, width: int) -> str:
    """One of `options`; what was asked for and is not among them gives the first.

    Raises `NotEnoughData` where there is none.
    """
    if not options:
        raise NotEnoughData(
            f"There is no {label.lower()} to choose: no sheet taken in so far names one here."
        )
    key = f"trace_{name}"
    if st.session_state.get(key) not in options:
        st.session_state[key] = options[0]
    return st.selectbox(label, options, key=key, width=width) or options[0]


def cell_or_figure() -> str:
    """Whether a recorded cell is looked for or what a worked-out figure was made of."""
    if st.session_state.get("trace_what") not in (CELL, FIGURE):
        st.session_state["trace_what"] = CELL
    return st.segmented_control("Trace", [CELL, FIGURE], key="trace_what", required=True) or CELL


def cell_choice() -> tuple[str, Key, str] | None:
    """Sheet, row and column, kept in the address as `?sheet=&key=&row=&column=`; or None."""
    with st.container(horizontal=True, key="noprint_cell"):
        batches_first = ["fermentations", *(name for name in SHEETS if name != "fermentations")]
        sheet = choose("Sheet", batches_first, "sheet", width=180)
        names = names_in(parts.store(), sheet)
        if not names:
            st.caption(f"There is no row of {plain(sheet)} in the store.")
            return None
        first = words.label(SHEETS[sheet].key[0])
        name = choose(first, names, "key", width=200)
        keys = rows_under(parts.store(), sheet, name)
        if len(SHEETS[sheet].key) == 1:
            st.session_state.pop("trace_row", None)
        else:
            rest = " / ".join(words.label(one) for one in SHEETS[sheet].key[1:])
            row = choose(rest, keys["row"].tolist(), "row", width=420)
            keys = keys[keys["row"] == row]
        column = pick_by_label("Column", SHEETS[sheet].names(), "column", width=300)
    key = {str(name): cell for name, cell in keys.iloc[0].drop("row").items()}
    return sheet, key, column


def pick_by_label(label: str, names: Sequence[str], key: str, width: int) -> str:
    """One of `names`, chosen and kept in the address by what people call it."""
    by_label = {words.label(name): name for name in names}
    return by_label[choose(label, list(by_label), key, width)]


def row_table(sheet: str, key: Key) -> tuple[pd.DataFrame, dict[str, Traced]]:
    """Every cell of a row: `cell, value, as_written, meaning, corrected`, and each one's trace."""
    store = parts.store()
    traced = {name: trace(store, sheet, key, name) for name in SHEETS[sheet].names()}
    corrected = set(next(iter(traced.values())).corrections["column"])
    rows = [
        (
            words.label(name),
            one.value,
            one.cell,
            SHEETS[sheet].column(name).says,
            "yes" if name in corrected else "",
        )
        for name, one in traced.items()
    ]
    names = ["cell", "value", "as_written", "meaning", "corrected"]
    return pd.DataFrame(rows, columns=names, dtype="str"), traced


def original_button(traced: Traced) -> None:
    """The file the cell stands in, as it was brought in."""
    name = traced.file
    try:
        name, _ = original_of(parts.store(), traced)
    except OriginCompareError as fault:
        st.caption(plain(fault))
        return
    st.download_button(
        f"The original file, {plain(name)}",
        data=lambda: original_of(parts.store(), traced)[1],
        file_name=name.rsplit("/", 1)[-1],
        key="original",
        on_click="ignore",
        icon=":material/draft:",
        type="tertiary",
    )


def correct_cell(sheet: str, key: Key, column: str, traced: Traced) -> None:
    """A form to correct one cell: a text as in a file, who and why.

    What is replaced is the value the form was last drawn with, not one that came in meanwhile.
    After each correction the form is another one: a second press finds no button.
    """
    place = f"correct_{sheet}_{traced.key}_{column}_{st.session_state.get('corrections', 0)}"
    shown = st.session_state.get("shown_to_correct", {}).get(place, traced.value)
    st.session_state["shown_to_correct"] = {place: traced.value}
    with st.form(place, border=True, clear_on_submit=False):
        left, middle, right = st.columns([2, 1, 3])
        with left:
            typed = st.text_input(
                f"{words.label(column)}, as it would stand in a file",
                placeholder=traced.value or "empty",
                key=f"typed_{place}",
            )
            emptied = st.checkbox("Leave this cell without a value", key=f"emptied_{place}")
        with middle:
            who = st.text_input("Who", key=f"who_{place}")
        with right:
            why = st.text_input("Why", placeholder="read off the card again", key=f"why_{place}")
        if not st.form_submit_button("Correct this cell", type="primary"):
            return
        try:
            new = _new_text(typed, emptied)
            after = correct(parts.store(), sheet, key, column, new, who, why, instead_of=shown)
        except OriginCompareError as fault:
            st.error(plain(fault), icon=":material/error:")
            return
        st.session_state["corrected"] = (
            f"{words.label(column)} of {after.key} was {shown or 'empty'} and is "
            f"{after.value or 'empty'} now."
        )
        st.session_state["corrections"] = st.session_state.get("corrections", 0) + 1
        st.rerun()


def _new_text(typed: str, emptied: bool) -> str | None:
    """What is to stand in the cell; None where it is to be emptied."""
    if emptied and typed.strip():
        raise StoreFault(
            "A value was typed and the cell is to be left without one. Take one of the two back."
        )
    return None if emptied else typed


def corrections_table(corrections: pd.DataFrame) -> None:
    """All corrections, latest first, with their download."""
    st.header("Corrections", anchor=False)
    if corrections.empty:
        st.caption("Nothing in the store was corrected yet.")
        return
    parts.show_table(corrections.iloc[::-1], "corrections")


def placed(sources: Sources) -> pd.DataFrame:
    """The cells behind a figure with the place each stands at: file, tab and row."""
    cells = sources.table()
    found = [
        places(parts.store(), str(sheet), [sources.keys[int(at)] for at in mine.index]).set_index(
            mine.index
        )
        for sheet, mine in cells.groupby("sheet", sort=False)
    ]
    if not found:
        return cells
    where = pd.concat(found).sort_index()
    at = where["row"].astype("Int64")
    return cells.assign(file=where["file"], tab=where["tab"], file_row=at)


def link_to_cell(sources: Sources, at: int) -> None:
    """A link to one of the cells behind a figure."""
    line, key = sources.cells.iloc[at], sources.keys[at]
    name = str(key[SHEETS[line["sheet"]].key[0]])
    rest = str(line["row"]).removeprefix(name).removeprefix(" / ")
    query = {"what": CELL, "sheet": line["sheet"], "key": name}
    st.page_link(
        parts.page_file("trace"),
        label="Open this cell",
        icon=":material/arrow_forward:",
        query_params=query
        | {"column": words.label(str(line["column"]))}
        | ({"row": rest} if rest else {}),
    )
