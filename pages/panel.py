"""What can the panel tell apart, and what not?"""

from origin_compare.front import assessors_page as people
from origin_compare.front import panel_page as panel
from origin_compare.front import parts
from origin_compare.front.asked import questions

with parts.question("What can the panel tell apart, and what not?"):
    asked = questions(parts.season_choice())
    view = panel.view()
    if view == "Panel":
        profile = panel.profile_of(asked)
        panel.at_a_glance(profile)
        panel.one_batch(asked, profile)
        panel.smallest(asked, profile)
        panel.at_one_cut(asked, profile)
        panel.in_plain_words()
    elif view == "Assessors":
        people.assessors(asked)
        panel.in_plain_words()
    elif view == "Tastings":
        profile = panel.profile_of(asked)
        people.sessions(asked, profile)
        people.drift(asked, profile)
        panel.in_plain_words()
    else:
        panel.difference_tests()
