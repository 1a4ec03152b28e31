"""The short name of ``run_jobs``."""

from .run_jobs import Command

__all__ = ["Command"]
