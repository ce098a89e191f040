"""One thread for each worker of the tests: it has a core of its own, more get in each other's way.

Imported before the libraries that read these names when they are loaded.
"""

import os

for _name in ("POLARS_MAX_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
