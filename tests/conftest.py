"""One BLAS thread a test worker: small matrices gain nothing from more, and workers would fight."""

import os

for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")
