"""The restricted (or full) likelihood of many problems at once, with gradient and Hessian.

With H = I + sum of ratio_k Z_k Z_k' over all groups, P = H^-1 - H^-1 X (X'H^-1 X)^-1 X'H^-1 and
nu = n - p, minus twice the restricted log-likelihood with the residual variance profiled out is
log|H| + log|X'H^-1 X| + nu (1 + log(2 pi y'Py / nu)), the criterion of Bates et al., J. Stat.
Softw. 67(1), 2015, equation 42. For full likelihood log|X'H^-1 X| goes and nu = n.

Derivatives: d log|.|/d ratio_k = tr(Z_k'PZ_k), d y'Py/d ratio_k = -|Z_k'Py|^2, and their own
derivatives -|Z_k'PZ_l|^2 and 2 y'PZ_k Z_k'PZ_l Z_l'Py (Searle, Casella and McCulloch, Variance
Components, 1992, chapter 6). None of these matrices is formed: all follow from the sweep's jets.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from scipy.linalg import lapack

from origin_compare.mixed.likelihood.nesting import Nesting
from origin_compare.mixed.likelihood.sums import Floats, Ints
from origin_compare.mixed.likelihood.sweep import Swept, numbers_each, sweep

MOST_NUMBERS = 4_000_000
"""Numbers held at once (8 bytes each); more problems than that are worked in turns."""

WIDE = 32
"""Dense columns from which the wide forms of inverse and products are used."""
FAR_FROM_ZERO = 1e-4
"""Ratios above which dividing by them loses no more than four of sixteen digits."""


@dataclass(frozen=True)
class Terms:
    """Of B problems with K groups in the engine's order, all in the ratios to residual variance.

    `logdet` (B) log|H| [+ log|X'H^-1 X|], `trace` (B, K) and `frobenius` (B, K, K) its first and
    minus its second derivatives; `rss` (B) y'Py, `pull` (B, K) |Z_k'Py|^2, `quad` (B, K, K)
    y'PZ_kZ_k'PZ_lZ_l'Py. `solution` (B, T) dense modes and fixed effects, `inverse` (B, T, T) of
    the reduced mixed-model equations, `spread` (B, K, p, p) derivative of its fixed block.
    """

    logdet: Floats
    rss: Floats
    solution: Floats
    inverse: Floats
    trace: Floats
    pull: Floats
    frobenius: Floats
    quad: Floats
    spread: Floats


def terms(
    design: Nesting,
    response: Ints,
    ratios: Floats,
    *,
    reml: bool = True,
    order: int = 2,
    columns: Floats | None = None,
) -> Terms:
    """Everything the likelihood needs at `ratios` (B, K).

    `columns` (B, T + 1, T' + 1), if given, replaces fixed columns and response by combinations
    of themselves (used to hold a fixed effect at a value).
    """
    at_once = max(1, MOST_NUMBERS // numbers_each(design, order))
    turns = []
    for i in range(0, len(response), at_once):
        now = slice(i, i + at_once)
        swept = sweep(design, response[now], ratios[now, : len(design.chain)], order)
        if columns is not None:
            swept = _recombined(swept, columns[now])
        turns.append(_Assembly(design, swept, ratios[now], reml, order).terms())
    return turns[0] if len(turns) == 1 else _joined(turns)


def _recombined(swept: Swept, columns: Floats) -> Swept:
    over = columns.transpose(0, 2, 1)
    return Swept(swept.logdet, {k: over @ v @ columns for k, v in swept.products.items()})


def _joined(turns: list[Terms]) -> Terms:
    return Terms(
        **{f.name: np.concatenate([getattr(t, f.name) for t in turns]) for f in fields(Terms)}
    )


class _Assembly:
    """The dense remainder: one small factorisation per problem."""

    def __init__(
        self, design: Nesting, swept: Swept, ratios: Floats, reml: bool, order: int
    ) -> None:
        self.swept, self.reml, self.order = swept, reml, order
        self.spans = design.dense_spans
        self.n_chain, self.K = len(design.chain), len(design.order)
        self.q = design.n_dense
        A = swept.products[()]
        self.A = A
        self.T = A.shape[1] - 1
        self.B = len(ratios)
        scale = np.ones((self.B, self.T))
        for d, (first, last) in enumerate(self.spans):
            scale[:, first:last] = np.sqrt(ratios[:, self.n_chain + d, None])
        equations = A[:, : self.T, : self.T] * scale[:, :, None] * scale[:, None, :]
        at = np.arange(self.q)
        equations[:, at, at] += 1.0
        self.root: Floats = np.asarray(np.linalg.cholesky(equations))
        self.inverse: Floats = np.asarray(
            _inverse(equations, self.root) * scale[:, :, None] * scale[:, None, :]
        )
        self.ratio = scale[:, : self.q] ** 2
        self.wide = self.q >= WIDE and bool((self.ratio >= FAR_FROM_ZERO).all())
        self.solution = np.einsum("bij,bj->bi", self.inverse, A[:, : self.T, self.T])
        self.e = np.concatenate([-self.solution, np.ones((self.B, 1))], axis=1)
        self.zz_inverse = self.inverse
        if not reml and self.q < self.T:
            only = np.zeros_like(self.inverse)
            if self.q:
                part = equations[:, : self.q, : self.q]
                s = scale[:, : self.q]
                only[:, : self.q, : self.q] = np.linalg.inv(part) * s[:, :, None] * s[:, None, :]
            self.zz_inverse = only

    def terms(self) -> Terms:
        T, q, B, K = self.T, self.q, self.B, self.K
        diagonal = np.log(np.diagonal(self.root, axis1=1, axis2=2))
        kept = T if self.reml else q
        logdet = self.swept.logdet[()] + 2.0 * diagonal[:, :kept].sum(axis=1)
        rss = np.einsum("bj,bj->b", self.A[:, T], self.e)
        none = np.zeros((B, K))
        square = np.zeros((B, K, K))
        out = Terms(
            logdet=logdet,
            rss=rss,
            solution=self.solution,
            inverse=self.inverse,
            trace=none,
            pull=none.copy(),
            frobenius=square,
            quad=square.copy(),
            spread=np.zeros((B, K, T - q, T - q)),
        )
        if self.order >= 1:
            self._chain(out)
            self._dense(out)
        return out

    def _chain(self, out: Terms) -> None:
        T, swept = self.T, self.swept
        minus = {i: -swept.products[(i,)] for i in range(self.n_chain)}
        self.minus = minus
        self.turned = {i: self.zz_inverse @ m[:, :T, :T] for i, m in minus.items()}
        self.pulled = {i: np.einsum("bij,bj->bi", m, self.e) for i, m in minus.items()}
        for i, m in minus.items():
            out.trace[:, i] = swept.logdet[(i,)] - np.trace(self.turned[i], axis1=1, axis2=2)
            out.pull[:, i] = np.einsum("bi,bi->b", self.e, self.pulled[i])
            fixed = self.inverse[:, self.q :, :]
            out.spread[:, i] = fixed @ m[:, :T, :T] @ fixed.transpose(0, 2, 1)
        if self.order < 2:
            return
        for i in range(self.n_chain):
            for j in range(i, self.n_chain):
                second = swept.products[(i, j)]
                value = (
                    -swept.logdet[(i, j)]
                    - np.einsum("bij,bji->b", self.zz_inverse, second[:, :T, :T])
                    + np.einsum("bij,bji->b", self.turned[i], self.turned[j])
                )
                out.frobenius[:, i, j] = out.frobenius[:, j, i] = value
                left, right = self.pulled[i][:, :T], self.pulled[j][:, :T]
                quad = 0.5 * _form(second, self.e, self.e) - _form(self.inverse, left, right)
                out.quad[:, i, j] = out.quad[:, j, i] = quad

    def _dense(self, out: Terms) -> None:
        if not self.spans:
            return
        T, q, n = self.T, self.q, self.n_chain
        away, kept = self._away(self.inverse)
        away_det, kept_det = away, kept
        if self.zz_inverse is not self.inverse:
            away_det, kept_det = self._away(self.zz_inverse)
        passed = self._passed(away_det) if self.order >= 2 else {}
        modes = np.einsum("bij,bj->bi", self.A[:, :q, :], self.e)
        for d, (a, b) in enumerate(self.spans):
            k = n + d
            out.trace[:, k] = np.trace(kept_det[:, a:b, a:b], axis1=1, axis2=2)
            out.pull[:, k] = (modes[:, a:b] ** 2).sum(axis=1)
            fixed = away[:, q:, a:b]
            out.spread[:, k] = fixed @ fixed.transpose(0, 2, 1)
            if self.order < 2:
                continue
            for other, (a2, b2) in enumerate(self.spans[: d + 1]):
                j = n + other
                block = kept_det[:, a:b, a2:b2]
                out.frobenius[:, k, j] = out.frobenius[:, j, k] = (block**2).sum(axis=(1, 2))
                quad = _form(kept[:, a:b, a2:b2], modes[:, a:b], modes[:, a2:b2])
                out.quad[:, k, j] = out.quad[:, j, k] = quad
            for i in range(n):
                out.frobenius[:, i, k] = out.frobenius[:, k, i] = passed[i][:, a:b].sum(axis=1)
                shifted = np.einsum("bij,bj->bi", away[:, :, a:b], modes[:, a:b])
                quad = np.einsum("bi,bi->b", self.pulled[i][:, :T], shifted)
                out.quad[:, i, k] = out.quad[:, k, i] = quad

    def _away(self, inverse: Floats) -> tuple[Floats, Floats]:
        """E = [I; 0] - inverse A_TZ (B, T, q), and Z'PZ = A_ZT E (B, q, q).

        Away from zero ratios the equations themselves say E = inverse / ratio, without a product
        of wide matrices; near zero that would lose digits.
        """
        T, q = self.T, self.q
        at = np.arange(q)
        if self.wide:
            away = inverse[:, :, :q] / self.ratio[:, None, :]
            kept = -away[:, :q, :] / self.ratio[:, :, None]
            kept[:, at, at] += 1.0 / self.ratio
            return away, kept
        away = -inverse @ self.A[:, :T, :q]
        away[:, at, at] += 1.0
        return away, self.A[:, :q, :T] @ away

    def _passed(self, away: Floats) -> dict[int, Floats]:
        """By chain group, the diagonal of E' A_i E (B, q), A_i minus the products' slope."""
        T, q = self.T, self.q
        if self.wide:
            rows = self.zz_inverse[:, :q, :]
            return {
                i: np.einsum("bij,bij->bi", t[:, :q, :], rows) / self.ratio**2
                for i, t in self.turned.items()
            }
        return {
            i: np.einsum("bij,bij->bj", away, m[:, :T, :T] @ away) for i, m in self.minus.items()
        }


def _form(M: Floats, left: Floats, right: Floats) -> Floats:
    """left' M right of each problem."""
    return np.asarray(((M @ right[:, :, None])[:, :, 0] * left).sum(axis=1))


def _inverse(equations: Floats, root: Floats) -> Floats:
    """Inverses of (B, T, T); wide ones from their Cholesky factors, at a third of the work."""
    if equations.shape[1] < WIDE:
        return np.asarray(np.linalg.inv(equations))
    out = np.empty_like(equations)
    for b, lower in enumerate(root):
        upper, fault = lapack.dpotri(lower.T, lower=0)
        if fault:
            raise np.linalg.LinAlgError("Singular matrix")
        out[b] = np.triu(upper) + np.triu(upper, 1).T
    return out


@dataclass(frozen=True)
class Slope:
    """A function of B problems: `value` (B), `gradient` (B, K), `hessian` (B, K, K)."""

    value: Floats
    gradient: Floats
    hessian: Floats


def profiled(t: Terms, nu: int) -> Slope:
    """Minus twice the log-likelihood in the ratios, residual variance profiled out."""
    rss = np.maximum(t.rss, np.finfo(float).tiny)
    value = t.logdet + nu * (1.0 + np.log(2.0 * np.pi * rss / nu))
    share = t.pull / rss[:, None]
    gradient = t.trace - nu * share
    hessian = -t.frobenius + nu * (
        2.0 * t.quad / rss[:, None, None] - share[:, :, None] * share[:, None, :]
    )
    return Slope(value, gradient, hessian)


def unprofiled(t: Terms, nu: int, residual: Floats) -> Slope:
    """The same in (ratios, residual variance); gradient (B, K + 1), hessian (B, K + 1, K + 1)."""
    s = residual
    value = t.logdet + nu * np.log(2.0 * np.pi * s) + t.rss / s
    gradient = np.concatenate(
        [t.trace - t.pull / s[:, None], (nu / s - t.rss / s**2)[:, None]], axis=1
    )
    K = t.trace.shape[1]
    hessian = np.empty((len(s), K + 1, K + 1))
    hessian[:, :K, :K] = -t.frobenius + 2.0 * t.quad / s[:, None, None]
    hessian[:, :K, K] = hessian[:, K, :K] = t.pull / s[:, None] ** 2
    hessian[:, K, K] = -nu / s**2 + 2.0 * t.rss / s**3
    return Slope(value, gradient, hessian)


def in_roots(slope: Slope, roots: Floats) -> Slope:
    """A function of ratios, as one of their square roots (B, K)."""
    gradient = 2.0 * roots * slope.gradient
    hessian = 4.0 * roots[:, :, None] * roots[:, None, :] * slope.hessian
    at = np.arange(roots.shape[1])
    hessian[:, at, at] += 2.0 * slope.gradient
    return Slope(slope.value, gradient, hessian)
