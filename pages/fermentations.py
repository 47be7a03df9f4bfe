"""Which batches left the house style, when and why?"""

from origin_compare import page_fermentations as fermentations
from origin_compare import page_parts as parts
from origin_compare.page_answers import questions

with parts.question("Which batches left the house style, when and why?"):
    asked = questions(parts.season_choice())
    fermentations.at_a_glance(asked)
    fermentations.one_batch(asked)
    fermentations.side_by_side(asked)
    fermentations.caution()
