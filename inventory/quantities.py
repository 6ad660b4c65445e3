"""Lengths, torques, strengths, money and days as people type them, and as they are shown. PURE.

Lengths are whole nanometres (1/64 in is 396,875 nm, 0.0001 in is 2,540 nm, both exact), torques whole newton
millimetres, money whole minor units. Numbers are read here; what a *unit* is worth is asked of Pint, once
per spelling, and only where somebody typed a unit: its import and registry cost a third of a second.
"""

from __future__ import annotations

import re
from datetime import date, timedelta
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Any, Literal

from inventory.errors import Reason, Refused
from inventory.threads.spelling import level

Rounding = Literal["down", "up", "nearest"]

NM_PER_MM = 1_000_000
NM_PER_INCH = 25_400_000  # exact by definition: 1 in = 25.4 mm (ISO 80000-3)
LONGEST_NM = 10_000 * NM_PER_MM  # ten metres: nothing in a tool crib is longer, so it is a slip of the unit
LARGEST_TORQUE_NMM = 100_000_000  # 100 kN·m, likewise
LARGEST_STRESS_KPA = 5_000_000  # 5 GPa, likewise: no metal is stronger
LONGEST_TEXT = 40

_MODES = {"down": ROUND_FLOOR, "up": ROUND_CEILING, "nearest": ROUND_HALF_EVEN}
# A number first (mixed, fraction, or decimal with point or comma), then the unit as whatever is left.
_NUMBER = re.compile(
    r"(?P<sign>-)?"
    r"(?:(?:(?P<whole>[0-9]+)[ -]+)?(?P<over>[0-9]+) ?/ ?(?P<under>[0-9]+)"
    r"|(?P<decimal>[0-9]+(?:\.[0-9]*)?|\.[0-9]+))"
    r"(?P<unit>(?![0-9./]).*)?"
)
_LENGTH_UNITS = {
    '"': "inch", "''": "inch", "in": "inch", "in.": "inch", "inch": "inch",
    "inches": "inch", "mm": "millimeter", "cm": "centimeter", "m": "meter", "thou": "thou", "mil": "thou",
    "µm": "micrometer", "μm": "micrometer", "um": "micrometer", "micron": "micrometer",
    "microns": "micrometer", "ft": "foot", "nm": "nanometer",
}  # fmt: skip
_TORQUE_UNITS = {
    "nm": "newton * meter", "nmm": "newton * millimeter", "ncm": "newton * centimeter",
    "cnm": "centinewton * meter", "knm": "kilonewton * meter",
    "lbfft": "force_pound * foot", "ftlbf": "force_pound * foot", "lbft": "force_pound * foot",
    "ftlb": "force_pound * foot", "ftlbs": "force_pound * foot", "lbsft": "force_pound * foot",
    "lbfin": "force_pound * inch", "inlbf": "force_pound * inch", "lbin": "force_pound * inch",
    "inlb": "force_pound * inch", "inlbs": "force_pound * inch", "lbsin": "force_pound * inch",
    "kgfm": "force_kilogram * meter", "kgm": "force_kilogram * meter", "mkg": "force_kilogram * meter",
    "kpm": "force_kilogram * meter",
    "kgfcm": "force_kilogram * centimeter", "kgcm": "force_kilogram * centimeter",
}  # fmt: skip
_STRESS_UNITS = {
    "mpa": "megapascal", "n/mm2": "megapascal", "n/mm²": "megapascal", "gpa": "gigapascal", "kpa": "kilopascal",
    "psi": "psi", "lbf/in2": "psi", "ksi": "ksi", "kgf/mm2": "force_kilogram / millimeter ** 2",
    "kp/mm2": "force_kilogram / millimeter ** 2",
}  # fmt: skip
_NO_MINOR_UNITS = frozenset({"JPY", "KRW", "ISK", "CLP", "VND"})  # ISO 4217 exponent 0


def to_nm(mm: Decimal, rounding: Rounding = "nearest") -> int:
    """Whole nanometres of a size in millimetres, rounded "down", "up" or to the "nearest" (half to even).

    Round a window inward (its least "up", its most "down"), so that rounding never crosses a limit.

    >>> to_nm(Decimal("14.376"))
    14376000
    >>> to_nm(Decimal("0.0000015"), "down"), to_nm(Decimal("0.0000015"), "up")
    (1, 2)
    """
    return int((mm * NM_PER_MM).to_integral_value(_MODES[rounding]))


def to_mm(nm: int) -> Decimal:
    """Millimetres of a size in nanometres, exact.

    >>> to_mm(15_081_250)
    Decimal('15.081250')
    """
    return Decimal(nm).scaleb(-6)


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint  # imported late: a process that nobody types into never pays for it

    return pint.UnitRegistry(non_int_type=Decimal)


@lru_cache(maxsize=256)
def _worth(unit: str, base: str) -> Fraction | None:
    """How many `base` units one `unit` is, exactly; None when it is no unit of that dimension."""
    from pint import PintError

    try:
        return Fraction(_registry().Quantity(Decimal(1), unit).to(base).magnitude)
    except PintError:
        return None


def _split(text: str) -> tuple[Fraction, str, bool] | None:
    """The number, the unit as typed and whether it was a fraction; None where no number can be read."""
    found = _NUMBER.fullmatch(level(text)) if len(text) <= LONGEST_TEXT else None
    if found is None:
        return None
    if found["decimal"] is not None:
        number = Fraction(Decimal(found["decimal"]))
    elif int(found["under"]) == 0:
        return None
    else:
        number = int(found["whole"] or 0) + Fraction(int(found["over"]), int(found["under"]))
    return -number if found["sign"] else number, found["unit"].strip(), found["decimal"] is None


def _typed(quantity: str, typed: str) -> tuple[Fraction, str, bool]:
    """What `_split` makes of a text; where that is nothing, refused as this quantity."""
    if not typed:
        raise Refused(Reason(f"{quantity}_empty"))
    parts = _split(typed)
    if parts is None:
        raise Refused(Reason(f"{quantity}_unreadable", typed=typed[:LONGEST_TEXT]))
    return parts


@lru_cache(maxsize=4096)
def read_length(text: str, default_unit: str = "mm") -> int:
    """Read a length as people type it; whole nanometres.

    Decimal point or decimal comma (a comma never groups thousands), fractions and mixed fractions, units
    mm, cm, m, µm, in, ", thou, ft and whatever else Pint knows as a length. Without a unit it is
    `default_unit`; but a bare fraction is refused where that is not the inch, since nobody measures in
    fractions of a millimetre and the unit would be a guess.

    Errors (`Refused`): length_empty, length_unreadable, length_unit_unknown, length_not_positive,
    length_fraction_without_unit, length_absurd (over 10 m).

    >>> read_length("15.5"), read_length("15,5 mm"), read_length("19/32 in"), read_length('0.610"')
    (15500000, 15500000, 15081250, 15494000)
    >>> read_length("1 1/8 in"), read_length("30 thou"), read_length("3/8", default_unit="in")
    (28575000, 762000, 9525000)
    """
    typed = text.strip()
    number, unit, fraction = _typed("length", typed)
    if fraction and not unit and default_unit != "in":
        raise Refused(Reason("length_fraction_without_unit", typed=typed))
    unit = (unit or default_unit).lower()
    worth: Fraction | None = Fraction(NM_PER_MM)
    if unit != "mm":
        named = _LENGTH_UNITS.get(unit, unit)
        # Pint would read whole expressions ("mm * 10"); a unit in a length field is one word.
        worth = _worth(named, "nanometer") if re.fullmatch(r"[a-zµμ]{1,16}", named) else None
    if worth is None:
        raise Refused(Reason("length_unit_unknown", typed=typed, unit=unit))
    nm = round(number * worth)
    if nm > LONGEST_NM:
        raise Refused(Reason("length_absurd", typed=typed, length_nm=nm, longest_nm=LONGEST_NM))
    if nm <= 0:
        raise Refused(Reason("length_not_positive", typed=typed))
    return nm


@lru_cache(maxsize=1024)
def read_torque(text: str, default_unit: str = "N·m") -> int:
    """Read a torque as people type it; whole newton millimetres.

    Units N·m, N·mm, lbf·ft, lbf·in, kgf·m and their usual spellings ("Nm", "ft-lb", "in lbs", "kgm");
    without one it is `default_unit`. 1 lbf·ft is 1.3558179483314004 N·m exactly (from 1 lb = 0.45359237 kg,
    1 ft = 0.3048 m and the standard acceleration 9.80665 m/s², as Pint carries them).

    Errors (`Refused`): torque_empty, torque_unreadable, torque_unit_unknown, torque_not_positive,
    torque_absurd (over 100 kN·m).

    >>> read_torque("45"), read_torque("45 Nm"), read_torque("33 ft-lb"), read_torque("10,5 kgf·m")
    (45000, 45000, 44742, 102970)
    """
    typed = text.strip()
    number, unit, _ = _typed("torque", typed)
    spelling = re.sub(r"[ .·⋅*×x-]", "", (unit or default_unit).lower())
    worth = _worth(_TORQUE_UNITS[spelling], "newton * millimeter") if spelling in _TORQUE_UNITS else None
    if worth is None:
        raise Refused(Reason("torque_unit_unknown", typed=typed, unit=unit))
    nmm = round(number * worth)
    if nmm > LARGEST_TORQUE_NMM:
        raise Refused(Reason("torque_absurd", typed=typed, torque_nmm=nmm, largest_nmm=LARGEST_TORQUE_NMM))
    if nmm <= 0:
        raise Refused(Reason("torque_not_positive", typed=typed))
    return nmm


def read_stress(text: str) -> int:
    """Read the strength of a metal as people type it; whole kilopascals, to the nearest.

    Units MPa, N/mm², GPa, kPa, psi, ksi, kgf/mm²; without one it is MPa.

    Errors (`Refused`): stress_empty, stress_unreadable, stress_unit_unknown, stress_not_positive, stress_absurd
    (over 5 GPa).

    >>> read_stress("130"), read_stress("130 N/mm2"), read_stress("19 ksi")
    (130000, 130000, 131000)
    """
    typed = text.strip()
    number, unit, _ = _typed("stress", typed)
    spelling = (unit or "MPa").lower().replace(" ", "").replace("^", "")
    worth = _worth(_STRESS_UNITS[spelling], "kilopascal") if spelling in _STRESS_UNITS else None
    if worth is None:
        raise Refused(Reason("stress_unit_unknown", typed=typed, unit=unit))
    kpa = round(number * worth)
    if kpa > LARGEST_STRESS_KPA:
        raise Refused(Reason("stress_absurd", typed=typed))
    if kpa <= 0:
        raise Refused(Reason("stress_not_positive", typed=typed))
    return kpa


def _digits(currency: str) -> int:
    return 0 if currency in _NO_MINOR_UNITS else 2


def read_money(text: str, currency: str = "EUR") -> int:
    """Read a price as people type it; whole minor units (cents) of `currency`, nothing rounded away.

    Errors (`Refused`): money_unreadable, money_too_fine (more digits than the currency has).

    >>> read_money("12.50"), read_money("12,5"), read_money("7"), read_money("900", "JPY")
    (1250, 1250, 700, 900)
    """
    typed = text.strip()
    plain = typed.removeprefix(currency).removesuffix(currency).strip().replace(",", ".")
    if len(plain) > LONGEST_TEXT or re.fullmatch(r"[0-9]{1,12}(\.[0-9]+)?", plain) is None:
        raise Refused(Reason("money_unreadable", typed=typed[:LONGEST_TEXT]))
    minor = Decimal(plain).scaleb(_digits(currency))
    if minor != minor.to_integral_value():
        raise Refused(Reason("money_too_fine", typed=typed, currency=currency, digits=_digits(currency)))
    return int(minor)


def read_day(text: str, today: date) -> date:
    """A day in ISO form, with dots (the day first, as it is written wherever dots are), or so many days from today:
    "+30d", "-10d".

    Errors (`Refused`): date_unreadable.

    >>> read_day("2026-12-01", date(2026, 11, 25)), read_day("+5d", date(2026, 11, 25))
    (datetime.date(2026, 12, 1), datetime.date(2026, 11, 30))
    >>> read_day("1.12.2026", date(2026, 11, 25))
    datetime.date(2026, 12, 1)
    """
    dotted = re.fullmatch(r"([0-9]{1,2})\.([0-9]{1,2})\.([0-9]{4})", text)
    ahead = re.fullmatch(r"([+-][0-9]{1,5})d", text)
    try:
        if dotted:
            return date(int(dotted[3]), int(dotted[2]), int(dotted[1]))
        return today + timedelta(days=int(ahead[1])) if ahead else date.fromisoformat(text)
    except (ValueError, OverflowError):
        raise Refused(Reason("date_unreadable", typed=text[:LONGEST_TEXT])) from None


def _trimmed(number: Decimal) -> str:
    text = format(number, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _mm(nm: int, rounding: Rounding) -> str:
    shown = to_mm(nm).quantize(Decimal("0.001"), _MODES[rounding])
    # What is there but smaller than the last digit shown must not read as nothing.
    return _trimmed(shown if shown or not nm else to_mm(nm))


def _inch(nm: int, rounding: Rounding) -> str:
    return format((Decimal(nm) / NM_PER_INCH).quantize(Decimal("0.0001"), _MODES[rounding]), "f")


def _both(metric: str, inch: str, units: str) -> str:
    return f"{inch} ({metric})" if units == "in" else f"{metric} ({inch})"


def show_length(nm: int, units: str = "mm", rounding: Rounding = "nearest") -> str:
    """A length for reading: millimetres with inch beside, or the reverse with `units` "in".

    Millimetres to 3 decimals with trailing zeros trimmed, inches to 4 decimals. A plain size is rounded to the
    nearest, so that it always reads alike. Show the least of a window that somebody works to with rounding "up" and
    its most with "down": then the printed pair lies inside the true one.

    >>> show_length(14_376_000), show_length(14_500_000, "in")
    ('14.376 mm (0.5660 in)', '0.5709 in (14.5 mm)')
    >>> show_length(14_676_000, rounding="down")
    '14.676 mm (0.5777 in)'
    """
    return _both(f"{_mm(nm, rounding)} mm", f"{_inch(nm, rounding)} in", units)


def show_torque(nmm: int, units: str = "mm") -> str:
    """A torque for reading: newton metres with pound-force feet beside, or the reverse with `units` "in".

    >>> show_torque(45_000), show_torque(45_000, "in")
    ('45 N·m (33.2 lbf·ft)', '33.2 lbf·ft (45 N·m)')
    """
    newton_metres = _trimmed(Decimal(nmm).scaleb(-3))
    # 1 lbf·ft = 1355.8179483314004 N·mm, exact; written out so that showing a number never loads Pint.
    pound_feet = _trimmed((Decimal(nmm) / Decimal("1355.8179483314004")).quantize(Decimal("0.1")))
    return _both(f"{newton_metres} N·m", f"{pound_feet} lbf·ft", units)


def show_force(newton: int, units: str = "mm") -> str:
    """A force for reading: kilonewtons to 10 N with pound-force beside, or the reverse with "in".

    1 lbf is 4.4482216152605 N exactly (1 lb = 0.45359237 kg, g = 9.80665 m/s²).

    >>> show_force(129_480), show_force(129_480, "in")
    ('129.48 kN (29108 lbf)', '29108 lbf (129.48 kN)')
    """
    kilonewtons = _trimmed(Decimal(newton).scaleb(-3).quantize(Decimal("0.01")))
    pounds = (Decimal(newton) / Decimal("4.4482216152605")).quantize(Decimal(1))
    return _both(f"{kilonewtons} kN", f"{pounds} lbf", units)


def show_stress(megapascal: int, units: str = "mm") -> str:
    """A stress for reading: megapascals with ksi (1000 lbf/in²) beside, or the reverse with "in".

    >>> show_stress(130), show_stress(130, "in")
    ('130 MPa (18.9 ksi)', '18.9 ksi (130 MPa)')
    """
    ksi = (Decimal(megapascal) / Decimal("6.894757293168")).quantize(Decimal("0.1"))
    return _both(f"{megapascal} MPa", f"{ksi} ksi", units)


def show_volume(mm3: Decimal, units: str = "mm") -> str:
    """A volume of metal for reading, to three figures: cubic millimetres or centimetres with cubic inches beside.

    >>> show_volume(Decimal("638.4")), show_volume(Decimal(3215)), show_volume(Decimal(3215), "in")
    ('638 mm³ (0.039 in³)', '3.22 cm³ (0.196 in³)', '0.196 in³ (3.22 cm³)')
    >>> show_volume(Decimal(0)), show_volume(Decimal(0), "in")
    ('0 mm³ (0.000 in³)', '0.000 in³ (0 mm³)')
    """
    small = mm3 < 1000
    metric = f"{round(mm3)} mm³" if small else f"{_three_figures(mm3.scaleb(-3))} cm³"
    return _both(metric, f"{(mm3 / Decimal('16387.064')).quantize(Decimal('0.001'))} in³", units)


def _three_figures(number: Decimal) -> str:
    return format(
        number.quantize(Decimal("0.01") if number < 10 else Decimal("0.1") if number < 100 else Decimal(1)), "f"
    )


def show_money(minor: int, currency: str = "EUR") -> str:
    """A price for reading, currency code first.

    >>> show_money(1250), show_money(900, "JPY")
    ('EUR 12.50', 'JPY 900')
    """
    return f"{currency} {Decimal(minor).scaleb(-_digits(currency)):f}"


def per_cent(part: int, whole: int) -> Decimal:
    """A share of a positive whole in percent, to the nearest tenth. What is not all is never 100, nor what is some 0.

    >>> per_cent(19, 34), per_cent(9999, 10_000), per_cent(1, 10_000), per_cent(3, 3)
    (Decimal('55.9'), Decimal('99.9'), Decimal('0.1'), Decimal('100'))
    """
    tenths = (2000 * part + whole) // (2 * whole)
    if 0 < part < whole:
        tenths = min(max(tenths, 1), 999)
    return Decimal(tenths) / 10
