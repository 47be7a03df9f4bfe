"""The store's revision, and the moments its books are written with."""

from __future__ import annotations

import time

from sqlalchemy import select, update
from sqlalchemy.engine import Connection

from origin_compare.store.schema import REVISION


def revision(link: Connection) -> int:
    """The store's revision: another number whenever its content is another."""
    return int(link.execute(select(REVISION.c.number)).scalar_one())


def bump(link: Connection) -> int:
    """The next revision, in the transaction of the change itself."""
    link.execute(update(REVISION).values(number=REVISION.c.number + 1))
    return revision(link)


def now() -> int:
    """Microseconds since 1970, UTC."""
    return time.time_ns() // 1000
