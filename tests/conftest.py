"""Settings of all tests."""

import os

# Workers run beside each other: threads of linear algebra in each would wait for one another. Before numpy loads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from hypothesis import settings

# How long an example takes says more about what else the machine does than about the code.
settings.register_profile("patient", deadline=None)
settings.load_profile("patient")
