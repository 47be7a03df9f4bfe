"""What a fit says: one row per response, and everything that can be asked of it afterwards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.errors import UnknownName
from origin_compare.mixed.design import Design, build, said
from origin_compare.mixed.fitting import Part, fit_parts
from origin_compare.mixed.inference import Coefficients, coefficients, satterthwaite, two_sided
from origin_compare.mixed.modes import modes

RESIDUAL = "residual"


@dataclass(frozen=True)
class MixedFit:
    """Mixed models of one design, one for each response.

    `criterion`: Series by response, minus twice the restricted log-likelihood.
    `status`: Series by response: "ok"; "boundary" (a variance is exactly zero); "not_identified"
    (a group cannot be told from another or from the residual: its variance is missing, and
    `notes` says where it went); "not_converged".
    `components`: response, group (with `residual`), variance, sd, in the response's units.
    `fixed`: response, term, estimate, se, df, t, p; degrees of freedom after Satterthwaite.
    `notes`: response, note: all that a reader must know before the numbers.
    `n_rows`: Series by response, rows used; `left_out`: rows dropped for all, by cause.
    """

    responses: tuple[str, ...]
    groups: tuple[str, ...]
    formula: str
    criterion: pd.Series
    status: pd.Series
    components: pd.DataFrame
    fixed: pd.DataFrame
    notes: pd.DataFrame
    n_rows: pd.Series
    left_out: dict[str, int]
    design: Design = field(repr=False)
    parts: tuple[Part, ...] = field(repr=False)

    def effects(self, group: str) -> pd.DataFrame:
        """Conditional modes of a group's levels.

        Columns: response, group, level, one column per part of a group such as assessor:batch,
        estimate, se (fixed part and variances as known), prediction_se (with the fixed part's
        own uncertainty). Missing where the group could not be told apart. Raises `UnknownName`.
        """
        g = self._group_place(group)
        grouping = self.design.groups[g]
        tables = []
        for r, name in enumerate(self.responses):
            part, place = self._find(r)
            used = part.levels[g]
            levels = grouping.levels.iloc[used]
            table = pd.DataFrame({"response": name, "group": group}, index=range(len(used)))
            if len(grouping.parts) == 1:
                table["level"] = levels[grouping.parts[0]].to_numpy()
            else:
                table["level"] = np.array(grouping.labels)[used]
                for column in grouping.parts:
                    table[column] = levels[column].to_numpy()
            found = modes(part, place).get(g)
            table["estimate"] = np.nan if found is None else found.mode
            table["se"] = np.nan if found is None else found.se
            table["prediction_se"] = np.nan if found is None else found.prediction_se
            tables.append(table)
        return pd.concat(tables, ignore_index=True)

    def sentence(self) -> str:
        """How the differences share out, or for several responses what stands out."""
        shares = self._shares()
        if len(self.responses) == 1:
            text = ", ".join(f"{share:.0%} {group}" for group, share in shares.iloc[0].items())
            answer = f"Of the variance of {self.responses[0]} beyond the fixed part: {text}."
        else:
            text = ", ".join(f"{share:.0%} {group}" for group, share in shares.median().items())
            answer = (
                f"Over {count(len(self.responses), 'response')}, the median share of the "
                f"variance beyond the fixed part: {text}."
            )
        doubtful = self.status[self.status != "ok"]
        if len(doubtful):
            answer += (
                f" Read the notes on {listed(list(doubtful.index))} first "
                f"({listed(sorted(set(doubtful)))})."
            )
        return answer

    def table(self) -> pd.DataFrame:
        """One row per response: status, rows, criterion, and the sd of each group."""
        sds = self.components.pivot(index="response", columns="group", values="sd")
        sds = sds.loc[list(self.responses), [*self.groups, RESIDUAL]].add_suffix(" sd")
        head = pd.DataFrame(
            {"status": self.status, "n_rows": self.n_rows, "criterion": self.criterion}
        )
        return head.join(sds).rename_axis("response").reset_index()

    def rests_on(self) -> str:
        """Rows and levels used, and what was left out."""
        levels = [
            count(len(g.labels), f"level of {g.name}", f"levels of {g.name}")
            for g in self.design.groups
        ]
        text = (
            f"Rests on {count(len(self.design.rows), 'row')} of {self.design.n_given:,} given: "
            f"{listed(levels)}."
        )
        if self.left_out:
            text += f" Left out: {said(self.left_out)}."
        return text

    def _shares(self) -> pd.DataFrame:
        wide = self.components.pivot(index="response", columns="group", values="variance")
        wide = wide.loc[list(self.responses), [*self.groups, RESIDUAL]].fillna(0.0)
        return wide.div(wide.sum(axis=1), axis=0)

    def _group_place(self, group: str) -> int:
        if group not in self.groups:
            raise UnknownName(
                f"The fit has no group {group!r}. It has {listed(list(self.groups))}."
            )
        return self.groups.index(group)

    def _find(self, response: int) -> tuple[Part, int]:
        for part in self.parts:
            if response in part.responses:
                return part, part.responses.index(response)
        raise KeyError(response)


def fit(
    data: pd.DataFrame, responses: str | Sequence[str], fixed: str, groups: str | Sequence[str]
) -> MixedFit:
    """Fit one mixed model per response by restricted maximum likelihood, all on one design.

    `data`: one row per observation. `responses`: number columns. `fixed`: the right-hand side of
    a formula, factors with treatment contrasts and the first level as base. `groups`: columns,
    or combinations such as "assessor:batch", each with a random intercept; crossed or nested.
    Rows with a missing group or covariate are left out for all responses, missing cells of a
    response for that response only; both are counted. Aliased fixed columns are dropped and named
    in `notes`. Raises `UnknownName`, `NotEnoughData`, `ValueError`.
    """
    design = build(data, responses, fixed, groups)
    parts = fit_parts(design)
    where = {r: (part, i) for part in parts for i, r in enumerate(part.responses)}
    tested = {
        r: c for part in parts for r, c in zip(part.responses, coefficients(part), strict=True)
    }
    index = pd.Index(design.responses, name="response")
    every = range(len(design.responses))
    return MixedFit(
        responses=design.responses,
        groups=tuple(g.name for g in design.groups),
        formula=design.fixed.formula,
        criterion=pd.Series(
            [where[r][0].criterion[where[r][1]] for r in every], index, name="criterion"
        ),
        status=pd.Series([where[r][0].status[where[r][1]] for r in every], index, name="status"),
        components=_components(design, where),
        fixed=_fixed_table(design, where, tested),
        notes=_notes(design, where),
        n_rows=pd.Series([where[r][0].nesting.n_rows for r in every], index, name="n_rows"),
        left_out=dict(design.left_out),
        design=design,
        parts=parts,
    )


def _components(design: Design, where: dict[int, tuple[Part, int]]) -> pd.DataFrame:
    rows = []
    for r, name in enumerate(design.responses):
        part, i = where[r]
        unit = part.residual[i] * part.scale[i] ** 2
        variance = {g: part.ratios[i, k] * unit for k, g in enumerate(part.order)}
        for g, group in enumerate(design.groups):
            rows.append((name, group.name, variance.get(g, np.nan)))
        rows.append((name, RESIDUAL, unit))
    table = pd.DataFrame(rows, columns=["response", "group", "variance"])
    table["sd"] = np.sqrt(table["variance"])
    return table


def _fixed_table(
    design: Design, where: dict[int, tuple[Part, int]], tested: dict[int, Coefficients]
) -> pd.DataFrame:
    names: list[str] = []
    labels: list[str] = []
    columns: list[list[np.ndarray]] = [[], [], []]
    for r, name in enumerate(design.responses):
        part, _ = where[r]
        found = satterthwaite(tested[r], np.eye(len(part.names)))
        for column, values in zip(columns, found, strict=True):
            column.append(values)
        names += [name] * len(part.names)
        labels += part.names
    estimate, se, df = (np.concatenate(c) if c else np.zeros(0) for c in columns)
    t = estimate / se
    return pd.DataFrame(
        {
            "response": names,
            "term": labels,
            "estimate": estimate,
            "se": se,
            "df": df,
            "t": t,
            "p": two_sided(t, df),
        }
    )


def _notes(design: Design, where: dict[int, tuple[Part, int]]) -> pd.DataFrame:
    rows: list[tuple[str, str]] = []
    for r, name in enumerate(design.responses):
        part, i = where[r]
        for g, other in part.lost.items():
            rows.append(
                (
                    name,
                    f"{design.groups[g].name} cannot be told apart from {other} in this design: "
                    f"its variance is part of {other}.",
                )
            )
        zero = [design.groups[g].name for k, g in enumerate(part.order) if part.ratios[i, k] == 0]
        if zero:
            rows.append((name, f"The variance of {listed(zero)} is estimated as zero."))
        if part.status[i] == "not_converged":
            rows.append((name, "The search did not settle: do not use these numbers."))
        if part.aliased:
            rows.append(
                (
                    name,
                    f"Dropped from the fixed part, since others already say it: "
                    f"{listed(part.aliased)}.",
                )
            )
        missing = len(design.rows) - part.nesting.n_rows
        if missing:
            rows.append((name, f"{count(missing, 'row')} without a value left out."))
    return pd.DataFrame(rows, columns=["response", "note"])
