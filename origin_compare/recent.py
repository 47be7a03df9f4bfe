"""The last few answers given, kept."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

Kept = TypeVar("Kept")

MOST = 8
"""Batches opened, and choices of batches left out, whose answers are kept."""


class Recent(Generic[Kept]):
    """Up to `most` answers by their key; past that the one asked for longest ago goes."""

    def __init__(self, most: int = MOST) -> None:
        self._most = most
        self._kept: dict[Hashable, Kept] = {}

    def get(self, key: Hashable, make: Callable[[], Kept]) -> Kept:
        """The answer kept under `key`, made if there is none."""
        found = self._kept.pop(key) if key in self._kept else make()
        while len(self._kept) >= self._most:
            self._kept.pop(next(iter(self._kept)))
        self._kept[key] = found
        return found
