"""Numbers only: what a pin-jointed truss carries, and what it can carry.

Feet, kips and ksi throughout; tension is positive. Nothing here knows of the web.
"""

from .heap import keep_freed_memory

ENGINE_VERSION = "1.11"

keep_freed_memory()
