"""skinplane: how far the skin of an infield has left its plane."""

import os

# One thread a product: threaded sums change the last bits with the number of cores. Must be set before numpy loads.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

__version__ = "0.1.0"
