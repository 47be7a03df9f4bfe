"""What a fit says: one row per response, and everything that can be asked of it afterwards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.errors import UnknownName
from origin_compare.mixed import tables
from origin_compare.mixed.anova import f_tests
from origin_compare.mixed.bootstrap import Bootstrap, draw, redraw
from origin_compare.mixed.design import Design, build, said
from origin_compare.mixed.fitting import Part, fit_parts
from origin_compare.mixed.inference import coefficients
from origin_compare.mixed.predict import predicted
from origin_compare.mixed.profile_likelihood import profile
from origin_compare.mixed.tables import RESIDUAL
from origin_compare.one_thread import one_thread


@dataclass(frozen=True)
class MixedFit:
    """Mixed models of one design, one for each response.

    `criterion`: Series by response, minus twice the restricted log-likelihood.
    `status`: Series by response: "ok"; "boundary" (a variance is exactly zero); "not_identified"
    (a group cannot be told from another, from the residual or from the fixed part: its variance is
    missing, and `notes` says where it went); "not_converged".
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
        if group not in self.groups:
            raise UnknownName(
                f"The fit has no group {group!r}. It has {listed(list(self.groups))}."
            )
        return tables.effects(self.design, tables.located(self.parts), self.groups.index(group))

    def intervals(self, level: float = 0.95) -> pd.DataFrame:
        """Profile-likelihood intervals: response, kind (sd or fixed), term, estimate, low, high.

        They come from the full likelihood, the estimates beside them from the restricted one.
        Missing where a group could not be told apart or the search found no end.
        """
        if not 0.0 < level < 1.0:
            raise ValueError(f"level is {level}: give a share between 0 and 1, such as 0.95.")
        return tables.intervals(
            self.design, self.parts, [profile(part, level) for part in self.parts], self.fixed
        )

    def anova(self) -> pd.DataFrame:
        """F test of each term of the fixed part (type III): response, term, df_term, df, F, p.

        Denominator degrees of freedom after Satterthwaite.
        """
        return f_tests(self.design, tables.located(self.parts))

    def simulate(self, seed: int) -> pd.DataFrame:
        """One new set of responses from the fitted models, on the rows used (data's order)."""
        return draw(self.design, tables.located(self.parts), seed)

    def bootstrap(self, seed: int, draws: int = 200) -> Bootstrap:
        """Parametric bootstrap: simulate, fit again, and collect sds and fixed effects."""
        return redraw(self.design, tables.located(self.parts), seed, draws)

    def predict(
        self, new_data: pd.DataFrame, groups: Sequence[str] | None = None, unseen: str = "refuse"
    ) -> pd.DataFrame:
        """Predicted responses of new rows, columns in the responses' order.

        `groups`: whose modes to add (all, if None; none, if empty). `unseen`: "refuse" raises
        `UnknownName` naming levels the fit never saw; "mean" gives them the population mean.
        """
        return predicted(self.design, tables.located(self.parts), new_data, groups, unseen)

    def sentence(self) -> str:
        """How the differences share out, and what to read first where a fit is doubtful."""
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
            kinds = listed([kind.replace("_", " ") for kind in sorted(set(doubtful))])
            answer += f" Read the notes on {listed(list(doubtful.index))} first ({kinds})."
        return answer

    def table(self) -> pd.DataFrame:
        """One row per response: status, rows, criterion, and the sd of each group."""
        sds = self.components.pivot(index="response", columns="group", values="sd")
        sds = sds.loc[list(self.responses), [*self.groups, RESIDUAL]].add_suffix(" sd")
        head = pd.DataFrame(
            {"status": self.status, "n_rows": self.n_rows, "criterion": self.criterion}
        )
        return head.join(sds).rename_axis("response").reset_index().rename_axis(columns=None)

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


@one_thread
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
    where = tables.located(parts)
    tested = {
        r: c for part in parts for r, c in zip(part.responses, coefficients(part), strict=True)
    }
    index = pd.Index(design.responses, name="response")
    found = [where[r] for r in range(len(design.responses))]
    return MixedFit(
        responses=design.responses,
        groups=tuple(g.name for g in design.groups),
        formula=design.fixed.formula,
        criterion=pd.Series([p.criterion[i] for p, i in found], index, name="criterion"),
        status=pd.Series([p.status[i] for p, i in found], index, name="status", dtype="str"),
        components=tables.components(design, where),
        fixed=tables.fixed_table(design, where, tested),
        notes=tables.notes(design, where),
        n_rows=pd.Series([p.nesting.n_rows for p, _ in found], index, name="n_rows"),
        left_out=dict(design.left_out),
        design=design,
        parts=parts,
    )
