"""One thread of linear algebra for each worker: set here, before anything imports numpy."""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
