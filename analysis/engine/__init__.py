"""Numbers only: what a pin-jointed truss carries, and what it can carry.

Feet, kips and ksi throughout; tension is positive. Nothing here knows of the web.
"""

import os

# Two threads of BLAS cost more here than they bring: the arrays are small. Without
# effect where numpy is loaded already or the environment says something else.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

ENGINE_VERSION = "1.3"
