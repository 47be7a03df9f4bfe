"""The reading plans remembered: how files of a kind seen before are read, by name."""

from __future__ import annotations

from sqlalchemy import insert, select
from sqlalchemy.engine import Connection

from origin_compare.errors import UnknownName
from origin_compare.intake.asking.reading_plan import ReadingPlan
from origin_compare.store.revision import bump
from origin_compare.store.schema import READING_PLANS


def remember(link: Connection, *plans: ReadingPlan) -> None:
    """Keep reading plans for the next files of their kind, each in place of its namesake."""
    for plan in plans:
        link.execute(READING_PLANS.delete().where(READING_PLANS.c.name == plan.name))
        link.execute(insert(READING_PLANS).values(name=plan.name, said=plan.to_toml()))
    bump(link)


def remembered(link: Connection) -> tuple[ReadingPlan, ...]:
    """The reading plans remembered, by name."""
    query = select(READING_PLANS.c.said).order_by(READING_PLANS.c.name)
    return tuple(ReadingPlan.from_toml(said) for said in link.execute(query).scalars())


def forget(link: Connection, name: str) -> None:
    """Forget a reading plan by its name; `UnknownName` if there is none of that name."""
    gone = link.execute(READING_PLANS.delete().where(READING_PLANS.c.name == name))
    if not gone.rowcount:
        raise UnknownName(f"There is no reading plan {name}. List them to see their names.")
    bump(link)
