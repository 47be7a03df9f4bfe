"""The console: check files, take them in, look at what is there, open the app."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from origin_compare import __version__, places
from origin_compare.answers import count
from origin_compare.errors import OriginCompareError, StoreFault, UnknownName
from origin_compare.words import rounded

if TYPE_CHECKING:
    import pandas as pd

    from origin_compare.season.season import Season
    from origin_compare.sheets.faults import Fault

DONE, FAULTY, WRONG_USE = 0, 1, 2
_SHOWN = [
    *["batch_id", "season", "status", "origin", "growers", "lots", "variety", "grain_n_pct_dm"],
    *["vessel", "pitched_at", "og_sg", "length_h", "peak_temp_c", "final_ph", "final_sg"],
    *["spirit_yield_lpa_t", "n_tastings", "missing_links"],
]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the console; the exit code is 0 done, 1 the data has faults, 2 wrong use."""
    # Small matrices gain nothing from threads, and on a busy machine those wait on one another:
    # measured, one panel profile took thirty times as long. Read when numpy is first imported.
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    given = _parser().parse_args(arguments)
    run: Callable[[argparse.Namespace], int] = given.run
    try:
        return run(given)
    except OriginCompareError as fault:
        print(fault, file=sys.stderr)
        return WRONG_USE
    except OSError as fault:
        if isinstance(fault, BrokenPipeError):
            # The reader of a pipe has seen enough; keep Python from saying so at exit.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            return DONE
        print(f"{fault.filename}: {fault.strerror}. Check the place.", file=sys.stderr)
        return WRONG_USE
    except KeyboardInterrupt:
        return 130


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="origin-compare",
        description="Joins lots, malt, fermentations and panel scores, from field to new make.",
        epilog="Begin with: origin-compare open --demo",
    )
    parser.add_argument("--version", action="version", version=f"origin_compare {__version__}")
    verbs = parser.add_subparsers(required=True, metavar="VERB")

    check = _verb(
        verbs,
        _check,
        "check",
        "say what is in these files, storing nothing",
        "origin-compare check sheets/ late_scores.csv",
    )
    check.add_argument("paths", nargs="+", metavar="PATH", help="files or folders")
    check.add_argument("--warnings", action="store_true", help="list what is merely unusual too")
    _store_option(check, "hold the rows against this store as well")

    take_in = _verb(
        verbs,
        _take_in,
        "take-in",
        "take files into the store",
        "origin-compare take-in sheets/ --who 'still house'",
    )
    take_in.add_argument("paths", nargs="+", metavar="PATH", help="files or folders")
    take_in.add_argument("--who", default="", help="who takes them in, to be kept with them")
    take_in.add_argument("--warnings", action="store_true", help="list what is merely unusual too")
    _store_option(take_in)

    take_back = _verb(
        verbs,
        _take_back,
        "take-back",
        "take an intake back out of the store",
        "origin-compare take-back 3",
    )
    take_back.add_argument("intake", type=int, metavar="N", help="number of the intake")
    take_back.add_argument(
        "--with-dependants",
        action="store_true",
        help="even if rows of other intakes hang on it; they stay and are listed",
    )
    _store_option(take_back)

    intakes = _verb(verbs, _intakes, "intakes", "list what was taken in", "origin-compare intakes")
    _store_option(intakes)

    plans = _verb(
        verbs,
        _reading_plans,
        "reading-plans",
        "show what was said once about kinds of files, or forget it",
        "origin-compare reading-plans --forget 'readings: batch, sg'",
    )
    plans.add_argument("--forget", metavar="NAME", help="forget the plan of this name")
    plans.add_argument("--to", type=Path, metavar="FILE", help="write all plans to this TOML file")
    _store_option(plans)

    season = _verb(
        verbs,
        _season,
        "season",
        "print the joined records, one row per batch",
        "origin-compare season --season 2024 --csv season_2024.csv",
    )
    _season_options(season)
    season.add_argument("--csv", type=Path, metavar="FILE", help="write all columns to this file")
    _store_option(season)

    export = _verb(
        verbs,
        _export,
        "export",
        "write all sheets as open CSV files with their schema",
        "origin-compare export harvest_records/",
    )
    export.add_argument("folder", type=Path, metavar="FOLDER", help="new or empty folder")
    _season_options(export)
    _store_option(export)

    opened = _verb(
        verbs, _open, "open", "open the app in the browser", "origin-compare open --demo"
    )
    opened.add_argument("--demo", action="store_true", help="on the invented distillery's files")
    opened.add_argument("--port", type=int, default=8610, help="port on this machine (8610)")
    opened.add_argument("--no-browser", action="store_true", help="leave the browser alone")
    _store_option(opened)

    score = _verb(
        verbs,
        _score,
        "score",
        "open one tasting's scoring page for its assessors",
        "origin-compare score T25-7 --at 192.168.1.20",
    )
    score.add_argument(
        "tasting", nargs="?", metavar="TASTING", help="name of the tasting (the last drawn up)"
    )
    score.add_argument("--demo", action="store_true", help="on the invented distillery's files")
    score.add_argument("--port", type=int, default=8611, help="port on this machine (8611)")
    score.add_argument(
        "--at",
        metavar="ADDRESS",
        default="127.0.0.1",
        help="address of this machine in the house network, so that tablets reach the page "
        "(default: this machine alone); nothing is encrypted on the way",
    )
    _store_option(score)
    return parser


def _verb(
    verbs: argparse._SubParsersAction[argparse.ArgumentParser],
    run: Callable[[argparse.Namespace], int],
    name: str,
    says: str,
    example: str,
) -> argparse.ArgumentParser:
    parser = verbs.add_parser(
        name,
        help=says,
        description=f"{says[0].upper()}{says[1:]}.",
        epilog=f"example:\n  {example}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.set_defaults(run=run)
    return parser


def _store_option(parser: argparse.ArgumentParser, says: str = "where the store lies") -> None:
    parser.add_argument(
        "--store",
        metavar="URL",
        help=f"{says}, such as sqlite:///records.sqlite "
        "(default: ORIGIN_COMPARE_STORE, else the user's data folder)",
    )


def _season_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--season", type=int, action="append", metavar="YEAR", help="only this harvest (repeatable)"
    )


def _check(given: argparse.Namespace) -> int:
    from origin_compare.store.bringing import check
    from origin_compare.store.store import open_store

    if given.store is None:
        plan = check(given.paths)
    else:
        with open_store(given.store) as store:
            plan = check(given.paths, store)
    print(plan.sentence())
    print(plan.rests_on())
    for line in plan.besides():
        print(line)
    return _told_faults(plan.faults, warnings=given.warnings)


def _take_in(given: argparse.Namespace) -> int:
    from origin_compare.store.bringing import bring_in
    from origin_compare.store.store import open_store

    with open_store(given.store) as store:
        plan, taken = bring_in(store, given.paths, given.who)
    print(taken.sentence())
    for line in (*plan.left_out_sentences(), *plan.besides()):
        print(line)
    return _told_faults(taken.faults, warnings=given.warnings)


def _told_faults(faults: Sequence[Fault], *, warnings: bool) -> int:
    faulty = [fault for fault in faults if fault.is_to_mend]
    unusual = [fault for fault in faults if not fault.is_to_mend]
    for fault in faulty:
        print(fault)
    for fault in unusual if warnings else ():
        print(f"(unusual) {fault}")
    print(f"{count(len(faulty), 'fault')}, {count(len(unusual), 'warning')}.")
    return FAULTY if faulty else DONE


def _take_back(given: argparse.Namespace) -> int:
    from origin_compare.store.store import open_store

    with open_store(given.store) as store:
        back = store.take_back(given.intake, with_dependants=given.with_dependants)
    print(back.sentence())
    if len(back.orphans):
        _show(back.orphans)
    return DONE


def _intakes(given: argparse.Namespace) -> int:
    from origin_compare.store.store import open_store

    with open_store(given.store) as store:
        intakes = store.intakes()
    if intakes.empty:
        print("Nothing has been taken in yet.")
    else:
        _show(intakes.assign(taken_at=intakes["taken_at"].dt.strftime("%Y-%m-%d %H:%M UTC")))
    return DONE


def _reading_plans(given: argparse.Namespace) -> int:
    from origin_compare.intake.asking.reading_plan import plans_as_toml
    from origin_compare.store.store import open_store

    with open_store(given.store) as store:
        if given.forget:
            store.forget_plan(given.forget)
            print(f"Forgotten: {given.forget}.")
            return DONE
        plans = store.reading_plans()
    if given.to:
        given.to.write_text(plans_as_toml(plans), encoding="utf-8")
        print(f"{count(len(plans), 'reading plan')} written to {given.to}.")
    elif not plans:
        print("Nothing has been said about any kind of file yet.")
    for plan in () if given.to else plans:
        print(f"{plan.name}\n{plan.to_toml()}")
    return DONE


def _season(given: argparse.Namespace) -> int:
    from origin_compare.questions import ask
    from origin_compare.reports.exports import safe_csv
    from origin_compare.season.unmatched import missing_sentence

    asked = ask(_stored_season(given))
    if given.csv:
        given.csv.write_bytes(safe_csv(asked.table))
        print(f"{count(len(asked.table), 'batch')} written to {given.csv}.")
        return DONE
    shown = rounded(asked.batches[_SHOWN])
    _show(shown.assign(pitched_at=shown["pitched_at"].dt.strftime("%Y-%m-%d %H:%M")))
    print(missing_sentence(asked.batches))
    return DONE


def _export(given: argparse.Namespace) -> int:
    from origin_compare.season.package import export_package

    print(export_package(_stored_season(given), given.folder).sentence())
    return DONE


def _stored_season(given: argparse.Namespace) -> Season:
    from origin_compare.store.store import open_store

    with open_store(given.store) as store:
        return store.season(given.season)


def _open(given: argparse.Namespace) -> int:
    from origin_compare.front.launcher import launch

    url = given.store or places.default_store_url()
    if given.demo:
        url = _demo_store(given.store)
    launch(url, given.port, given.no_browser)
    return DONE


def _score(given: argparse.Namespace) -> int:
    from origin_compare.front.launcher import launch_scoring
    from origin_compare.panel import read_plan
    from origin_compare.store.store import open_store
    from origin_compare.store.tastings import kept_tasting, tastings

    url = given.store or places.default_store_url()
    if given.demo:
        url = _demo_store(given.store)
    with open_store(url) as store:
        known = tastings(store)["tasting_id"]
        if known.empty:
            raise UnknownName(
                "No tasting is drawn up in this store. Draw one up on the Tasting page first."
            )
        kept = read_plan(kept_tasting(store, given.tasting or known.iloc[0]))
    print("Each assessor's own address; hand each to its assessor only:")
    for who, key in kept.keys.items():
        print(f"{who}  http://{given.at}:{given.port}/?key={key}")
    launch_scoring(url, kept.plan.tasting_id, given.port, given.at)
    return DONE


def _demo_store(url: str | None) -> str:
    """A store of the invented distillery, filled when it is new; never the user's own."""
    from origin_compare.store.bringing import bring_in, folder_print
    from origin_compare.store.store import open_store

    demo = places.demo_folder()
    url = url or f"sqlite:///{places.data_folder() / f'demo_{folder_print(demo)[:12]}.sqlite'}"
    with open_store(url) as store:
        intakes = store.intakes()
        if intakes.empty:
            _, taken = bring_in(store, [demo], places.DEMO)
            print(taken.sentence())
        elif places.DEMO not in set(intakes["who"]):
            raise StoreFault(
                f"The store {url} holds records of its own. The demo wants a store to itself: "
                "leave --store out, or name a new one."
            )
    return url


def _show(frame: pd.DataFrame) -> None:
    print(frame.to_string(index=False, na_rep="") if len(frame) else "No batches.")
