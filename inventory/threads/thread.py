"""A thread as a key (system, nominal, pitch, hand), its names, and the published sizes of every system.
PURE.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
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

    `inch` systems count pitch in half-threads per inch and round diameters to 0.0001 in, the others in nm
    and to 0.001 mm. `angle` is the thread angle in degrees. `sizes` names the table of published sizes.
    `bolt` is the system whose bolt goes into an insert-hole thread's insert, "" for all others; `least` the
    smallest nominal size in nm that it has (wire inserts: number 1 in ASME B94.9 table 25, M2 from memory).
    """

    code: str
    standard: str
    inch: bool
    angle: Decimal
    sizes: str
    bolt: str = ""
    least: int = 0


SYSTEMS: dict[str, System] = {
    system.code: system
    for system in (
        System("M", "ISO 261", inch=False, angle=Decimal(60), sizes="iso261"),
        System("UN", "ASME B1.1", inch=True, angle=Decimal(60), sizes="asme_b1_1"),
        System(
            "EG-M",
            "ASME B18.29.2M / DIN 8140-2",
            inch=False,
            angle=Decimal(60),
            sizes="iso261",
            bolt="M",
            least=2_000_000,
        ),
        System(
            "STI-UN",
            "ASME B18.29.1",
            inch=True,
            angle=Decimal(60),
            sizes="asme_b1_1",
            bolt="UN",
            least=1_854_200,
        ),
    )
}


@dataclass(frozen=True, slots=True)
class Published:
    """What the table of sizes says of one size: series, printed size and how it is known (read, memory)."""

    series: str
    size: str
    how: str


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
    inch = listing.unit.startswith("nominal in inch")
    for row in listing.rows:
        nominal = int(Decimal(row["nominal"]) * (_NM_PER_INCH if inch else _NM_PER_MM))
        pitch = int(Decimal(row["pitch"]) * (2 if inch else _NM_PER_MM))
        found[nominal, pitch] = Published(row["series"], row["size"], row["how"])
    return found


@dataclass(frozen=True, slots=True, order=True)
class Thread:
    """One thread. `nominal` in nm, `pitch` in nm or half-threads per inch, `hand` "R" or "L".

    An insert-hole thread (EG-M, STI-UN) carries the *bolt's* nominal size; its own diameters are larger.

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
        return cls(match[1], int(match[2]), int(match[3]), match[5])

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
        unit = _NM_PER_INCH if SYSTEMS[self.system].inch else _NM_PER_MM
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
        """
        system = SYSTEMS[self.system]
        if system.inch:
            text = f"{self.size}-{plain(Decimal(self.pitch) / 2)}"
            text = f"STI {text}" if system.bolt else f"{text} {self.series or 'UNS'}"
        else:
            text = f"{'EG ' if system.bolt else ''}M{self.size}x{plain(Decimal(self.pitch) / _NM_PER_MM)}"
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
