"""What a tasting of new make must say beside its plan; the site's own rules decide."""

from __future__ import annotations

CUT = "Cut new make to about 20 % vol with still, neutral water; new make is flammable uncut."
NOSE = "Nose first, or nose only."
SPIT = "Small measures; spit whatever is tasted."
LIMITS = "The site's own limits on alcohol and on driving or working afterwards decide."
OPT_OUT = "Anyone may sit out without giving a reason, and no reason of health is stored."
CODES_ONLY = "Assessors appear by code only."

TASTING_CAUTIONS: tuple[str, ...] = (CUT, NOSE, SPIT, LIMITS, OPT_OUT, CODES_ONLY)
"""In the order in which they belong on a sheet; common practice, no source."""
