"""The sensory panel: how it performs, what it says of each batch, what a difference test shows."""

from origin_compare.panel.assessors.drift import Drift, drift
from origin_compare.panel.assessors.intraclass import Intraclass, intraclass
from origin_compare.panel.assessors.performance import Performance, assess
from origin_compare.panel.assessors.session import Session, session, usual_tasting
from origin_compare.panel.discrimination.difference import (
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
from origin_compare.panel.profile.adjusting import adjusted
from origin_compare.panel.profile.at_one_cut import AtOneCut, at_one_cut
from origin_compare.panel.profile.pair import Gap, gap
from origin_compare.panel.profile.profile import Profile, Verdict
from origin_compare.panel.profile.smallest_gap import SmallestGap, needed_for, smallest_gap
from origin_compare.panel.tastings.cautions import TASTING_CAUTIONS
from origin_compare.panel.tastings.due import Due, due
from origin_compare.panel.tastings.filled_files import filled_rows, read_back
from origin_compare.panel.tastings.filled_sheets import FilledSheets, read_filled
from origin_compare.panel.tastings.kept_plans import KeptPlan, plan_as_text, read_plan, with_keys
from origin_compare.panel.tastings.serving import TastingPlan, plan_tasting, serving_plan

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
