import os

# Two threads of BLAS cost the engine more than they bring: its arrays are small. Without
# effect where numpy is loaded already or the environment says something else.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
