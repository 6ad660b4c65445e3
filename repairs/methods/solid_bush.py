"""What the two solid bushes share: the outer thread's drill window, the wall, their common steps. PURE."""

from __future__ import annotations

from inventory.errors import Reason
from inventory.threads import basic
from repairs.methods import room, steps
from repairs.methods.values import Check, HoleGroup, Limits, Need, Size, Step, Window


def depths(size: Size, limits: Limits) -> room.Depths:
    """Seat or set-down + insert + lead + clearance, in nm [common practice].

    >>> from inventory.threads import read
    >>> m14, m16 = read("M14x1.5").thread, read("M16x1.5").thread
    >>> depths(Size("plain_bush", "own", "1", m14, m16, 21_000_000), Limits()).needed(room.PLUG)
    28500000
    """
    return room.bush_depths(size, limits)


def window(size: Size) -> Window:
    """The drill's window in nm: the minor limits of the outer thread (6H, 2B), or the family's own.

    >>> from inventory.threads import read
    >>> m14, m16 = read("M14x1.5").thread, read("M16x1.5").thread
    >>> window(Size("flanged_bush", "own", "1", m14, m16, 21_000_000))
    Window(least=14376000, most=14676000)
    """
    return size.drill or room.class_window(size.outer)


def checks(group: HoleGroup, size: Size, limits: Limits) -> tuple[Check, ...]:
    """The judgement of its own: the wall between bolt thread and outer thread.

    >>> from repairs.methods import example
    >>> checks(example.holes(), example.bush(), Limits())[0].reason.code
    'wall_in_step'
    """
    return (room.wall_check(size, limits),)


def drill(fit: steps.Fit) -> Step:
    """Drill with the class window told, per cent of thread beside it on both named bases.

    >>> from repairs.methods import example
    >>> [setting.code for setting in drill(example.fit()).settings]
    ['drill_window', 'drill_depth']
    """
    return steps.drill(fit, settings=(steps.window_told(fit.size.outer, fit.drill),))


def setting_tool(fit: steps.Fit) -> Need:
    """The tool that winds the bush in, on the bolt's thread and of its hand.

    >>> from repairs.methods import example
    >>> setting_tool(example.fit()).thread
    'M|14000000|1500000nm|R'
    """
    return steps.need(fit, "wind_in", "setting_tool", thread=fit.size.inner.key)


def wind_in(fit: steps.Fit, located: str) -> Step:
    """Wind the bush in until what locates it stops it, with the hold that its lock asks for.

    An adhesive must cure before the window ends, and no oil may come on the outer thread; any other lock is wound
    in with a little oil. A depth stop is a collar on the setting tool, its bore that of the bolt's thread; a
    flange, a shoulder left by the tap and the tool's own collar are stops that ask for nothing more [common
    practice, no source].

    >>> from repairs.methods import example
    >>> plain = example.bush(method="plain_bush", seat=None, seat_depth=0, flange=None, lock="adhesive")
    >>> step = wind_in(example.fit(plain), "depth_stop")
    >>> [need.kind for need in step.needs], step.needs[2].diameter, step.needs[3].cures
    (['insert', 'setting_tool', 'stop_collar', 'adhesive'], Window(least=14000000, most=14500000), True)
    """
    needs = [setting_tool(fit)]
    if located == "depth_stop":
        bolt = basic(fit.size.inner).major
        bore = Window(room.up(bolt), room.down(bolt + fit.limits["stop_clearance"]))
        needs.append(steps.need(fit, "wind_in", "stop_collar", diameter=bore))
    if _bonded(fit):
        needs.append(steps.need(fit, "wind_in", "adhesive", quantity=1, cures=True))
    else:
        needs.append(steps.need(fit, "wind_in", "oil", quantity=1))
    return steps.wind_in(
        fit,
        *needs,
        settings=(Reason("located_by", how=located),),
        cautions=(Reason("no_oil_on_outer_thread"),) if _bonded(fit) else (),
    )


def cleaners(fit: steps.Fit) -> tuple[Need, ...]:
    """What the hole is cleaned with before the bush: a cleaner where an adhesive must hold.

    >>> from repairs.methods import example
    >>> cleaners(example.fit()), [need.kind for need in cleaners(example.fit(example.bush(lock="adhesive")))]
    ((), ['cleaner'])
    """
    return (steps.need(fit, "clean", "cleaner", quantity=1),) if _bonded(fit) else ()


def _bonded(fit: steps.Fit) -> bool:
    return fit.size.lock == "adhesive"


def lock(fit: steps.Fit) -> Step:
    """What holds the bush from turning.

    Locked by expansion, the setting tool turns on once the bush is home, finishes the lowest inner threads
    and passes out at the bottom [common practice]; that is the same tool, so the step needs nothing more. An
    adhesive has its time to cure, which its own sheet gives.

    >>> from repairs.methods import example
    >>> lock(example.fit()).settings[0].code
    'tool_passes_out'
    """
    size = fit.size
    if size.lock == "expansion":
        behind = (Reason("nothing_behind_hole"),) if fit.group.through else ()
        return Step("lock", settings=(Reason("tool_passes_out", nose_nm=size.nose or None),), cautions=behind)
    cure = (Reason("cure_by_the_sheet"),) if size.lock == "adhesive" else ()
    return Step("lock", settings=(Reason("locked_by", how=size.lock), *cure))


def proved(fit: steps.Fit) -> tuple[Step, ...]:
    """The closing steps: set-down, final gauge, torque.

    >>> from repairs.methods import example
    >>> [step.code for step in proved(example.fit())]
    ['set_down', 'final_gauge', 'torque']
    """
    return (steps.set_down(fit), steps.final_gauge(fit), steps.torque(fit))
