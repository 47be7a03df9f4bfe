"""The house rules a distillery has set in its store, every version kept."""

from __future__ import annotations

import pandas as pd
from sqlalchemy import insert, select
from sqlalchemy.engine import Connection

from origin_compare.house import HouseRules, default_rules, read_rules, rules_as_toml
from origin_compare.store.revision import bump, now
from origin_compare.store.schema import HOUSE_RULES


def rules(link: Connection) -> HouseRules:
    """The house rules set last, or those every store starts with."""
    latest = select(HOUSE_RULES.c.said).order_by(HOUSE_RULES.c.version.desc()).limit(1)
    said = link.execute(latest).scalar()
    return default_rules() if said is None else read_rules(said)


def has_own_rules(link: Connection) -> bool:
    """Whether house rules were ever set here."""
    return link.execute(select(HOUSE_RULES.c.version).limit(1)).first() is not None


def history(link: Connection) -> list[tuple[int, pd.Timestamp, str, HouseRules]]:
    """All house rules ever set here, oldest first: version, when (UTC), who, the rules."""
    columns = (HOUSE_RULES.c[name] for name in ("version", "set_at", "who", "said"))
    found = link.execute(select(*columns).order_by(HOUSE_RULES.c.version))
    return [
        (number, pd.Timestamp(set_at, unit="us", tz="UTC"), who, read_rules(said))
        for number, set_at, who, said in found
    ]


def set_rules(link: Connection, new: HouseRules, who: str) -> None:
    """Set the house rules; the ones before stay on record."""
    link.execute(insert(HOUSE_RULES).values(set_at=now(), who=who, said=rules_as_toml(new)))
    bump(link)
