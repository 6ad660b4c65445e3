"""Kinds of thing on the shelf, what each must carry to be matched, and the frozen facts of one. PURE."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of thing: its code, its word, how it is kept and what matching reads of it.

    `measures` names the fields of `Facts` without which an item of this kind cannot be matched.
    `counted` things lie in batches, the others are tagged units. `wears` things are cut with and have a
    life in holes; `calibrated` ones have a due date; `shared` packs (fluids) serve a whole job; of `perishable`
    ones nobody uses a batch without an expiry date unless somebody signs for it.
    """

    code: str
    word: str
    plural: str
    measures: tuple[str, ...] = ()
    counted: bool = False
    wears: bool = False
    calibrated: bool = False
    shared: bool = False
    perishable: bool = False


KINDS: dict[str, Kind] = {
    kind.code: kind
    for kind in (
        Kind("drill", "drill", "drills", ("diameter", "usable_length"), wears=True),
        Kind("removal_drill", "removal drill", "removal drills", ("diameter", "usable_length"), wears=True),
        Kind(  # its leading step cuts the hole, the second one opens or chamfers its mouth
            "step_drill",
            "step drill",
            "step drills",
            ("diameter", "step_diameter", "step_length", "usable_length"),
            wears=True,
        ),
        Kind("boring_head", "boring head", "boring heads", ("takes_least", "takes_most", "usable_length")),
        Kind("seat_cutter", "seat cutter", "seat cutters", ("diameter", "pilot"), wears=True),
        Kind("countersink", "countersink", "countersinks", ("diameter",), wears=True),
        Kind(
            "tap",
            "tap",
            "taps",
            ("thread", "thread_class", "usable_length", "lead", "flute", "action"),
            wears=True,
        ),
        Kind("tap_wrench", "tap wrench", "tap wrenches", ("takes_least", "takes_most")),
        Kind("guide_bush", "guide bush", "guide bushes", ("diameter",)),  # its bore: the tool that it guides
        Kind("hole_gauge", "hole gauge", "hole gauges", ("thread", "thread_class"), calibrated=True),
        Kind("final_gauge", "final gauge", "final gauges", ("thread", "thread_class"), calibrated=True),
        Kind(
            "minor_gauge",
            "minor diameter gauge",
            "minor diameter gauges",
            ("thread", "thread_class"),
            calibrated=True,
        ),
        Kind("pitch_gauge", "pitch gauge", "pitch gauges", ("takes_least", "takes_most")),
        Kind("setting_tool", "setting tool", "setting tools", ("thread",)),
        Kind("inserting_tool", "inserting tool", "inserting tools", ("thread",)),
        Kind("tang_tool", "tang tool", "tang tools", ("thread",)),
        Kind("key_driver", "key driver", "key drivers", ("thread",)),
        Kind("extractor", "extractor", "extractors", ("thread",)),
        Kind("stop_collar", "stop collar", "stop collars", ("diameter",)),  # its bore: the tool that it sits on
        Kind("depth_gauge", "depth gauge", "depth gauges", ("usable_length",), calibrated=True),
        Kind("indicator", "dial indicator", "dial indicators", (), calibrated=True),
        Kind("torque_wrench", "torque wrench", "torque wrenches", ("torque_min", "torque_max"), calibrated=True),
        Kind("proof_bolt", "proof bolt", "proof bolts", ("thread", "usable_length")),
        Kind("fixture", "fixture", "fixtures", ("name",)),  # its hand is asked for where the part is handed
        Kind("insert", "insert", "inserts", ("thread", "inner", "insert_length", "family"), counted=True),
        Kind("plug", "threaded plug", "threaded plugs", ("thread", "insert_length"), counted=True),
        Kind("lubricant", "lubricant", "lubricants", ("name",), counted=True, shared=True),
        Kind("oil", "oil", "oils", (), counted=True, shared=True),
        Kind("cleaner", "cleaner", "cleaners", (), counted=True, shared=True),
        Kind("adhesive", "adhesive", "adhesives", (), counted=True, shared=True, perishable=True),
        Kind(
            "corrosion_barrier",
            "corrosion barrier",
            "corrosion barriers",
            (),
            counted=True,
            shared=True,
            perishable=True,
        ),
        Kind("chip_bin", "lidded chip bin", "lidded chip bins"),
        Kind("safety", "safety item", "safety items", ("name",), counted=True, shared=True),
    )
}


@dataclass(frozen=True, slots=True)
class Symbol:
    """What ISO 13399 calls a measurement, and how that is known."""

    symbol: str
    meaning: str
    known: str


_READ = "read in published lists of the parameters of ISO 13399, not in the standard itself"
_MEMORY = "from memory"

# By the fields of `Facts`; a thread is two properties there, its size and its pitch. Where nothing stands the standard
# has none that means the same: INSL is the length of an indexable insert and no thread insert's, THCHT the form of a
# tap's lead and not its threads, FHA the angle of a flute and not its kind, TQ the torque that clamps an insert.
SYMBOLS: dict[str, Symbol] = {
    "thread": Symbol("TDZ", "thread diameter size", _READ),
    "pitch": Symbol("TP", "thread pitch", _READ),
    "tpi": Symbol("TPI", "threads per inch", _READ),
    "thread_class": Symbol("TCTR", "thread tolerance class", _READ),
    "diameter": Symbol("DC", "cutting diameter", _READ),
    "usable_length": Symbol("LU", "usable length", _READ),
    "step_length": Symbol("SDL", "step diameter length", _READ),
    "step_diameter": Symbol("DC_2", "cutting diameter of the second step", _MEMORY),
    "takes_least": Symbol("DCN", "minimum cutting diameter", _MEMORY),
    "takes_most": Symbol("DCX", "maximum cutting diameter", _READ),
}


def symbol(kind: str, measure: str) -> str:
    """The ISO 13399 symbol of a measurement of a kind, "" where it has none.

    The standard describes cutting tools, and so a gauge, a collar or an insert has none.

    >>> symbol("drill", "diameter"), symbol("stop_collar", "diameter"), symbol("tap", "thread")
    ('DC', '', 'TDZ')
    """
    cuts = KINDS[kind].wears or kind == "boring_head"
    return SYMBOLS[measure].symbol if cuts and measure in SYMBOLS else ""


# Kinds of which nobody uses one without a calibration that is on record, unless somebody signs for it.
CALIBRATED = tuple(kind.code for kind in KINDS.values() if kind.calibrated)


def plain(word: str) -> str:
    """A word as people type it, folded so that case, gaps, dashes and underscores make no difference.

    >>> plain("Seat-cutter"), plain("seat_cutter ")
    ('seat cutter', 'seat cutter')
    """
    return " ".join(word.replace("_", " ").replace("-", " ").split()).lower()


CONDITIONS = ("new", "serviceable", "due_regrind", "away", "lost", "retired")
FLUTES = ("straight", "spiral", "point")
ACTIONS = ("cut", "form")


@dataclass(frozen=True, slots=True)
class Facts:
    """What the catalogue knows of one item. Lengths in nm, torques in N·mm, lead in tenths of a thread.

    `thread` is the key that the tool or the insert's outside carries, `inner` the key inside an insert;
    `hand` is a fixture's own hand ("L", "R" or ""), a thread's hand stands in its key. `life` is holes
    between regrinds; `cure_hours` what an adhesive takes to cure by its data sheet, in whole hours, rounded up.
    A step drill's `diameter` is that of its leading step, which is `step_length` long, `step_diameter` that of the
    second. `takes_least` and `takes_most` are the bores of a boring head, the squares of a tap wrench, the pitches of
    a pitch gauge.
    None or "" means: nothing entered, so it cannot be matched on that.
    """

    item: int
    kind: str
    name: str = ""
    thread: str | None = None
    thread_class: str = ""
    inner: str | None = None
    diameter: int | None = None
    pilot: int | None = None
    usable_length: int | None = None
    lead: int | None = None
    flute: str = ""
    action: str = ""
    insert_length: int | None = None
    flange: int | None = None
    hand: str = ""
    torque_min: int | None = None
    torque_max: int | None = None
    family: str = ""
    life: int | None = None
    cure_hours: int | None = None
    step_diameter: int | None = None
    step_length: int | None = None
    takes_least: int | None = None
    takes_most: int | None = None

    def missing(self) -> tuple[str, ...]:
        """The measurements that this item's kind must carry and that were not entered.

        >>> Facts(item=1, kind="seat_cutter", diameter=22_000_000).missing()
        ('pilot',)
        """
        return tuple(name for name in KINDS[self.kind].measures if getattr(self, name) in (None, ""))


@dataclass(frozen=True, slots=True)
class Held:
    """One active hold: whose label, from when to when (aware UTC, half-open), holes or quantity.

    What the label has in its hand stands so too: a unit that is out for as long as it is expected to be, of a batch
    `in_hand` pieces, which do not lie there.
    """

    label: str
    start: datetime | None
    end: datetime | None
    holes: int = 0
    quantity: int = 0
    in_hand: int = 0


@dataclass(frozen=True, slots=True)
class StockLine:
    """One place to take a thing from: a tagged unit (`unit` set) or a batch (`batch` set).

    `life_left` is the item's life less what was used of it and the life that *every* active hold will take, in
    holes of plain metal (None: no life kept for this item); `factors` are pairs of a parent material and what one
    hole in it takes of that life, in percent. The `facts` of a unit that has a diameter of its own since it was
    reground have that one in place of the item's. `available` is a batch's on hand less held. `tag` is the unit's tag
    or the batch's lot; `walk` the bin's walk number. Dates are the last good day. `away_late`: the last day away is
    over, and it is not back.
    """

    tag: str
    facts: Facts
    site: str
    bin: str
    walk: int = 0
    unit: int | None = None
    batch: int | None = None
    condition: str = "serviceable"
    life_left: int | None = None
    on_hand: int = 0
    available: int = 0
    holds: tuple[Held, ...] = ()
    away_why: str = ""
    away_until: date | None = None
    away_late: bool = False
    calibration_due: date | None = None
    expires: date | None = None
    factors: tuple[tuple[str, int], ...] = ()

    def percent(self, material: str) -> int:
        """What one hole in a parent material takes of the life, in percent: 100 where nothing else was entered.

        >>> line = StockLine("T-1", Facts(1, "tap"), "Main", "B4", unit=1, factors=(("steel", 150),))
        >>> line.percent("steel"), line.percent("bronze")
        (150, 100)
        """
        return dict(self.factors).get(material, 100)


@dataclass(frozen=True, slots=True)
class OfferFacts:
    """One offer as a frozen value; money in minor units of `currency`.

    A pack costs `price` and brings `pieces`, pairs of item id and count. `breaks` are pairs of packs and the
    price a pack from that many on. Carriage and minimum are the supplier's, for a whole order.
    """

    offer: int
    supplier: str
    number: str
    name: str
    pieces: tuple[tuple[int, int], ...]
    price: int
    currency: str
    breaks: tuple[tuple[int, int], ...]
    lead_days: int
    carriage: int
    minimum: int
