"""New responses from fitted models, and what refitting them says."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare.answers import count
from origin_compare.errors import NotEnoughData
from origin_compare.mixed.design import Design
from origin_compare.mixed.fitting import Part, solve
from origin_compare.mixed.inference import coefficients
from origin_compare.mixed.likelihood.sums import Floats

Where = dict[int, tuple[Part, int]]
RESIDUAL = "residual"


@dataclass(frozen=True)
class Bootstrap:
    """Parametric bootstrap of a fit.

    `draws`: response, draw, kind (sd or fixed), term, value; one row per parameter and draw.
    """

    draws: pd.DataFrame
    n_draws: int
    seed: int

    def table(self, level: float = 0.95) -> pd.DataFrame:
        """response, kind, term, median, low, high: percentile intervals."""
        tail = 0.5 * (1.0 - level)
        groups = self.draws.groupby(["response", "kind", "term"], sort=False)["value"]
        ends = groups.quantile(np.array([0.5, tail, 1.0 - tail])).unstack()
        ends.columns = pd.Index(["median", "low", "high"])
        return ends.reset_index()

    def sentence(self) -> str:
        """How often a variance came out as zero, which is what a percentile hides."""
        sds = self.draws[self.draws["kind"] == "sd"]
        zero = float((sds["value"] == 0).mean()) if len(sds) else 0.0
        return (
            f"Simulated and fitted again {count(self.n_draws, 'time')}: "
            f"{zero:.0%} of the group sds came out as exactly zero."
        )

    def rests_on(self) -> str:
        sets = count(self.n_draws, "simulated set")
        return f"Rests on {sets} from the fitted model, seed {self.seed}."


def simulated(part: Part, place: int, random: np.random.Generator, times: int) -> Floats:
    """(n, times) new responses of one fitted model, in its units."""
    layout, nesting = part.layout, part.nesting
    beta = part.offset[place] + part.scale[place] * part.terms.solution[place, nesting.n_dense :]
    out = np.repeat((layout.Q @ beta)[:, None], times, axis=1)
    held = part.variances(place)
    for g, codes, size in zip(layout.groups, layout.codes, layout.sizes, strict=True):
        out += np.sqrt(held[g]) * random.standard_normal((size, times))[codes]
    return np.asarray(out + np.sqrt(held[-1]) * random.standard_normal(out.shape))


def draw(design: Design, where: Where, seed: int) -> pd.DataFrame:
    """One simulated set: columns are the responses, rows those of the data that were used."""
    random = np.random.default_rng(seed)
    table = pd.DataFrame(np.nan, index=design.index, columns=list(design.responses))
    for r, name in enumerate(design.responses):
        part, place = where[r]
        values = np.full(len(design.rows), np.nan)
        values[part.layout.rows] = simulated(part, place, random, 1)[:, 0]
        table[name] = values
    return table


def redraw(design: Design, where: Where, seed: int, draws: int) -> Bootstrap:
    """Simulate each response `draws` times and fit all draws of a response side by side.

    Responses whose own fit did not converge are left out.
    """
    if draws < 1:
        raise ValueError(f"draws is {draws}: give at least 1, usually 200 or more.")
    random = np.random.default_rng(seed)
    frames = []
    for r, name in enumerate(design.responses):
        part, place = where[r]
        if part.status[place] == "not_converged":
            continue
        again = solve(part.layout, simulated(part, place, random, draws), tuple(range(draws)))
        columns = {
            ("sd", design.groups[g].name): [np.sqrt(again.variances(d)[g]) for d in range(draws)]
            for g in part.layout.groups
        }
        columns[("sd", RESIDUAL)] = [np.sqrt(again.variances(d)[-1]) for d in range(draws)]
        estimates = np.array([c.estimate for c in coefficients(again)])
        for j, term in enumerate(part.layout.names):
            columns[("fixed", term)] = list(estimates[:, j])
        for (kind, term), values in columns.items():
            frames.append(
                pd.DataFrame(
                    {
                        "response": name,
                        "draw": range(draws),
                        "kind": kind,
                        "term": term,
                        "value": values,
                    }
                )
            )
    if not frames:
        raise NotEnoughData("No fit has converged, so there is nothing to simulate from.")
    return Bootstrap(pd.concat(frames, ignore_index=True), draws, seed)
