"""`python -m origin_compare`: the console."""

import sys

from origin_compare.cli import main

sys.exit(main())
