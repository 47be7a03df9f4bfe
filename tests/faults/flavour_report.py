"""How slopes, growers, the split, families and profiles do in seasons whose truth is known.

python -m tests.faults.flavour_report --seasons 4 --seed 100
python -m tests.faults.flavour_report --only drivers --like "r = -.9"

Asks only what anyone can ask. Slopes are held against the truth of length, peak temperature and
final pH (cut-off has slopes of its own in the world and is recorded). Families are compared with
a Gaussian mixture chosen by BIC on the same panel means.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Mapping

import numpy as np
import pandas as pd
from sklearn.metrics import adjusted_rand_score
from sklearn.mixture import GaussianMixture

import origin_compare as oc
from origin_compare.questions import Questions
from tests.faults.worlds import flavour, making, tasting

WORLDS: Mapping[str, dict[str, object]] = {
    "process free": {},
    "length and pH tied, r = -.70": {"tie": "pair", "r": 0.70},
    "length and pH tied, r = -.90": {"tie": "pair", "r": 0.90},
    "length and pH tied, r = -.95": {"tie": "pair", "r": 0.95},
    "r = -.95, a tenth against it": {"tie": "broken", "r": 0.95},
    "length set by grower": {"tie": "by grower", "r": 0.97},
    "peak set by lot, 2 lots each": {"tie": "by lot", "r": 0.97, "lots_each": 2, "growers": 8},
    "thermometer off, sd 0.8 °C": {"cards": making.Cards(thermometer_sd_c=0.8)},
    "read every 12 h": {"cards": making.Cards(every_h=12.0)},
    "pH meter creeps 0.2, tied": {"tie": "pair", "r": 0.7, "cards": making.Cards(ph_drift=0.2)},
    "heavy tails": {"tail": "heavy"},
    "skewed": {"tail": "skewed"},
    "growers alike, lots differ": {"grower_sd": 0.0, "lot_sd": 0.5, "lots_each": 2, "growers": 8},
    "nothing differs by origin": {"grower_sd": 0.0, "lot_sd": 0.0},
}
CLOUD: dict[str, object] = {"grower_sd": 0.0, "lot_sd": 0.0, "slope_share": 0.0}
CLOUDS: Mapping[str, dict[str, object]] = {
    "one, normal": {},
    "one, heavy tails": {"tail": "heavy"},
    "one, skewed": {"tail": "skewed"},
    "one, an outlier": {"outliers": 1},
    "two at 4 sd": {"families": 2, "apart_sd": 4.0},
    "two at 6 sd, an outlier": {"families": 2, "apart_sd": 6.0, "outliers": 1},
    "three at 4 sd": {"families": 3, "apart_sd": 4.0},
    "four at 6 sd": {"families": 4, "apart_sd": 6.0},
}
REFUSED = "cannot"
"""How every verdict begins that says the data cannot tell."""


def asked_of(made: flavour.Flavours) -> Questions:
    """The season taken through files, as a stranger's would be."""
    with tempfile.TemporaryDirectory() as folder:
        flavour.write(made, folder)
        return oc.ask(oc.load_folder(folder))


def slopes(name: str, made: flavour.Flavours, asked: Questions) -> pd.DataFrame:
    """Every slope's interval beside the true one."""
    told = asked.effects.table()
    per = told["process"].map(making.STEP)
    true = [
        made.truth.slopes.loc[p, a] for p, a in zip(told["process"], told["attribute"], strict=True)
    ]
    stated = np.array(true) * (told["per"] / per)
    return pd.DataFrame(
        {
            "world": name,
            "true": stated,
            "held": told["low"].le(stated) & told["high"].ge(stated),
            "given": told["low"].notna(),
            "clear": told["verdict"].eq("clear"),
            "refused": told["verdict"].str.startswith(REFUSED),
            "half": (told["high"] - told["low"]) / 2,
        }
    )


def slope_table(rows: pd.DataFrame) -> pd.DataFrame:
    """Coverage, clear among true zeros, clear among the rest, and refusals, by world."""

    def of(group: pd.DataFrame) -> pd.Series:
        zero = group["true"].abs() < 1e-9
        return pd.Series(
            {
                "slopes": len(group),
                "held_pct": 100 * group.loc[group["given"], "held"].mean(),
                "clear_of_zero_pct": 100 * group.loc[zero, "clear"].mean(),
                "clear_of_true_pct": 100 * group.loc[~zero, "clear"].mean(),
                "refused_pct": 100 * group["refused"].mean(),
                "median_half_width": group["half"].median(),
            }
        )

    return _by_world(rows, of)


def origins(name: str, made: flavour.Flavours, asked: Questions) -> pd.DataFrame:
    """Whether each attribute's share of the grower is called clear, and whether there is one."""
    told = asked.effects.origins
    return pd.DataFrame(
        {
            "world": name,
            "clear": told["verdict"].eq("clear"),
            "refused": told["verdict"].str.startswith(REFUSED),
            "any": made.world.grower_sd > 0,
        }
    )


def origin_table(rows: pd.DataFrame) -> pd.DataFrame:
    """How often the grower's share is called clear; `season` counts a season with any clear."""

    def of(group: pd.DataFrame) -> pd.Series:
        return pd.Series(
            {
                "growers_differ": "yes" if group["any"].iloc[0] else "no",
                "clear_pct": 100 * group["clear"].mean(),
                "seasons_with_any_clear_pct": 100 * group.groupby("seed")["clear"].any().mean(),
                "refused_pct": 100 * group["refused"].mean(),
            }
        )

    return _by_world(rows, of)


def parts(name: str, made: flavour.Flavours, asked: Questions) -> pd.DataFrame:
    """The split's shares beside the true ones of these very batches."""
    told = asked.split.table()
    told = told[told["part"].isin(["origin", "process", "both"]) & told["low"].notna()]
    true = made.truth.shares()
    real = [true.loc[a, p] for a, p in zip(told["attribute"], told["part"], strict=True)]
    return pd.DataFrame(
        {
            "world": name,
            "part": told["part"].to_numpy(),
            "whole": told["attribute"].eq("whole profile").to_numpy(),
            "held": ((told["low"] <= real) & (told["high"] >= real)).to_numpy(),
            "off": (told["share_pct"] - real).to_numpy(),
        }
    )


def part_table(rows: pd.DataFrame) -> pd.DataFrame:
    """Coverage of origin's and process's share, whole profile and single attributes."""

    def of(group: pd.DataFrame) -> pd.Series:
        held = {}
        for part in ("origin", "process"):
            own = group[group["part"] == part]
            held[f"{part}_whole_held_pct"] = 100 * own.loc[own["whole"], "held"].mean()
            held[f"{part}_held_pct"] = 100 * own.loc[~own["whole"], "held"].mean()
            held[f"{part}_mean_error_points"] = own.loc[~own["whole"], "off"].mean()
        return pd.Series(held)

    return _by_world(rows, of)


def profiles(name: str, made: flavour.Flavours, asked: Questions) -> pd.DataFrame:
    """Differences of batches from the mean of all, panel against truth."""
    told = asked.profile.table()
    wide = told.pivot_table(index="batch_id", columns="attribute", values="estimate")
    error = told.pivot_table(index="batch_id", columns="attribute", values="se_compare")
    true = made.truth.profile.loc[wide.index, wide.columns]
    off = (wide - wide.mean()) - (true - true.mean())
    return pd.DataFrame({"world": name, "held": (off.abs() < 1.96 * error).to_numpy().ravel()})


def _chosen(
    worlds: Mapping[str, dict[str, object]], like: str
) -> list[tuple[str, dict[str, object]]]:
    return [(name, options) for name, options in worlds.items() if like in name]


def _by_world(rows: pd.DataFrame, of: object) -> pd.DataFrame:
    made = [(name, of(group)) for name, group in rows.groupby("world", sort=False)]  # type: ignore[operator]
    return pd.DataFrame(dict(made)).T.rename_axis("world")


def families(seasons: int, seed: int, batches: int, like: str) -> pd.DataFrame:
    """Families said against families there are, and a mixture by BIC on the same means."""
    rows = []
    for name, options in _chosen(CLOUDS, like):
        for k in range(seasons):
            made = flavour.season(seed + k, batches=batches, **{**CLOUD, **options})
            rows.append({"cloud": name, **_family_row(made, asked_of(made))})
    table = pd.DataFrame(rows).groupby("cloud", sort=False).mean()
    return table.assign(right_pct=100 * table["right"], mixture_right_pct=100 * table["bic"])[
        ["right_pct", "rand", "mixture_right_pct", "mixture_rand"]
    ]


def _family_row(made: flavour.Flavours, asked: Questions) -> dict[str, float]:
    told, truth = asked.families, made.truth.batches.set_index("batch_id")["family"]
    inside = truth[truth >= 0]
    said = told.labels.reindex(inside.index).fillna(-1)
    wide = asked.profile.table().pivot_table(
        index="batch_id", columns="attribute", values="estimate"
    )
    mixtures = [
        GaussianMixture(n, covariance_type=shape, n_init=3, random_state=0).fit(wide)
        for n in range(1, 7)
        for shape in ("spherical", "diag")
    ]
    best = min(mixtures, key=lambda mixture: mixture.bic(wide))
    grouped = pd.Series(best.predict(wide), index=wide.index).reindex(inside.index)
    return {
        "right": float(told.number == made.world.families),
        "rand": adjusted_rand_score(inside, said),
        "bic": float(best.n_components == made.world.families),
        "mixture_rand": adjusted_rand_score(inside, grouped),
    }


def likeness(seasons: int, seed: int, batches: int) -> pd.Series:
    """Distances between batches against the truth, and how often zero or "alike" is said."""
    rows = []
    for k in range(seasons):
        made = flavour.season(seed + k, batches=batches, panel=tasting.Panel(noise_sd=1.3))
        asked = asked_of(made)
        for name in made.truth.batches["batch_id"].iloc[::8]:
            told = asked.nearest(name)
            true = made.truth.profile[list(asked.profile.told)]
            real = np.sqrt(((true - true.loc[name]) ** 2).mean(axis=1))
            table = told.table()
            table["real"] = table["batch_id"].map(real)
            rows.append(
                {
                    "held_pct": 100 * table["real"].between(table["low"], table["high"]).mean(),
                    "zero_pct": 100 * (table["distance"] <= 0).mean(),
                    "alike_pct": 100 * table["verdict"].eq("alike").mean(),
                    "first_said": table["distance"].iloc[0],
                    "first_true": table["real"].iloc[0],
                    "nearest_true": table["real"].min(),
                }
            )
    return pd.DataFrame(rows).mean()


def study(seasons: int, seed: int, batches: int, like: str) -> None:
    """Every world, and its four tables."""
    kept: dict[str, list[pd.DataFrame]] = {"slopes": [], "origins": [], "parts": [], "profiles": []}
    for name, options in _chosen(WORLDS, like):
        for k in range(seasons):
            made = flavour.season(seed + k, batches=batches, **options)
            asked = asked_of(made)
            for what, rows in (
                ("slopes", slopes(name, made, asked)),
                ("origins", origins(name, made, asked)),
                ("parts", parts(name, made, asked)),
                ("profiles", profiles(name, made, asked)),
            ):
                kept[what].append(rows.assign(seed=seed + k))
    tables = {
        "slopes": slope_table(pd.concat(kept["slopes"])),
        "grower's share": origin_table(pd.concat(kept["origins"])),
        "split": part_table(pd.concat(kept["parts"])),
    }
    for name, table in tables.items():
        print(name, table.infer_objects().round(2).to_string(), sep="\n", end="\n\n", flush=True)
    held = pd.concat(kept["profiles"])["held"].mean()
    print(f"profile: {100 * held:.1f} % of differences from the mean held\n", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seasons", type=int, default=4)
    parser.add_argument("--seed", type=int, default=100)
    parser.add_argument("--batches", type=int, default=60)
    parser.add_argument("--like", default="", help="only worlds whose name holds this")
    parser.add_argument("--only", choices=("drivers", "families", "likeness"))
    asked = parser.parse_args()
    if asked.only in (None, "drivers"):
        study(asked.seasons, asked.seed, asked.batches, asked.like)
    if asked.only in (None, "families"):
        table = families(asked.seasons, asked.seed + 500, asked.batches, asked.like)
        print(table.round(2).to_string(), end="\n\n", flush=True)
    if asked.only in (None, "likeness"):
        print(likeness(asked.seasons, asked.seed + 900, asked.batches).round(2).to_string())


if __name__ == "__main__":
    main()
