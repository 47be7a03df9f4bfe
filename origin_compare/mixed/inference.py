"""Fixed effects with Satterthwaite degrees of freedom, and F tests of whole terms.

Method: Kuznetsova, Brockhoff and Christensen, J. Stat. Softw. 82(13), 2017: the variance of a
contrast is itself uncertain through the variance components, whose covariance is twice the
inverse Hessian of minus twice the restricted log-likelihood; degrees of freedom are
2 variance^2 / (gradient' covariance gradient). Hessian and gradients are exact here. Components
that are zero are held there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from origin_compare.mixed.fitting import Part
from origin_compare.mixed.likelihood.criterion import unprofiled
from origin_compare.mixed.likelihood.sums import Floats


@dataclass(frozen=True)
class Coefficients:
    """Of one response: estimates (p), their covariance (p, p), and how it moves.

    `slopes` (m, p, p): derivative of the covariance in each of the m variance parameters that are
    free; `uncertainty` (m, m): their covariance.
    """

    estimate: Floats
    covariance: Floats
    slopes: Floats
    uncertainty: Floats


def coefficients(part: Part) -> list[Coefficients]:
    """One for each of the part's responses, in the order of the fixed columns kept."""
    q = part.nesting.n_dense
    t = part.terms
    slope = unprofiled(t, part.layout.nu, part.residual)
    out = []
    for place in range(len(part.responses)):
        s2 = part.residual[place]
        scale = part.scale[place]
        back = part.layout.back
        core = t.inverse[place, q:, q:]
        free = np.flatnonzero(np.r_[part.ratios[place] > 0, True])
        moves = np.concatenate([s2 * t.spread[place], core[None]])[free]
        hessian = slope.hessian[place][np.ix_(free, free)]
        out.append(
            Coefficients(
                estimate=back @ (part.offset[place] + scale * t.solution[place, q:]),
                covariance=scale**2 * s2 * back @ core @ back.T,
                slopes=scale**2 * back @ moves @ back.T,
                uncertainty=2.0 * _inverse(hessian),
            )
        )
    return out


def _inverse(hessian: Floats) -> Floats:
    """Inverse on the directions that curve upwards; flat ones carry no information."""
    scale = np.sqrt(np.maximum(np.abs(np.diag(hessian)), 1e-300))
    values, axes = np.linalg.eigh(hessian / np.outer(scale, scale))
    good = values > 1e-10
    turned = axes[:, good] / scale[:, None]
    return np.asarray((turned / values[good]) @ turned.T)


def satterthwaite(c: Coefficients, contrasts: Floats) -> tuple[Floats, Floats, Floats]:
    """Estimates, standard errors and degrees of freedom of `contrasts` (m, p)."""
    estimate = contrasts @ c.estimate
    variance = np.einsum("mi,ij,mj->m", contrasts, c.covariance, contrasts)
    gradient = np.einsum("mi,kij,mj->mk", contrasts, c.slopes, contrasts)
    doubt = np.einsum("mk,kl,ml->m", gradient, c.uncertainty, gradient)
    with np.errstate(divide="ignore", invalid="ignore"):
        df = 2.0 * variance**2 / doubt
    return estimate, np.sqrt(variance), df


def two_sided(t: Floats, df: Floats) -> Floats:
    """p value of a t statistic."""
    return np.asarray(2.0 * special.stdtr(df, -np.abs(t)))
