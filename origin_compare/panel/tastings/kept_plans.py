"""A tasting plan as text and back, with its day, its strength and the assessors' keys."""

from __future__ import annotations

import json
import re
import secrets
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace

import pandas as pd

from origin_compare.panel.tastings.serving import TastingPlan
from origin_compare.panel.tastings.williams import Balance

_KEY = ["assessor_id", "replicate", "sitting", "position", "sample", "sample_kind", "code"]
_FORM = 1
_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
"""Of a key: none is easily taken for another, by eye or on a tablet."""
_KEY_LENGTH = 6
_ENDS = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(?:-|–|to)\s*(\d+(?:\.\d+)?)\s*")


@dataclass(frozen=True)
class KeptPlan:
    """A plan with what the scores sheet says beside it.

    `tasted_on`: YYYY-MM-DD or empty; `served_abv_pct`: strength in the glass; `how`: "nose only"
    or "nose, then palate". `keys`: assessor -> key, which opens that assessor's sheet and no other;
    empty until the plan is kept (`with_keys`).
    """

    plan: TastingPlan
    tasted_on: str = ""
    served_abv_pct: float = 20.0
    how: str = "nose only"
    keys: Mapping[str, str] = field(default_factory=dict)

    def whose(self, key: str) -> str | None:
        """The assessor whose key this is; None where it is nobody's."""
        given = key.strip().casefold()
        return next((who for who, own in self.keys.items() if own.casefold() == given), None)

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
        """The assessors of the plan, in its order."""
        return tuple(self.plan.key["assessor_id"].unique())


def with_keys(kept: KeptPlan) -> KeptPlan:
    """The plan with a fresh key for each assessor; not from the seed, so none can be worked out."""
    keys: dict[str, str] = {}
    for who in kept.assessors:
        key = ""
        while not key or key in keys.values():
            key = "".join(secrets.choice(_LETTERS) for _ in range(_KEY_LENGTH))
        keys[who] = key
    return replace(kept, keys=keys)


def plan_as_text(kept: KeptPlan) -> str:
    """The plan as JSON, every glass written out, so that no later version deals it otherwise."""
    plan = kept.plan
    said = {
        "form": _FORM,
        "tasting_id": plan.tasting_id,
        "tasted_on": kept.tasted_on,
        "served_abv_pct": kept.served_abv_pct,
        "how": kept.how,
        "keys": dict(kept.keys),
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
    # plans kept before there were keys are opened by the assessor's code
    keys = said.get("keys") or {who: who for who in key["assessor_id"].unique()}
    return KeptPlan(plan, said["tasted_on"], float(said["served_abv_pct"]), said["how"], keys)
