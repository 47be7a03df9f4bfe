"""What the user tells the program once: headers of their own, and the house rules."""

from __future__ import annotations

from .world import TIME_ZONE

HEADERS = """\
# Headers of our own, and the column each one stands for.

[[map]]
sheet = "readings"

[map.headers]
"WB_RUN" = "batch_id"
"TS_LOCAL" = "read_at"
"DT204.PV" = "sg"
"TT204.PV" = "temp_c"
"CV204.OUT" = "cooling_pct"
"SRC" = "instrument"
"""

HOUSE_RULES = f"""\
# What this house holds to; everything not named here stays as it comes.

distillery = "Quernhallow"
time_zone = "{TIME_ZONE}"
feints_kept_apart = "by grower"

[windows.peak_temp_c]
low = 27.0
high = 30.5
source = "house"

[windows.length_h]
low = 94.0
high = 142.0
source = "house"

[windows.final_ph]
high = 3.8
source = "house"

[windows.share_of_predicted_pct]
low = 91.0
high = 100.0
source = "house"
"""
