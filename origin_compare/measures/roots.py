"""Polynomials of many rows at once, and where they take a wanted value."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from origin_compare.measures.shapes import Many

_BLOCK = 4096  # the working arrays of one block stay in the processor's cache
_FAST_STEPS = 4
_CLOSE = 1e-7  # Newton squares the error: what moved less than this is right to the last digits


def in_blocks(solve: Callable[..., Many], *given: Many) -> Many:
    """`solve` of equally long flat arrays, a block at a time; the given shapes are broadcast."""
    full = np.broadcast_arrays(*given)
    shape = full[0].shape
    flat = [part.ravel() for part in full]
    out = np.empty(flat[0].size)
    for begin in range(0, out.size, _BLOCK):
        end = begin + _BLOCK
        out[begin:end] = solve(*(part[begin:end] for part in flat))
    return out.reshape(shape)


def poly(coefficients: Many, at: Many) -> Many:
    """Horner's rule: `coefficients` (degree + 1, n or 1), lowest power first, at n places."""
    value = np.broadcast_to(coefficients[-1], at.shape).copy()
    for coefficient in coefficients[-2::-1]:
        value *= at
        value += coefficient
    return value


def _with_slope(coefficients: Many, at: Many) -> tuple[Many, Many]:
    value = np.broadcast_to(coefficients[-1], at.shape).copy()
    slope = np.zeros(at.shape)
    for coefficient in coefficients[-2::-1]:
        slope *= at
        slope += value
        value *= at
        value += coefficient
    return value, slope


def root(coefficients: Many, wanted: Many, start: Many) -> Many:
    """Where in 0..1 a polynomial, monotone there, takes the value `wanted` (n places).

    Newton's method from `start`; rows that have not settled after a few steps are solved again
    inside a shrinking bracket, which cannot fail. NaN stays NaN.
    """
    at = start
    moved = np.zeros(at.shape)
    for _ in range(_FAST_STEPS):
        value, slope = _with_slope(coefficients, at)
        step = np.clip(at - (value - wanted) / slope, 0.0, 1.0)
        moved = np.abs(step - at)
        at = step
        if not (moved > _CLOSE).any():
            return at
    rows = moved > _CLOSE
    own = coefficients if coefficients.shape[1] == 1 else coefficients[:, rows]
    at[rows] = bracketed(own, wanted[rows])
    return at


def bracketed(coefficients: Many, wanted: Many) -> Many:
    """As `root`, from the bracket 0..1: a Newton step that leaves it is replaced by halving."""
    low, high = np.zeros(wanted.shape), np.ones(wanted.shape)
    rises = poly(coefficients, high) > poly(coefficients, low)
    at = np.full(wanted.shape, 0.5)
    for _ in range(80):
        value, slope = _with_slope(coefficients, at)
        too_far = (value > wanted) == rises
        low, high = np.where(too_far, low, at), np.where(too_far, at, high)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = at - (value - wanted) / slope
        # equality stays: the root may sit on the bracket's end
        step = np.where((step >= low) & (step <= high), step, (low + high) / 2)
        moved = np.abs(step - at)
        at = step
        if not (moved > 1e-13).any():
            break
    return np.where(np.isnan(wanted), np.nan, at)
