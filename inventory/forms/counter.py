"""Over the counter: one form a line of the kit, and one for what is said of them all."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms

from inventory import issuing
from inventory.errors import Reason
from inventory.forms.acts import AS_THEY_COME, ask_material, ask_wear, material_field
from inventory.forms.fields import Answers, CountField, Fault, count_field, text_field


class _CounterLineForm(Answers):
    """One line of a kit; `key` names it, `line` is it. What an act refused stands at its `main` field."""

    side = ""
    unit_fields: tuple[str, ...] = ()
    batch_fields: tuple[str, ...] = ("pieces",)

    def __init__(self, data: Any = None, *, line: issuing.KitLine, initial: Mapping[str, Any] | None = None) -> None:
        super().__init__(
            data, prefix=f"{self.side}-{line.key}", auto_id="id_%s", initial={**self.proposed(line), **(initial or {})}
        )
        self.line, self.key = line, line.key
        kept = self.unit_fields if line.unit else self.batch_fields
        for name in set(self.fields) - set(kept):
            del self.fields[name]

    def proposed(self, line: issuing.KitLine) -> dict[str, Any]:
        """What stands there before anybody typed."""
        raise NotImplementedError

    def refuse(self, reason: Reason) -> None:
        """Put what the act refused at the line."""
        at = {
            "gives_back_too_much": "pieces", "batch_short": "pieces", "kept_moved": "pieces",
            "unit_calibration_missing": "signed",
        }  # fmt: skip
        self.add_error(at.get(reason.code), Fault(reason))


class HandOutForm(_CounterLineForm):
    """What of a kit is handed out: a unit that is ticked, so many pieces of a batch.

    A unit of which no calibration is on record is not ticked, and asks who signs for it.
    """

    take = forms.BooleanField(label="issue it", required=False)
    pieces = count_field("Pieces", least=0, required=False)
    signed = text_field("No calibration on record: who signs for it, and why", 200)
    seen = CountField(min_value=0, required=False, widget=forms.HiddenInput)  # what was kept when the page was made
    side = "out"
    unit_fields = ("take", "signed")
    batch_fields = ("pieces", "seen")

    def __init__(self, data: Any = None, *, line: issuing.KitLine, initial: Mapping[str, Any] | None = None) -> None:
        super().__init__(data, line=line, initial=initial)
        if not line.shelved.uncalibrated:
            self.fields.pop("signed", None)

    def proposed(self, line: issuing.KitLine) -> dict[str, Any]:
        """All that is kept and lies there."""
        return {"take": line.at_hand, "pieces": line.kept if line.at_hand else None}


class ComeBackForm(_CounterLineForm):
    """What comes back: a unit that is ticked with its holes and condition, so many pieces of a batch; or what became
    of it meanwhile."""

    back = forms.BooleanField(label="comes back", required=False)
    holes = count_field("Holes cut", least=0, required=False)
    material = material_field()
    condition = forms.ChoiceField(label="Condition", choices=AS_THEY_COME)
    pieces = count_field("Pieces that come back", least=0, required=False)
    gone = count_field("Pieces broken or lost", least=1, required=False)
    why = text_field("Why, if it broke or is lost", 200)
    side = "in"
    unit_fields = ("back", "holes", "material", "condition", "why")
    batch_fields = ("pieces", "gone", "why")

    def __init__(self, data: Any = None, *, line: issuing.KitLine, initial: Mapping[str, Any] | None = None) -> None:
        super().__init__(data, line=line, initial=initial)
        if line.unit is not None:
            ask_material(self, line.unit)
            ask_wear(self, line.unit)

    def refuse_unpressed(self) -> bool:
        """Put at its field what is typed of a thing that broke or is lost while another button was pressed."""
        typed = [name for name in ("gone", "why") if self.cleaned_data.get(name)]
        for name in typed:
            self.add_error(name, Fault(Reason("broke_or_lost_unpressed")))
        return bool(typed)

    def refuse(self, reason: Reason) -> None:
        """Put what the act refused at the line; of pieces, at those that it spoke of."""
        told = reason.code == "gives_back_too_much" and self.cleaned_data.get("gone") == reason["quantity"]
        self.add_error("gone", Fault(reason)) if told else super().refuse(reason)

    def proposed(self, line: issuing.KitLine) -> dict[str, Any]:
        """A unit with the holes that its holds foresaw; of a batch nothing, since most of it stays in the job.

        Where a material takes more of its life than another, what was kept is life and no number of holes.
        """
        regrind = line.unit is not None and line.unit.condition == "due_regrind"
        weighed = line.unit is not None and bool(line.unit.item.life_factors.all())
        return {
            "back": True,
            "holes": None if weighed else line.holes,
            "condition": "due_regrind" if regrind else "serviceable",
        }


class CounterForm(Answers):
    """What is scanned besides the lines, one a line, and the key of the press."""

    tags = forms.CharField(
        label="Tags", max_length=8000, required=False,
        widget=forms.Textarea(attrs={"rows": 2, "autocapitalize": "off", "spellcheck": "false"}),
    )  # fmt: skip
    request_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    def clean_tags(self) -> tuple[str, ...]:
        """The tags as they were scanned, each as often as it was."""
        return tuple(tag.strip() for tag in self.cleaned_data["tags"].splitlines() if tag.strip())

    def refuse(self, reasons: Mapping[str, Reason]) -> None:
        """Put at the field why each of what was scanned is refused."""
        for reason in reasons.values():
            self.add_error("tags", Fault(reason))
