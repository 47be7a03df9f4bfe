"""Profile-likelihood intervals for sds and fixed effects.

For each value of the parameter in question the full likelihood is maximised over all others; the
interval holds the values whose minus twice log-likelihood lies within the chi-square quantile
(one degree of freedom) of the least. Full, not restricted, likelihood: restricted likelihoods of
different fixed parts cannot be compared, so the intervals centre on the maximum-likelihood
estimates (Bates et al., J. Stat. Softw. 67(1), 2015, section 5.1). Every end of every parameter of
every response is one problem; all are solved side by side.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from origin_compare.mixed.fitting import Part
from origin_compare.mixed.likelihood.criterion import Slope, terms, unprofiled
from origin_compare.mixed.likelihood.likeliest import SMALL, likeliest
from origin_compare.mixed.likelihood.nesting import Nesting
from origin_compare.mixed.likelihood.search import minimise
from origin_compare.mixed.likelihood.sums import Floats, Ints

Inner = Callable[[Ints, Floats], Floats]
"""(which problems, values held) -> minus twice log-likelihood, best over everything else."""

CLOSE = 1e-5
"""Ends are found to this many standard errors."""
MOST_TRIES = 40


@dataclass(frozen=True)
class Ends:
    """Lower and upper end, by response of the part, in the response's units.

    `sds` (R, K + 1, 2): groups in the order of `Part.order`, residual last; `fixed` (R, p, 2).
    """

    sds: Floats
    fixed: Floats


@dataclass(frozen=True)
class _Best:
    """The maximum-likelihood fit of the responses `which` (R) of a part.

    ratios (R, K), residual (R), value (R).
    """

    which: Ints
    ratios: Floats
    residual: Floats
    value: Floats


def profile(part: Part, level: float) -> Ends:
    """Ends of all intervals of a part."""
    far = float(np.sqrt(special.chdtri(1, 1.0 - level)))
    nesting = part.nesting
    R, K, p = len(part.responses), len(nesting.order), nesting.n_fixed
    ends = Ends(np.full((R, K + 1, 2), np.nan), np.full((R, p, 2), np.nan))
    sound = np.flatnonzero([status != "not_converged" for status in part.status])
    if not len(sound):
        return ends
    n = nesting.n_rows
    ratios, _ = likeliest(nesting, sound, n, part.ratios[sound], reml=False)
    t = terms(nesting, sound, ratios, reml=False)
    residual = t.rss / n
    best = _Best(sound, ratios, residual, unprofiled(t, n, residual).value)
    ends.sds[sound] = _sd_ends(nesting, best, far) * part.scale[sound, None, None]
    ends.fixed[sound] = _fixed_ends(part, best, t.inverse, t.solution, far)
    return ends


def _in_sds(nesting: Nesting, response: Ints, at: Floats) -> Slope:
    """Minus twice the log-likelihood in the groups' sds and the logarithm of the residual's."""
    s, u = at[:, :-1], at[:, -1]
    K = s.shape[1]
    residual = np.exp(2.0 * u)
    ratios = s**2 / residual[:, None]
    t = terms(nesting, response, ratios, reml=False)
    inner = unprofiled(t, nesting.n_rows, residual)
    jacobian = np.zeros((len(at), K + 1, K + 1))
    k = np.arange(K)
    slope = 2.0 * s / residual[:, None]
    jacobian[:, k, k] = slope
    jacobian[:, k, K] = -2.0 * ratios
    jacobian[:, K, K] = 2.0 * residual
    g = inner.gradient
    hessian = jacobian.transpose(0, 2, 1) @ inner.hessian @ jacobian
    hessian[:, k, k] += 2.0 * g[:, :K] / residual[:, None]
    bend = -2.0 * slope * g[:, :K]
    hessian[:, k, K] += bend
    hessian[:, K, k] += bend
    hessian[:, K, K] += 4.0 * (ratios * g[:, :K]).sum(axis=1) + 4.0 * residual * g[:, K]
    return Slope(inner.value, np.einsum("bij,bi->bj", jacobian, g), hessian)


def _sd_ends(nesting: Nesting, best: _Best, far: float) -> Floats:
    """(R, K + 1, 2) in the engine's scaled units."""
    R, K = best.ratios.shape
    top = np.concatenate(
        [np.sqrt(best.ratios * best.residual[:, None]), 0.5 * np.log(best.residual)[:, None]],
        axis=1,
    )
    which, what = (a.ravel() for a in np.indices((R, K + 1)))
    step = _standard_errors(_in_sds(nesting, best.which, top).hessian, top)

    def hold(response: Ints, coordinate: Ints) -> Inner:
        at = top[response].copy()
        free = np.ones(at.shape, dtype=bool)
        free[np.arange(len(at)), coordinate] = False

        def inner(some: Ints, values: Floats) -> Floats:
            start = np.where(free[some] & (np.abs(at[some]) < SMALL), 0.03, at[some])
            start[:, -1] = at[some, -1]
            start[np.arange(len(some)), coordinate[some]] = values
            found = minimise(
                lambda w, x: _in_sds(nesting, best.which[response[some]][w], x), start, free[some]
            )
            at[some] = found.point
            return found.value

        return inner

    centre = top[which, what]
    width = step[which, what]
    upper = _find_ends(hold(which, what), centre, width, best.value[which], far)
    lower = np.zeros(len(which))
    is_sd = what < K
    at_zero = np.full(len(which), np.inf)
    some = np.flatnonzero(is_sd)
    at_zero[some] = hold(which[some], what[some])(np.arange(len(some)), np.zeros(len(some)))
    inside = np.flatnonzero(~is_sd | (at_zero - best.value[which] > far**2))
    limit = np.where(is_sd[inside], 0.0, -np.inf)
    lower[inside] = _find_ends(
        hold(which[inside], what[inside]),
        centre[inside],
        -width[inside],
        best.value[which[inside]],
        far,
        limit,
    )
    ends = np.stack([lower, upper], axis=1)
    ends[~is_sd] = np.exp(ends[~is_sd])
    return ends.reshape(R, K + 1, 2)


def _standard_errors(hessian: Floats, top: Floats) -> Floats:
    """Rough standard errors from the curvature; a share of the residual sd where it is flat."""
    size = np.maximum(np.abs(np.diagonal(hessian, axis1=1, axis2=2)), 1e-12)
    scaled = hessian / np.sqrt(size[:, :, None] * size[:, None, :])
    values, axes = np.linalg.eigh(scaled)
    inverse = (axes / np.maximum(values, 1e-2)[:, None, :]) @ axes.transpose(0, 2, 1)
    se = np.sqrt(2.0 * np.diagonal(inverse, axis1=1, axis2=2) / size)
    return np.asarray(np.minimum(se, 0.5 + np.abs(top)))


def _fixed_ends(part: Part, best: _Best, inverse: Floats, solution: Floats, far: float) -> Floats:
    """(R, p, 2) in the response's units."""
    nesting, back = part.nesting, part.layout.back
    q, p = nesting.n_dense, nesting.n_fixed
    R = len(best.which)
    which, what = (a.ravel() for a in np.indices((R, p)))
    fitted = best.which[which]
    scale = part.scale[fitted]
    centre = np.einsum("bi,bi->b", back[what], solution[which, q:])
    cores = inverse[:, q:, q:]
    width = np.sqrt(
        np.einsum("bi,bij,bj->b", back[what], cores[which], back[what]) * best.residual[which]
    )
    along = back / (back**2).sum(axis=1, keepdims=True)
    without = [_null_basis(back[j]) for j in range(p)]

    def hold(side: float) -> Floats:
        at = best.ratios[which].copy()

        def inner(some: Ints, values: Floats) -> Floats:
            columns = np.zeros((len(some), q + p + 1, q + p))
            columns[:, np.arange(q), np.arange(q)] = 1.0
            for b, j in enumerate(what[some]):
                columns[b, q : q + p, q : q + p - 1] = without[j]
                columns[b, q : q + p, -1] = -along[j] * values[b]
            columns[:, -1, -1] = 1.0
            # A zero of the last try is set free again: holding the effect may revive a group.
            start = np.maximum(at[some], 1e-3)
            ratios, _ = likeliest(
                nesting, fitted[some], nesting.n_rows, start, reml=False, columns=columns
            )
            at[some] = ratios
            t = terms(nesting, fitted[some], ratios, reml=False, order=0, columns=columns)
            n = nesting.n_rows
            return np.asarray(t.logdet + n * (1.0 + np.log(2.0 * np.pi * t.rss / n)))

        return _find_ends(inner, centre, side * width, best.value[which], far)

    shift = np.einsum("bi,bi->b", back[what], part.offset[fitted])
    ends = np.stack([shift + scale * hold(-1.0), shift + scale * hold(1.0)], axis=1)
    return ends.reshape(R, p, 2)


def _null_basis(row: Floats) -> Floats:
    """(p, p - 1): orthonormal columns orthogonal to `row`."""
    full, _ = np.linalg.qr(row[:, None], mode="complete")
    return np.asarray(full[:, 1:])


def _find_ends(
    inner: Inner,
    centre: Floats,
    step: Floats,
    least: Floats,
    far: float,
    limit: Floats | None = None,
) -> Floats:
    """Where the signed root of the rise in the function reaches `far`, going by `step` first.

    The root is nearly straight in the parameter, so false position (Illinois form) on it takes
    few tries. `limit` is the end of the parameter's range; the root is known to pass `far` before.
    """
    sign = np.sign(step)
    near, far_side = centre.copy(), np.full(len(centre), np.nan)
    f_near, f_far = np.full(len(centre), -far), np.full(len(centre), np.nan)
    trial = centre + far * step
    if limit is not None:
        trial = np.where(trial * sign >= limit * sign, 0.5 * (centre + limit), trial)
    active: NDArray[np.bool_] = np.ones(len(centre), dtype=bool)
    last = np.zeros(len(centre))
    for _ in range(MOST_TRIES):
        some = np.flatnonzero(active)
        if not len(some):
            break
        rise = inner(some, trial[some]) - least[some]
        f = np.sqrt(np.maximum(rise, 0.0)) - far
        low = f < 0
        a, b = some[low], some[~low]
        near[a], f_near[a] = trial[a], f[low]
        far_side[b], f_far[b] = trial[b], f[~low]
        f_far[a] = np.where(last[a] < 0, 0.5 * f_far[a], f_far[a])
        f_near[b] = np.where(last[b] > 0, 0.5 * f_near[b], f_near[b])
        last[a], last[b] = -1.0, 1.0
        active[some] = np.abs(f) > CLOSE
        again = np.flatnonzero(active)
        open_end = np.isnan(far_side[again])
        o, c = again[open_end], again[~open_end]
        gone = np.abs(near[o] - centre[o])
        grow = np.clip(far / np.maximum(f_near[o] + far, 0.1 * far), 1.05, 3.0)
        trial[o] = centre[o] + sign[o] * gone * (1.02 * grow)
        if limit is not None:
            beyond = trial[o] * sign[o] >= limit[o] * sign[o]
            trial[o] = np.where(beyond, 0.5 * (near[o] + limit[o]), trial[o])
        share = f_near[c] / (f_near[c] - f_far[c])
        trial[c] = near[c] + np.clip(share, 0.01, 0.99) * (far_side[c] - near[c])
    return np.where(active, np.nan, trial)
