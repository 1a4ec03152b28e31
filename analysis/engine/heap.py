"""How the process keeps memory that arrays have given back."""

from __future__ import annotations

import ctypes

#: glibc's numbers of the two settings, from its malloc.h.
_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3
#: Bytes: more than the arrays of a block of configurations take together.
_KEPT = 32 * 2**20


def keep_freed_memory() -> bool:
    """Let the C library hold on to a few megabytes that arrays have given back.

    Otherwise it hands every array of more than 128 kB back to the system, which must
    clear its pages again for the next one: over a third of the time of many
    configurations. Returns whether the C library knows of it; others go on as they are.
    """
    try:
        mallopt = ctypes.CDLL(None).mallopt
    except (AttributeError, OSError, TypeError):
        return False
    return all(
        mallopt(which, _KEPT) == 1 for which in (_TRIM_THRESHOLD, _MMAP_THRESHOLD)
    )
