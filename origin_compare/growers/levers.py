"""What lies in a grower's hands and went with the grain or the yield, where the season bears it.

Growers' means are compared, one point per grower: two fields of one grower are not two proofs.
What went together over growers need not be cause, and the letter says so.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from origin_compare.estimates import ALPHA, Estimates, holm
from origin_compare.growers import privacy
from origin_compare.growers.flavours import CLEAR, HINT

FEWEST_GROWERS = 10
COLUMNS = ["lever", "outcome", "growers", "slope", "low", "high", "evidence", "says"]


@dataclass(frozen=True)
class Pair:
    """A lever, the step of it that is spoken of, and what it may go with."""

    lever: str
    step: float
    step_says: str
    outcome: str
    outcome_says: str
    unit: str


LATER, MORE_N, POINTS = (
    "Sowing ten days later",
    "Grain nitrogen 0.1 percentage points higher",
    "percentage points",
)
PAIRS = (
    Pair("sown_day", 10, LATER, "yield_t_ha", "yield", "t/ha"),
    Pair("sown_day", 10, LATER, "grain_n_pct_dm", "grain nitrogen", POINTS),
    Pair("sown_day", 10, LATER, "screenings_pct", "screenings", POINTS),
    Pair("grain_n_pct_dm", 0.1, MORE_N, "extract_pct_dm", "malt extract", POINTS),
    Pair(
        "grain_n_pct_dm",
        0.1,
        MORE_N,
        "spirit_yield_lpa_t",
        "spirit yield",
        "L of pure alcohol per tonne",
    ),
)


def levers(lots: pd.DataFrame, single: pd.DataFrame, smallest: int) -> pd.DataFrame:
    """One row per lever that went with something over the season's growers, columns `COLUMNS`.

    `lots`, `single`: the season's lots and its batches of one grower each. Least squares over
    growers' means, at least ten of them; `clear` holds over all pairs looked at together (Holm,
    Scand. J. Stat. 6 (1979) 65, from memory), `a hint` for the pair alone, both at 95 %. The rest
    is left out. `slope`, `low`, `high`: change of the outcome per step of the lever.
    """
    means = _means(lots, single, smallest)
    fits = [(pair, fit) for pair in PAIRS if (fit := _fit(pair, means, smallest)) is not None]
    fits.sort(key=lambda pair_fit: pair_fit[1]["p"])
    rows = [
        _row(pair, fit, CLEAR if together <= ALPHA else HINT)
        for (pair, fit), together in zip(fits, holm([fit["p"] for _, fit in fits]), strict=True)
        if fit["p"] <= ALPHA
    ]
    return pd.DataFrame(rows, columns=COLUMNS)


def _means(lots: pd.DataFrame, single: pd.DataFrame, smallest: int) -> pd.DataFrame:
    """One row per grower; a column whose growers may not be shown together is left out."""
    fields = lots.assign(sown_day=lots["sown_on"].dt.day_of_year.astype("float64"))
    columns = {}
    for frame, amount, names in (
        (fields, "delivered_t", ("sown_day", "yield_t_ha", "grain_n_pct_dm", "screenings_pct")),
        (single, "grist_kg", ("extract_pct_dm", "spirit_yield_lpa_t")),
    ):
        for name in (name for name in names if name in frame):
            known = frame[frame[name].notna()]
            if privacy.may_show(known, smallest, amount):
                columns[name] = known.groupby("grower_id")[name].mean()
    return pd.DataFrame(columns)


def _fit(pair: Pair, means: pd.DataFrame, smallest: int) -> dict[str, float] | None:
    from scipy.stats import linregress

    if not {pair.lever, pair.outcome} <= set(means):
        return None
    both = means[[pair.lever, pair.outcome]].dropna()
    if len(both) < max(FEWEST_GROWERS, smallest) or both[pair.lever].nunique() < 3:
        return None
    line = linregress(both[pair.lever], both[pair.outcome])
    low, high = Estimates(float(line.slope), float(line.stderr), len(both) - 2).interval()
    return {
        "p": float(line.pvalue),
        "growers": len(both),
        "slope": float(line.slope) * pair.step,
        "low": float(low) * pair.step,
        "high": float(high) * pair.step,
    }


def _row(pair: Pair, fit: dict[str, float], evidence: str) -> dict[str, object]:
    way = "more" if fit["slope"] > 0 else "less"
    least, most = sorted((abs(fit["low"]), abs(fit["high"])))
    says = (
        f"{pair.step_says} went with {abs(fit['slope']):.2g} {pair.unit} {way} {pair.outcome_says} "
        f"({least:.2g} to {most:.2g}; {fit['growers']:.0f} growers; {evidence}). "
        "It need not be the cause: talk to your agronomist before changing anything."
    )
    kept = {name: fit[name] for name in ("growers", "slope", "low", "high")}
    return {
        "lever": pair.lever,
        "outcome": pair.outcome,
        **kept,
        "evidence": evidence,
        "says": says,
    }
