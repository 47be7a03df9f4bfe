"""F tests of whole terms of the fixed part, type III, denominator after Satterthwaite.

A term's hypothesis is that its columns are zero when every factor is coded to sum to zero, so
that a main effect is its average over the levels of what it interacts with. The F statistic's
denominator follows Fai and Cornelius as in Kuznetsova et al., J. Stat. Softw. 82(13), 2017,
section 2: the contrasts are turned to independent t statistics whose degrees of freedom are
matched by the mean of an F distribution.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd
from scipy import special

from origin_compare.mixed.design import Design
from origin_compare.mixed.fitting import Part
from origin_compare.mixed.fixed_part import FixedPart, independent
from origin_compare.mixed.inference import Coefficients, coefficients, satterthwaite
from origin_compare.mixed.likelihood.sums import Floats

Where = dict[int, tuple[Part, int]]
SPAN = 1e-8
"""The two codings span the same space if no column is off by more than this share."""
ALIKE = 1e-8
"""Degrees of freedom closer than this count as one."""


def f_tests(design: Design, where: Where) -> pd.DataFrame:
    """response, term, df_term, df, F, p; the intercept is not tested."""
    rows: list[tuple[str, str, int, float, float, float]] = []
    ready: dict[int, tuple[list[Coefficients], dict[str, Floats]]] = {}
    for r, name in enumerate(design.responses):
        part, place = where[r]
        if id(part) not in ready:
            ready[id(part)] = (coefficients(part), contrasts(design.fixed, part))
        tested, by_term = ready[id(part)]
        for term, L in by_term.items():
            rows.append((name, term, len(L), *f_test(tested[place], L)))
    return pd.DataFrame(rows, columns=["response", "term", "df_term", "df", "F", "p"])


def f_test(c: Coefficients, L: Floats) -> tuple[float, float, float]:
    """Denominator degrees of freedom, F and p of the hypothesis L b = 0, L (m, p) of full rank."""
    variance, axes = np.linalg.eigh(L @ c.covariance @ L.T)
    turned = axes.T @ L
    estimate, _, nu = satterthwaite(c, turned)
    F = float(np.mean(estimate**2 / variance))
    df = _matched(np.asarray(nu))
    return df, F, float(special.fdtrc(len(L), df, F))


def _matched(nu: Floats) -> float:
    if len(nu) == 1 or all(abs(a - b) < ALIKE for a, b in pairwise(nu)):
        return float(nu.mean())
    if (nu <= 2).any():
        return 2.0
    mean = float((nu / (nu - 2.0)).sum())
    return 2.0 * mean / (mean - len(nu))


def contrasts(fixed: FixedPart, part: Part) -> dict[str, Floats]:
    """By term, the rows L whose product with the coefficients must vanish (type III).

    Where cells of an interaction are empty the sum-to-zero coding cannot span the same columns;
    then a term is tested on its own columns as they stand.
    """
    layout = part.layout
    X = fixed.X[np.ix_(layout.rows, layout.kept)]
    names = [name for name in fixed.terms if name != "Intercept"]
    column = np.cumsum(layout.kept) - 1
    own = {
        name: np.eye(X.shape[1])[[column[c] for c in fixed.terms[name] if layout.kept[c]]]
        for name in names
    }
    own = {name: L for name, L in own.items() if len(L)}
    if all(":" not in name for name in names):
        return own
    coded = {name: C[layout.rows] for name, C in _sum_coded(fixed).items()}
    whole = np.concatenate(list(coded.values()), axis=1)
    if whole.shape[1] != X.shape[1] or not independent(whole).all():
        return own
    move, *_ = np.linalg.lstsq(whole, X, rcond=None)
    if np.abs(whole @ move - X).max() > SPAN * np.abs(X).max():
        return own
    out: dict[str, Floats] = {}
    at = 0
    for name, C in coded.items():
        if name != "Intercept":
            out[name] = move[at : at + C.shape[1]]
        at += C.shape[1]
    return out


def _sum_coded(fixed: FixedPart) -> dict[str, Floats]:
    """By term, its columns (n, m) with every factor coded to sum to zero."""
    out: dict[str, Floats] = {}
    for term in fixed.spec.terms:
        C = np.ones((len(fixed.X), 1))
        for factor in term.factors:
            if factor.expr != "1":
                coding = _coding(fixed, factor.expr)
                C = (C[:, :, None] * coding[:, None, :]).reshape(len(C), -1)
        out["Intercept" if str(term) == "1" else str(term)] = C
    return out


def _coding(fixed: FixedPart, factor: str) -> Floats:
    from formulaic import model_matrix

    every = np.asarray(model_matrix(f"0 + {factor}", fixed.frame, na_action="ignore"), dtype=float)
    kind = fixed.spec.encoder_state[factor][0]
    if kind.value != "categorical":
        return every
    return np.asarray(every[:, :-1] - every[:, -1:])
