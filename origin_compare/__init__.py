"""Joins lots, malt, fermentations and panel scores, and says honestly what each field gave.

    import origin_compare as oc

    season = oc.load_folder("sheets")        # a folder of files, joined in memory
    store = oc.open_store()                  # or a store that keeps them
    asked = oc.ask(season)                   # one call per question
    print(asked.split.sentence())
    asked.table                              # one row per batch, from field to flavour

The subpackages (`measures`, `mixed`, `fermentation`, `panel`, `drivers`, `families`, `vatting`,
`figures`, `reports`) are loaded when first asked for, so that importing this one stays cheap.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from origin_compare.errors import (
    NotEnoughData,
    OriginCompareError,
    RefusedFile,
    StoreFault,
    UnknownName,
)

if TYPE_CHECKING:
    from origin_compare.house import HouseRules as HouseRules
    from origin_compare.house import default_rules as default_rules
    from origin_compare.questions import ask as ask
    from origin_compare.season.folder import load_folder as load_folder
    from origin_compare.season.season import Season as Season
    from origin_compare.store.store import Store as Store
    from origin_compare.store.store import open_store as open_store

__version__ = "0.1.0"

_WHERE = {
    "HouseRules": "origin_compare.house",
    "Season": "origin_compare.season.season",
    "Store": "origin_compare.store.store",
    "ask": "origin_compare.questions",
    "default_rules": "origin_compare.house",
    "load_folder": "origin_compare.season.folder",
    "open_store": "origin_compare.store.store",
}
_SUBPACKAGES = (
    "chain",
    "drivers",
    "families",
    "fermentation",
    "figures",
    "growers",
    "intake",
    "measures",
    "mixed",
    "panel",
    "reports",
    "review",
    "season",
    "sheets",
    "store",
    "trace",
    "trials",
    "vatting",
)

__all__ = [  # noqa: PLE0604 - the second half is a tuple of names
    "NotEnoughData",
    "OriginCompareError",
    "RefusedFile",
    "StoreFault",
    "UnknownName",
    "__version__",
    *_WHERE,
    *_SUBPACKAGES,
]


def __getattr__(name: str) -> object:
    if name in _WHERE:
        return getattr(import_module(_WHERE[name]), name)
    if name in _SUBPACKAGES:
        return import_module(f"{__name__}.{name}")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
