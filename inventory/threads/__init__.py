"""The language of sizes: read and write threads, published series, profiles, limits, insert holes, drills,
look-alikes, and what an unknown thread may be.

PURE: the standard library and `inventory.errors` alone. Sizes are whole nanometres in a thread and Decimal
millimetres in what is computed from it. Published values stand in `tables/*.csv` with edition, clause and
unit, and each row says whether it was read in a copy or written from memory; tables beat formulas.

>>> bolt = read("M14 x 1,5").thread
>>> insert_hole(bolt).designation, internal_limits(read("M16x1.5").thread).minor_max
('EG M14x1.5', Decimal('14.676'))
"""

from inventory.threads.dossier import Dossier, InsertHoleSizes, dossier
from inventory.threads.drills import Drill, DrillChoice, DrillError, drill_choices, drills_in, read_drill, tap_drill
from inventory.threads.identify import Candidate, identify, tell_apart
from inventory.threads.insert_holes import (
    DepthRule,
    MajorRange,
    insert_hole,
    insert_hole_depth,
    insert_hole_tap_major,
)
from inventory.threads.limits import (
    classes,
    classes_that_serve,
    default_class,
    external_limits,
    internal_limits,
    limits_of_class,
)
from inventory.threads.look_alikes import LookAlike, compare, look_alikes
from inventory.threads.profiles import Basic, Vertex, basic, inches, outline, percent_of_thread, stress_area
from inventory.threads.reading import Reading, read
from inventory.threads.taps import TapLead, tap_lead, tap_leads
from inventory.threads.thread import SYSTEMS, System, Thread, ThreadError, covered, series, uses
from inventory.threads.values import ExternalLimits, InternalLimits

__all__ = [
    "SYSTEMS",
    "Basic",
    "Candidate",
    "DepthRule",
    "Dossier",
    "Drill",
    "DrillChoice",
    "DrillError",
    "ExternalLimits",
    "InsertHoleSizes",
    "InternalLimits",
    "LookAlike",
    "MajorRange",
    "Reading",
    "System",
    "TapLead",
    "Thread",
    "ThreadError",
    "Vertex",
    "basic",
    "classes",
    "classes_that_serve",
    "compare",
    "covered",
    "default_class",
    "dossier",
    "drill_choices",
    "drills_in",
    "external_limits",
    "identify",
    "inches",
    "insert_hole",
    "insert_hole_depth",
    "insert_hole_tap_major",
    "internal_limits",
    "limits_of_class",
    "look_alikes",
    "outline",
    "percent_of_thread",
    "read",
    "read_drill",
    "series",
    "stress_area",
    "tap_drill",
    "tap_lead",
    "tap_leads",
    "tell_apart",
    "uses",
]
