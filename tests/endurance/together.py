"""Processes that a test starts and that end when it does, however it ends.

A run that is cut off cannot clean up after itself: the kernel is told to do it.
"""

import ctypes
import os
import shutil
import signal

PR_SET_PDEATHSIG = 1


def tied(command):
    """Return the command so that it is killed when whoever starts it is gone."""
    setpriv = shutil.which("setpriv")
    return [setpriv, "--pdeathsig", "KILL", *command] if setpriv else list(command)


def die_with(parent):
    """Have this process killed when ``parent``, its parent, is gone."""
    if not hasattr(os, "fork") or not os.path.isdir("/proc/self"):
        return
    ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0)
    if os.getppid() != parent:
        # It went before the kernel was told.
        os._exit(0)
