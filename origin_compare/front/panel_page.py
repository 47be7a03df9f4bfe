"""The panel page's pieces: what it tells apart, one batch, the smallest gap, difference tests."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import streamlit as st

from origin_compare import panel, words
from origin_compare.answers import count
from origin_compare.errors import NotEnoughData
from origin_compare.figures import panel as draw
from origin_compare.figures import profiles
from origin_compare.front import parts
from origin_compare.panel import Profile
from origin_compare.panel.profile.smallest_gap import Between
from origin_compare.questions import Questions
from origin_compare.trace.leads import leading
from origin_compare.typed import plain

VIEWS = ("Panel", "Assessors", "Tastings", "Tests")
NO_OTHER = "no other batch"
TESTS = {
    "triangle": "triangle: which of three is the odd one",
    "duo-trio": "duo-trio: which of two is the reference",
    "paired": "paired: which is stronger, one way expected",
    "paired-two-sided": "paired: which is stronger, either way",
    "tetrad": "tetrad: sort four into two pairs",
}


def view() -> str:
    """What is looked at, kept in the address; an assessor or tasting named there opens itself."""
    asked = st.query_params
    first = (
        "Assessors"
        if "assessor" in asked
        else "Tastings"
        if "tasting" in asked or "drift_on" in asked
        else "Panel"
    )
    with st.container(key="noprint_view"):
        chosen = st.segmented_control(
            "Look at", VIEWS, default=first, key="view", bind="query-params", required=True
        )
    return chosen or first


def profile_of(asked: Questions) -> Profile:
    """The panel's profile, adjusted while the reader is told to wait."""
    with st.spinner("Adjusting the panel's scores …"):
        return asked.profile


def at_a_glance(profile: Profile) -> None:
    """What the panel can and cannot tell, attribute by attribute."""
    parts.sentence(profile.sentence())
    parts.figure_beside_table(
        draw.reliability(profile, parts.is_dark()),
        profile.reliability(),
        "panel",
        "For each attribute the share of the spread between batches that is not panel noise; "
        "open marks cannot be told apart.",
    )
    parts.rests_on(profile.rests_on())


def smallest(asked: Questions, profile: Profile) -> None:
    """The smallest gap the panel could have seen, and what would see a smaller one."""
    st.header("The smallest gap this panel could have seen", anchor=False)
    usual = panel.usual_tasting(asked.season.sheets["scores"])
    found = panel.smallest_gap(profile, *usual)
    parts.sentence(found.sentence())
    table = found.table()
    last = ~table["attribute"].isin(profile.told)
    table = table.assign(told_apart=~last).sort_values("told_apart", ascending=False, kind="stable")
    table = table[["attribute", "gap", "told_apart", "sd_panel", "sd_batch"]].round(2)
    table = table.rename(
        columns={
            "gap": "smallest gap, points",
            "sd_panel": "panel's error of a batch, sd",
            "sd_batch": "spread between batches, sd",
        }
    )
    parts.figure_beside_table(
        draw.smallest_gaps(found, profile.told, parts.is_dark()),
        table,
        "smallest_gap",
        "For each attribute the smallest gap between two batches that would be seen four times "
        "in five; attributes not told apart come last and grey.",
    )
    parts.rests_on(found.rests_on())
    _needed(profile)


@st.fragment
def _needed(profile: Profile) -> None:
    st.subheader("What would it take to see a given gap?", anchor=False)
    with st.form("needed", border=True):
        left, middle, right = st.columns(3)
        gap = left.number_input("Gap worth seeing, points", 0.1, 10.0, 1.0, 0.1, key="needed_gap")
        attribute = middle.selectbox(
            "Attribute",
            list(profile.attributes),
            key="needed_attribute",
            format_func=lambda name: _named(name, profile),
        )
        between = right.selectbox(
            "Between",
            ["batches", "origins"],
            key="needed_between",
            format_func=lambda name: {
                "batches": "two batches of one tasting",
                "origins": "two origins (fields, growers)",
            }[name],
        )
        st.form_submit_button("What is needed?", type="primary")
    variance = {attribute: profile.verdict(attribute).components.variance}
    side: Between = "origins" if between == "origins" else "batches"
    table = panel.needed_for(gap, variance, between=side)
    parts.sentence(_needed_sentence(table, gap, attribute, between))
    parts.show_table(_needed_grid(table), "needed_for")
    st.caption(
        "Least batches "
        + ("of each origin" if between == "origins" else "in the tasting")
        + ", by assessors and replicates, with which the gap is seen four times in five by a "
        "two-sided test at 5 %."
    )


def _needed_grid(table: pd.DataFrame) -> pd.DataFrame:
    """Assessors down, replicates across, batches in the cells."""
    said = table["batches"].astype("string").fillna("more than 60")
    grid = table.assign(said=said).pivot(index="assessors", columns="replicates", values="said")
    grid.columns = pd.Index([count(int(times), "replicate") for times in grid.columns])
    return grid.reset_index()


def _named(attribute: str, profile: Profile) -> str:
    name = words.flavour(attribute)
    return name if attribute in profile.told else f"{name} (not told apart here)"


def _needed_sentence(table: pd.DataFrame, gap: float, attribute: str, between: str) -> str:
    what = f"A gap of {gap:g} on {words.flavour(attribute)}"
    between_what = "two batches" if between == "batches" else "two origins"
    enough = table.dropna(subset="batches")
    if enough.empty:
        people, times = int(table["assessors"].max()), int(table["replicates"].max())
        return (
            f"{what} between {between_what} would not be seen reliably with up to {people} "
            f"assessors and {times} replicates."
        )
    least = enough.sort_values(["glasses", "assessors"]).iloc[0]
    batches = (
        f"in a tasting of {count(int(least['batches']), 'batch')} or more"
        if between == "batches"
        else f"with {count(int(least['batches']), 'batch')} of each"
    )
    return (
        f"{what} between {between_what} is seen four times in five {batches}, "
        f"{int(least['assessors'])} assessors and {count(int(least['replicates']), 'replicate')}: "
        f"{count(int(least['glasses']), 'glass', 'glasses')} for each assessor."
    )


def one_batch(asked: Questions, profile: Profile) -> None:
    """One batch's profile, alone or held against another; both kept in the address."""
    st.header("One batch's profile", anchor=False)
    left, right = st.columns([1, 3])
    with left:
        batch = parts.pick("Batch", list(profile.batches), "batch")
    with right:
        others = [NO_OTHER, *[name for name in profile.batches if name != batch]]
        beside = parts.pick("Held against", others, "beside", width=240)
    if beside != NO_OTHER:
        _beside(asked, profile, batch, beside)
        return
    table = profile.table()
    columns = ["attribute", "estimate", "low", "high", "se", "n_scores", "n_assessors"]
    parts.figure_beside_table(
        profiles.profile(table, batch, profile.told, parts.is_dark()),
        table.loc[table["batch_id"] == batch, columns],
        f"profile_{batch}",
        f"Adjusted score of {batch} on each attribute with its 95 % interval, the other batches "
        "in grey; attributes the panel cannot tell apart come last.",
        leading=leading(asked.season, batch_id=batch),
    )


def _beside(asked: Questions, profile: Profile, first: str, second: str) -> None:
    margin = st.number_input(
        "Alike below, points",
        0.1,
        10.0,
        None,
        0.1,
        key="alike_below",
        width=240,
        help="The gap below which the house calls two batches alike; set it before you look. "
        "Leave empty to ask for differences only.",
    )
    found = panel.gap(profile, first, second, margin)
    parts.sentence(found.sentence())
    table = found.table()
    columns = ["attribute", "verdict", "gap", "low", "high", "smallest_seen", "p_adjusted"]
    parts.figure_beside_table(
        draw.gaps(found, parts.is_dark()),
        table[columns]
        .round({"gap": 2, "smallest_seen": 1})
        .rename(columns={"smallest_seen": "smallest gap seen"}),
        f"gap_{first}_{second}",
        f"Gap between {first} and {second} on each attribute with its 95 % interval; grey where "
        "neither a difference nor likeness is shown.",
        leading=leading(asked.season, batch_id=first, beside=second),
    )
    parts.rests_on(found.rests_on())


def at_one_cut(asked: Questions, profile: Profile) -> None:
    """What goes with the strength of the cut, and the profiles at one cut."""
    st.header("At one strength of cut", anchor=False)
    try:
        found = panel.at_one_cut(profile, asked.season.batches)
    except NotEnoughData as fault:
        st.markdown(plain(fault))
        return
    parts.sentence(found.sentence())
    table = found.table().drop(columns=["se", "df", "p"])
    table["cut"] = table["cut"].map(words.label)
    table = table.rename(columns={"slope": "points per % vol"}).round({"points per % vol": 2})
    parts.show_table(table, "cut_slopes", 220)
    parts.rests_on(found.rests_on())
    st.caption("The profiles with the cut allowed for, to take away:")
    parts.download(found.estimates, "profiles_at_one_cut")


def in_plain_words() -> None:
    """What an interval is, and what a tasting must keep to."""
    with st.expander("What is a 95 % interval?", icon=":material/help:"):
        st.markdown(
            "Where the true value plausibly lies. Were the same spirit put before such a panel "
            "again and again, with an interval drawn each time, 95 of 100 intervals would hold "
            "the true value. Two batches whose intervals overlap widely cannot be told apart "
            "by this panel; that does not make them alike."
        )
    st.caption("Tasting: " + " ".join(panel.TASTING_CAUTIONS))


def difference_tests() -> None:
    """Triangle, duo-trio, paired and tetrad: so many correct, what does it show?"""
    with st.form("difference", border=True):
        first, second, third, fourth, fifth = st.columns([3, 1.4, 1.4, 1.4, 1.8])
        test = first.selectbox("Test", list(TESTS), format_func=TESTS.__getitem__, key="test")
        n = int(second.number_input("Answers", 1, 5000, 24, 1, key="answers"))
        correct = int(third.number_input("Correct", 0, 5000, 13, 1, key="correct"))
        alpha = fourth.selectbox(
            "Risk of a false alarm",
            [0.05, 0.01, 0.1],
            key="alpha",
            format_func=lambda value: f"{100 * value:g} %",
        )
        margin = fifth.number_input(
            "Alike below (d-prime)",
            0.1,
            5.0,
            None,
            0.1,
            key="margin",
            help="The difference below which the house calls two spirits alike; set it before "
            "the test. Leave empty to ask for a difference only.",
        )
        st.form_submit_button("What does it show?", type="primary")
    try:
        found = panel.compare(correct, n, test, alpha, margin)
    except ValueError as fault:
        st.warning(plain(fault), icon=":material/info:")
        return
    parts.sentence(found.sentence())
    enough = found.minimum <= n
    left, middle, right, last = st.columns(4)
    left.metric("Correct needed", found.minimum if enough else "not with so few")
    middle.metric("Chance alone (p)", "< 0.001" if found.p < 0.001 else f"{found.p:.3f}")
    d = found.distance
    right.metric(f"d-prime, 95 % {d.low:.2f} to {d.high:.2f}", f"{d.estimate:.2f}")
    last.metric(f"Power at d-prime {margin or 1:g}", f"{100 * found.power:.0f} %")
    if margin:
        most = panel.maximum_correct(n, margin, test, alpha)
        st.markdown(
            f"To call them alike within d-prime {margin:g}, at most **{most:d}** of {n:d} may be "
            "correct."
            if most >= 0
            else f"{n:d} answers are too few to call anything alike within d-prime {margin:g}."
        )
    parts.show_table(_in_words(found.table()), "difference_test")
    parts.rests_on(
        found.rests_on()
        + " d-prime: the distance between the two spirits in units of one assessor's own "
        "wavering; about 1 is just told apart by a careful taster (common practice, no source)."
    )
    _planning(test, alpha)


def _in_words(table: pd.DataFrame) -> pd.DataFrame:
    names = {
        "n": "answers",
        "minimum_correct": "correct needed",
        "d_prime": "d-prime",
        "d_prime_se": "d-prime, standard error",
        "d_prime_low": "d-prime, 95 % from",
        "d_prime_high": "d-prime, 95 % to",
        "margin": "alike below, d-prime",
        "p_alike": "p (alike)",
    }
    return table.assign(margin=table["margin"].astype("float64")).rename(columns=names).round(3)


def _planning(test: str, alpha: float) -> None:
    st.header("How many answers are needed?", anchor=False)
    table = pd.DataFrame({"d-prime": (0.75, 1.0, 1.5, 2.0)})
    sizes = (panel.sample_size, panel.sample_size_alike)
    for size, name in zip(sizes, ("to show a difference", "to show likeness"), strict=True):
        found = [_least(size, d_prime, test, alpha) for d_prime in table["d-prime"]]
        table[name] = pd.array(found, dtype="Int64")
    parts.show_table(table, "answers_needed")
    st.caption(
        "Answers with which a difference of that size is found four times in five, and with which "
        "two identical spirits are called alike within that size four times in five. Repeated "
        "answers of one assessor count as answers only if each is a fresh set of glasses."
    )


def _least(size: Callable[..., int], d_prime: float, test: str, alpha: float) -> int | None:
    try:
        return size(d_prime, test, alpha)
    except ValueError:
        return None
