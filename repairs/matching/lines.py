"""What the matcher answers: a judgement of one stock line, and the line of a plan for one need. PURE."""

from __future__ import annotations

from dataclasses import dataclass

from inventory.errors import Reason
from inventory.kinds import StockLine
from repairs.methods.values import Need

REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Judgement:
    """What one stock line is worth for one need: "match", "doubtful" or "refused", with every reason.

    Of a refused line the refusals stand first, then what would have been doubtful; of a doubtful one the
    doubts, then notes; of a match only notes, such as where it lies in the window.
    """

    status: str
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class Take:
    """What is taken from one stock line: holes of a unit's life or a quantity of a batch (0: its use)."""

    line: StockLine
    holes: int
    quantity: int
    status: str
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class NearMiss:
    """A stock line that comes near a need and why it is not taken."""

    line: StockLine
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class Line:
    """One need's answer: "match", "doubtful" or "gap", what is taken, and why.

    `reasons` of a gap say what it comes from (none owned, all held, too little left, none that does); of a
    doubtful line what somebody must sign for. `near` names for a gap what comes nearest, best first.
    `look_alikes` names, on match and gap alike, what lies in the bins and must not be taken for it.
    """

    need: Need
    status: str
    takes: tuple[Take, ...] = ()
    reasons: tuple[Reason, ...] = ()
    near: tuple[NearMiss, ...] = ()
    look_alikes: tuple[Reason, ...] = ()
