"""Wire insert: wound into its own insert-hole thread, by the published rules for depth, length and set-down.
PURE.
"""

from __future__ import annotations

from dataclasses import replace

from inventory.errors import Reason
from inventory.quantities import to_mm
from inventory.threads import basic, insert_hole_depth
from repairs.methods import room, steps
from repairs.methods.values import NOT_CHECKED, Check, HoleGroup, Limits, Size, Step, Window

CODE = "wire_insert"

_NAMES = {"insert_length": "insert", "set_down": "set_down", "clearance": "clearance"}


def depths(size: Size, limits: Limits) -> room.Depths:
    """The published depth rule: L + 6 P with a plug tap (half a diameter more up to 8 mm), L + 4 P with a
    bottoming tap, full thread L + P; a through hole at least L thick (ASME B18.29.2M-2005). Lengths in nm.

    >>> from inventory.threads import insert_hole, read
    >>> m10 = read("M10x1.25").thread
    >>> rule = depths(Size("wire_insert", "wire-metric", "1", m10, insert_hole(m10), 10_000_000), Limits())
    >>> rule.needed(room.BOTTOMING), rule.needed(room.PLUG), rule.needed(30)
    (15000000, 17500000, 16250000)
    """
    rule = insert_hole_depth(size.inner, to_mm(size.length), bottoming=True)
    plug = dict(insert_hole_depth(size.inner, to_mm(size.length), bottoming=False).parts)
    return room.Depths(
        parts=tuple((_NAMES[code], room.up(mm)) for code, mm in rule.parts if code in _NAMES),
        pitch=size.inner.pitch_mm,
        point=room.up(plug["tap_point"]) if "tap_point" in plug else 0,
        nose=size.nose,
        thread=room.up(rule.full_thread_depth),
        thickness=size.length,
        source=rule.source,
    )


def window(size: Size) -> Window:
    """The drill's window in nm: the minor limits of the insert-hole thread, or the family's own.

    >>> from inventory.threads import insert_hole, read
    >>> m10 = read("M10x1.25").thread
    >>> window(Size("wire_insert", "wire-metric", "1", m10, insert_hole(m10), 10_000_000))
    Window(least=10271000, most=10483000)
    """
    return size.drill or room.class_window(size.outer)


def checks(group: HoleGroup, size: Size, limits: Limits) -> tuple[Check, ...]:
    """The judgement of its own: a screw-locking insert's prevailing torque, whose limits no family carries
    yet.

    >>> from repairs.methods import example
    >>> [check.reason.code for check in checks(example.holes(), example.wire(locking=True), Limits())]
    ['prevailing_torque_missing']
    """
    if size.locking:
        return (Check(NOT_CHECKED, Reason("prevailing_torque_missing", family=size.family_key)),)
    return ()


def operations(fit: steps.Fit) -> tuple[Step, ...]:
    """Drill, chamfer, tap, clean, gauge; wind in, break the tang, measure; final gauge or prevailing torque;
    prove.

    An insert without a tang needs no tang tool. A screw-locking one does not pass a free GO gauge: its
    prevailing torque is checked instead; its limits are the maker's and no family carries them yet, so that any
    wrench is doubtful.

    >>> from repairs.methods import example
    >>> [step.code for step in operations(example.fit(example.wire()))][-5:]
    ['wind_in', 'break_tang', 'set_down', 'final_gauge', 'torque']
    >>> [step.code for step in operations(example.fit(example.wire(tang_free=True, locking=True)))][-4:]
    ['wind_in', 'set_down', 'prevailing_torque', 'torque']
    """
    size = fit.size
    inserting = steps.need(fit, "wind_in", "inserting_tool", thread=size.inner.key)
    after = [steps.wind_in(fit, inserting)]
    if not size.tang_free:
        after.append(_break_tang(fit))
    after += [
        steps.set_down(fit),
        _prevailing(fit) if size.locking else steps.final_gauge(fit),
        steps.torque(fit),
    ]
    return steps.in_order(
        fit,
        cutting=(
            steps.drill(fit, settings=(steps.window_told(size.outer, fit.drill),)),
            _chamfer(fit),
            steps.tap(fit),
        ),
        after=after,
    )


def _chamfer(fit: steps.Fit) -> Step:
    """The chamfer, or in metal that is only just thick enough the word that there is none to spare for it.

    The published least thickness of a through hole, the insert's nominal length, is told without a countersink
    (`least_through` in the reference); how deep the cone goes follows from the thread: half of major less minor.
    """
    chamfer, hole = steps.chamfer(fit), basic(fit.size.outer)
    cone = room.up((hole.major - hole.minor_internal) / 2)
    thick, least = fit.group.depth, fit.size.length + cone
    if not fit.group.through or thick is None or thick >= least:
        return chamfer
    told = Reason("break_the_edge_only", thick_nm=thick, least_nm=least)
    return replace(chamfer, settings=(), cautions=(*chamfer.cautions, told))


def _break_tang(fit: steps.Fit) -> Step:
    tool = steps.need(fit, "break_tang", "tang_tool", thread=fit.size.inner.key)
    cautions = [Reason("eye_protection"), Reason("count_tangs", holes=fit.group.holes)]
    if not fit.group.through:
        cautions.append(Reason("tang_may_stay"))
    return Step("break_tang", (tool,), cautions=tuple(cautions))


def _prevailing(fit: steps.Fit) -> Step:
    unknown = Reason("prevailing_torque_missing", family=fit.size.family_key)
    wrench = steps.need(
        fit, "prevailing_torque", "torque_wrench", called="prevailing_torque_wrench", unjudged=(unknown,)
    )
    return Step("prevailing_torque", (wrench,), cautions=(Reason("no_free_gauge_for_locking"),))
