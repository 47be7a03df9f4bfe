"""A recipe's limits as figures for the solver, and in words when they fight each other."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.answers import count, listed
from origin_compare.vatting.water import kg_per_lpa
from origin_compare.vatting.wish import Wish

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Limits:
    """What the shares of n batches must keep to; shares are of pure alcohol and add up to 1.

    `stock`: largest share each batch has the litres for. `most_share`; `least` and `draw`:
    smallest share of a batch that is in at all. `must`: batches that must be in.
    `origins`: grower -> (which batches are the grower's, least share together).
    `mass`: kg of spirit per litre of alcohol, together at most `most_mass` (water only weakens).
    `words`: name of each limit -> the limit in words.
    """

    stock: Floats
    most_share: float
    least: Floats
    draw: Floats
    most_batches: int
    fewest_batches: int
    must: Flags
    origins: Mapping[str, tuple[Flags, float]]
    mass: Floats
    most_mass: float
    words: Mapping[str, str]

    @property
    def upper(self) -> Floats:
        """Largest share of each batch."""
        return np.minimum(self.stock, self.most_share)

    @property
    def lower(self) -> Floats:
        """Smallest share of each batch that is in at all."""
        return np.maximum(self.least, self.draw)

    def only(self, rows: Flags) -> Limits:
        """The same limits for some of the batches."""
        return replace(
            self,
            stock=self.stock[rows],
            least=self.least[rows],
            draw=self.draw[rows],
            must=self.must[rows],
            mass=self.mass[rows],
            origins={name: (own[rows], share) for name, (own, share) in self.origins.items()},
        )

    def without(self, name: str) -> Limits:
        """The same limits but one, named as in `words`."""
        return replace(
            self,
            words={key: words for key, words in self.words.items() if key != name},
            **self._lifted(name),
        )

    def _lifted(self, name: str) -> dict[str, Any]:
        n = len(self.stock)
        if name.startswith("origin "):
            return {"origins": {k: v for k, v in self.origins.items() if f"origin {k}" != name}}
        if name.startswith("must "):
            return {"must": np.zeros(n, dtype=bool)}
        lifted: dict[str, dict[str, Any]] = {
            "stock": {"stock": np.ones(n)},
            "most_share": {"most_share": 1.0},
            "least": {"least": np.zeros(n)},
            "draw": {"draw": np.zeros(n)},
            "most_batches": {"most_batches": n},
            "fewest_batches": {"fewest_batches": 1},
            "strength": {"most_mass": np.inf},
        }
        return lifted[name]


def limits_of(held: pd.DataFrame, wish: Wish, lpa: float) -> Limits:
    """The limits of a wish for the batches in `held` (`stock.drawable`) and `lpa` in all."""
    strength = held["new_make_abv_pct"].to_numpy(dtype=float)
    growers = held["grower_id"] if wish.at_least else pd.Series(index=held.index, dtype=object)
    return Limits(
        stock=np.minimum(held["lpa"].to_numpy(dtype=float) / lpa, 1.0),
        most_share=wish.most_share,
        least=np.full(len(held), wish.least_share),
        draw=wish.least_draw_l * strength / 100 / lpa,
        most_batches=int(wish.most_batches),
        fewest_batches=int(wish.fewest_batches),
        must=held["batch_id"].isin(wish.must_hold).to_numpy(),
        origins={
            grower: ((growers == grower).to_numpy(), float(share))
            for grower, share in wish.at_least.items()
        },
        mass=kg_per_lpa(strength),
        most_mass=float("inf") if wish.strength_pct is None else _mass(wish.strength_pct),
        words=_words(wish, lpa),
    )


def _mass(strength_pct: float) -> float:
    return float(kg_per_lpa(strength_pct))


def _words(wish: Wish, lpa: float) -> dict[str, str]:
    words = {"stock": f"{lpa:,.0f} L of pure alcohol from what each batch has left"}
    words["most_batches"] = f"at most {count(int(wish.most_batches), 'part')}"
    if wish.fewest_batches > 1:
        words["fewest_batches"] = f"at least {count(int(wish.fewest_batches), 'part')}"
    if wish.most_share < 1:
        words["most_share"] = f"no part above {wish.most_share:.0%}"
    if wish.least_share > 0:
        words["least"] = f"no part below {wish.least_share:.0%}"
    if wish.least_draw_l > 0:
        words["draw"] = f"no draw below {wish.least_draw_l:,.0f} L"
    if len(wish.must_hold):
        words["must "] = f"{listed(list(wish.must_hold), 8)} in the recipe"
    for grower, share in wish.at_least.items():
        words[f"origin {grower}"] = f"at least {share:.0%} from {grower}"
    if wish.strength_pct is not None:
        words["strength"] = f"{wish.strength_pct:g} % vol or more before water"
    return words
