"""The sentences: a reason is a code with data in base units, and only here does it become words.

A sentence names its data in braces; how a value is shown follows from the ending of its name: `_nm` a
length, `_nmm` a torque, `_minor` money in the reason's own `currency`; dates and times in ISO form, a tuple
as a list, a reason inside a reason as its own sentence. `{holes:hole|holes}` shows a count with its noun,
`{top_nm:down}` rounds a shown limit inward, `{why:word}` shows a code by its word. A part in square brackets is
left out where a value that it names is empty or nought.
"""

from __future__ import annotations

import re
import string
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, date, datetime
from typing import Any

from inventory.errors import Reason
from inventory.quantities import Rounding, show_length, show_money, show_torque

_OPTIONAL = re.compile(r"\[([^\[\]]*)\]")
_ROUNDINGS: dict[str, Rounding] = {"down": "down", "up": "up"}

WORDS = {"loan": "on loan", "regrind": "at regrind", "calibration": "at calibration"}  # why a unit is away

SENTENCES: dict[str, str] = {
    # --- reading quantities
    "length_empty": 'A length is missing here; write for example 15.5, 19/32 in or 0.610".',
    "length_unreadable": '“{typed}” cannot be read as a length; write for example 15.5, 19/32 in or 0.610".',
    "length_unit_unknown": "“{unit}” in “{typed}” is no unit of length; write mm, in or thou.",
    "length_not_positive": "“{typed}” must be more than zero.",
    "length_fraction_without_unit": ("“{typed}” is a fraction without a unit; write “{typed} in” if inches are meant."),
    "length_absurd": "“{typed}” would be longer than {longest_nm}; is the unit right?",
    "torque_empty": "A torque is missing here; write for example 45 N·m or 33 lbf·ft.",
    "torque_unreadable": "“{typed}” cannot be read as a torque; write for example 45 N·m or 33 lbf·ft.",
    "torque_unit_unknown": "“{unit}” in “{typed}” is no unit of torque; write N·m, lbf·ft, lbf·in or kgf·m.",
    "torque_not_positive": "“{typed}” must be more than zero.",
    "torque_absurd": "“{typed}” would be more than {largest_nmm}; is the unit right?",
    "money_unreadable": "“{typed}” cannot be read as a price; write for example 12.50.",
    "money_too_fine": "“{typed}” is finer than {currency} is paid in ({digits:decimal|decimals}).",
    # --- rules about one row
    "item_number_taken": "Another item already has this catalogue number.",
    "item_number_not_empty": "A catalogue number is either given or left out altogether.",
    "item_diameter_positive": "A diameter must be more than zero.",
    "item_pilot_positive": "A pilot diameter must be more than zero.",
    "item_usable_length_positive": "A usable length must be more than zero.",
    "item_lead_positive": "A lead must be more than zero.",
    "item_insert_length_positive": "An insert length must be more than zero.",
    "item_flange_positive": "A flange diameter must be more than zero.",
    "item_torque_max_positive": "The largest torque must be more than zero.",
    "item_life_positive": "A life must be at least one hole.",
    "item_torque_range": "The least torque must not be negative, nor above the largest.",
    "item_flute_known": "A flute is straight, spiral or point (spiral point).",
    "item_action_known": "A tap cuts or forms.",
    "item_hand_known": "A hand is L, R or left out.",
    "site_name_taken": "There is already a site of this name.",
    "site_named": "A site needs a name.",
    "bin_name_taken": "This site already has a bin of this name.",
    "bin_named": "A bin needs a name.",
    "bin_walk_not_negative": "A walk number must not be negative.",
    "badge_taken": "Somebody else has this badge.",
    "person_named": "A person needs a name.",
    "tag_taken": "Another unit already has this tag.",
    "unit_tagged": "A unit needs a tag.",
    "unit_condition_known": "A condition is new, serviceable, due_regrind, away, lost or retired.",
    "unit_holes_not_negative": "Holes cut must not be negative.",
    "unit_away_says_why": "A unit is away exactly when it says why: loan, regrind or calibration.",
    "unit_at_home_is_with_nobody": "A unit that is not away is with nobody and due back at no time.",
    "unit_issued_is_not_away": "A unit that is issued to a job is not away at the same time.",
    "batch_lot_taken": "This bin already has a batch of this item and lot.",
    "batch_held_not_negative": "What is held of a batch must not be negative.",
    "batch_held_within_on_hand": "No more can be held of a batch than is on hand.",
    "batch_packed_before_expiry": "A batch expires after it was packed.",
    "movement_request_key_taken": "This request was already carried out.",
    "movement_of_one_thing": "A movement is of exactly one unit or one batch.",
    "movement_act_known": "A movement must be one of the acts of the ledger.",
    "movement_by_somebody": "A movement must say who did it.",
    "reservation_request_key_taken": "This request was already carried out.",
    "reservation_labelled": "A reservation needs a label.",
    "reservation_by_somebody": "A reservation must say who made it.",
    "reservation_link_on_this_site": "The link of a reservation is a path on this site, such as /jobs/12/.",
    "reservation_released_has_a_time": "A reservation has a time of release exactly when it is released.",
    "unit_held_twice": "One reservation holds a unit once.",
    "unit_hold_ends_after_start": "A hold must end after it starts.",
    "unit_hold_holes_not_negative": "The holes of a hold must not be negative.",
    "unit_hold_shorted_is_over": "A hold that was cut short is no longer active.",
    "batch_held_twice": "One reservation holds a batch once.",
    "batch_hold_quantity_positive": "A hold on a batch must be for one or more.",
    "batch_hold_short_within_quantity": "A hold cannot be short of more than it was for.",
    "supplier_name_taken": "There is already a supplier of this name.",
    "supplier_named": "A supplier needs a name.",
    "supplier_currency_code": "A currency is three capital letters, such as EUR.",
    "supplier_carriage_not_negative": "Carriage must not be negative.",
    "supplier_minimum_not_negative": "A minimum order must not be negative.",
    "offer_pack_positive": "A pack holds at least one.",
    "offer_price_not_negative": "A price must not be negative.",
    "offer_lead_not_negative": "A lead time must not be negative.",
    "offer_item_twice": "An offer names each item once.",
    "offer_item_quantity_positive": "An offer holds at least one of each of its items.",
    "price_break_twice": "An offer has one price from each number of packs on.",
    "price_break_above_one_pack": "A price break starts at two packs or more.",
    "price_break_price_not_negative": "A price must not be negative.",
    "order_number_taken": "There is already an order of this number.",
    "order_numbered": "An order needs a number.",
    "order_by_somebody": "An order must say who made it.",
    "order_line_twice": "An order names each offer once.",
    "order_line_packs_positive": "An order line is for one pack or more.",
    "order_line_price_not_negative": "A price must not be negative.",
    # --- guards
    "inventory_movement_append_only": ("The ledger is only ever added to: write a movement that puts it right."),
    "unit_hold_overlap": "This unit is already held in that time.",
    # --- threads and drills as typed
    "thread_read_as": "“{typed}” was read as {thread}.",
    "thread_empty": "A thread is missing here; write for example M14 x 1.5 or 9/16-18.",
    "thread_too_long": "This is too long for a thread ({length} characters, at most {longest}).",
    "thread_unreadable": "“{typed}” cannot be read as a thread; write for example M14 x 1.5 or 9/16-18.",
    "thread_not_covered": "“{typed}” is a thread of the system {system}, which is not covered here.",
    "thread_size_unknown": "There is no thread of the size {size}[; nearest are {candidates}].",
    "thread_pitch_impossible": "{size}: a pitch of {pitch} {unit} cannot be[; {candidates} can].",
    "thread_pitch_not_in_series": (
        "{size} has no pitch of {pitch} {unit}[; {candidates} would do][; that is a {belongs} pitch]."
    ),
    "thread_wrong_series": "“{typed}” is no {series} thread[: {found} is {found_series}][; {candidates} would do].",
    "thread_ambiguous": "“{typed}” can be more than one thread[ (flanks of {angles})]; which is it: {candidates}?",
    "thread_class_unknown": "{thread} has no class {thread_class}[; it has {known}].",
    "thread_class_twice": "“{typed}” already says another class than {thread_class}; write it once.",
    "thread_side_missing": "An insert-hole thread has no outside of its own ({thread}).",
    "thread_no_insert_hole": "There is no insert-hole thread to {thread}.",
    "thread_key_unreadable": "“{key}” is no thread key.",
    "pitch_assumed_coarse": "No pitch was written: taken as the coarse {thread}[; there are also {others}].",
    "pitch_from_series": "Taken as {thread}, from the {series} series.",
    "system_assumed_metric": "Taken as metric: {thread}.",
    "system_assumed_unified": "Taken as Unified: {thread}[; of the same size and pitch is also {others}].",
    "system_from_pitch": "Taken as {thread}: no other system here has this size and pitch.",
    "bsp_taken_as_parallel": "Taken as the parallel pipe thread {thread}; taper ones (R, Rc) are not covered here.",
    "size_read_as": "{typed} in was read as the size {size}.",
    "drill_empty": "A drill is missing here; write for example 14.5, 19/32, #7 or Q.",
    "drill_unreadable": "“{typed}” cannot be read as a drill; write for example 14.5, 19/32, #7 or Q.",
    "drill_unknown_name": "There is no drill named {name}.",
    "drill_too_fine": "{name} is finer than a nanometre.",
    "drill_size_impossible": "A drill of {diameter_nm} cannot be.",
    "drill_none_fits": "No standard drill lies between {least_nm:up} and {most_nm:down} for {thread}.",
    "tap_form_unknown": "“{typed}” is no form of a tap's chamfer; known are {known}.",
    # --- threads measured and compared
    "measured_nothing": "Measure a diameter or a pitch first.",
    "measured_twice": "Give one diameter, outside or inside, and one pitch, in millimetres or in threads per inch.",
    "measured_impossible": "A measurement or a doubt of {measured} cannot be; it is above 0.",
    "tell_apart_by_count": "Count the threads over 25 mm: {thread} has {count}, {other} has {other_count}.",
    "tell_apart_by_angle": "Hold a flank-angle gauge to it: {thread} has {angle}°, {other} has {other_angle}°.",
    "tell_apart_by_outside": "Measure it outside again: {thread} is {size_nm}, {other} is {other_size_nm} when new.",
    "tell_apart_by_inside": "Measure the hole again: {thread} starts at {size_nm}, {other} at {other_size_nm}.",
    "tell_apart_by_little": (
        "{thread} and {other} are {difference_nm} apart in diameter; only thread gauges tell them apart."
    ),
    "tell_apart_by_nothing": "{thread} and {other} are the same thread under two names; nothing tells them apart.",
    "look_alike_same": "{other} is the same thread as {thread} under another name.",
    "look_alike_angle": (
        "{other} has the pitch of {thread} but flanks of {other_angle}° in place of {angle}°: it goes in all the way, "
        "bears on the edges of the threads alone, and strips."
    ),
    "look_alike_size": (
        "{other} has the pitch and flanks of {thread} and is {difference_nm} off in diameter: it goes in all the way "
        "and holds little or nothing."
    ),
    "look_alike_pitch": (
        "{other} starts in {thread} by hand and is a quarter of a pitch out after {turns} turns: it binds, and strips "
        "when it is forced (pitch {pitch_difference_nm} off[, diameter {difference_nm} off]"
        "[, flanks of {other_angle}° in place of {angle}°])."
    ),
    "look_alike_other_pitch": (
        "{other} looks like {thread} and has another pitch ({pitch_difference_nm} off): it stops after a turn or so, and "
        "strips when it is forced."
    ),
    # --- catalogue
    "kind_unknown": "“{typed}” is no kind of thing; known are {known}.",
    "number_unreadable": "“{typed}” is not a number that can be counted; write for example 18 or 11.5.",
    "word_unknown": "“{typed}” is not known here; write one of: {known}.",
    "item_is_counted": "{item}: such things are counted and lie in batches; they carry no tags.",
    "item_is_tagged": "{item}: such things carry a tag each; they are not counted in batches.",
    "item_cannot_be_matched": "{item} cannot be matched on {missing}: nothing entered.",
    # --- stock
    "site_unknown": "There is no site “{typed}”[; there are {known}].",
    "tag_unknown": "No unit carries the tag {tag}.",
    "unit_gone": "{tag} is {condition}.",
    "unit_away": "{tag} is away ({why})[ until the end of {until}].",
    "unit_not_away": "{tag} is not away.",
    "unit_issued": "{tag} is issued to {label}.",
    "unit_not_issued": "{tag} is not issued to anybody.",
    "unit_not_at_hand": "{tag} cannot be used: {condition}.",
    "unit_held": "{tag} is held for {label} from {start} to {end}.",
    "unit_unknown": "There is no unit {id}.",
    "batch_unknown": "There is no batch {id}.",
    "life_short": "{tag} has {left:hole|holes} of life left and {needed} are needed.",
    "batch_short": (
        "{item}[, lot {lot}]: {available} free of {on_hand} on hand ({held} held), and {needed} are needed."
    ),
    "batch_dates_differ": (
        "This lot is there with other dates[, packed {packed}][, expiring {expires}]; "
        "give the new one a lot of its own."
    ),
    "condition_not_at_hand": "A thing that comes in is {known}, not {condition}.",
    "holes_negative": "Holes cut cannot be negative ({holes}).",
    "quantity_not_positive": "A quantity must be one or more ({quantity}).",
    "quantity_negative": "That would leave {quantity} of {on_hand} on hand; it cannot go below nothing.",
    "gives_back_too_much": "{label} was issued {issued} and cannot give back {quantity}.",
    "away_why_unknown": "“{typed}” is no reason to send a unit away; write one of: {known}.",
    "label_missing": "Say for which job.",
    "reason_missing": "Say why.",
    # --- reservations
    "reservation_empty": "There is nothing to hold.",
    "request_key_reused": "This request was already used for {label}.",
    # --- ledger
    "ledger_knows_no_unit": "{tag}: the ledger knows nothing of this unit.",
    "ledger_unit_place": "{tag}: by the ledger {ledger} in its bin, by the unit {expected}.",
    "ledger_unit_holes": "{tag}: by the ledger {ledger:hole|holes} cut, by the unit {holes}.",
    "ledger_batch_on_hand": "{item}[, lot {lot}]: by the ledger {ledger} on hand, by the batch {on_hand}.",
    "ledger_batch_held": "{item}[, lot {lot}]: its active holds come to {holds}, by the batch it is {held}.",
    # --- purchasing
    "currency_unknown": "“{typed}” is no currency; write three capital letters, such as EUR.",
    "offer_without_items": "An offer needs at least one item.",
    "price_break_not_cheaper": (
        "From {packs:pack|packs} on, {price_minor} a pack is dearer than {before_minor} for fewer."
    ),
    # --- sheets
    "sheet_not_found": "There is no file {sheet}.",
    "sheet_kind_unknown": "{sheet} is no sheet that can be read here; save it as {known}.",
    "sheet_too_large": "{sheet} is larger than {megabytes} MB; split it.",
    "sheet_not_utf8": "{sheet} is not written in UTF-8 (byte {byte}); save it as “CSV UTF-8”.",
    "sheet_broken": "{sheet} cannot be read: {detail}.",
    "sheet_empty": "{sheet} holds nothing.",
    "column_unknown": "{sheet}: there is no column “{column}”[; is “{near}” meant]? Known are {known}.",
    "column_twice": "{sheet}: the column “{column}” stands there twice.",
    "column_missing": "{sheet}: the column “{column}” is missing.",
    "cell": "{sheet}, row {row}[, {column}][ “{value}”]: {why}",
    "cell_missing": "This must be filled in.",
    "cell_too_long": "This is too long; at most {longest} characters.",
    "cell_beyond_columns": "There is more in this row than there are headings.",
    "cell_word_unknown": "“{typed}” is not known here[; is “{near}” meant]? Write one of: {known}.",
    "cell_needs_another": "This goes with “{needs}”, which is not filled in.",
    "cell_tag_and_quantity": "A row is a unit with a tag or a batch with a quantity, not both.",
    "count_unreadable": "“{typed}” is no whole number of {least} or more.",
    "lead_unreadable": "“{typed}” is no lead in threads; write for example 4 or 1.5.",
    "date_unreadable": "“{typed}” is no date; write for example 2027-03-31, or +90d for 90 days from now.",
    "item_differs": (
        "The item[ {number}] is known with another value here; put it right, or give this one a number of its own."
    ),
    "tag_twice": "Row {row} has the same tag.",
    "batch_twice": "Row {row} is the same item and lot in the same bin; add them up.",
    "batch_already_there": ("This bin already has a batch of this item[ and lot {lot}]; receive more of it there."),
    "bin_walk_differs": "The bin {bin} has the walk number {walk} elsewhere.",
    "offer_already_there": "This supplier's offer {number} is already there.",
    "supplier_terms_differ": "{supplier} has another value here elsewhere; write it once.",
    "items_unreadable": "“{typed}” is no list of items; write DR-145, or DR-145 × 2 + TP-16 × 1 for a set.",
    "item_number_unknown": "The catalogue has no item {number}[; is {near} meant]?",
    "breaks_unreadable": "“{typed}” are no price breaks; write for example 10: 4.20; 50: 3.90.",
}


class _Words(string.Formatter):
    """Fills a sentence; how a value is shown follows from its name."""

    def __init__(self, reason: Reason, units: str, sentences: Mapping[str, str]) -> None:
        self.reason, self.units, self.sentences = reason, units, sentences

    def get_field(self, field_name: str, args: Sequence[Any], kwargs: Mapping[str, Any]) -> tuple[Any, str]:
        return (field_name, self.reason.data.get(field_name)), field_name

    def format_field(self, value: Any, format_spec: str) -> str:
        name, held = value
        if "|" in format_spec:
            one, many = format_spec.split("|")
            return f"{held} {one if held == 1 else many}"
        return self.shown(name, held, format_spec)

    def shown(self, name: str, value: Any, format_spec: str = "") -> str:
        if value is None:
            return "nothing entered"
        if isinstance(value, Reason):
            return say(value, self.units, self.sentences)
        if isinstance(value, tuple | list):
            return ", ".join(self.shown(name, part, format_spec) for part in value)
        if isinstance(value, datetime):
            return value.astimezone(UTC).strftime("%Y-%m-%d %H:%M")
        if isinstance(value, date):
            return value.isoformat()
        if format_spec == "word":
            return WORDS.get(value, str(value).replace("_", " "))
        if name.endswith("_nm"):
            return show_length(value, self.units, _ROUNDINGS.get(format_spec, "nearest"))
        if name.endswith("_nmm"):
            return show_torque(value, self.units)
        if name.endswith("_minor"):
            return show_money(value, self.reason.data.get("currency", "EUR"))
        return str(value)


def say(reason: Reason, units: str = "mm", sentences: Mapping[str, str] = SENTENCES) -> str:
    """The sentence for a reason, lengths with millimetres first, or inches first with `units` "in".

    `sentences` may be another app's; what it lacks is looked up here. A code without any sentence is shown as
    it is, with its data: ugly, but never silent.

    >>> say(Reason("money_too_fine", typed="1.234", currency="EUR", digits=2))
    '“1.234” is finer than EUR is paid in (2 decimals).'
    """
    sentence = sentences.get(reason.code) or SENTENCES.get(reason.code)
    if sentence is None:
        data = ", ".join(f"{key} {value}" for key, value in reason.data.items())
        return f"{reason.code.replace('_', ' ')}: {data}" if data else reason.code.replace("_", " ")
    return _Words(reason, units, sentences).format(_OPTIONAL.sub(_kept(reason), sentence))


def _kept(reason: Reason) -> Callable[[re.Match[str]], str]:
    """What is kept of a part in brackets: all of it where each value it names is there, else nothing."""

    def keep(part: re.Match[str]) -> str:
        names = re.findall(r"{(\w+)", part[1])
        return part[1] if all(reason.data.get(name) not in (None, "", (), 0) for name in names) else ""

    return keep
