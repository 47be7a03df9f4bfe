"""The sensory panel: how it performs, what it says of each batch, what a difference test shows."""

from origin_compare.panel.adjusting import adjusted
from origin_compare.panel.agreement import Intraclass, intraclass
from origin_compare.panel.at_one_cut import AtOneCut, at_one_cut
from origin_compare.panel.cautions import TASTING_CAUTIONS
from origin_compare.panel.difference import (
    Difference,
    Distance,
    compare,
    d_prime,
    maximum_correct,
    minimum_correct,
    p_value,
    power,
    power_alike,
    sample_size,
    sample_size_alike,
)
from origin_compare.panel.drift import Drift, drift
from origin_compare.panel.due import Due, due
from origin_compare.panel.filled_files import filled_rows, read_back
from origin_compare.panel.filled_sheets import FilledSheets, read_filled
from origin_compare.panel.kept_plans import KeptPlan, plan_as_text, read_plan, with_keys
from origin_compare.panel.performance import Performance, assess
from origin_compare.panel.profile import Profile, Verdict
from origin_compare.panel.seeing_power import SmallestGap, needed_for, smallest_gap
from origin_compare.panel.serving import TastingPlan, plan_tasting, serving_plan
from origin_compare.panel.session import Session, session, usual_tasting
from origin_compare.panel.side_by_side import Gap, gap

__all__ = [
    "TASTING_CAUTIONS",
    "AtOneCut",
    "Difference",
    "Distance",
    "Drift",
    "Due",
    "FilledSheets",
    "Gap",
    "Intraclass",
    "KeptPlan",
    "Performance",
    "Profile",
    "Session",
    "SmallestGap",
    "TastingPlan",
    "Verdict",
    "adjusted",
    "assess",
    "at_one_cut",
    "compare",
    "d_prime",
    "drift",
    "due",
    "filled_rows",
    "gap",
    "intraclass",
    "maximum_correct",
    "minimum_correct",
    "needed_for",
    "p_value",
    "plan_as_text",
    "plan_tasting",
    "power",
    "power_alike",
    "read_back",
    "read_filled",
    "read_plan",
    "sample_size",
    "sample_size_alike",
    "serving_plan",
    "session",
    "smallest_gap",
    "usual_tasting",
    "with_keys",
]
