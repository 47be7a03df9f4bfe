"""A tasting plan as text and back, with the day and the strength it is served at."""

from __future__ import annotations

import json
import re
from dataclasses import asdict, dataclass

import pandas as pd

from origin_compare.panel.serving import TastingPlan
from origin_compare.panel.williams import Balance

_KEY = ["assessor_id", "replicate", "sitting", "position", "sample", "sample_kind", "code"]
_FORM = 1
_ENDS = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(?:-|–|to)\s*(\d+(?:\.\d+)?)\s*")


@dataclass(frozen=True)
class KeptPlan:
    """A plan with what the scores sheet says beside it.

    `tasted_on`: YYYY-MM-DD or empty; `served_abv_pct`: strength in the glass; `how`: "nose only"
    or "nose, then palate".
    """

    plan: TastingPlan
    tasted_on: str = ""
    served_abv_pct: float = 20.0
    how: str = "nose only"

    def glasses(self, assessor_id: str) -> pd.DataFrame:
        """One assessor's glasses in the order served: sitting, position, code; no sample named."""
        own = self.plan.key[self.plan.key["assessor_id"].eq(assessor_id)]
        return own[["sitting", "replicate", "position", "code"]].reset_index(drop=True)

    @property
    def ends(self) -> tuple[float, float]:
        """The ends of the scale; 0 to 100 where its name does not say them."""
        found = _ENDS.fullmatch(self.plan.scale)
        low, high = (float(found[1]), float(found[2])) if found else (0.0, 100.0)
        return (low, high) if low < high else (0.0, 100.0)

    @property
    def assessors(self) -> tuple[str, ...]:
        return tuple(self.plan.key["assessor_id"].unique())


def plan_as_text(kept: KeptPlan) -> str:
    """The plan as JSON, every glass written out, so that no later version deals it otherwise."""
    plan = kept.plan
    said = {
        "form": _FORM,
        "tasting_id": plan.tasting_id,
        "tasted_on": kept.tasted_on,
        "served_abv_pct": kept.served_abv_pct,
        "how": kept.how,
        "scale": plan.scale,
        "seed": plan.seed,
        "attributes": list(plan.attributes),
        "evenness": asdict(plan.evenness),
        "columns": _KEY,
        "key": plan.key[_KEY].to_numpy(dtype=object).tolist(),
    }
    return json.dumps(said, ensure_ascii=False)


def read_plan(text: str) -> KeptPlan:
    """The plan that `plan_as_text` wrote; `ValueError` for the text of a later form."""
    said = json.loads(text)
    if said["form"] != _FORM:
        raise ValueError(
            f"form: {said['form']} of this tasting plan is not known. It was kept by a newer "
            "version of this program; install that."
        )
    key = pd.DataFrame(said["key"], columns=said["columns"])
    plan = TastingPlan(
        said["tasting_id"],
        key,
        Balance(**said["evenness"]),
        tuple(said["attributes"]),
        said["scale"],
        int(said["seed"]),
    )
    return KeptPlan(plan, said["tasted_on"], float(said["served_abv_pct"]), said["how"])
