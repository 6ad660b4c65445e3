"""The language of sizes: read and write threads, published series, profiles, limits, insert holes, drills,
look-alikes.

PURE: the standard library and `inventory.errors` alone. Sizes are whole nanometres in a thread and Decimal
millimetres in what is computed from it. Published values stand in `tables/*.csv` with edition, clause and
unit, and each row says whether it was read in a copy or written from memory; tables beat formulas.

>>> bolt = read("M14 x 1,5").thread
>>> insert_hole(bolt).designation, internal_limits(read("M16x1.5").thread).minor_max
('EG M14x1.5', Decimal('14.676'))
"""

from inventory.threads.drills import Drill, DrillError, drills_in, read_drill, tap_drill
from inventory.threads.insert_holes import (
    DepthRule,
    MajorRange,
    insert_hole,
    insert_hole_depth,
    insert_hole_tap_major,
)
from inventory.threads.limits import (
    ExternalLimits,
    InternalLimits,
    classes,
    classes_that_serve,
    default_class,
    external_limits,
    internal_limits,
)
from inventory.threads.look_alikes import LookAlike, compare, look_alikes
from inventory.threads.profiles import Basic, basic, percent_of_thread, stress_area
from inventory.threads.reading import Reading, read
from inventory.threads.thread import SYSTEMS, System, Thread, ThreadError, series

__all__ = [
    "SYSTEMS",
    "Basic",
    "DepthRule",
    "Drill",
    "DrillError",
    "ExternalLimits",
    "InternalLimits",
    "LookAlike",
    "MajorRange",
    "Reading",
    "System",
    "Thread",
    "ThreadError",
    "basic",
    "classes",
    "classes_that_serve",
    "compare",
    "default_class",
    "drills_in",
    "external_limits",
    "insert_hole",
    "insert_hole_depth",
    "insert_hole_tap_major",
    "internal_limits",
    "look_alikes",
    "percent_of_thread",
    "read",
    "read_drill",
    "series",
    "stress_area",
    "tap_drill",
]
