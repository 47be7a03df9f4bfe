"""The sensory panel: how it performs, what it says of each batch, what a difference test shows."""

from origin_compare.panel.adjusting import adjusted
from origin_compare.panel.agreement import Intraclass, intraclass
from origin_compare.panel.difference import (
    Difference,
    Distance,
    compare,
    d_prime,
    maximum_correct,
    minimum_correct,
    p_value,
    power,
    sample_size,
)
from origin_compare.panel.profile import Profile, Verdict
from origin_compare.panel.serving import TastingPlan, plan_tasting, serving_plan

__all__ = [
    "Difference",
    "Distance",
    "Intraclass",
    "Profile",
    "TastingPlan",
    "Verdict",
    "adjusted",
    "compare",
    "d_prime",
    "intraclass",
    "maximum_correct",
    "minimum_correct",
    "p_value",
    "plan_tasting",
    "power",
    "sample_size",
    "serving_plan",
]
