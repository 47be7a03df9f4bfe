"""What can the panel tell apart, and what not?"""

from origin_compare import page_panel as panel
from origin_compare import page_parts as parts
from origin_compare.page_answers import questions

with parts.question("What can the panel tell apart, and what not?"):
    asked = questions(parts.season_choice())
    view = panel.view()
    if view == "Panel":
        profile = panel.profile_of(asked)
        panel.at_a_glance(profile)
        panel.one_batch(profile)
        panel.smallest(asked, profile)
        panel.in_plain_words()
    elif view == "Assessors":
        panel.assessors(asked)
        panel.in_plain_words()
    elif view == "Tastings":
        panel.sessions(asked, panel.profile_of(asked))
        panel.in_plain_words()
    else:
        panel.difference_tests()
