"""The house rules: targets and windows a distillery sets for itself, each with where it came from.

The shipped defaults stand in `house_rules.toml`, beside this room. A distillery's own file has the
same form and holds only what differs.
"""

from origin_compare.house.house_rules import (
    FEINTS,
    FEWEST_IN_A_GROUP,
    HOUR_ZEROS,
    MOST_IN_A_GROUP,
    HouseRules,
    time_zones,
)
from origin_compare.house.rules_file import default_rules, read_rules
from origin_compare.house.rules_text import rules_as_toml
from origin_compare.house.window import COMMON, Flag, RuleFault, Window

__all__ = [
    "COMMON",
    "FEINTS",
    "FEWEST_IN_A_GROUP",
    "HOUR_ZEROS",
    "MOST_IN_A_GROUP",
    "Flag",
    "HouseRules",
    "RuleFault",
    "Window",
    "default_rules",
    "read_rules",
    "rules_as_toml",
    "time_zones",
]
