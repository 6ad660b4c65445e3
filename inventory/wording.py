"""The sentences: a reason is a code with data in base units, and only here does it become words.

A sentence names its data in braces; how a value is shown follows from the ending of its name: `_nm` a
length, `_nmm` a torque, `_minor` money in the reason's own `currency`; dates and times in ISO form and in the
shop's zone, a time named `end` or `ended` as the last day that it takes in, a tuple as a list, counts by word
as so many of each, a reason inside a reason as
its own sentence. `{holes:hole|holes}` shows a count with its noun, `{why:word}` shows a code by its word. A length
is rounded to the nearest; one that somebody works to as a limit says so, `{least_nm:up}` and `{most_nm:down}`, and
is rounded inward. A part in square brackets is left out where a value that it names is empty or nought.
"""

from __future__ import annotations

import re
import string
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from django.conf import settings

from inventory.errors import Reason
from inventory.kinds import KINDS
from inventory.quantities import Rounding, show_force, show_length, show_money, show_stress, show_torque

_OPTIONAL = re.compile(r"\[([^\[\]]*)\]")
_ROUNDINGS: dict[str, Rounding] = {"down": "down", "up": "up"}

WORDS = {
    "loan": "on loan", "regrind": "at regrind", "calibration": "at calibration",  # why a unit is away
    "slow_days": "the days of slow stock", "least_days": "the least days of history",
    "expiry": "expiry", "away": "away", "order": "orders",
    "due_regrind": "due for regrind", "due_calibration": "due for calibration",
    "point": "spiral point", "form": "forming", "cut": "cutting",
}  # fmt: skip

ONE = {"items": "item", "sites": "site", "bins": "bin", "people": "person", "units": "unit", "batches": "batch",
       "suppliers": "supplier", "offers": "offer"}  # fmt: skip

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
    "stress_empty": "A strength is missing here; write for example 240 MPa or 35 ksi.",
    "stress_unreadable": "“{typed}” cannot be read as a strength; write for example 240 MPa or 35 ksi.",
    "stress_unit_unknown": "“{unit}” in “{typed}” is no unit of strength; write MPa, N/mm2, ksi or psi.",
    "stress_not_positive": "“{typed}” must be more than zero.",
    "stress_absurd": "“{typed}” is more than any metal has; is the unit right?",
    "money_unreadable": "“{typed}” cannot be read as a price; write for example 12.50.",
    "money_too_fine": "“{typed}” is finer than {currency} is paid in ({digits:decimal|decimals}).",
    # --- rules about one row
    "item_number_taken": "Another item already has this catalogue number.",
    "item_number_kept": "An item that has a catalogue number keeps one: leave {number}, or write another.",
    "item_number_not_empty": "A catalogue number is either given or left out altogether.",
    "item_diameter_positive": "A diameter must be more than zero.",
    "item_pilot_positive": "A pilot diameter must be more than zero.",
    "item_usable_length_positive": "A usable length must be more than zero.",
    "item_lead_positive": "A lead must be more than zero.",
    "item_insert_length_positive": "An insert length must be more than zero.",
    "item_flange_positive": "A flange diameter must be more than zero.",
    "item_torque_max_positive": "The largest torque must be more than zero.",
    "item_life_positive": "A life must be at least one hole.",
    "item_cure_hours_positive": "A cure takes at least one hour; round up.",
    "item_step_diameter_positive": "A step's diameter must be more than zero.",
    "item_step_length_positive": "A step's length must be more than zero.",
    "item_takes_least_positive": "The least that it takes must be more than zero.",
    "item_takes_most_positive": "The largest that it takes must be more than zero.",
    "item_superseded_is_retired": "An item that has a successor is no longer bought itself.",
    "item_not_its_own_successor": "An item cannot take its own place.",
    "item_change_request_key_taken": "This request was already carried out.",
    "item_change_act_known": "An item is retired, restored, superseded, cared for or measured.",
    "item_measured_since": (
        "The item was changed while this page stood open[, by {by}]: look at it once more. "
        "What you typed is still here, and none of it is written yet."
    ),
    "item_measured_nothing": "Nothing was changed: all of it is as it was.",
    "item_measured_meanwhile": "While this page stood open it was changed[ from {was}] to {now}.",
    "item_emptied_meanwhile": "While this page stood open it was emptied[; it was {was}].",
    "item_number_like_an_address": "“{typed}” cannot be a catalogue number: an address of the site is written so; choose another.",
    "item_change_by_somebody": "A change of the catalogue must say who made it.",
    "successor_of_other_kind": "{successor} is of another kind than {item} and cannot take its place.",
    "successor_retired": "{successor} is no longer bought itself and cannot take the place of {item}.",
    "item_takes_range": "The least that it takes must not be above the largest.",
    "item_step_over_diameter": "A step drill's second step is larger than its leading one.",
    "inner_not_inside": "{inner} cannot stand inside {thread}; an insert's inside thread is the smaller one.",
    "pilot_not_under_cutter": "A pilot of {pilot_nm} is no smaller than its cutter, {diameter_nm}.",
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
    "tag_taken": "Another unit already has this tag[: {tag}].",
    "tag_taken_in_other_letters": "The unit {tag} has this tag already; capitals and small letters count as one.",
    "unit_tagged": "A unit needs a tag.",
    "unit_condition_known": "A condition is new, serviceable, due_regrind, away, lost or retired.",
    "unit_holes_not_negative": "Holes cut must not be negative.",
    "unit_wear_not_negative": "Life used must not be negative.",
    "unit_wear_ahead_within_a_hole": "Life used is rounded up by less than a hole: 0 to 99 hundredths.",
    "unit_regrinds_not_negative": "Regrinds must not be negative.",
    "unit_diameter_positive": "A diameter must be more than nothing.",
    "item_most_regrinds_not_negative": "The most regrinds must be 0 or more.",
    "item_calibration_days_positive": "The days between two calibrations must be at least 1.",
    "item_pack_size_positive": "A pack must hold at least one piece.",
    "life_factor_twice": "Two life factors stand for one material[: {material}].",
    "life_factor_unreadable": "“{typed}” is no life factor: write a material and a percentage of at most {most}, such as steel 150.",
    "material_unknown": "“{typed}” is no parent material that is known here[; {near} is spelt alike][; known are {known}].",
    "life_factor_of_a_material": "A life factor needs its material.",
    "life_factor_positive": "A life factor must be more than 0 percent.",
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
    "reservation_release_key_taken": "This request has already let a reservation go.",
    "reservation_request_key_taken": "This request was already carried out.",
    "reservation_labelled": "A reservation needs a label.",
    "reservation_by_somebody": "A reservation must say who made it.",
    "reservation_link_on_this_site": "The link of a reservation is a path on this site, such as /jobs/12/.",
    "reservation_released_has_a_time": "A reservation has a time of release exactly when it is released.",
    "role_lacking": "This takes the role {roles:word}; ask whoever gives out roles here.",
    "not_allowed": "This is not allowed to you; reload the page, or ask whoever gives out roles here.",
    "log_in_first": "Log in first, or send a token: “Authorization: Token …”.",
    "method_not_allowed": "This address does not take that method; the schema lists what it takes.",
    "page_too_old": "The page had stood open too long: go back, reload it and send it again; nothing was changed.",
    "page_unknown": "There is nothing at this address.",
    "json_unreadable": "The body cannot be read; send JSON.",
    "json_only": "The body must be JSON, with “Content-Type: application/json”.",
    "body_too_large": "The body is too large; {most_bytes} bytes are taken at most.",
    "parameter_unknown": "There is no “{key}” here[; what is read is {known}].",
    "page_end_unreadable": "“{typed}” is the end of no page; send back what the page before said at “after”.",
    "parameter_twice": "“{key}” stands there more than once; give it once.",
    "object_expected": "Send one JSON object with {known}.",
    "text_expected": "Write this as text, between quotation marks.",
    "request_key_missing": "Send a header {header} with a key of your own, a new one for each act.",
    "request_key_too_long": "The key is {length} characters long; {longest} are taken at most.",
    "request_key_unreadable": "{header} is written in plain characters without blanks: letters, figures, hyphens and the like.",
    "token_not_valid": "This token is not known here, or its days are over; ask for another.",
    "csrf_token_missing": "A page of this site sends its token with what it asks, as X-CSRFToken; a program sends its own: “Authorization: Token …”.",
    "login_unknown": "There is no login “{login}”.",
    "login_shut_out": "“{login}” may not log in any more, so a token would be good for nothing.",
    "token_days_wrong": "A token is good for 1 to {most} days, not for {days}.",
    "token_given": "A token for {login}, good for {days:day|days}. It is not shown again: keep it like a password.",
    "tokens_revoked": "{count:token|tokens} of {login} taken back.",
    "not_acceptable": "This address answers with JSON alone.",
    "unit_held_twice": "One reservation cannot hold a unit twice at the same time.",
    "unit_hold_ends_after_start": "A hold must end after it starts.",
    "unit_hold_holes_not_negative": "The holes of a hold must not be negative.",
    "unit_hold_shorted_is_over": "A hold that was cut short is no longer active.",
    "batch_held_twice": "One reservation holds a batch once.",
    "batch_hold_quantity_positive": "A hold on a batch must be for one or more.",
    "batch_hold_short_within_quantity": "A hold cannot be short of more than it was for.",
    "batch_hold_issued_within_quantity": "No more can be issued against a hold than is kept by it.",
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
    "order_request_key_taken": "This request was already carried out.",
    "order_numbered": "An order needs a number.",
    "order_by_somebody": "An order must say who made it.",
    "order_line_twice": "An order names each offer once.",
    "order_line_packs_positive": "An order line is for one pack or more.",
    "order_line_price_not_negative": "A price must not be negative.",
    # --- guards
    "inventory_itemchange_append_only": "What happened to an item of the catalogue is only ever added to, never changed or taken away.",
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
    "thread_ambiguous": "“{typed}” can be more than one thread; which is it: {candidates:angles}?",
    "thread_says_two": "“{typed}” says {said} at once; leave all but one of them out.",
    "thread_class_pair": "“{typed}” names two classes, {classes}, of a hole and of its bolt; write one of them.",
    "thread_class_unknown": "{thread} has no class {thread_class}[; it has {known}].",
    "thread_class_twice": "“{typed}” already says another class than {thread_class}; write it once.",
    "thread_side_missing": "An insert-hole thread has no outside of its own ({thread}).",
    "thread_no_insert_hole": "There is no insert-hole thread to {thread}.",
    "thread_key_unreadable": "“{key}” is no thread key.",
    "pitch_assumed_coarse": "No pitch was written: taken as the coarse {thread}[; there are also {others}].",
    "pitch_not_written": "No pitch is written: write {thread} if the coarse one is meant[; there are also {others}].",
    "system_not_written": "“{typed}” is a size of two systems: write {thread} if Unified is meant[; there is also {others}].",
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
    "thread_or_measurements": "Give a thread, or measurements (--outside, --pitch …).",
    "measured_nothing": "Measure a diameter or a pitch first.",
    "measured_twice": "Give one diameter, outside or inside, and one pitch, in millimetres or in threads per inch.",
    "measured_impossible": (
        "A measured {measured} cannot be: a size and its doubt are above 0 and at most 1000 mm, a count is from 1 to "
        "200 threads per inch."
    ),
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
    "word_missing": "An answer is missing here; write one of: {known}.",
    # --- answers of every form
    "answer_missing": "Nothing is entered here; this must be filled in.",
    "date_missing": "A day is missing here; write for example 2026-12-01, or +5d for 5 days from today.",
    "answer_too_long": "This is {length} characters long; write at most {longest} characters.",
    "answer_unreadable": "“{typed}” has a character in it that cannot be kept; type it again.",
    "item_is_counted": "{item}: such things are counted and lie in batches; they carry no tags.",
    "item_is_tagged": "{item}: such things carry a tag each; they are not counted in batches.",
    "tags_missing": "{item}: such things carry a tag each; name the tags of those that came.",
    "item_cannot_be_matched": "{item} cannot be matched on {missing}: nothing entered.",
    # --- stock
    "site_unknown": "There is no site “{typed}”[; there are {known}].",
    "tag_unknown": "No unit carries the tag {tag}.",
    "unit_gone": "{tag} is {condition}.",
    "unit_away": "{tag} is away ({why})[ until the end of {until}].",
    "unit_not_away": "{tag} is not away.",
    "unit_issued": "{tag} is issued to {label}.",
    "unit_not_issued": "{tag} is not issued to anybody.",
    "unit_not_at_hand": "{tag} cannot be used: {condition:word}.",
    "unit_held_meanwhile": (
        "{tag} is kept for {label} from {start} to {end}: lend it until a day before that, or have it released there first."
    ),
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
    "regrinds_used_up": (
        "{tag} was reground {regrinds:time|times} and such a tool may be {most:time|times}: "
        "scrap it, or say that nothing was done to it."
    ),
    "diameter_not_reground": "{tag} was not reground, so its diameter is what it was.",
    "diameter_grew": "A regrind takes metal away: it cannot cut {diameter_nm} where it cut {before_nm} before.",
    "calibration_due_missing": ("Say until when it is good: {item} has no interval entered that would tell."),
    "unit_calibration_missing": "No calibration is on record for {tag}: enter its date on its page, or say who signs for it, and why.",
    "unit_due_regrind": "{tag} is worn or due for regrind; it is not issued before that is put right.",
    "unit_calibration_overdue": "The calibration of {tag} was good until {due}; it is neither issued nor lent before the next.",
    "batch_expired": "{item}[, lot {lot}] was good until {expires}; it cannot be issued.",
    "already_in_bin": "{name} is in bin {bin} already.",
    "condition_not_at_hand": "A thing that comes in is {known}, not {condition}.",
    "holes_negative": "Holes cut cannot be negative ({holes}).",
    "quantity_not_positive": "A quantity must be one or more ({quantity}).",
    "quantity_negative": "There are {on_hand} on hand; no more than that can be taken away.",
    "gives_back_too_much": "{label} was issued {issued} and cannot give back {quantity}.",
    # --- over the counter
    "counter_field_empty": "Type or scan a job, or the tag of something that is kept for it.",
    "counter_is_a_bin": "“{typed}” is a bin; scan what lies in it.",
    "counter_keeps_nothing": "Nothing is kept for {tag}, or in its hand; open the job that it is wanted for.",
    "counter_opens_nothing": (
        "Nothing is kept for “{typed}”, and nothing here carries it.[ Is {near} meant?] Reserve the job first, or type a tag."
    ),
    "counter_several_labels": "{tag} is kept for {labels}; type which of them.",
    "issue_empty": "Nothing is ticked and nothing was scanned, so nothing is issued to {label}.",
    "take_back_empty": "Nothing is ticked and no pieces are entered, so nothing comes back from {label}.",
    "pieces_missing": "Enter how many pieces of {name} come back.",
    "tag_not_out": "“{typed}” is nothing that {label} has in hand.",
    "unit_written_off": "{tag} is written off; every job that counted on it is told so.",
    "pieces_written_off": "Written off: {pieces:piece|pieces} of {name}; every job that counted on them is told so.",
    "broke_by_default": "Broken at the job.",
    "lost_by_default": "Lost at the job.",
    "thing_unknown": "There is no such thing on the shelf any more ({key}).",
    "away_why_unknown": "“{typed}” is no reason to send a unit away; write one of: {known}.",
    "label_missing": "Say for which job.",
    "reason_missing": "Say why.",
    "person_unknown": "Nobody here is called “{typed}”[; is {near} meant]? Tick “a new name” to enter it.",
    "person_ambiguous": "There are several called “{typed}”; type the badge: {badges}.",
    "bin_unknown": "There is no bin “{name}”[ at {site}].",
    "day_is_over": "{day} is over already; write today or a day to come.[ {otherwise}]",
    "expired_by_sheet": "Expired stock that is really here comes in by a sheet.",
    "calibration_left_out": "Leave it empty where the calibration is over: it then counts as not checked.",
    "day_not_yet": "{day} is still to come; write today or a day before it.",
    "day_far_ahead": "{day} is more than {years} years ahead; is the year right?",
    "item_unknown": "The catalogue has no item {number}.",
    # --- finding on the shelf
    "looked_for": (
        "{kinds}[ {state:word}][, {flute:word}][, {action:word}][ for {inner} in {outer}][ for {thread}]"
        "[, class {thread_class}][, {diameter_nm}][, {least_nm} to {most_nm}][ for {torque_nmm}]"
        "[, called {words}][, in {place}]"
    ),
    "query_too_long": "This is too long to look for ({length} characters, at most {longest}).",
    "size_or_thread": "“{typed}” can be a size or a thread; which is it: {candidates}?",
    "drills_for_thread": "The hole of {thread}, class {thread_class}, takes drills from {least_nm:up} to {most_nm:down}.",
    "kinds_carry_no_thread": "{thread}: no thread is kept of {kinds}.",
    "word_not_understood": (
        "“{word}” is not understood here, and no name has it.[ Is {near} meant?]"
        "[ Write a thread, a size, a kind, a tag, a bin or words of a name, such as {example}.]"
    ),
    "place_unknown": "“{name}” is neither a bin nor a site here, so it was left out.",
    "nothing_of_this_name": "There is no {sort:word} “{name}” here.",
    # --- labels
    "labels_none": "There is nothing to print a label of.",
    "labels_too_many": "More than {most} labels are too many for one printing; look for less at once.",
    "label_start_beyond": "This sheet has {most} labels; begin at one of those.",
    "labels_off_the_sheet": "With these margins labels run off the paper ({sheet}); make them smaller.",
    "tag_opens_nothing": "Nothing here carries “{typed}”.[ Is {near} meant?]",
    "tag_is_several": "“{typed}” is the name of several; which one is it?",
    # --- reservations
    "reservation_empty": "There is nothing to hold.",
    "request_key_reused": "This request was already used for {label}.",
    # --- stock counts
    "count_request_key_taken": "This request was already carried out.",
    "count_close_key_taken": "This request was already carried out.",
    "count_by_somebody": "A count must say who began it.",
    "count_closed_has_a_time": "A count has a time of closing exactly when it is posted or abandoned.",
    "count_bin_twice": "A bin stands in a count once.",
    "bin_in_one_open_count": "One of these bins is being counted already.",
    "count_line_unit_twice": "A unit is one line of a bin in a count.",
    "count_line_batch_twice": "A batch is one line of a bin in a count.",
    "count_line_lot_twice": "A lot is one line of a bin in a count.",
    "count_line_called_twice": "A tag is one line of a bin in a count.",
    "count_line_of_one_thing": "A line of a count is of exactly one thing.",
    "count_line_book_and_found": "A posted line has both what the book said and what was found.",
    "count_entry_request_key_taken": "This request was already carried out.",
    "count_entry_found_not_negative": "What was found cannot be less than nothing.",
    "count_entry_by_somebody": "An entry of a count must say who made it.",
    "inventory_countentry_append_only": "What was entered in a count can be neither changed nor taken away.",
    "unit_moved_meanwhile": "{tag} was moved meanwhile; look at it again.",
    "count_without_bins": "Choose at least one bin to count.",
    "count_bin_elsewhere": "One of these bins is not at {site}.",
    "bins_being_counted": "Being counted already: {bins} (count {count}, begun by {by}). Post or abandon that one first.",
    "count_reasons_missing": "Say why each line differs, or give one reason for all; nothing was posted.",
    "count_row_empty": "How many of it are there? Write 0 for none.",
    "count_tag_is_lot": "“{typed}” is the label of a lot or a bin, not of a unit: enter a lot at its own line.",
    "count_tag_too_long": "“{typed}” is longer than a tag can be ({longest} at most).",
    "count_of_units": "{item}: such things carry a tag each; scan their tags above.",
    "count_unknown": "There is no count {count}.",
    "count_closed": "Count {count} is {state} already.",
    "count_bin_unknown": "This bin is not in count {count}.",
    "count_found_negative": "What was found cannot be less than nothing ({found}).",
    "count_entry_unknown": "That figure no longer counts; look at the review again.",
    "count_line_unknown": "There is no such line in this count.",
    "count_moved_since": "{tag} was moved since it was counted: count it again.",
    "count_bin_empty": "Nothing was entered for {bin}: tick that nothing lies in it, or save for now.",
    "count_known_since": "The book has it by now: count it again.",
    "count_below_nothing": "{fewer} fewer were found than the book had, and only {on_hand} are left on hand: count it again.",
    "count_disputed": "{people} found different figures: decide which stands.",
    "count_found_twice": "{tag} was found in {bins}: have one of them counted again.",
    "count_went_on": "Somebody entered more while this review stood open: look at it again; nothing was posted.",
    "count_line_went_on": "Somebody entered more of this line while the review stood open: look at it again.",
    "count_asked_again": "{thing} in bin {bin} is asked for again: its sheet tells whoever counts.",
    "kept_moved": "Of this {seen} were kept for {label} when the page was opened; by now it is {kept}, and {out} are in its hand. Press again if it is still right.",
    "page_written": "This page has written something else already, see below: reload it before you write more.",
    "press_was_other": "This press was already carried out with another figure: open the kit again.",
    "broke_or_lost_unpressed": "Press “Broke” or “Lost” at this line, or empty this field.",
    "count_reasons_kept": "What you typed is kept on this page. Nothing is posted until you press “Post the count”.",
    "count_stands": "{found} of {thing} in bin {bin} stands.",
    "count_empty": "Nothing is counted yet.",
    "count_sets_batch": "Leaves {left} on hand, where the book has {on_hand}[; {short} that are held are cut short].",
    "count_receives": "Takes {quantity} in[, lot {lot}].",
    "count_cannot_take_in": "No unit carries the tag {tag}: nothing is booked; receive it, or put the tag right.",
    "count_finds_elsewhere": "Found in {bin}: nothing is lost.",
    "count_loses": "{tag} counts as lost, and every hold on it is cut short.",
    "count_leaves_retired": "{tag} is retired and stays so: take it out of the bin.",
    "count_finds_lost": "{tag} was lost and is back in {bin}.",
    "count_finds_away": "{tag} is booked back into {bin}; the book had it away ({why:word})[ with {who}].",
    "count_finds_issued": "{tag} is booked back into {bin} from {label}; holes cut with it are still to be booked.",
    "count_moves": "{tag} moves from {place} to {bin}.",
    # --- ledger
    "ledger_knows_no_unit": "{tag}: the ledger knows nothing of this unit.",
    "ledger_unit_place": "{tag}: by the ledger {ledger} in its bin, by the unit {expected}.",
    "ledger_unit_bin": "{tag}: by the ledger it was put into {ledger}, by the unit into {bin}.",
    "ledger_unit_label": "{tag}: not in one hand[; by the ledger issued to {ledger}][; by the unit issued to {label}].",
    "ledger_unit_condition": "{tag}: by the ledger it is {ledger:word}, by the unit {condition:word}.",
    "ledger_unit_holes": "{tag}: by the ledger {ledger:hole|holes} cut, by the unit {holes}.",
    "ledger_unit_wear_ahead": "{tag}: by the ledger its life used is rounded up by {ledger} hundredths of a hole, by the unit by {ahead}.",
    "ledger_unit_wear": "{tag}: by the ledger {ledger:hole|holes} of extra wear, by the unit {wear}.",
    "ledger_unit_regrinds": "{tag}: by the ledger reground {ledger:time|times}, by the unit {regrinds}.",
    "ledger_unit_diameter": (
        "{tag}: its own diameter is not what the ledger says[; by the ledger {ledger_nm}][; by the unit {diameter_nm}]."
    ),
    "ledger_unit_calibration": "{tag}: by the ledger its calibration is good until {ledger}[, by the unit until {due}].",
    "ledger_unit_gone_held": "{tag} is {condition:word}, and {label} still holds it.",
    "ledger_batch_issued": (
        "{item}[, lot {lot}] in {bin}: the holds of {label} say {holds} issued, by the ledger it has {ledger}."
    ),
    "ledger_batch_bin": "{item}[, lot {lot}] in {bin}: by the ledger it moved in {ledger}.",
    "ledger_batch_on_hand": "{item}[, lot {lot}] in {bin}: by the ledger {ledger} on hand, by the batch {on_hand}.",
    "ledger_batch_held": "{item}[, lot {lot}] in {bin}: its active holds come to {holds}, by the batch it is {held}.",
    # --- purchasing
    "currency_unknown": "“{typed}” is no currency; write three capital letters, such as EUR.",
    "offer_without_items": "An offer needs at least one item.",
    "price_break_not_cheaper": (
        "From {packs:pack|packs} on, {price_minor} a pack is dearer than {before_minor} for fewer."
    ),
    "order_without_lines": "An order needs at least one line.",
    "supplier_unknown": "There is no supplier “{typed}”.",
    "offer_not_on_sale": "{supplier} no longer sells the offer {offer}; look at the list again.",
    "order_unknown": "There is no order {number}.",
    "order_closed": "Order {number} is {state} already.",
    "ledger_agrees": "Balances and ledger agree.",
    "ledger_disagrees": "The ledger and the balances disagree in {places:place|places}.",
    # --- commands
    "database_not_made": "The database is not made yet, or not up to date; make it with: python3 manage.py migrate.",
    "told_no_further": "… and {more} more.",
    "intake_note": "Note: {why}",
    "intake_refused": "Nothing was taken in: {faults} to put right.",
    "intake_applied": "Taken in: {things}.",
    "intake_shown": "Would take in: {things}. Nothing was written; say --apply to do it.",
    # --- sheets
    "sheet_not_found": "There is no file {sheet}.",
    "sheet_not_permitted": "{sheet} cannot be opened; see to the right to read it.",
    "sheet_kind_unknown": "{sheet} is no sheet that can be read here; save it as {known}.",
    "sheet_too_large": "{sheet} is larger than {megabytes} MB; split it.",
    "sheet_not_utf8": "{sheet} cannot be read in this encoding (byte {byte}); save it as “CSV UTF-8”.",
    "sheet_encrypted": "{sheet} is protected by a password; save it without one.",
    "sheet_with_macros": "{sheet} carries macros, which are not taken in; save it as an ordinary .xlsx workbook.",
    "sheet_unpacks_too_large": "{sheet} unpacks to more than {megabytes} MB; copy the filled rows into a new workbook.",
    "sheet_too_long": "{sheet} has more than {most} rows; split it.",
    "sheet_too_wide": "{sheet} has more than {most} columns; take out those that hold nothing.",
    "worksheet_unknown": "{sheet} has no worksheet “{worksheet}”; it has {known}.",
    "pitch_differs": "{thread} and a pitch of {pitch} beside it do not agree; correct one of the two.",
    "sheet_broken": "{sheet} is no workbook that can be read; open it in a spreadsheet program and save it anew.",
    "sheet_line_broken": (
        "{sheet}, line {line}: quotation marks there do not come in pairs, or a cell is far too long; put it right."
    ),
    "sheet_empty": "{sheet} holds nothing.",
    "sheet_counts": "It holds: {things}.",
    "sheet_missing": "Choose a file first: a .csv or .xlsx sheet.",
    "sheet_at_work": "{sheet} is being worked at already; wait until that is done.",
    "sheet_taken_in": "{sheet} was taken in already; send it anew if it is to come in again.",
    "sheet_not_judged": "{sheet} has not been found good yet; put the faults right and look at it again first.",
    "sheet_judged_anew": "{sheet} was looked at anew meanwhile, with other columns perhaps: see what it would bring now.",
    "sheet_stock_moved": "The stock has changed since you looked, and nothing was taken in: this is what it would bring now.",
    "item_no_longer_bought": "{item} is no longer bought; what comes in of it is still used.",
    "cell_remade": "A spreadsheet program made a number, a date or a yes of what stood there; it is taken as {typed}.",
    "sent_sheet_unknown": "There is no sheet {id} that was sent.",
    "sent_sheet_request_key_taken": "This file was sent already.",
    "sent_sheet_state_known": "A sheet is sent, judged, applied or interrupted.",
    "database_busy": "Somebody else was writing all this time, so nothing of this was written. Wait a moment and try again.",
    "sheet_written": "Written: {sheet}.",
    "sheet_not_written": "{sheet} cannot be written; name another place, or see to the right to write there.",
    "headings_unknown": "“{typed}” are no headings; write one of: {known}.",
    "successors_in_a_circle": "What is bought in place of {item} leads back to it; take one of these out.",
    "item_mark_differs": "The mark {mark} stands for another item[ ({number})] further up; give this row one of its own.",
    "badge_of_another": "The badge {badge} is {name}'s here.",
    "stays_life_used": "A tool whose life is used up comes in as due for regrind, whatever it is here.",
    "stays_ledger": "What happened to things before: their ledger begins anew with what comes in.",
    "stays_reservations": "What is kept for jobs; reserve it anew.",
    "stays_orders": "Orders, and what was delivered.",
    "stays_counts": "Stock counts, open and posted.",
    "stays_people": "People who have nothing on loan, and everybody's login.",
    "stays_settings": "What the crib has settled for itself, and sheets that were sent.",
    "offer_of_item_without_number": "{supplier} offers {item}, which has no catalogue number; give it one first.",
    "column_unknown": "{sheet}: there is no column “{column}”[; is “{near}” meant]? Known are {known}.",
    "column_twice": "{sheet}: the column “{column}” stands there twice.",
    "column_missing": "{sheet}: the column “{column}” is missing.",
    "cell": "{sheet}, row {row}[, {column}][ “{value}”]: {why}",
    "cell_missing": "This must be filled in.",
    "cell_too_long": "This is too long; at most {longest} characters.",
    "cell_beyond_columns": "There is more in this row than there are headings.",
    "cell_word_unknown": "“{typed}” is not known here[ (is “{near}” meant?)]; write one of: {known}.",
    "cell_formula_without_value": (
        "The formula has no stored value: open the sheet in a spreadsheet program and save it, or paste values."
    ),
    "cell_error": "This cell shows an error in place of a value; put its formula right, or type the value.",
    "cell_merged": "The cells {cells} are merged, so that this one is blank; unmerge them and fill in each.",
    "life_used_up": "Its life of {life:hole|holes} is used up: taken in as due for regrind.",
    "cell_needs_another": "This goes with “{needs}”, which is not filled in.",
    "cell_tag_and_quantity": "A row is a unit with a tag or a batch with a quantity, not both.",
    "signed_count_unreadable": "“{typed}” is no whole number, such as 3 or -3.",
    "count_unreadable": "“{typed}” must be a whole number of at least {least}[ and at most {most}].",
    "lead_unreadable": "“{typed}” is no lead in threads; write for example 4 or 1.5.",
    "date_unreadable": "“{typed}” is no date; write for example 2027-03-31, or +90d for 90 days from now.",
    "item_differs": (
        "The item[ {number}] is known with another value here; put this cell right, or correct the item itself on its page, "
        "or give this one a number of its own."
    ),
    "tag_twice": "Row {row} has the same tag[ ({tag}: capitals and small letters count as one)].",
    "batch_twice": "Row {row} is the same item and lot in the same bin; add them up.",
    "batch_already_there": ("This bin already has a batch of this item[ and lot {lot}]; receive more of it there."),
    "bin_walk_differs": "The bin {bin} has the walk number {walk} elsewhere.",
    "offer_already_there": "This supplier's offer {number} is already there.",
    "supplier_terms_differ": "{supplier} has another value here elsewhere; write it once.",
    "items_unreadable": "“{typed}” is no list of items; write DR-145, or DR-145 × 2 + TP-16 × 1 for a set.",
    "item_number_unknown": "The catalogue has no item {number}[; is {near} meant]?",
    "breaks_unreadable": "“{typed}” are no price breaks; write for example 10: 4.20; 50: 3.90.",
    # --- reordering: the arithmetic, line by line
    "history_too_short": "Unknown: too little history. It was looked at for {days:day|days} and used on {uses:day|days}; at least {least_days:day|days} and {least_uses:day|days} of use are wanted (common practice, no source; the shop's to change).",
    "use_a_day": "Use a day: {pieces} ÷ {days:day|days} = {mean}, standard deviation {sd}.",
    "lead_recorded": "Lead time of {orders:order|orders}: mean {mean} days, standard deviation {sd}.",
    "lead_of_one_order": "Lead time of one order: {mean} days; how it varies is not known and counted as not at all.",
    "lead_offered": "No order of it has come yet: the lead time is the offer's, {days:day|days}; how it varies is not known and counted as not at all.",
    "lead_unknown": "Unknown: no order of it has come and nobody offers it, so that its lead time is not known.",
    "use_over_lead": "Use over the lead time: {daily} × {lead} = {mean}.",
    "sd_over_lead": "Its standard deviation: √({lead} × {daily_sd}² + {daily}² × {lead_sd}²) = {sd}.",
    "normal_point": "Order point: {mean} + {z} × {sd} = {exact}, rounded up to {point}; it lasts in {service} % of cases.",
    "poisson_point": "Order point: below {least} pieces over the lead time, so Poisson[, averaged over the lead time of {lead_times:order|orders}]: {point} last in {reached} % of cases, {less} in {before} %; {service} % are wanted.",
    "use_in_lumps": "It goes in lumps (standard deviation {sd} a day), which Poisson, piece by piece, does not see: {poisson} would be too few, the normal distribution asks for {point}.",
    "safety_stock": "Minimum, what is there to be safe: {point} − {mean}, rounded up to {least}.",
    "cheapest_lot": "How many at once: {a_year} a year, {order_minor} an order, {rate} % a year of its price to keep it, {each_minor} each: {pieces} in {packs:pack|packs} cost least ({cost_minor} a year, goods and all).",
    "lot_not_known": "How many at once: nobody offers it alone, so {pieces} at a time.",
    "maximum_sum": "Maximum: {point} + {pieces} = {maximum}.",
    "lot_within_a_year": "That would make a maximum of {maximum}, more than the {use} that are used in {days:day|days}: {pieces} at once instead, {each_minor} each.",
    "lot_within_shelf_life": "That would make a maximum of {maximum}, more than the {use} that are used in the {days:day|days} for which it keeps after delivery (the shortest lot so far): {pieces} at once instead, {each_minor} each.",
    "maximum_over_a_year": "Mind: order point and one pack are more than a year's use; {maximum} last for {lasts:day|days}, and less is not sold at once. Whether it is worth keeping is yours to say.",
    "maximum_over_shelf_life": "Mind: {maximum} last for {lasts:day|days}, and it keeps for {days:day|days} after delivery (the shortest lot so far); less is not sold at once. Some of it will be past its day.",
    "shelf_life_unknown": "Not checked: no lot of it tells its last good day, so for how long it keeps is not known.",
    # --- order points, deliveries, what the crib has settled
    "order_point_whole": "Minimum, order point and maximum are given together, or none of them.",
    "order_point_minimum_not_negative": "A minimum is nought or more.",
    "order_point_not_under_minimum": "The order point must not be below the minimum.",
    "order_point_within_maximum": "The maximum must not be below the order point.",
    "order_point_by_somebody": "Somebody must have set it.",
    "order_point_says_why": "Say why it is set so.",
    "order_point_request_key_taken": "This was set already.",
    "order_point_moved": "What is proposed has changed since the page was shown; look at it once more.",
    "order_point_proposed": "As proposed.",
    "at_order_point": "{position} free and on order ({free} free, {on_order} on order), the order point is {point}: {wanted} bring it up to {maximum}.",
    "crib_setting_by_somebody": "Somebody must have set it.",
    "crib_setting_says_why": "Say why it is set so.",
    "crib_setting_unknown": "There is no setting “{code}”.",
    "crib_setting_unreadable": "“{typed}” will not do: a number from {least} to {most}[ with at most {digits:decimal|decimals}] is wanted.",
    "crib_setting_crosses": "{low:word} would be {low_days} and more than {high_days}.",
    "inventory_orderpoint_append_only": "What was set stays told: set it anew.",
    "inventory_cribsetting_append_only": "What was settled stays told: settle it anew.",
    "inventory_delivery_append_only": "A delivery stays as it was taken in: the ledger puts right what was wrong.",
    "inventory_deliveryline_append_only": "A delivery stays as it was taken in: the ledger puts right what was wrong.",
    "delivery_request_key_taken": "This delivery was booked already.",
    "delivery_by_somebody": "Somebody must have taken it in.",
    "delivery_line_twice": "A line of an order comes once a delivery.",
    "delivery_line_pieces_positive": "At least one piece comes.",
    "nothing_came": "Nothing is entered that came; enter how many, or say that nothing more will come.",
    "order_line_unknown": "Order {number} has no such line.",
    "tag_too_long": "The tag {tag} is {length} characters long; write at most {longest}.",
    "tag_typed_twice": "{tag} stands there twice; each tool needs a tag of its own.",
    # --- what needs attention, and its dates
    "no_day_agreed": "No day was agreed for its return.",
    "is_away": "It is {why:word}.",
    "lie_there": "{pieces:piece lies|pieces lie} there.",
    "cut_so_many": "{holes:hole|holes} cut.",
    "lies_unused": "{pieces:piece|pieces}, none taken for {days:day|days}[; worth {worth_minor} at today's price].",
    "never_used": "{pieces:piece|pieces}, none ever taken[; worth {worth_minor} at today's price].",
    "stands_unused": "Neither issued, lent nor used for {days:day|days}[; worth {worth_minor} at today's price].",
    "stands_never_used": "Never issued, lent or used[; worth {worth_minor} at today's price].",
    "worth_in_all": "Worth {worth_minor} at today's prices: {priced} of {things} have one.",
    "calendar_name": "Dates of the crib.",
    "calendar_calibration": "Calibration over after this day: {what}[ ({where})][, with {who}].",
    "calendar_expiry": "Last good day: {what}[ ({where})].",
    "calendar_away": "Due back: {what}[, from {who}].",
    "calendar_order": "Order due: {what}[, {where}].",
    "calendar_more": "{count:more date|more dates} of this sort ({sort:word}) than the {most} that a calendar gets; the crib's page has all.",
    "calendar_address_taken": "This address is taken.",
    "calendar_address_one_each": "Somebody has one address at a time.",
}


def show_moment(moment: datetime) -> str:
    """A moment in the shop's zone, to the minute; where the day begins with it, the day alone."""
    local = moment.astimezone(settings.SHOP_ZONE)
    return local.strftime("%Y-%m-%d") if _begins(local.date()) == moment else local.strftime("%Y-%m-%d %H:%M")


def show_end(moment: datetime) -> str:
    """The end of a half-open window: where it falls between two days, the last day, which is still taken in."""
    local = moment.astimezone(settings.SHOP_ZONE)
    return (local.date() - timedelta(days=1)).isoformat() if _begins(local.date()) == moment else show_moment(moment)


def _begins(day: date) -> datetime:
    # By way of UTC: where clocks go forward at midnight the day begins an hour later.
    return datetime.combine(day, time.min, settings.SHOP_ZONE).astimezone(UTC)


class _Words(string.Formatter):
    """Fills a sentence; how a value is shown follows from its name."""

    def __init__(
        self, reason: Reason, units: str, sentences: Mapping[str, str], words: Mapping[str, str] = WORDS
    ) -> None:
        self.reason, self.units, self.sentences, self.words = reason, units, sentences, words

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
            return say(value, self.units, self.sentences, self.words)
        if format_spec == "angles" and isinstance(angles := self.reason.data.get("angles"), tuple):
            return ", ".join(f"{each} ({angle})" for each, angle in zip(value, angles, strict=False))
        if isinstance(value, Mapping):
            counts = [f"{number} {ONE[word] if number == 1 else word}" for word, number in value.items() if number]
            return ", ".join(counts) or "nothing new"
        if isinstance(value, tuple | list):
            return ", ".join(self.shown(name, part, format_spec) for part in value)
        if isinstance(value, datetime):
            return show_end(value) if name in ("end", "ended") else show_moment(value)
        if isinstance(value, date):
            return value.isoformat()
        if format_spec == "word":
            if name in ("kind", "wanted") and value in KINDS:
                return KINDS[value].word
            return self.words.get(value) or WORDS.get(value, str(value).replace("_", " "))
        if name.endswith("_nm"):
            return show_length(value, self.units, _ROUNDINGS.get(format_spec, "nearest"))
        if name.endswith("_nmm"):
            return show_torque(value, self.units)
        if name.endswith("_newton"):
            return show_force(value, self.units)
        if name.endswith("_mpa"):
            return show_stress(value, self.units)
        if name.endswith("_minor"):
            return show_money(value, self.reason.data.get("currency", "EUR"))
        return str(value)


def say(
    reason: Reason,
    units: str = "mm",
    sentences: Mapping[str, str] = SENTENCES,
    words: Mapping[str, str] = WORDS,
) -> str:
    """The sentence for a reason, lengths with millimetres first, or inches first with `units` "in".

    `sentences` and `words` may be another app's; what they lack is looked up here. A code without any sentence is
    shown as it is, with its data: ugly, but never silent.

    >>> say(Reason("money_too_fine", typed="1.234", currency="EUR", digits=2))
    '“1.234” is finer than EUR is paid in (2 decimals).'
    """
    sentence = sentences.get(reason.code) or SENTENCES.get(reason.code)
    if sentence is None:
        data = ", ".join(f"{key} {value}" for key, value in reason.data.items())
        return f"{reason.code.replace('_', ' ')}: {data}" if data else reason.code.replace("_", " ")
    return _Words(reason, units, sentences, words).format(_OPTIONAL.sub(_kept(reason), sentence))


def clause(reason: Reason, units: str = "mm", sentences: Mapping[str, str] = SENTENCES) -> str:
    """The sentence for a reason as a part of another, between brackets or after a semicolon: no capital, no full stop.

    A sentence that begins with a value keeps it as it is.

    >>> clause(Reason("item_named"), sentences={"item_named": "It has no name yet."})
    'it has no name yet'
    >>> clause(Reason("tag_free", tag="T-14"), sentences={"tag_free": "{tag} is free."})
    'T-14 is free'
    """
    sentence = sentences.get(reason.code) or SENTENCES.get(reason.code, "")
    told = say(reason, units, sentences).removesuffix(".")
    return told[:1].lower() + told[1:] if sentence[:1].isalpha() else told


def _kept(reason: Reason) -> Callable[[re.Match[str]], str]:
    """What is kept of a part in brackets: all of it where each value it names is there, else nothing."""

    def keep(part: re.Match[str]) -> str:
        names = re.findall(r"{(\w+)", part[1])
        return part[1] if all(reason.data.get(name) not in (None, "", (), 0) for name in names) else ""

    return keep
