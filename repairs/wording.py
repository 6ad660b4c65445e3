"""The sentences of repairs: what a need, a step, a size and a reason are called on pages, cards and in commands."""

from __future__ import annotations

from collections.abc import Iterable

from inventory import wording as shelf
from inventory.errors import Reason
from inventory.kinds import KINDS
from inventory.naming import named
from inventory.quantities import show_length, show_torque
from inventory.threads import Thread
from repairs.buying import Choice
from repairs.matching import Line, Take
from repairs.methods.values import Need, Size

WORDS = {
    "wire_insert": "wire insert",
    "flanged_bush": "flanged bush",
    "plain_bush": "plain bush",
    "keyed_bush": "keyed bush",
    "chase": "chase with a tap",
    "oversize_bolt": "next oversize bolt or stud",
    "oversize_insert": "oversize insert",
    "plug_or_weld": "plug or weld, and re-tap",
    "scrap_part": "scrap the part",
    "signs": "an engineer signs",
    "holds": "holds",
    "weakest": "the weakest of its kind",
    "signed": "signed for by name",
    "solid_bush": "solid bush",
    "none": "none",
    "not_checked": "not checked",
    "ruled_out": "ruled out",
    "edge_comfortable": "metal to the edge, comfortable",
    "edge_least_pitches": "axis to the edge, least",
    "floor_least": "floor left under the drill",
    "clearance_pitches": "clearance below the tap",
    "bite_least": "fresh thread in a hole repaired before, least",
    "wall_least": "wall of a bush, least",
    "engagement_soft": "engagement in soft metal",
    "engagement_hard": "engagement in hard metal",
    "drill_oversize": "what a drill cuts oversize",
    "pilot_clearance": "a pilot under its drill",
    "cutter_tolerance": "tolerance of a seat cutter",
    "stop_clearance": "a stop collar over its bolt",
    "countersink_widest": "widest countersink",
    "scrap": "spare inserts",
    "torque_over": "reserve over the torque",
    "threads_least": "threads that hold, least",
    "thread_ends_lost": "ends of a thread that carry nothing",
    "bolt_over": "strength of the bolt counted",
    "nut_factor_least": "torque factor K, least",
    "nut_factor_most": "torque factor K, most",
    "friction_least": "friction, least",
    "friction_most": "friction, most",
    "doubt_length": "doubt of a length",
    "doubt_edge": "doubt of the edge",
    "doubt_torque": "doubt of the torque",
    "doubt_metal": "doubt of the metal's strength",
    "method_order": "order of methods",
    "spindle_steps": "speeds of the spindle",
    "parent": "parent metal",
    "unplanned": "no method",
    "no_lot": "no lot",
    "through": "through hole",
    "blind": "blind hole",
    "gauge_passed": "gauge passed",
    "torque_reached": "torque reached",
    "insert_still": "insert did not turn",
    "grounds": "why these numbers",
    "judged": "judged",
    "assumed": "as answered",
    "second": "second signature",
}

SENTENCES: dict[str, str] = {
    "maker_governs": "This part is critical for {safety:word}: the maker's repair instructions and local codes govern, and a licensed or authorised person signs. This plan does not say that the part is safe.",
    "family_edition_once": "Family {family} is already loaded in edition {edition}; an edition never changes, so give the change a new one.",
    "family_size_once": "This family has this size already.",
    "family_size_length_positive": "An insert's length must be more than zero.",
    "family_size_drill_window": "The top of a drill window must not be below its bottom.",
    "position_once": "This part already has a position of this name.",
    "kit_filled_within_asked": "No more lines are filled than are asked for.",
    "repairs_kit_append_only": "How whole a kit was stays told.",
    "job_number_taken": "There is already a job [{number} ]of this number.",
    "job_number_no_address": "“{number}” cannot be a job's number, since its page could not be opened by it; write for example {other}.",
    "job_ends_after_start": "A job must end after it starts.",
    "hole_group_once": "This job already has a hole group of this letter.",
    "hole_group_ends_after_start": "A group's window must end after it starts.",
    "hole_once": "This group already has this position.",
    "card_asked_once": "This press has printed its card already.",
    "card_number_once": "This job already has a card of this number.",
    "proof_once": "What was measured at this hole was entered by this very press already; look at the page again.",
    "proof_failed_says_what": "A proof that failed says what failed: the insert or the parent metal.",
    "proof_signed_says_why": "Whoever signs for a hole that is not proved says why.",
    "step_sign_once": "This step was signed by this very press already; look at the page again.",
    "step_sign_by_somebody": "A signature is somebody's: log in under your own name.",
    "repairs_stepsign_append_only": "Signatures are only ever added to: take one back by a new line.",
    "proof_missing": "{thing:word}: not entered.",
    "proof_yes": "{thing:word}: yes.",
    "proof_no": "{thing:word}: no.",
    "proof_within": "{thing:word} {measured_nm}: within {least_nm:up} to {most_nm:down}.",
    "proof_outside": "{thing:word} {measured_nm}: outside {least_nm:up} to {most_nm:down}.",
    "proof_torque_reached": "{reached_nmm} reached; {asked_nmm} is asked for.",
    "proof_torque_short": "Only {reached_nmm} reached; {asked_nmm} is asked for.",
    "proof_unjudged": "{thing:word} {reached_nmm}: not checked, since the plan gives nothing to judge it by; a foreman signs.",
    "torque_slip": "{reached_nmm} is more than twice the {asked_nmm} that is asked for; is the unit right?",
    "measured_unread": "{count:answer|answers} to put right; nothing of this group is entered yet.",
    "failed_not_told": "This did not pass: {things:word}. Say what failed, the insert or the parent metal.",
    "hole_unknown": "Group {group} has no hole {label}.",
    "holes_not_chosen": "No hole of group {group} is ticked; tick those that this is for.",
    "step_not_planned": "{step:word} is no step of what is planned for group {group}; load the page again.",
    "step_not_signed": "{step:word} is not signed at these holes of group {group}, so there is nothing to take back.",
    "why_missing": "Say why the hole may go without its proof; whoever reads it later has nothing else.",
    "no_hole_waits": "Every ticked hole of group {group} is proved or signed for already.",
    "second_not_wanted": "No hole of group {group} waits for a second signature: it is for holes of a critical part that are proved or signed for.",
    "second_is_the_first": "{by} entered the proof of {labels}; the second signature is another person's.",
    "hole_not_measured": "Hole {label} of group {group}: nothing is entered.",
    "hole_not_proved": "Hole {label} of group {group}: not all that the method asks for is entered and judged; last {by}, {at}.",
    "hole_failed": "Hole {label} of group {group}: failed ({failed:word}), {by}, {at}; repair it and measure anew, or a foreman signs for it.",
    "hole_proved_otherwise": "Hole {label} of group {group}: proved as {method:word}[ in {thread}][ x {length_nm}], and accepted is {accepted:word}[ in {outer}][ x {accepted_nm}]; measure it anew, or accept what was done.",
    "hole_wants_a_second": "Hole {label} of group {group}: critical for {safety:word}, so another person than {by} signs too.",
    "job_waits_for_holes": "Job {number} cannot be handed over: {count:hole waits|holes wait}.",
    "job_without_holes": "Job {number} has no holes, so there is nothing to hand over.",
    "started_from_proof": "Job {job} ({by}, {at}) left {left:word}[ in {thread}] in {labels}: {result:word}[, {failed:word} failed]. The answers here start from that.",
    "answer_unlike_proof": "Job {job} ({by}, {at}) left {left:word}[ in {thread}] in {labels}: {result:word}[, {failed:word} failed]. Something else is written here, and what is written here counts.",
    "proof_tells_no_before": "Job {job} ({by}, {at}) did this in {labels}: {method:word}, {result:word}[, {failed:word} failed]. Answer “before” with that in mind.",
    "proofs_differ": "Earlier jobs did not leave these holes alike (there are proofs of {labels}); answer “before” for all of them, or make a group of each sort.",
    "repairs_proof_append_only": "Proofs are only ever added to: write another that puts it right.",
    "repairs_card_append_only": "A printed card is never changed: print another.",
    "repairs_family_append_only": "A family's edition never changes: load a new edition.",
    "repairs_familysize_append_only": "A family's edition never changes: load a new edition.",
    "repairs_shoplimit_append_only": "A limit keeps its history: set it anew.",
    "job_file_wrong": "The job cannot be read: {problems}.",
    "window_backwards": "The last day, {ends}, is before the first, {starts}.",
    "window_without_start": "A last day, {ends}, needs a first day beside it.",
    "date_absurd": "“{typed}” is no day that a job can be on; write one from {first} to {last}.",
    "position_too_long": "“{label}” is too long for the name of a hole; at most {longest} characters.",
    "position_twice": "Each position of a part is named once; {labels} stands there more than once.",
    "depth_not_answered": "A blind hole has a depth at full diameter; write it, or unknown.",
    "floor_of_a_through_hole": "A through hole has no floor, and {floor_nm} is entered; leave it out, or say blind at “hole”.",
    "weakest_of_nothing": "The table has no strength[ for {material:word}] to take the weakest of; enter a metal that it has, or a strength.",
    "alloy_of_another_metal": "{alloy} is not {material:word}; put one of the two right.",
    "shear_over_tensile": "No metal shears at more than twice its tensile strength; look at both figures.",
    "hole_group_overruled_by_somebody": "Whoever answers for it gives a name and a reason.",
    "overrule_needs_a_reason": "This is signed for: give the name of who answers for it, and why.",
    "not_to_be_overruled": "Nobody can sign that away: {why}",
    "no_insert_to_fail": "Nothing was done to this hole before, so no insert can have failed; write parent or unknown, or say at “before” what stood here.",
    "thread_of_an_insert_hole": "{thread} is the thread of a wire insert's hole, and no bolt has it; write the bolt's, {bolt}.",
    "before_thread_taken": "“{typed}” is the bolt's thread; a wire insert for {bolt} stands in its insert-hole thread, so {thread} is taken to stand in the metal.",
    "before_thread_of_nothing": "Nothing was done to this hole before, so {bolt} stands in it, not {thread}; leave this out, or say at “before” what was done.",
    "before_thread_not_insert_hole": "A wire insert for {bolt} stands in {wanted}, not in {thread}; write {wanted} or leave this out.",
    "before_thread_holds_no_bush": "{thread} is no larger than {bolt}, so no {before:word} for {bolt} can stand in it; write the thread that the bush stands in.",
    "before_thread_under_bolt": "{thread} is smaller than the bolt, {bolt}; write the thread that stands in the metal now.",
    "major_under_minor": "That is under the minor diameter of {thread}, {minor_nm}, which stands there; measure the major diameter, at the bottom of the thread.",
    "edge_inside_hole": "{edge_nm} to the edge is within the hole itself, {across_nm} across; measure from the hole's axis.",
    "value_expected": "One value is expected here, not a table or a list; write it as text or as a number.",
    "job_file_empty": "There is nothing in it; a job file has the keys {known}.",
    "file_not_found": "There is no file {file}.",
    "file_is_a_folder": "{file} is a folder; name a file in it.",
    "file_not_permitted": "{file} may not be read by this user; ask for leave to read it.",
    "file_not_utf8": "{file} is no text in UTF-8 (byte {byte}); save it as UTF-8.",
    "file_unreadable": "{file} cannot be read.",
    "plan_of_one_thing": "Give one of: a thread, --file FILE, --job NUMBER.",
    "not_planned": "This could not be planned; put right what is named here.",
    "site_taken": "No site was named: planned at {site}, where most units stand, and not at {others}; --site names another.",
    "no_method_stands": "No method stands for these holes; why not is told below, method by method.",
    "plan_complete": "Complete: {match} match, {gap} gap, {doubtful} doubtful[, and {not_checked} not checked].",
    "plan_not_complete": "Not complete: [{unplanned} without a method, ]{match} match, {gap} gap, {doubtful} doubtful[, and {not_checked} not checked].",
    "nothing_to_buy": "Nothing is missing that could be bought.",
    "stock_bought": "{item} stands at its order point: {packs} × {offer} from {supplier} for {pieces} more, {total_minor} with carriage, there on {arrives} if ordered today.",
    "stock_not_on_offer": "{item} stands at its order point: {pieces} more are wanted, and nobody offers it alone.",
    "no_family_named": "Name at least one family file, or --published.",
    "family_not_loaded": "{file}: nothing was loaded.[ {cause}]",
    "demo_is_embedded": "The demo runs on the embedded database; unset THREADCRIB_DATABASE_URL first.",
    "demo_leaves_alone": "{database} is no demo database, and the demo leaves it alone; name another folder in THREADCRIB_DATA for the demo.",
    "demo_port_taken": "Port {port} of this machine is taken or not to be had; name another, such as --port {other}.",
    "demo_loading": "Loading the demo workshop.",
    "demo_ready": '{jobs:job|jobs}, ready in {seconds} s. More of one job: python3 manage.py plan --job NUMBER; of any hole: python3 manage.py plan "M14 x 1,5".',
    "demo_written_to": "Somebody is writing to the demo's database; stop him first.",
    "demo_served": "The site: {address} (stop with Ctrl-C).",
    "demo_login": "Log in as {login} ({name}), password {password}.",
    "holes_missing": "Say how many like holes there are, or which positions.",
    "holes_and_positions": "{holes:hole|holes} and {positions:position|positions} do not agree; leave one of the two out.",
    "table_expected": "Here a table of keys and values is expected.",
    "key_unknown": "There is no key “{key}”; the keys are {known}.",
    "groups_too_many": "There are {groups:hole group|hole groups} here; a job takes {most} at most, so make several jobs of it.",
    "booked_by_reserving": "A job is reserved after its plan was looked at, not while it is saved; leave this out.",
    "rows_missing": "There is no table “{key}” here; at least one is needed.",
    "toml_unreadable": 'This is no job file, which is TOML (key = "value"), as far as it can be read[; look at line {line}, column {column}].',
    "job_already_booked": "Job {number} is booked already, by {by} on {at}; release its reservation first.",
    "released_since": "What this page had reserved for job {number} was released since, by {by}; look at the job as it is now and reserve it anew.",
    "job_number_unknown": "There is no job “{number}”.",
    "card_without_method": "No card can be printed for job {number}, since no method stands for any of its holes.",
    "card_unknown": "Job {job} has no card {number}.",
    "card_printed": "Card {number} of job {job}: {file}.",
    "card_not_written": "Card {number} of job {job} is printed, but {file} cannot be written; take it from the job's page.",
    "card_days_changed": "The days are now {start} to {end}.",
    "card_site_changed": "The work is now at {now}, not at {was}.",
    "card_of_older_form": "It was printed before a card said all that one says now: print another.",
    "card_group_gone": "Hole group {group} is no longer part of the job.",
    "card_group_new": "Hole group {group} is not on the card.",
    "card_holes_changed": "Group {group} is now {holes} × {thread}[, {positions}].",
    "card_answers_changed": "Group {group} was answered otherwise since ({what:word}).",
    "card_method_changed": "Group {group}: printed is {was_method:word}[ {was_thread} x {was_length_nm}]; planned is now {now_method:word}[ {now_thread} x {now_length_nm}].",
    "card_step_gone": "Group {group}: the step “{step:word}” is no longer done.",
    "card_step_new": "Group {group}: the step “{step:word}” is not on the card.",
    "card_told_changed": "Group {group}, {step:word}: {why} Printed is: {cause}",
    "card_told_gone": "Group {group}, {step:word}: this no longer holds: {cause}",
    "card_told_new": "Group {group}, {step:word}: this is not on the card: {why}",
    "card_need_changed": "Group {group}: the {kind:word} is asked for otherwise now ({what:word}).",
    "card_decision_changed": "Group {group}: what was accepted or overruled has changed.",
    "card_gap_met": "The {kind:word} that the card says is missing ({need}) is there now[: {tags}].",
    "card_unit_gone": "{tag} ({kind:word}) is gone from the shelf; printed is bin {bin}.",
    "card_unit_unfit": "{tag} ({kind:word}) no longer serves: {why}",
    "card_unit_doubtful": "{tag} ({kind:word}) now serves only if somebody signs: {why}",
    "card_unit_measured": "{tag} ({kind:word}) measures {now_nm} now[; printed is {was_nm}].",
    "card_unit_moved": "{tag} ({kind:word}) stands in bin {now} now, not in {was}.",
    "at_steps": "At {steps}: {why}",
    "overruled": "Overruled, and answered for[ by {answers}][: {given}].",
    "job_not_booked": "Job {number} has nothing reserved, so there is nothing to release.",
    "job_not_open": "Job {number} is {state:word}: nothing is planned, reserved or bought for it any more.",
    "group_unknown": "Job {number} has no hole group {group}.",
    "method_unknown": "There is no repair method “{method}”.",
    "size_unknown": "There is no size {size} of the {method:word} for this hole; load the job again and choose from there.",
    "accepted_no_longer_stands": "The accepted {method:word} in {outer} x {length_nm}[ ({family})] no longer stands for this hole; accept another.",
    "window_over": "The window of hole group {group} ended on {ended}; give the job new days.",
    "plan_moved": "Job {number} was not reserved, since {count:line|lines} changed after the plan was shown; look at it again.",
    "line_moved": "{need}[ ({kind:word})]: was {was:word}[, {was_tags}]; now {now:word}[, {now_tags}].",
    "shown_unreadable": "What was sent as the plan that was shown cannot be read; load the job again and book from there.",
    "position_not_to_be_repaired": "Position {label} of {part} may not be repaired: too little metal remains there.",
    "limit_unknown": "There is no limit “{code}”; the limits are {known}.",
    "places_unclear": "Give each method a place of its own, from 1 to {most}.",
    "spindle_unreadable": "“{typed}” cannot be read as spindle speeds; write whole rpm with spaces between, such as 110 180 280 450 710, or nothing for a spindle that runs at any.",
    "limit_out_of_bounds": "“{typed}” is out of all reason here; write a number from {least} to {most}.",
    "limit_crosses": "With “{typed}” the least would be more than the most; the other end is {other}, so set that one first.",
    "limit_unreadable": "“{typed}” cannot be read for {code:word}; it is given in {wanted}.",
    "in_window": "{diameter_nm} lies at {position} % of the window {least_nm:up} to {most_nm:down}[ and leaves {percent} % of thread on the {basis} basis].",
    "diameter_under": "{diameter_nm} is {by_nm} under the window {least_nm:up} to {most_nm:down}.",
    "diameter_over": "{diameter_nm} is {by_nm} over the window {least_nm:up} to {most_nm:down}.",
    "top_of_window": "{diameter_nm} is only {by_nm} below the top of the window {least_nm:up} to {most_nm:down}, and drills cut oversize[; {percent} % of thread on the {basis} basis].",
    "look_alike": "Look-alike: {tag} in bin {bin} is {thread} and starts like {wanted}, but never holds for it[; a quarter pitch out after {turns} turns].",
    "other_thread": "It is {thread}, wanted is {wanted}.",
    "wrong_hand": "Wrong hand: it is {thread}, wanted is {wanted}.",
    "wrong_inner": "Inside it is {inner}, wanted is {wanted}.",
    "wrong_class": "It is class {thread_class}; what serves is {wanted}.",
    "other_kind": "It is a {kind:word}, wanted is a {wanted:word}.",
    "measurement_missing": "Cannot be matched: no {measurement:word} is entered for it.",
    "too_short": "Too short by {by_nm}: it reaches {usable_nm} and {needed_nm} is needed.",
    "wrong_length": "It is {length_nm} long, wanted is {wanted_nm}.",
    "wrong_edition": "It is of the edition {family}, wanted is {wanted}.",
    "wrong_family": "It is of the family {family}, wanted is {wanted}.",
    "other_name": "It is {name}, wanted is {wanted}.",
    "fixture_hand": "It is for the other hand ({hand}; wanted is {wanted}).",
    "torque_range": "It goes from {least_nmm} to {most_nmm}; {needed_nmm} is needed.",
    "lead_too_long": "Its lead of {lead} threads is too long for this hole, which takes {most} at most.",
    "lead_added": "With its own lead of {lead} threads: {used_nm} + {lead_nm} = {needed_nm} of the {depth_nm} that the hole has.",
    "lead_only_just": "Its lead of {lead} threads only just goes in; by the published count the hole takes {most}.",
    "flute_needs_through": "A spiral point pushes chips ahead and needs a through hole.",
    "wrong_flute": "Its flute is {flute}; what serves is {wanted}.",
    "forming_tap": "It is a forming tap, and this hole is drilled for a cutting one.",
    "cutting_tap": "It is a cutting tap, and this hole is drilled for a forming one.",
    "other_site": "It stands at {site}; the work is at {wanted}.",
    "due_regrind": "It is due for regrind.",
    "gone": "It is {condition:word}.",
    "away": "Away {why:word} until {until}.",
    "away_late": "Away {why:word}; it was to be back by the end of {due}, and is not.",
    "away_open": "Away {why:word}; nobody has entered until when.",
    "back_in_time": "Away {why:word} until {until}: back in time.",
    "held": "Held for {label} from {start} to {end}.",
    "held_open": "Held for {label}, without an end.",
    "held_until": "Held for {label} until {end}.",
    "out_of_calibration": "Its calibration is good until {due}, and it is needed until {needed_until}.",
    "calibration_missing": "No calibration is on record for it, so somebody must sign for it.",
    "expiry_missing": "No expiry date is entered for it.",
    "expired": "It expires on {expires}, and it is needed until {needed_until}.",
    "life_short": "Only {left:hole|holes} of life left for {needed}[; in {material:word} a hole takes {percent} % of one].",
    "kept_lost_gap": "[{pieces} of ]{name} ({kind:word}) that was kept is gone, and nothing takes its place: a gap.",
    "kept_lost_others": "[{pieces} of ]{name} ({kind:word}) that was kept is gone; {others} would do but is not kept: release and reserve anew.",
    "kept_lost_enough": "[{pieces} of ]{name} ({kind:word}) that was kept is gone; what is still kept is enough.",
    "kept_unfit_gap": "{name} ({kind:word}) is kept and no longer serves, and nothing takes its place, a gap: {why}",
    "kept_unfit_others": "{name} ({kind:word}) is kept and no longer serves; {others} would do but is not kept, release and reserve anew: {why}",
    "kept_unfit_enough": "{name} ({kind:word}) is kept and no longer serves; what is kept besides is enough: {why}",
    "quantity_short": "Only {available} free of {on_hand} on hand; {needed} needed.",
    "quantity_held": "Only {available} free of {on_hand} on hand, {needed} needed; the rest is held for {labels}.",
    "none_owned": "None owned: there is no {kind:word}[ for {thread}] on the shelf that comes near.",
    "none_fits": "{count} on the shelf, none fits.",
    "none_at_hand": "{count:would do, but is not at hand|would do, but none is at hand}[; {tag} is away {why:word}][ until {until}][; at {sites}: {tags}][; held for {labels}].",
    "cure_missing": "No cure time is entered for it, so nobody can say whether it cures by {end}.",
    "cure_too_long": "It takes {cure_hours:hour|hours} to cure, and the window until {end} has {window_hours}: no time is left for the work before it.",
    "cure_in_time": "It takes {cure_hours:hour|hours} to cure: put it on by {latest}.",
    "all_held": "{count:would do, and is|would do, and all are} held for {labels}; free for long enough from {first_free} on.",
    "all_held_open": "{count:would do, and is|would do, and all are} held for {labels}.",
    "life_short_in_all": "Only {left:hole|holes} of life left in all ({count} on the shelf) for {needed}[; this job already takes {taken}][; counted by the factor for {material:word}].",
    "life_short_in_each": "At most {left:hole|holes} of life left in one of {count}, and one alone must do {needed}[; this job already takes {taken}][; counted by the factor for {material:word}].",
    "quantity_short_in_all": "Only {available} free in all for {needed}[; this job already takes {taken}].",
    "no_pilot_goes_with_it": "{count} would do, but no seat cutter's pilot goes with them.",
    "drills_differ": "No drills of one diameter have the life for it: {left} of {needed}.",
    "pilot_fits": "Its pilot of {pilot_nm} runs {under_nm} under the drill.",
    "pilot_not_under_drill": "Its pilot of {pilot_nm} does not run just under the drill of {drill_nm} ({least_nm:up} to {most_nm:down} would).",
    "pilot_not_under_window": "Its pilot of {pilot_nm} runs under no drill of the window {least_nm:up} to {most_nm:down}.",
    "pilot_unjudged": "Its pilot of {pilot_nm} cannot be judged until there is a drill.",
    "pilot_without_drill": "Its pilot of {pilot_nm} cannot be judged, since the drill it runs under is not known.",
    "no_size_for_bolt": "No family has one for {bolt}.",
    "load_a_family": "Load a family that has one: load_family.",
    "no_larger_bolt": "No table has a larger thread of the same system than {bolt}.",
    "another_bolt": "The owner gets another bolt, {bolt} for {was}, and the hole in the other part is opened for it: he agrees, and an engineer signs.",
    "filled_by_a_qualified_hand": "A weld may soften or crack[ {material:word}], and a plug holds no more than its own thread: it is made by a qualified hand, and an engineer signs (common practice, no source).",
    "filler_strength_missing": "How strong the metal is that the hole is filled with is not entered, so the thread in it is not checked.",
    "new_part_not_looked_at": "The part is replaced; the new one is not looked at here.",
    "chase_in_an_insert": "The bolt's thread stands in a {before:word}: that is replaced, not chased.",
    "chase_only_burred": "Only a thread that is burred or dirty is chased; what is wrong with this one is: {damage:word}.",
    "tell_the_damage": "Say that it is burred, if it is.",
    "before_unknown_to_chase": "What was done to this hole before is not known, so nobody can say what thread is chased.",
    "flanks_left_unknown": "Whether enough of {outer} is left is not entered; its gauge says so.",
    "thread_kept": "The thread in the metal is kept, {length_nm} of it is counted on.",
    "depth_not_known": "The hole's depth is not entered.",
    "cracked": "The casting is cracked: it is replaced, not repaired (TM 5-3895-372-34).",
    "replace_the_part": "Replace the part.",
    "start_in_the_old_thread": "Start by hand in the thread that is there, and turn back as soon as it cuts a new one.",
    "open_up_to_sound_metal": "Open the hole up to sound metal, by the drawing of plug or weld.",
    "fill_with_metal": "Fill it: a threaded plug of the parent's metal, locked, or a weld with the filler that its procedure names.",
    "weld_by_its_procedure": "A qualified welder welds, by a procedure for this alloy and its heat treatment; local codes govern.",
    "magnesium_welding": "Magnesium burns when it is welded wrongly: only who is qualified for it, with the metal-fire powder at hand.",
    "dress_flush": "Dress the face flush, and find the axis anew.",
    "mark_it_unfit": "Mark the part so that nobody fits it.",
    "bolt_engages_metal": "The bolt must engage the thread in the metal from {from_nm} to {to_nm} below the surface.",
    "torque_bare": "Prove to {torque_nmm}.",
    "step_up": "Step up to {outer}[ ({family})].",
    "stepped_up": "{refused} is passed over: in what stands there now ({now}) it finds {bite} % fresh thread ({bite_basic} % on basic sizes, {basis}), and {least} % is the least[ ({source})]; {outer} finds its own.",
    "no_larger_size": "There is none larger than {outer} that would do.",
    "shorter_fits": "{longest_nm} long fits.",
    "none_short_enough": "The shortest there is, {shortest_nm}, is too long.",
    "longer_fits": "{longest_nm} long fits too.",
    "engineer_signs": "An engineer signs for it.",
    "depth_fits": "Depth: [{seat_nm} seat + ][{set_down_nm} set-down + ][{insert_nm} insert + ][{thread_nm} thread + ]{clearance_nm} clearance + {lead_bottoming_nm} lead of a bottoming tap[ (the setting tool needs {nose_nm})] = {needed_bottoming_nm}; a plug tap with {lead_plug_nm} lead[ and {point_nm} point] needs {needed_plug_nm}; the hole has {depth_nm} ({source})[; it lies within {within_nm} of what a tap needs, which is the doubt of what was measured].",
    "depth_fits_deepened": "Depth: drill {by_nm} deeper, the floor allows {deeper_nm:down}: [{seat_nm} seat + ][{set_down_nm} set-down + ][{insert_nm} insert + ][{thread_nm} thread + ]{clearance_nm} clearance + {lead_bottoming_nm} lead of a bottoming tap[ (the setting tool needs {nose_nm})] = {needed_bottoming_nm}; a plug tap with {lead_plug_nm} lead[ and {point_nm} point] needs {needed_plug_nm}; the hole has {depth_nm} ({source})[; it lies within {within_nm} of what a tap needs, which is the doubt of what was measured].",
    "depth_bottoming_only": "Depth: a bottoming tap is needed: [{seat_nm} seat + ][{set_down_nm} set-down + ][{insert_nm} insert + ][{thread_nm} thread + ]{clearance_nm} clearance + {lead_bottoming_nm} lead of a bottoming tap[ (the setting tool needs {nose_nm})] = {needed_bottoming_nm}; a plug tap with {lead_plug_nm} lead[ and {point_nm} point] needs {needed_plug_nm}; the hole has {depth_nm}[, of which the larger drill may take {within_nm},][ and may go {deeper_nm:down} deeper][ and may not go deeper, with {floor_nm} of floor below it] ({source})[; it lies within {within_nm} of what a tap needs, which is the doubt of what was measured].",
    "depth_only_just": "Depth: only a tap with a lead of {lead} threads just goes in: [{seat_nm} seat + ][{set_down_nm} set-down + ][{insert_nm} insert + ][{thread_nm} thread + ]{clearance_nm} clearance + {lead_bottoming_nm} lead of a bottoming tap[ (the setting tool needs {nose_nm})] = {needed_bottoming_nm}; a plug tap with {lead_plug_nm} lead[ and {point_nm} point] needs {needed_plug_nm}; the hole has {depth_nm}[, of which the larger drill may take {within_nm},][ and may go {deeper_nm:down} deeper][ and may not go deeper, with {floor_nm} of floor below it] ({source})[; it lies within {within_nm} of what a tap needs, which is the doubt of what was measured].",
    "depth_short": "Too deep for this hole by {short_nm}: [{seat_nm} seat + ][{set_down_nm} set-down + ][{insert_nm} insert + ][{thread_nm} thread + ]{clearance_nm} clearance + {lead_bottoming_nm} lead of a bottoming tap[ (the setting tool needs {nose_nm})] = {needed_bottoming_nm}; a plug tap with {lead_plug_nm} lead[ and {point_nm} point] needs {needed_plug_nm}; the hole has {depth_nm}[ and may go {deeper_nm:down} deeper][ and may not go deeper, with {floor_nm} of floor below it] ({source})[; it lies within {within_nm} of what a tap needs, which is the doubt of what was measured].",
    "depth_missing": "The hole's depth is not entered: [{seat_nm} seat + ][{set_down_nm} set-down + ][{insert_nm} insert + ][{thread_nm} thread + ]{clearance_nm} clearance + {lead_bottoming_nm} lead of a bottoming tap[ (the setting tool needs {nose_nm})] = {needed_bottoming_nm}; a plug tap with {lead_plug_nm} lead[ and {point_nm} point] needs {needed_plug_nm} ({source}).",
    "floor_missing_to_deepen": "The hole would have to go {wanted_nm} deeper, and the floor below it is not entered: [{seat_nm} seat + ][{set_down_nm} set-down + ][{insert_nm} insert + ][{thread_nm} thread + ]{clearance_nm} clearance + {lead_bottoming_nm} lead of a bottoming tap[ (the setting tool needs {nose_nm})] = {needed_bottoming_nm}; a plug tap with {lead_plug_nm} lead[ and {point_nm} point] needs {needed_plug_nm}; the hole has {depth_nm} ({source}).",
    "floor_missing": "The floor below the hole is not entered.",
    "floor_thin": "The floor under the drill point would be {left_nm}; {least_nm} is the least ({source}).",
    "floor_breaks_through": "The drill point of {point_nm} would break through the floor of {floor_nm}.",
    "through_fits": "The metal is {thickness_nm} thick; {needed_nm} is needed.",
    "through_too_thin": "The metal is {thickness_nm} thick, {short_nm} too thin: {needed_nm} is needed[ for an insert of {insert_nm}][ for a thread of {thread_nm}][ and {above_nm} above it].",
    "thickness_missing": "The metal's thickness is not entered; {needed_nm} is needed.",
    "same_again_depth": "The same insert goes back: it needs {needed_nm} and the hole has {depth_nm}.",
    "same_again_depth_missing": "The same insert goes back; the hole's depth is not entered, and it needs {needed_nm}.",
    "same_again_too_long": "An insert {length_nm} long needs {needed_nm}; the hole has {depth_nm}.",
    "edge_missing": "The distance to the edge is not entered.",
    "edge_fits": "Edge: {metal_nm} of metal outside {outer}; {comfortable_nm} is comfortable ({source})[; it lies within {within_nm} of a limit, which is the doubt of what was measured].",
    "edge_between": "Edge: {metal_nm} of metal outside {outer}, between the least of {least_nm} and the comfortable {comfortable_nm} ({source}); an engineer signs[; it lies within {within_nm} of a limit, which is the doubt of what was measured].",
    "edge_too_near": "Edge: {metal_nm} of metal outside {outer}, {short_nm} less than the least of {least_nm} ({source})[; it lies within {within_nm} of a limit, which is the doubt of what was measured].",
    "thread_breaks_edge": "The edge is {edge_nm} from the axis, and {outer} is {across_nm} across: the thread breaks out over the edge.",
    "seat_breaks_edge": "The seat of {seat_nm} runs out over the edge, {edge_nm} from the axis.",
    "seat_near_edge": "Edge: {metal_nm} of metal outside the seat of {seat_nm}; {least_nm} is the least ({source}).",
    "wall_fits": "Wall of the bush: {wall_nm} between {inner} and {outer}; about {least_nm} is asked ({source}).",
    "wall_in_step": "Wall of the bush: {wall_nm} with {inner} and {outer} cut in step, {out_of_step_nm} if not; about {least_nm} is asked ({source}).",
    "wall_published": "Wall of the bush: {wall_nm} between {inner} and {outer} at worst, as published ({source}).",
    "wall_thin": "Wall of the bush: only {wall_nm} between {inner} and {outer}; about {least_nm} is asked ({source}).",
    "wall_none": "There is no wall left between {inner} and {outer}.",
    "before_unknown": "What was done to this hole before is not known, so nobody can say how much fresh thread {outer} finds.",
    "before_thread_missing": "The hole held a {before:word}, and the thread it left in the metal is not entered.",
    "bite_fits": "Bite: {outer} finds {bite} % fresh thread[ in what {now} left] ({how} major {major_nm}[, its axis {off_nm} off]; {bite_basic} % on basic sizes, {basis}); {least} % is the least ({source}).",
    "bite_short": "Bite: {outer} finds only {bite} % fresh thread[ in what {now} left] ({how} major {major_nm}[, {major_source}][, its axis {off_nm} off]; {bite_basic} % on basic sizes, {basis}); {least} % is the least ({source}).",
    "solid_bush_or_more": "Take a solid bush or more.",
    "wire_failed_in_parent": "A wire insert stood here and the metal's own thread ({outer}) failed: not another wire insert (common practice).",
    "parent_failed_at_size": "The metal's own thread failed at {outer}: not the same size again.",
    "failed_unknown": "What failed at {outer}, the insert or the metal's own thread, is not known.",
    "wire_failed_once": "A wire insert failed here once; if the next one does, take a solid bush or more (common practice).",
    "receiving_thread_fails": "The thread {outer} in the metal no longer passes its hole gauge.",
    "gauge_unknown": "Whether the thread {outer} in the metal passes its hole gauge is not known.",
    "old_bush_form_unknown": "Whether the old solid bush was of this form is not entered.",
    "cleaned_up": "Clean-up: a drill of {gone_least_nm:up} or more takes the old hole away whole[, its axis being {off_nm} off]; {outer} has one up to {most_nm:down}.",
    "not_cleaned_up": "Clean-up: only a drill of {gone_least_nm:up} takes the old hole away whole[, its axis being {off_nm} off]; the widest for {outer} is {most_nm:down}, {over_nm} too little.",
    "axis_stays_off": "The thread is kept, and with it its axis, {off_nm} off where it belongs.",
    "bore_missing": "The hole is worn, and how wide it is now is not entered.",
    "bolt_reaches": "The bolt reaches {reach_nm} in and engages all down to {end_nm}.",
    "bolt_short": "The bolt reaches only {reach_nm} in, {short_nm} short of the end at {end_nm}: take a longer one.",
    "bolt_bottoms": "The bolt reaches {reach_nm} in and meets the bottom of the hole, {depth_nm} deep: take one that is {over_nm} shorter.",
    "made_formed": "The old thread was formed by the screw; its neighbours may shear once an ordinary bolt goes in (common practice, contested).",
    "made_unknown": "How the old thread was made, cut or formed by the screw, is not known.",
    "engagement_enough": "Engagement: {length_nm} long; {wanted_nm} is asked ({source})[; {longest_nm} is the longest that fits].",
    "engagement_short": "Engagement: {length_nm} long; {wanted_nm} is asked ({source}).",
    "material_missing": "The parent metal is not entered.",
    "torque_missing": "Enter the torque that {bolt} is proved to: without it no torque wrench can be judged.",
    "removal_drill_unknown": "No family names the removal drill of the old keyed bush.",
    "prevailing_torque_missing": "Take the prevailing torque of {family} from the maker's data sheet: no family has it, and without it no torque wrench can be judged.",
    "old_bolt_all_out": "If any of the old bolt is still in the hole, get all of it out first: a sliver snaps the tap.",
    "bore_a_bad_axis": "A drill follows the old hole; a bad axis is bored or milled.",
    "keep_receiving_thread": "Keep the thread in the metal whole.",
    "removal_depth": "Drill the old bush {depth_nm} deep.",
    "keys_in_and_break": "Drive the keys in and break them away, then turn the bush out.",
    "eye_protection": "Wear eye protection.",
    "usual_drill_outside": "The usual drill for {thread}, {drill}, lies {over_nm} above the limit of {most_nm:down}.",
    "drilled_deeper": "The hole goes {by_nm} deeper than it is.",
    "break_the_edge_only": "Only break the edge: the metal is {thick_nm} thick, and the least thickness is published without a countersink; with one it is {least_nm}.",
    "drill_formed_thread_away": "Drill the formed thread away whole.",
    "magnesium_chips": "Magnesium: never water or foam on a fire (nor CO₂ or an ordinary powder: from memory); chips into the lidded dry bin. The maker's instructions and local codes govern.",
    "magnesium_struck": "Magnesium: steel that is struck or cut here can light the chips (TM 43-0106); clear them all away first. The maker's instructions and local codes govern.",
    "drill_through": "Drill {depth_nm} through, point {point_nm}.",
    "drill_depth": "Drill {least_nm:up}[ to {deepest_nm:down}] deep at full diameter, the point of {point_nm} below that.",
    "drill_window": "The window is that of {thread}-{thread_class} ({source}): {at_most_5_8} to {at_least_5_8} % of thread on the 5/8 H basis, {at_most_3_4} to {at_least_3_4} % on 3/4 H.",
    "drill_of_the_family": "The family's own drill, {drill_nm}, lies outside {thread_class} of {thread} ({class_least_nm:up} to {class_most_nm:down}), and that is right: it leaves {percent} % of thread ({basis}).",
    "flat_and_clean_face": "The seat must be flat and clean.",
    "countersink_to": "Countersink to {diameter_nm} ({source}).",
    "seat_to": "Cut the seat to {diameter_nm}, {depth_nm} deep ({family}).",
    "clear_chips_before_bottom": "Clear the chips before the tap reaches the bottom.",
    "threads_in_step": "The bush's inner and outer thread are cut in step.",
    "tap_thread": "Cut {thread}, class {classes}.",
    "compressed_air": "Compressed air: wear eye protection.",
    "minor_measured": "Measure the minor diameter: {least_nm:up} to {most_nm:down}.",
    "gauge_decides": "The gauge decides whether the thread in the metal still serves; it is covered afterwards.",
    "scrap_allowance": "{spare} spare for {holes:hole|holes} ({percent} % scrap).",
    "same_length_as_before": "The length that comes out goes back: planned is {length_nm}; measure the old one.",
    "barrier_in_magnesium": "A steel insert in magnesium wants a corrosion barrier in the joint (from memory); the maker's instructions govern.",
    "barrier_beside_adhesive": "The barrier and the adhesive meet in one joint: take only two that both makers allow together (from memory).",
    "set_down_between": "Set it {least_nm:up}[ to {deepest_nm:down}] below the surface[; deeper, and it stands out of the metal, {thickness_nm} thick].",
    "flange_flush": "The flange stands flush in its seat, {depth_nm} deep.",
    "bolt_engages": "The bolt must engage the whole insert, from {from_nm} to {to_nm} below the surface.",
    "torque_to": "Prove to {torque_nmm}; the insert must not turn.",
    "bolt_must_not_bottom": "The bolt must not bottom.",
    "ordinary_bolt_only": "Only an ordinary bolt goes in now.",
    "below_before_keys": "Measure how far it is below the surface before the keys are driven.",
    "keys_down_in_parent": "Drive the keys down into the metal.",
    "located_by": "It is located by its {how:word}.",
    "locked_by": "It is locked by {how:word}.",
    "no_oil_on_outer_thread": "No oil on the outer thread: the adhesive would not hold.",
    "nothing_behind_hole": "Nothing may stand behind the hole.",
    "tool_passes_out": "The setting tool passes out at the bottom of the bush[ and needs {nose_nm} there].",
    "cure_by_the_sheet": "Let the adhesive cure as its data sheet says.",
    "count_tangs": "Count the tangs: {holes} fitted, {holes} taken out.",
    "tang_may_stay": "A tang may stay, by decision, in a blind hole that the bolt does not reach.",
    "no_free_gauge_for_locking": "A screw-locking insert passes no free gauge; its prevailing torque is checked instead.",
    "family_toml_unreadable": "This is no family file, which is TOML, as far as it can be read[; look at line {line}, column {column}].",
    "family_empty": "The file has neither a table “size” nor a table “rule”.",
    "family_key_unknown": "There is no key “{key}”; the keys are {known}.",
    "family_key_missing": "The key “{key}” is missing.",
    "family_key_wrong": "{key}: “{typed}” will not do[; write {known}].",
    "family_rule_for_wire_only": "A table “rule” is for wire inserts; this family is of {method:word}: write a table “size” for each row.",
    "family_row_field_missing": "Row {row} ({label}): “{field}” is missing.",
    "family_row_field_wrong": "Row {row} ({label}), {field}: “{typed}” will not do. {cause}",
    "family_row_field_unknown": "Row {row} ({label}): there is no “{field}”; there are {known}.",
    "family_row_twice": "Row {row} ({label}): {length_nm} long stands already in row {first}.",
    "family_row_hands": "Row {row} ({label}): hands are given for right-hand threads; write the threads without a hand.",
    "family_row_no_room": "Row {row} ({label}): {outer} has no room for {inner} inside.",
    "family_row_flange_wide": "Row {row} ({label}): the flange of {flange_nm} does not go into the seat of {seat_nm}.",
    "family_row_seat_narrow": "Row {row} ({label}): the seat of {seat_nm} is no wider than the thread, {major_nm}.",
    "family_row_drill_odd": "Row {row} ({label}): a drill of {least_nm} to {most_nm} leaves no thread, or more than there is ({minor_nm} to {major_nm}).",
    "family_row_backwards": "Row {row} ({label}): {least_nm} to {most_nm} runs backwards.",
    "family_value_not_a_flag": "Write true or false.",
    "family_value_absurd": "No part of an insert is of such a size.",
    "family_value_not_a_number": "Write a number of millimetres, or text with a unit.",
    "family_value_not_text": "Write text between quotes.",
    "family_value_not_a_list": "Write a list between brackets.",
    "family_value_not_known": "Write one of: {known}.",
    "late": "Late by {days:day|days}: ordered today it comes on {arrives}, too late for {jobs}; {latest} was the last day to order it.",
    "arrives_on_the_day": "Tight: ordered today it comes on {arrives}, the very day the job starts.",
    "more_for_the_break": "{packs:pack|packs} cost less than the {needed} needed, which would be {price_minor}.",
    "signature_for_item": "Doubtful even when it is new, so somebody must sign for it: {cause}",
    "not_in_catalogue": "Nothing in the catalogue would do: add the item first, then an offer of it.",
    "not_on_offer": "Nobody sells it: {count:item|items} of the catalogue would do, and there is no offer.",
    "only_in_a_set": "It is sold only in a set: {sets}.",
    "no_cutter_for_drill": "No cutter on offer has a pilot that runs under the drill of {drill_nm} that is to be bought.",
    "price_in_other_currency": "In {currency} it would be {total_minor} from {supplier}, there on {arrives}; currencies are not compared here.",
    "set_beside_parts": "Sold whole, it meets {lines} for {total_minor} with carriage[; bought alone they come to {parts_minor}][; late by {late:day|days}].",
    "list_moved": "The list changed after this page was shown, or somebody ordered meanwhile; nothing was ordered, look at it again.",
    "lines_not_chosen": "Nothing is ticked to be ordered.",
    "order_below_minimum": "{supplier} takes no order under {minimum_minor}; it lacks {short_minor}.",
    "nothing_planned": "No method stands for group {group} of {job}, so nothing is listed for it.",
    "carries_more": "The {what:word} carries {margin} % more than {against:word}.",
    "carries_less": "The {what:word} carries {margin} % less than {against:word}.",
    "metal_unknown": "There is no metal “{code}” in the table; there are {known}.",
    "own_strength_not_positive": "A strength is more than zero; write the tensile or the shear strength, or both.",
    "grade_unknown": "“{typed}” is no property class or grade that is known; known are {known}.",
    "grade_not_for_size": "There is no {grade} bolt of {thread}: its standard gives no strength for that size.",
    "strips_at": "The {what:word} {thread} carries {carries_newton} over {engaged_nm} ({source}); what it must carry is not entered.",
    "bolt_breaks_first": "The {what:word} {thread} carries {carries_newton} over {engaged_nm}, {margin} % more than the {needed_newton} at which the bolt breaks[; {least_nm:up} is the least for that] ({source}).",
    "strips_before_bolt": "The {what:word} {thread} carries {carries_newton} over {engaged_nm}, {margin} % less than the {needed_newton} at which the bolt breaks, so it strips first[; {least_nm:up} would be needed] ({source}).",
    "strips_before_proof": "The {what:word} {thread} carries {carries_newton} over {engaged_nm}, less than the bolt's proof load and {margin} % less than the {needed_newton} at which the bolt breaks[; {least_nm:up} would be needed] ({source}).",
    "strips_near_torque": "The {what:word} {thread} carries {carries_newton} over {engaged_nm}, {margin} % less than the {needed_newton} that the torque may pull with its reserve[; {least_nm:up} would be needed] ({source}).",
    "strips_at_torque": "The {what:word} {thread} carries {carries_newton} over {engaged_nm}, {margin} % less than the {needed_newton} that the torque alone may pull: it may strip when tightened[; {least_nm:up} would be needed] ({source}).",
    "holds_its_torque": "The {what:word} {thread} carries {carries_newton} over {engaged_nm}, {margin} % more than the {needed_newton} that the torque may pull with its reserve; whether the bolt breaks first is not checked ({source}).",
    "engage_more": "Engage {least_nm:up} or more.",
    "torque_less": "Tighten to {most_nmm} at most.",
    "bolt_within_proof": "The torque pulls {pull_least_newton} to {pull_most_newton} on the {grade} bolt {thread}; its proof load of {proof_newton} is {margin} % more ({source}).",
    "bolt_past_proof": "The torque may pull {pull_most_newton} on the {grade} bolt {thread}; its proof load of {proof_newton} is {margin} % less ({source}).",
    "bolt_breaks_at_torque": "The torque pulls {pull_least_newton} at least on the {grade} bolt {thread}, which breaks at {ultimate_newton} ({source}).",
    "parent_metal_missing": "The alloy of the part, or its strength, is not entered.",
    "bolt_grade_missing": "The bolt's property class or grade is not entered.",
    "insert_metal_missing": "What metal the insert is of is not entered, so its own threads are not checked.",
    "torque_not_entered": "The torque is not entered, so neither the preload nor the bolt under it is checked.",
    "edge_not_entered": "The distance to the edge is not entered, so the metal around the hole is taken as thick.",
    "bolt_reach_not_entered": "How far the bolt reaches in is not entered; it is taken to engage the whole thread.",
    "edge_below_factor": "At {edge_nm} from the axis the metal is so thin that the formula for its widening is not given, and a rule of thumb is counted; {least_nm:up} is the least it is given for.",
    "threads_few": "Only {threads} threads hold; {least} is the least.",
    "galvanized_reduced": "A hot-dip galvanized bolt {thread} carries less than its class says (ISO 10684 annex A); how much less is not known here.",
    "margin_within_doubt": "The margin of {margin} % is smaller than the doubt of what was measured.",
    "short_within_doubt": "It falls short by {margin} %, which is within the doubt of what was measured: measure again.",
    "wire_not_summed": "The wire of the insert itself is not summed: it is taken to be stronger than bolt and parent metal, and to fill its hole at basic sizes.",
    "metal_counted": "Counted on for {word}: {shear_mpa} in shear[, {share} % of a test bar's, since it is a casting][, {ratio} of its tensile strength] ({basis:word} values, {source}).",
    "metal_from_memory": "The strength of {word} is from memory, not read in {source}.",
    "bolt_at_its_least": "The bolt is taken at the least strength of {grade} ({source}); a stronger one needs more thread to break first.",
    "bite_counted": "Only {bite} % of the outer thread finds fresh metal, and so much of its area is counted (rule of thumb, no source).",
    "cut_at": "Run at {rpm} rpm to {operation:word} {diameter_nm}; the window is [{least_rpm} to ]{most_rpm} ({source}).",
    "cut_below": "Run at {rpm} rpm to {operation:word} {diameter_nm}, the nearest step below the window of [{least_rpm} to ]{most_rpm} ({source}).",
    "cut_too_fast": "No step of the spindle is slow enough to {operation:word} {diameter_nm}: {most_rpm} rpm is the most[, and the slowest step is {slowest_rpm}] ({source}).",
    "cut_slower": "Slower if the metal is {grade}: [{rpm} rpm, where the window is ][{least_rpm} to ]{most_rpm}, to {operation:word} {diameter_nm} ({source}).",
    "feed_at": "Feed {least_nm} to {most_nm} a turn, the lower end for the harder metals ({source}).",
    "lubricant_is": "Cutting fluid: {lubricants:word}[, any one of the {count}] ({source}).",
    "tap_by_hand": "By hand: half a turn back after each turn, to break the chip ({source}).",
    "cutting_not_checked": "No published {what:word} was found for {material:word} (to {operation:word}), so it is not checked.",
    "cutting_material_missing": "The parent metal is not entered, so neither speed nor lubricant is checked for this step ({operation:word}).",
    "cutting_diameter_missing": "The diameter to be cut is not known, so no speed is checked for this step ({operation:word}).",
    "magnesium_cut": "Magnesium: [never above {most_rpm} rpm here, which is 700 ft/min; ]a sharp tool, a full feed, no dwelling and no rubbing; dry or with mineral oil, never with a water-mix ({source}).",
    "length_would_turn": "Were the {given:word} {by_nm} {way} than entered, the verdict would be: {status:word}.",
    "share_would_turn": "Were the {given:word} {percent} % {way} than entered, the verdict would be: {status:word}.",
}


def say(reason: Reason, units: str = "mm") -> str:
    """The sentence for a reason, millimetres or inches ("in") first."""
    return shelf.say(reason, units, SENTENCES, WORDS)


def word(code: str) -> str:
    """The trade's word for a code: a method, a step, a status, an answer.

    >>> word("plain_bush"), word("seat")
    ('plain bush', 'seat')
    """
    return WORDS.get(code, code.replace("_", " "))


def size_words(size: Size, units: str = "mm") -> str:
    """A size in words: threads, length, family and its standing; without an insert the thread and how deep it is."""
    if not size.inserted:
        return f"{size.inner.designation} x {show_length(size.length, units)} deep in the metal"
    outer = f" in {size.outer.designation}" if size.method != "wire_insert" else ""
    form = "".join([", without a tang" if size.tang_free else "", ", screw-locking" if size.locking else ""])
    return (
        f"{size.inner.designation}{outer} x {show_length(size.length, units)} long{form} "
        f"({size.family_key}, {size.standing})"
    )


def name(need: Need, units: str = "mm") -> str:
    """A need in a few words: its kind and the thread, diameter or size that tells it apart."""
    parts = [KINDS[need.kind].word, need.name, {"L": "left", "R": "right"}.get(need.hand, "")]
    if need.inner:
        parts.append(Thread.from_key(need.inner).designation)
    if need.thread:
        designation = Thread.from_key(need.thread).designation
        parts.append(f"in {designation}" if need.inner else designation)
    if need.length is not None:
        parts.append(f"{show_length(need.length, units)} long")
    if need.diameter:
        least = show_length(need.diameter.least, units, "up")
        parts.append(f"{least} to {show_length(need.diameter.most, units, 'down')}")
    return " ".join(filter(None, parts))


def between(least: int, most: int, units: str = "mm") -> str:
    """A window that somebody works to, in nm, rounded inward; one size where both ends are the same."""
    if least == most:
        return show_length(least, units)
    return f"{show_length(least, units, 'up')} to {show_length(most, units, 'down')}"


def item_words(choice: Choice, units: str = "mm") -> str:
    """An item of the catalogue as it stands in a list: its number, what it is, and its size."""
    return " ".join(filter(None, (choice.number, named(choice.facts, units))))


def describe(need: Need, units: str = "mm") -> str:
    """A need in full: what `name` says, then class, family, pilot, lead, reach, torque and how many."""
    parts = [name(need, units)]
    if need.classes:
        parts.append(f"class {' or '.join(need.classes)}")
    if need.family:
        parts.append(need.family)
    if need.pilot_of:
        parts.append("pilot just under the drill")
    if need.lead is not None:
        parts.append(f"lead at most {need.lead.match / 10:g} threads")
    if need.flutes:
        parts.append(f"{' or '.join(need.flutes)} flute")
    if need.reach is not None:
        parts.append(f"reach {show_length(need.reach, units)}")
    if need.torque is not None:
        parts.append(f"for {show_torque(need.torque, units)}")
    if need.cures:
        parts.append("cured within the window")
    if need.quantity > 1:
        parts.append(f"{need.quantity} of them")
    if need.holes:
        parts.append(f"for {need.holes} {'hole' if need.holes == 1 else 'holes'}")
    return ", ".join(parts)


def take_words(take: Take, units: str = "mm") -> str:
    """What is taken, and from where."""
    line = take.line
    what = line.tag if line.unit is not None else f"{take.quantity or 1} of lot {line.tag}"
    size = f" {show_length(line.facts.diameter, units)}" if line.facts.diameter else ""
    told = [shelf.clause(reason, units, SENTENCES) for reason in take.reasons]
    return f"{what}{size} from bin {line.bin}" + (f" ({'; '.join(told)})" if told else "")


def line_words(line: Line, units: str = "mm") -> str:
    """What meets a need, or every reason why nothing does, the nearest misses and the look-alikes by name."""
    told = [f"{take_words(take, units)}." for take in line.takes]
    told += [say(reason, units) for reason in line.reasons]
    told += [f"{miss.line.tag}: " + " ".join(say(reason, units) for reason in miss.reasons) for miss in line.near]
    return " ".join([*told, look_alike_words(line.look_alikes)]).strip()


# What is checked when a step is done, before its box is signed.
CHECKED: dict[str, str] = {
    "clamp": "the hole's axis is found, the part cannot move",
    "remove_old": "all of the old insert is out, the hole is clean",
    "drill": "diameter and depth measured",
    "deburr": "no burr at the mouth",
    "chamfer": "diameter at the mouth",
    "countersink": "diameter at the mouth",
    "seat": "diameter and depth of the seat, square to the axis",
    "tap": "full thread down to depth, no torn crest",
    "clean": "no chip and no oil left",
    "hole_gauge": "GO goes in by hand, NO GO does not",
    "wind_in": "right insert, started straight",
    "lock": "locked, does not turn back",
    "break_tang": "every tang counted and out",
    "drive_keys": "every key down, none bent",
    "set_down": "depth measured at every hole",
    "final_gauge": "GO goes in by hand, NO GO does not",
    "torque": "torque reached, insert did not turn",
}


def look_alike_rows(reasons: Iterable[Reason]) -> list[dict[str, str]]:
    """Look-alikes that lie in the bins, a row for each thread: the thread, and what it is not, with tags and bins."""
    places: dict[tuple[str, str, str], dict[str, None]] = {}
    for reason in reasons:
        key = reason["thread"], reason["wanted"], reason.data.get("turns", "")
        places.setdefault(key, {})[f"{reason['tag']} ({reason['bin']})"] = None
    return [
        {
            "thread": thread,
            "told": f"is not {wanted}{f', a quarter pitch out after {turns} turns' if turns else ''}: {', '.join(found)}.",
        }
        for (thread, wanted, turns), found in places.items()
    ]


def look_alike_words(reasons: Iterable[Reason]) -> str:
    """Look-alikes that lie in the bins, by thread."""
    places: dict[str, list[str]] = {}
    for reason in reasons:
        places.setdefault(reason["thread"], []).append(f"{reason['tag']} in {reason['bin']}")
    named = [f"{thread} ({', '.join(found)})" for thread, found in places.items()]
    return f"Look-alikes, never to be taken for it: {'; '.join(named)}." if named else ""
