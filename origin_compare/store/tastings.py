"""Tastings drawn up and the scores entered glass by glass, kept until their intake.

Scores entered here are not yet records: they join the season only when the panel leader takes
them in. So entering one does not move the store's revision, and nothing is computed anew.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping

import pandas as pd
from sqlalchemy import Result, delete, func, select
from sqlalchemy.dialects.sqlite import insert
from sqlalchemy.engine import Connection

from origin_compare.answers import count
from origin_compare.errors import StoreFault, UnknownName
from origin_compare.store.revision import now
from origin_compare.store.schema import ENTERED_SCORES, SHEET_TABLES, TASTINGS
from origin_compare.store.store import Store

TASTING_COLUMNS = ["tasting_id", "made_at", "who", "glasses_done", "in_records"]

Scores = Mapping[str, float | None]


def keep_tasting(store: Store, tasting_id: str, said: str, who: str = "") -> None:
    """Keep a plan (its text, see `panel.plan_as_text`) under a name no tasting here has had.

    Raises `StoreFault` for a name that is empty or taken, by a plan or by scores on record.
    """
    name = tasting_id.strip()
    if not name:
        raise StoreFault("A tasting needs a name. Give one, such as T25-7.")
    scores = SHEET_TABLES["scores"].c.tasting_id
    with store.writing() as link:
        taken = link.execute(select(TASTINGS.c.tasting_id).where(TASTINGS.c.tasting_id == name))
        scored = link.execute(select(scores).where(scores == name).limit(1))
        if taken.first() is not None or scored.first() is not None:
            raise StoreFault(f"There is a tasting {name} already. Give this one another name.")
        link.execute(
            insert(TASTINGS).values(tasting_id=name, made_at=now(), who=who.strip(), said=said)
        )


def tastings(store: Store) -> pd.DataFrame:
    """One row per plan kept, latest first: `TASTING_COLUMNS`, `made_at` in UTC.

    `glasses_done`: glasses whose scores were entered; `in_records`: scores taken in.
    """
    with store.reading() as link:
        found = link.execute(
            select(TASTINGS.c.tasting_id, TASTINGS.c.made_at, TASTINGS.c.who).order_by(
                TASTINGS.c.made_at.desc()
            )
        ).all()
        column, scored = ENTERED_SCORES.c.tasting_id, SHEET_TABLES["scores"].c.tasting_id
        finished = select(column, func.count()).where(ENTERED_SCORES.c.done == 1)
        done = dict(_pairs(link.execute(finished.group_by(column))))
        counted = select(scored, func.count()).group_by(scored)
        recorded = dict(_pairs(link.execute(counted)))
    frame = pd.DataFrame(found, columns=TASTING_COLUMNS[:3])
    frame["made_at"] = pd.to_datetime(frame["made_at"].astype("int64"), unit="us", utc=True)
    frame["glasses_done"] = [done.get(name, 0) for name in frame["tasting_id"]]
    frame["in_records"] = [recorded.get(name, 0) for name in frame["tasting_id"]]
    return frame


def kept_tasting(store: Store, tasting_id: str) -> str:
    """The text of a plan kept; `UnknownName` if there is none of that name."""
    with store.reading() as link:
        said = link.execute(
            select(TASTINGS.c.said).where(TASTINGS.c.tasting_id == tasting_id)
        ).scalar()
    if said is None:
        raise UnknownName(
            f"tasting {tasting_id}: no plan of that name is kept here. Ask the panel leader for "
            "the address."
        )
    return str(said)


def drop_tasting(store: Store, tasting_id: str) -> None:
    """Forget a plan nobody has scored yet; `StoreFault` once a glass was entered."""
    kept_tasting(store, tasting_id)
    with store.writing() as link:
        mine = ENTERED_SCORES.c.tasting_id == tasting_id
        entered = link.execute(select(func.count()).where(mine)).scalar_one()
        if entered:
            raise StoreFault(
                f"Tasting {tasting_id} holds scores of {count(entered, 'glass', 'glasses')} and "
                "is kept with them."
            )
        link.execute(delete(TASTINGS).where(TASTINGS.c.tasting_id == tasting_id))


def enter_scores(
    store: Store,
    tasting_id: str,
    assessor_id: str,
    code: int,
    scores: Scores,
    done: bool = True,
    instead_of: Scores | None = None,
) -> Scores:
    """Keep these cells of one glass, others of it as they are; None is declined.

    `done` False where the assessor has yet to say whether an empty cell is meant; a glass once
    done stays so. `instead_of`: what each cell was seen to hold (None or not named: nothing); one
    that holds something else by now, and not the new figure either, is left alone, and the glass
    is not done. Returns those cells with what they hold. Raises `StoreFault` once this
    assessor's scores were taken in, `UnknownName` for a tasting not kept.
    """
    kept_tasting(store, tasting_id)
    plain = {name: _number(value) for name, value in scores.items()}
    with store.writing() as link:
        _refuse_once_taken_in(link, tasting_id, assessor_id)
        held, was_done = _glass(link, tasting_id, assessor_id, int(code))
        changed: dict[str, float | None] = {}
        if instead_of is not None:
            seen = {name: _number(instead_of.get(name)) for name in plain}
            stands = {name: held.get(name) for name in plain}
            changed = {
                name: now_held
                for name, now_held in stands.items()
                if now_held not in (seen[name], plain[name])
            }
        kept = held | {name: value for name, value in plain.items() if name not in changed}
        row = {
            "said": json.dumps(kept, ensure_ascii=False, sort_keys=True, allow_nan=False),
            "done": int(was_done or (done and not changed)),
            "entered_at": now(),
        }
        link.execute(
            insert(ENTERED_SCORES)
            .values(tasting_id=tasting_id, assessor_id=assessor_id, code=int(code), **row)
            .on_conflict_do_update(index_elements=["tasting_id", "assessor_id", "code"], set_=row)
        )
    return changed


def _refuse_once_taken_in(link: Connection, tasting_id: str, assessor_id: str) -> None:
    table = SHEET_TABLES["scores"].c
    there = select(table.row_id).where(
        table.tasting_id == tasting_id, table.assessor_id == assessor_id
    )
    if link.execute(there.limit(1)).first() is not None:
        raise StoreFault(
            f"The scores of {assessor_id} in tasting {tasting_id} were taken in already. "
            "The panel leader can take that intake back."
        )


def _glass(
    link: Connection, tasting_id: str, assessor_id: str, code: int
) -> tuple[dict[str, float | None], bool]:
    """What is kept of one glass, and whether it is done."""
    table = ENTERED_SCORES.c
    found = link.execute(
        select(table.said, table.done).where(
            table.tasting_id == tasting_id, table.assessor_id == assessor_id, table.code == code
        )
    ).first()
    return ({}, False) if found is None else (json.loads(found.said), bool(found.done))


def entered_scores(store: Store, tasting_id: str, assessor_id: str | None = None) -> pd.DataFrame:
    """Scores entered: assessor_id, code, done, entered_at (UTC), then a column per attribute.

    With `assessor_id` those of one assessor alone; NaN is declined.
    """
    table = ENTERED_SCORES.c
    query = select(table.assessor_id, table.code, table.done, table.entered_at, table.said)
    query = query.where(table.tasting_id == tasting_id)
    if assessor_id is not None:
        query = query.where(table.assessor_id == assessor_id)
    with store.reading() as link:
        found = link.execute(query.order_by(table.assessor_id, table.entered_at)).all()
    head = pd.DataFrame(
        [(who, code, bool(done), at) for who, code, done, at, _ in found],
        columns=["assessor_id", "code", "done", "entered_at"],
    ).astype({"done": "bool"})
    head["entered_at"] = pd.to_datetime(head["entered_at"].astype("int64"), unit="us", utc=True)
    scores = pd.DataFrame([json.loads(said) for *_, said in found], index=head.index)
    return pd.concat([head, scores.astype("float64")], axis=1)


def in_records(store: Store, tasting_id: str) -> dict[str, int]:
    """Assessor -> scores of this tasting that were taken in."""
    table = SHEET_TABLES["scores"].c
    query = select(table.assessor_id, func.count()).where(table.tasting_id == tasting_id)
    with store.reading() as link:
        return dict(_pairs(link.execute(query.group_by(table.assessor_id))))


def _number(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)


def _pairs(found: Result[str, int]) -> Iterator[tuple[str, int]]:
    return ((str(row[0]), int(row[1])) for row in found)
