"""Classes and limits of size of every system: which standard rules a thread, and what is meant by a class. PURE."""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache

from inventory.errors import Reason
from inventory.threads import asme_b1_1, british, iso_965
from inventory.threads.thread import SYSTEMS, Thread, ThreadError
from inventory.threads.values import ExternalLimits, InternalLimits

# Finest first. Metric: the ten recommended classes of ISO 965-1 without 6f and 6e, whose deviations are not tabled
# here. BS 84: nuts close, medium and normal; BS 811: close, medium and free on both sides (its list of tables).
# BS 93: two classes of bolts, one of nuts. ISO 228-1: one class inside, A and B outside.
_CLASSES: dict[tuple[str, bool], tuple[str, ...]] = {
    ("M", True): ("4H", "5H", "6H", "7H", "6G"),
    ("M", False): ("4h", "6h", "6g"),
    ("EG-M", True): ("4H5H", "5H", "6H"),
    ("UN", True): ("3B", "2B"),
    ("UN", False): ("3A", "2A"),
    ("STI-UN", True): ("3B", "2B"),
    **{(code, True): ("close", "medium", "normal") for code in ("BSW", "BSF", "BRASS")},
    **{(code, False): ("close", "medium", "free") for code in ("BSW", "BSF", "BRASS")},
    ("CYCLE", True): ("close", "medium", "free"),
    ("CYCLE", False): ("close", "medium", "free"),
    ("BA", True): ("normal",),
    ("BA", False): ("close", "normal"),
    ("G", True): ("internal",),
    ("G", False): ("A", "B"),
}
_DEFAULTS: dict[tuple[str, bool], tuple[str, ...]] = {
    ("M", True): ("6H", "5H", "4H"),
    ("M", False): ("6g",),
    ("EG-M", True): ("5H", "4H5H"),
    ("UN", True): ("2B",),
    ("UN", False): ("2A",),
    ("STI-UN", True): ("2B",),
    **{(code, True): ("normal",) for code in ("BSW", "BSF", "BRASS", "BA")},
    **{(code, False): ("medium",) for code in ("BSW", "BSF", "BRASS", "CYCLE")},
    ("CYCLE", True): ("medium",),
    ("BA", False): ("normal",),
    ("G", True): ("internal",),
    ("G", False): ("A",),
}


def _unknown_class(thread: Thread, thread_class: str, known: tuple[str, ...]) -> ThreadError:
    return ThreadError(
        Reason("thread_class_unknown", thread_class=thread_class, thread=thread.designation, known=known)
    )


def class_as_written(thread: Thread, typed: str) -> str:
    """A class as its standard writes it, in whatever case it was typed; of metric ones the case says the side.

    >>> class_as_written(Thread("UN", 12_700_000, 26), "2b"), class_as_written(Thread("BSF", 9_525_000, 40), "Medium")
    ('2B', 'medium')
    >>> class_as_written(Thread("M", 14_000_000, 1_500_000), "6h")
    '6h'
    """
    if thread.system == "M":
        return typed
    known = _CLASSES[thread.system, True] + _CLASSES.get((thread.system, False), ())
    return next((name for name in known if name.lower() == typed.lower()), typed)


def classes(of: Thread | str, internal: bool = True) -> tuple[str, ...]:
    """Known classes of a system or of one thread, finest first.

    () where the side does not exist: an insert hole has no outside. Of a thread only those that its pitch
    has limits for: ISO 965-1 gives no 6H under 0.3 mm pitch.

    >>> classes("M"), classes("UN", internal=False), classes("G", internal=False)
    (('4H', '5H', '6H', '7H', '6G'), ('3A', '2A'), ('A', 'B'))
    >>> classes(Thread("M", 2_000_000, 250_000))
    ('4H', '5H')
    """
    if isinstance(of, str):
        return _CLASSES.get((of, internal), ())
    return tuple(name for name in _CLASSES.get((of.system, internal), ()) if _has(of, name, internal))


def _has(thread: Thread, thread_class: str, internal: bool) -> bool:
    try:
        (internal_limits if internal else external_limits)(thread, thread_class)
    except ThreadError:
        return False
    return True


def default_class(thread: Thread, internal: bool = True) -> str:
    """The class that is meant when none is written: 6H, 6g, 2B, 2A, 5H for a metric insert hole, and so on.

    ISO 965-1 12.2 names 6H and 6g (5H for the finest). Common practice, no source, for the others: Unified and
    insert holes; medium bolts and normal nuts of Whitworth form; class A of pipe threads. Raises ThreadError
    `thread_side_missing` for the outside of an insert hole, which does not exist.

    >>> default_class(Thread("M", 14_000_000, 1_500_000)), default_class(Thread("M", 2_000_000, 250_000))
    ('6H', '5H')
    >>> default_class(Thread("BSF", 9_525_000, 40)), default_class(Thread("BSF", 9_525_000, 40), internal=False)
    ('normal', 'medium')
    """
    for name in _DEFAULTS.get((thread.system, internal), ()):
        if _has(thread, name, internal):
            return name
    raise ThreadError(Reason("thread_side_missing", thread=thread.designation))


@lru_cache(maxsize=4096)
def internal_limits(thread: Thread, thread_class: str = "") -> InternalLimits:
    """Limits of size in mm of a hole's thread, for the default class where none is given.

    ISO 965-1 and ISO 228-1 from their tables (ISO 965-2 prints the same sums), ASME B1.1, BS 84 and BS 93 from their
    formulas, cycle and brass threads by those of BS 84. Raises ThreadError `thread_class_unknown`.

    >>> limits = internal_limits(Thread("M", 16_000_000, 1_500_000))
    >>> limits.minor_min, limits.minor_max, limits.thread_class
    (Decimal('14.376'), Decimal('14.676'), '6H')
    """
    name = thread_class or default_class(thread)
    limits: InternalLimits | None = None
    if not _british(thread):
        limits = (asme_b1_1 if SYSTEMS[thread.system].inch else iso_965).internal(thread, name)
    elif name in _CLASSES[thread.system, True]:
        if thread.system == "BA":
            limits = british.ba_internal(thread)
        elif thread.system == "G":
            limits = british.pipe_internal(thread)
        else:
            limits = british.whitworth_internal(thread, name)
    if limits is None:
        raise _unknown_class(thread, name, _CLASSES[thread.system, True])
    return limits


@lru_cache(maxsize=4096)
def external_limits(thread: Thread, thread_class: str = "") -> ExternalLimits:
    """Limits of size in mm of a bolt's thread, for the default class where none is given.

    Raises ThreadError as `internal_limits` does, and `thread_side_missing` for an insert-hole thread.

    >>> limits = external_limits(Thread("M", 14_000_000, 1_500_000))
    >>> limits.major_min, limits.major_max
    (Decimal('13.732'), Decimal('13.968'))
    """
    name = thread_class or default_class(thread, internal=False)
    if SYSTEMS[thread.system].bolt:
        raise ThreadError(Reason("thread_side_missing", thread=thread.designation))
    limits: ExternalLimits | None = None
    if not _british(thread):
        limits = (asme_b1_1 if SYSTEMS[thread.system].inch else iso_965).external(thread, name)
    elif name in _CLASSES[thread.system, False]:
        if thread.system == "BA":
            limits = british.ba_external(thread, name)
        elif thread.system == "G":
            limits = british.pipe_external(thread, name)
        else:
            limits = british.whitworth_external(thread, name)
    if limits is None:
        raise _unknown_class(thread, name, _CLASSES[thread.system, False])
    return limits


def _british(thread: Thread) -> bool:
    return SYSTEMS[thread.system].form != "iso"


def _of_a_hole(thread: Thread, thread_class: str) -> bool:
    """Whether a class is one of a hole: capital letters are, 2A and 3A are not; a word that fits both sides is."""
    if thread_class in classes(thread.system):
        return True
    if thread_class in classes(thread.system, internal=False):
        return False
    return thread_class.upper() == thread_class and not thread_class.endswith("A")


def limits_of_class(thread: Thread, thread_class: str) -> InternalLimits | ExternalLimits:
    """Limits in mm of the side that a class belongs to; a class of both sides is taken as the hole's.

    Raises ThreadError `thread_class_unknown`, which names the classes of both sides.

    >>> type(limits_of_class(Thread("M", 14_000_000, 1_500_000), "6g")).__name__
    'ExternalLimits'
    """
    try:
        return (internal_limits if _of_a_hole(thread, thread_class) else external_limits)(thread, thread_class)
    except ThreadError:
        known = tuple(dict.fromkeys(classes(thread) + classes(thread, internal=False)))
        raise _unknown_class(thread, thread_class, known) from None


def classes_that_serve(thread: Thread, wanted: str = "") -> tuple[str, ...]:
    """Classes whose taps and gauges may make and check one of class `wanted`, the wanted one first.

    A tap or a gauge rules the flanks, so a class serves when its pitch-diameter limits lie inside the wanted
    ones: a hole that a 5H gauge passes is a 6H hole too. Coarser ones never serve. "" wants the default class
    of a hole, and so does a class that both sides have ("close"). Raises ThreadError as `internal_limits` does.

    >>> classes_that_serve(Thread("M", 14_000_000, 1_500_000), "6H")
    ('6H', '5H', '4H')
    >>> classes_that_serve(Thread("UN", 9_525_000, 32), "3B")
    ('3B',)
    >>> classes_that_serve(Thread("BSF", 9_525_000, 40))
    ('normal', 'medium', 'close')
    """
    wanted = wanted or default_class(thread)

    def flanks(limits: InternalLimits | ExternalLimits) -> tuple[Decimal, Decimal]:
        return limits.pitch_min, limits.pitch_max

    internal = _of_a_hole(thread, wanted)
    of_side = internal_limits if internal else external_limits
    low, high = flanks(of_side(thread, wanted))
    inside = []
    for name in reversed(classes(thread, internal)):
        lower, upper = flanks(of_side(thread, name))
        if name != wanted and low <= lower and upper <= high:
            inside.append(name)
    return (wanted, *inside)
