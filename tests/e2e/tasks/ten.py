"""The ten tasks: who asks, what they want to know, and the way there from the first page."""

from __future__ import annotations

from collections.abc import Callable

from origin_compare.places import demo_folder
from tests.e2e.tasks.walker import Walker


def compare_lots(walker: Walker) -> None:
    walker.link("Season")
    walker.sees("finished batches from .* growers")


def who_needs_a_word(walker: Walker) -> None:
    walker.link("Q25-06")
    walker.sees("hot fermentation")


def what_drives_flavour(walker: Walker) -> None:
    walker.link("Drivers")
    walker.sees("Origin explains")


def what_to_test_next(walker: Walker) -> None:
    walker.link_like("move together here")
    walker.sees("What should the next batches test")


def batches_like_this(walker: Walker) -> None:
    walker.link("Blending")
    walker.choose("Batch", "Q25-03")
    walker.sees("Q25-03")


def recipe_to_a_target(walker: Walker) -> None:
    walker.link("Blending")
    walker.button("Find recipes")
    walker.sees("recipe")


def growers_letter(walker: Walker) -> None:
    walker.link("Growers")
    walker.choose("Grower", "G04")
    assert walker.download("Letter to this grower").startswith(b"%PDF")


def where_a_figure_comes_from(walker: Walker) -> None:
    walker.link("Q25-06")
    walker.link_like("Where do the figures of Q25-06 come from")
    walker.sees("recorded cells of")


def draw_up_a_tasting(walker: Walker) -> None:
    walker.link("Tasting")
    walker.button("Draw up")
    walker.sees("Pouring list|Key, for the one who pours")


def take_files_in(walker: Walker) -> None:
    walker.link("Intake")
    walker.drop(sorted(demo_folder().glob("scores_*")))
    walker.sees("already|What is in these files")


TASKS: tuple[tuple[str, str, Callable[[Walker], None]], ...] = (
    ("master distiller", "how did the season's lots compare?", compare_lots),
    ("master distiller", "which batch needs a word, from when, why?", who_needs_a_word),
    ("master distiller", "what drives flavour, what cannot be told?", what_drives_flavour),
    ("master distiller", "what should the next batches test?", what_to_test_next),
    ("blender", "which batches are like this one, how sure?", batches_like_this),
    ("blender", "a recipe to a target", recipe_to_a_target),
    ("agronomy", "a grower's letter", growers_letter),
    ("agronomy", "where does a figure come from?", where_a_figure_comes_from),
    ("panel", "draw up a tasting", draw_up_a_tasting),
    ("office", "take files in", take_files_in),
)
