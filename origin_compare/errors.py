"""What can go wrong, as one tree: every message says what, where and what to do next."""

from __future__ import annotations


class OriginCompareError(Exception):
    """The root: its text is shown to the user as it stands."""


class RefusedFile(OriginCompareError):
    """A file that cannot be read as a table at all; nothing of it was stored."""


class StoreFault(OriginCompareError):
    """The store cannot be opened, is newer than this program, or refused a change."""


class NotEnoughData(OriginCompareError):
    """The question cannot be answered from the batches there are; the text says what is missing."""


class UnknownName(OriginCompareError):
    """A batch, grower, assessor or attribute that the data does not hold."""


class MixedScales(OriginCompareError, ValueError):
    """Panel scores on several scales, and no mapping from one to the other was given."""


class BadWish(OriginCompareError, ValueError):
    """A figure in a wish that cannot be meant: negative litres, a strength above ethanol's."""
