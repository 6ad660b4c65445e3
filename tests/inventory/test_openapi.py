"""How the API describes itself: forms and schema files become components and parameters."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from django import forms

from inventory import openapi
from inventory.forms import WordField
from inventory.programs import CountField


def test_definitions_of_several_files_become_components_that_refer_to_one_another(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(openapi, "_COMPONENTS", {})
    bin_ = {"type": "object", "properties": {"name": {"$ref": "#/$defs/bin_name"}}}
    (tmp_path / "bin.schema.json").write_text(
        json.dumps({"$schema": "x", **bin_, "$defs": {"bin_name": {"type": "string"}}})
    )
    (tmp_path / "api.schema.json").write_text(
        json.dumps(
            {
                "$defs": {
                    "walk": {"type": "array", "items": {"$ref": "bin.schema.json"}},
                    "first": {"$ref": "bin.schema.json#/$defs/bin_name"},
                }
            }
        )
    )
    for name in ("bin", "api"):
        openapi.read_components(tmp_path / f"{name}.schema.json")
    assert openapi._COMPONENTS == {
        "BinName": {"type": "string"},
        "Bin": {"type": "object", "properties": {"name": {"$ref": "#/components/schemas/BinName"}}},
        "Walk": {"type": "array", "items": {"$ref": "#/components/schemas/Bin"}},
        "First": {"$ref": "#/components/schemas/BinName"},
    }


def test_one_name_stands_for_one_schema(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(openapi, "_COMPONENTS", {})
    assert openapi.component("Tag", {"type": "string"}) == {"$ref": "#/components/schemas/Tag"}
    openapi.component("Tag", {"type": "string"})
    with pytest.raises(ValueError, match="Tag"):
        openapi.component("Tag", {"type": "integer"})


def test_a_field_is_told_of_by_what_it_reads() -> None:
    assert openapi.field_schema(CountField(min_value=1, max_value=9, initial=3)) == {
        "type": "integer", "minimum": 1, "maximum": 9, "default": 3,
    }  # fmt: skip
    words = WordField(words={"mm": "mm", "in": "inch"}, otherwise="mm")
    assert openapi.field_schema(words) == {"type": "string", "enum": ["mm", "in"], "default": "mm"}
    text = openapi.field_schema(forms.CharField(max_length=4))
    assert text == {"type": "string", "pattern": "^[^\\u0000]*$", "maxLength": 4}
