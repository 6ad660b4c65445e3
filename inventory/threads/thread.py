"""A thread as a key (system, nominal, pitch, hand), its names, and the published sizes of every system.
PURE.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from functools import cache

from inventory.errors import Reason, Refused
from inventory.threads.published import table

INCH = Decimal("25.4")
SQRT3 = Decimal("1.7320508075688772935274463415")
# An insert of 60 degree wire fills a hole whose profile stands 3/4 H a side over the bolt's: 2 x 0.75 H =
# 1.299038 P.
INSERT_HOLE_RISE = SQRT3 * 3 / 4
_NM_PER_MM = 1_000_000
_NM_PER_INCH = 25_400_000
_KEY = re.compile(r"([A-Z][A-Z-]*)\|(\d{1,12})\|(\d{1,9})(nm|h)\|([RL])", re.ASCII)


class ThreadError(Refused):
    """Text that is no covered thread, or a question about a thread that has no answer; carries its `Reason`.

    >>> ThreadError(Reason("thread_empty")).reason.code
    'thread_empty'
    """


@dataclass(frozen=True, slots=True)
class System:
    """How one family of threads is written, counted and shaped.

    `inch` systems count pitch in half-threads per inch, the others in nm; those with `unit` "in" round diameters
    to 0.0001 in, those with "mm" to 0.001 mm (pipe threads are counted by the inch and measured in mm). `angle`
    is the thread angle in degrees, `form` the shape of the profile. `printed` is how the trade writes a thread;
    where no pitch stands in it, a size is a name that the table gives and only listed sizes exist. `sizes` names
    the table of published sizes. `bolt` is the system whose bolt goes into an insert-hole thread's insert, ""
    for all others; `least` the smallest nominal size in nm that it has (wire inserts: number 1 in ASME B94.9
    table 25, M2 from memory).
    """

    code: str
    standard: str
    sizes: str
    printed: str
    inch: bool = True
    unit: str = "in"
    form: str = "iso"
    angle: Decimal = Decimal(60)
    bolt: str = ""
    least: int = 0

    @property
    def named(self) -> bool:
        """Whether a size is a name alone: "2 BA", "G 1/4".

        >>> SYSTEMS["BA"].named, SYSTEMS["BSF"].named
        (True, False)
        """
        return "{pitch}" not in self.printed


_WHITWORTH = Decimal(55)
SYSTEMS: dict[str, System] = {
    system.code: system
    for system in (
        System("M", "ISO 261", "iso261", "M{size}x{pitch}", inch=False, unit="mm"),
        System("UN", "ASME B1.1", "asme_b1_1", "{size}-{pitch} {series}"),
        System("BSW", "BS 84", "bs84_bsw", "{size}-{pitch} BSW", form="whitworth", angle=_WHITWORTH),
        System("BSF", "BS 84", "bs84_bsf", "{size}-{pitch} BSF", form="whitworth", angle=_WHITWORTH),
        System("BA", "BS 93", "bs93", "{size} BA", inch=False, unit="mm", form="ba", angle=Decimal("47.5")),
        System("CYCLE", "BS 811", "bs811", "{size}-{pitch} cycle", form="cycle"),
        System(
            "BRASS",
            "common practice, Whitworth form of BS 84",
            "brass",
            "{size}-{pitch} brass",
            form="whitworth",
            angle=_WHITWORTH,
        ),
        System("G", "ISO 228-1", "iso228_1", "G {size}", unit="mm", form="whitworth", angle=_WHITWORTH),
        System(
            "EG-M",
            "ASME B18.29.2M / DIN 8140-2",
            "iso261",
            "EG M{size}x{pitch}",
            inch=False,
            unit="mm",
            bolt="M",
            least=2_000_000,
        ),
        System("STI-UN", "ASME B18.29.1", "asme_b1_1", "STI {size}-{pitch}", bolt="UN", least=1_854_200),
    )
}


@dataclass(frozen=True, slots=True)
class Published:
    """What the table of sizes says of one size: series, printed size and how it is known (read, memory).

    `row` holds all columns as printed: the tables of BA and G give basic sizes and tolerances too.
    """

    series: str
    size: str
    how: str
    row: Mapping[str, str] = field(compare=False, repr=False)


def plain(number: Decimal) -> str:
    """A number without trailing zeros and without an exponent.

    >>> plain(Decimal("1.50")), plain(Decimal("1E+1"))
    ('1.5', '10')
    """
    return format(number.normalize(), "f")


@cache
def _sizes(name: str) -> dict[tuple[int, int], Published]:
    """Published sizes by (nominal in nm, pitch as a key counts it)."""
    found: dict[tuple[int, int], Published] = {}
    listing = table(name)
    per_size = _NM_PER_INCH if listing.unit.startswith("nominal in inch") else _NM_PER_MM
    per_pitch = 2 if listing.unit.endswith("pitch in threads per inch") else _NM_PER_MM
    for row in listing.rows:
        size = int(Decimal(row["nominal"]) * per_size), int(Decimal(row["pitch"]) * per_pitch)
        found[size] = Published(row["series"], row["size"], row["how"], row)
    return found


@dataclass(frozen=True, slots=True, order=True)
class Thread:
    """One thread. `nominal` in nm, `pitch` in nm or half-threads per inch, `hand` "R" or "L".

    Where a size is called by a number or a bore (BA, G), `nominal` is the major diameter all the same. An
    insert-hole thread (EG-M, STI-UN) carries the *bolt's* nominal size; its own diameters are larger.

    >>> Thread("M", 14_000_000, 1_500_000).key
    'M|14000000|1500000nm|R'
    >>> Thread("UN", 14_287_500, 36).designation
    '9/16-18 UNF'
    """

    system: str
    nominal: int
    pitch: int
    hand: str = "R"

    @classmethod
    def from_key(cls, key: str) -> Thread:
        """The thread of a canonical key. Raises ThreadError `thread_key_unreadable` (data: key).

        >>> Thread.from_key("UN|14287500|36h|L").designation
        '9/16-18 UNF-LH'
        """
        match = _KEY.fullmatch(key)
        system = SYSTEMS.get(match[1]) if match else None
        if match is None or system is None or system.inch != (match[4] == "h") or "0" in (match[2], match[3]):
            raise ThreadError(Reason("thread_key_unreadable", key=key[:80]))
        thread = cls(match[1], int(match[2]), int(match[3]), match[5])
        if system.named and thread.published is None:
            raise ThreadError(Reason("thread_key_unreadable", key=key[:80]))
        return thread

    @property
    def key(self) -> str:
        """Canonical text, made to be stored, indexed and compared whole.

        >>> Thread("UN", 14_287_500, 36).key
        'UN|14287500|36h|R'
        """
        unit = "h" if SYSTEMS[self.system].inch else "nm"
        return f"{self.system}|{self.nominal}|{self.pitch}{unit}|{self.hand}"

    @property
    def published(self) -> Published | None:
        """The row of the system's table of sizes, or None for a size that it does not list.

        >>> Thread("M", 14_000_000, 1_250_000).published.series
        'spark plug'
        """
        return _sizes(SYSTEMS[self.system].sizes).get((self.nominal, self.pitch))

    @property
    def series(self) -> str:
        """Series of the published size ("coarse", "UNF", ...), "" for a size that no table lists.

        >>> Thread("UN", 12_700_000, 32).series
        'UN'
        """
        published = self.published
        return published.series if published else ""

    @property
    def size(self) -> str:
        """The nominal size as the trade prints it, without pitch: "14", "#10", "1 1/8".

        >>> Thread("UN", 4_826_000, 64).size
        '#10'
        """
        published = self.published
        if published:
            return published.size
        unit = _NM_PER_INCH if SYSTEMS[self.system].unit == "in" else _NM_PER_MM
        return plain(Decimal(self.nominal) / unit)

    @property
    def designation(self) -> str:
        """The thread as the trade prints it; a metric pitch is always printed, also a coarse one.

        >>> Thread("EG-M", 14_000_000, 1_500_000).designation
        'EG M14x1.5'
        >>> Thread("STI-UN", 7_937_500, 36).designation
        'STI 5/16-18'
        >>> Thread("M", 14_000_000, 1_500_000, "L").designation
        'M14x1.5-LH'
        >>> Thread("BA", 4_700_000, 810_000).designation, Thread("CYCLE", 6_350_000, 52).designation
        ('2 BA', '1/4-26 cycle')
        """
        system = SYSTEMS[self.system]
        pitch = plain(Decimal(self.pitch) / (2 if system.inch else _NM_PER_MM))
        text = system.printed.format(size=self.size, pitch=pitch, series=self.series or "UNS")
        return f"{text}-LH" if self.left else text

    @property
    def pitch_mm(self) -> Decimal:
        """Pitch in mm, for inch systems 25.4 / tpi to 28 digits.

        >>> Thread("UN", 12_700_000, 40).pitch_mm
        Decimal('1.27')
        """
        if SYSTEMS[self.system].inch:
            return INCH * 2 / self.pitch
        return Decimal(self.pitch) / _NM_PER_MM

    @property
    def tpi(self) -> Decimal | None:
        """Threads per inch where the system counts so, else None.

        >>> Thread("UN", 50_800_000, 9).tpi
        Decimal('4.5')
        """
        return Decimal(self.pitch) / 2 if SYSTEMS[self.system].inch else None

    @property
    def nominal_mm(self) -> Decimal:
        """Nominal size in mm, exact.

        >>> Thread("UN", 14_287_500, 36).nominal_mm
        Decimal('14.2875')
        """
        return Decimal(self.nominal) / _NM_PER_MM

    @property
    def major_mm(self) -> Decimal:
        """Basic major diameter in mm: the nominal, for an insert hole nominal + 1.299038 P (geometry of ISO
        68-1).

        Exact for bolt threads, to 28 digits for insert holes; `basic` rounds as the standard does.

        >>> Thread("EG-M", 14_000_000, 1_500_000).major_mm.quantize(Decimal("0.001"))
        Decimal('15.949')
        """
        if SYSTEMS[self.system].bolt:
            return self.nominal_mm + INSERT_HOLE_RISE * self.pitch_mm
        return self.nominal_mm

    @property
    def left(self) -> bool:
        """Whether the thread is left-handed.

        >>> Thread("M", 14_000_000, 1_500_000, "L").left
        True
        """
        return self.hand == "L"

    def mirrored(self) -> Thread:
        """The same thread of the other hand.

        >>> Thread("M", 14_000_000, 1_500_000).mirrored().hand
        'L'
        """
        return replace(self, hand="R" if self.left else "L")


@cache
def series(system: str) -> tuple[Thread, ...]:
    """Every published right-hand size of a system, by diameter, coarse pitch first.

    Insert-hole systems list one hole for each bolt size of their table from the least one up: the profile
    follows from the bolt, which does not mean that an insert is made for each. Raises KeyError for an
    unknown system.

    >>> [thread.designation for thread in series("M")[:2]]
    ['M1.6x0.35', 'M1.6x0.2']
    >>> series("EG-M")[0].designation
    'EG M2x0.4'
    """
    inch = SYSTEMS[system].inch
    least = SYSTEMS[system].least
    found = [Thread(system, *size) for size in _sizes(SYSTEMS[system].sizes) if size[0] >= least]
    return tuple(sorted(found, key=lambda thread: (thread.nominal, thread.pitch if inch else -thread.pitch)))


@cache
def covered(hand: str = "R") -> tuple[Thread, ...]:
    """Every published size of every system, of one hand, system by system.

    >>> len(covered()) == len(covered("L")) > 700
    True
    >>> covered("L")[0].designation
    'M1.6x0.35-LH'
    """
    return tuple(replace(thread, hand=hand) for system in SYSTEMS for thread in series(system))


@cache
def _spark_plugs() -> frozenset[tuple[int, int]]:
    return frozenset(
        (int(Decimal(row["nominal"]) * _NM_PER_MM), int(Decimal(row["pitch"]) * _NM_PER_MM))
        for row in table("spark_plugs").rows
    )


def uses(thread: Thread) -> tuple[str, ...]:
    """What a thread is known for, as codes: "spark_plug" (ISO 28741, from public lists) or nothing.

    >>> uses(Thread("M", 18_000_000, 1_500_000)), uses(Thread("M", 18_000_000, 2_500_000))
    (('spark_plug',), ())
    """
    plug = thread.system == "M" and (thread.nominal, thread.pitch) in _spark_plugs()
    return ("spark_plug",) if plug else ()
