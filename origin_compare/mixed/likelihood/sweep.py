"""Eliminating the chain of nested groups in closed form, with exact first and second derivatives.

With V = I + sum of ratio_k Z_k Z_k' over the chain, the sweep gives log|V| and W'V^-1 W, where W
holds the dense columns and one response, without ever forming V. For one level with m = 1'V^-1 1
and t = 1'V^-1 W so far, adding the level's own variance ratio takes (Sherman and Morrison)
ratio / (1 + ratio m) t t' off the products and adds log(1 + ratio m) to the log-determinant; the
shrunken m and t are then summed into the level above. Derivatives in the ratios ride along.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np

from origin_compare.mixed.likelihood.nesting import Nesting
from origin_compare.mixed.likelihood.sums import Floats, Ints

Key = tuple[int, ...]
Jet = dict[Key, Floats]
"""A quantity by derivative: () the value, (i,) a first, (i, j) with i <= j a second derivative."""


@dataclass(frozen=True)
class Swept:
    """Of B problems: `logdet` jets (B) and `products` jets (B, T + 1, T + 1), response last."""

    logdet: Jet
    products: Jet


def sweep(design: Nesting, response: Ints, ratios: Floats, order: int = 2) -> Swept:
    """Sweep B problems: `response` (B) says which response, `ratios` (B, chain) the ratios.

    `order` is the highest derivative wanted, 0, 1 or 2.
    """
    every = keys(len(design.chain), order)
    base = design.cross.of(response)
    logdet: Jet = {k: np.zeros(len(response)) for k in every}
    products: Jet = {k: np.zeros_like(base) for k in every}
    products[()] += base
    mass, total = _finest_level(design, response, ratios[:, 0], order, logdet, products)
    for place in range(1, len(design.chain)):
        link = design.chain[place]
        ratio = ratios[:, place, None]
        shrink = _shrink_jet(mass, ratio, place, order)
        _add_logdet(logdet, mass, shrink, ratio, place, order)
        _take_products(products, total, _weight_jet(shrink, ratio, place, order), place, order)
        if link.starts is not None:
            mass = _sum_up(_times(mass, shrink, place + 1, order), link.starts)
            total = _sum_up(
                _times(total, {k: v[..., None] for k, v in shrink.items()}, place + 1, order),
                link.starts,
            )
    return Swept(logdet, products)


def numbers_each(design: Nesting, order: int) -> int:
    """About how many numbers one problem holds while it is swept and assembled."""
    widest = max([design.finest.widest, *(link.size for link in design.chain[1:])])
    terms = len(keys(len(design.chain), order))
    return 2 * terms * (design.width + 1) * (widest + design.width + 1)


def keys(n_params: int, order: int) -> list[Key]:
    """Derivatives up to `order` in `n_params` parameters."""
    some: list[Key] = []
    for d in range(order + 1):
        some.extend(combinations_with_replacement(range(n_params), d))
    return some


def _finest_level(
    design: Nesting, response: Ints, ratio: Floats, order: int, logdet: Jet, products: Jet
) -> tuple[Jet, Jet]:
    """The finest group, by distinct level sizes; returns the sums handed to the level above."""
    finest, width = design.finest, design.width
    size = finest.sizes[None, :]
    shrink = 1.0 / (1.0 + ratio[:, None] * size)
    steps: list[Key] = [(), (0,), (0, 0)][: order + 1]
    logs = [-np.log(shrink), size * shrink, -((size * shrink) ** 2)]
    weights = [ratio[:, None] * shrink, shrink**2, -2.0 * size * shrink**3]
    for step, log, weight in zip(steps, logs, weights, strict=False):
        logdet[step] += log @ finest.counts
        products[step] -= finest.weighted_squares(weight, width, response)
    if finest.handed_up is None:
        return {}, {}
    shrinks = [shrink, -size * shrink**2, 2.0 * size**2 * shrink**3][: order + 1]
    mass, total = finest.handed_up.up(shrinks, response)
    return dict(zip(steps, mass, strict=True)), dict(zip(steps, total, strict=True))


def _sum_up(jet: Jet, starts: Ints) -> Jet:
    some = next(iter(jet.values()))
    if len(starts) == some.shape[1]:
        return jet
    return {k: np.add.reduceat(v, starts, axis=1) for k, v in jet.items()}


def _get(jet: Jet, *key: int) -> Floats | None:
    return jet.get(tuple(sorted(key)))


def _shrink_jet(mass: Jet, ratio: Floats, own: int, order: int) -> Jet:
    """1 / (1 + ratio m), with its derivatives."""
    m = mass[()]
    a = 1.0 / (1.0 + ratio * m)
    jet: Jet = {(): a}
    if order >= 1:
        for i in range(own):
            jet[(i,)] = -ratio * a**2 * mass[(i,)]
        jet[(own,)] = -m * a**2
    if order >= 2:
        for i in range(own):
            for j in range(i, own):
                jet[(i, j)] = (
                    ratio * a**2 * (2.0 * ratio * a * mass[(i,)] * mass[(j,)] - mass[(i, j)])
                )
            jet[(i, own)] = a**2 * mass[(i,)] * (2.0 * ratio * a * m - 1.0)
        jet[(own, own)] = 2.0 * m**2 * a**3
    return jet


def _weight_jet(shrink: Jet, ratio: Floats, own: int, order: int) -> Jet:
    """ratio / (1 + ratio m): its own first derivative is the shrinkage squared."""
    a = shrink[()]
    jet: Jet = {(): ratio * a}
    if order >= 1:
        for i in range(own):
            jet[(i,)] = ratio * shrink[(i,)]
        jet[(own,)] = a**2
    if order >= 2:
        for i in range(own):
            for j in range(i, own):
                jet[(i, j)] = ratio * shrink[(i, j)]
            jet[(i, own)] = 2.0 * a * shrink[(i,)]
        jet[(own, own)] = 2.0 * a * shrink[(own,)]
    return jet


def _add_logdet(logdet: Jet, mass: Jet, shrink: Jet, ratio: Floats, own: int, order: int) -> None:
    m, a = mass[()], shrink[()]
    logdet[()] -= np.log(a).sum(axis=1)
    if order >= 1:
        for i in range(own):
            logdet[(i,)] += (ratio * a * mass[(i,)]).sum(axis=1)
        logdet[(own,)] += (m * a).sum(axis=1)
    if order >= 2:
        for i in range(own):
            for j in range(i, own):
                logdet[(i, j)] += (
                    ratio * a * (mass[(i, j)] - ratio * a * mass[(i,)] * mass[(j,)])
                ).sum(axis=1)
            logdet[(i, own)] += (a**2 * mass[(i,)]).sum(axis=1)
        logdet[(own, own)] -= ((m * a) ** 2).sum(axis=1)


def _take_products(products: Jet, total: Jet, weight: Jet, own: int, order: int) -> None:
    """Take weight t t' off the products; t does not depend on the level's own ratio."""
    t = total[()]
    halves: list[Floats] = []
    every = keys(own + 1, order)
    for key in every:
        x = 0.5 * weight[key][..., None] * t
        for place, i in enumerate(key):
            rest = key[:place] + key[place + 1 :]
            lower = _get(total, i)
            if lower is not None:
                x += weight[rest][..., None] * lower
        if len(key) == 2 and key in total:
            x += weight[()][..., None] * total[key]
        halves.append(x)
    step = t.shape[2]
    both = t.transpose(0, 2, 1) @ np.concatenate(halves, axis=2)
    for place, key in enumerate(every):
        half = both[:, :, place * step : (place + 1) * step]
        products[key] -= half + half.transpose(0, 2, 1)
    if order >= 2:
        weighted = {i: weight[()][..., None] * total[(i,)] for i in range(own)}
        for i in range(own):
            for j in range(i, own):
                half = weighted[i].transpose(0, 2, 1) @ total[(j,)]
                products[(i, j)] -= half + half.transpose(0, 2, 1)


def _times(first: Jet, second: Jet, n_params: int, order: int) -> Jet:
    """Product of two jets; a missing key is a zero derivative."""
    out: Jet = {}
    for key in keys(n_params, order):
        parts = [((), key), (key, ())]
        if len(key) == 2:
            parts += [((key[0],), (key[1],)), ((key[1],), (key[0],))]
        if not key:
            parts = [((), ())]
        for left, right in parts:
            if left in first and right in second:
                term = first[left] * second[right]
                out[key] = out[key] + term if key in out else term
    return out
