"""Answers of the API held against the schema that is published."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from jsonschema import Draft202012Validator, FormatChecker


def operations(published: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Every operation: its method, its path and what is told of it."""
    for path, methods in published["paths"].items():
        for method, operation in methods.items():
            yield method, path, operation


def faults(published: dict[str, Any], schema: dict[str, Any], value: Any) -> list[str]:
    """What of a value is not as a schema says, which may refer to the components of the published one."""
    whole = {**schema, "components": published["components"]}
    found = Draft202012Validator(whole, format_checker=FormatChecker()).iter_errors(value)
    return [f"{error.json_path}: {error.message[:200]}" for error in found]


def untrue(published: dict[str, Any], method: str, path: str, answer: Any) -> list[str]:
    """What of an answer is not as the schema tells of it."""
    told = published["paths"][path][method]["responses"].get(str(answer.status_code))
    if told is None:
        return [f"{answer.status_code} is not told of: {answer.content[:200]!r}"]
    return faults(published, told["content"]["application/json"]["schema"], answer.json())
