"""How the API describes itself: OpenAPI 3.1 from the forms that read and the JSON Schemas of what is answered.

An app keeps the schemas of its answers in files beside its code (`read_components`) and tells of each endpoint what
it reads, answers and refuses (`described`). `publish`, a hook of drf-spectacular, puts the two together.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from django import forms
from drf_spectacular.authentication import SessionScheme
from drf_spectacular.contrib.knox_auth_token import KnoxTokenScheme
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, OpenApiResponse, extend_schema

from inventory.forms import Answers, WordField
from inventory.programs import LARGEST_BODY, LONGEST_KEY, REQUEST_KEY

JSON = "application/json"
SAID = {
    400: "It cannot be read: every fault, each at its parameter, key or header.",
    401: "Nobody is logged in, or the token is not known here.",
    403: "It takes another role, or a page asks without its token.",
    404: "There is no such thing.",
    406: "Something else than JSON was asked for.",
    409: "It cannot be done as things stand; the rule that is in the way is named.",
    413: f"The body has more than {LARGEST_BODY:,} bytes.",
    415: "The body is said to be something else than JSON.",
}

_COMPONENTS: dict[str, Any] = {}


class TokenScheme(KnoxTokenScheme):  # type: ignore[no-untyped-call]
    """A program's token, as the schema tells of it."""

    target_class = "inventory.programs.ByToken"
    name = "token"


class SessionCookie(SessionScheme):  # type: ignore[no-untyped-call]
    """A page's session, as the schema tells of it."""

    target_class = "inventory.programs.BySession"
    name = "session"


def component(name: str, schema: Mapping[str, Any]) -> dict[str, str]:
    """Make a schema known by a name; returns how it is referred to. Raises ValueError for a name of another schema."""
    if _COMPONENTS.setdefault(name, schema) != schema:
        raise ValueError(name)
    return {"$ref": f"#/components/schemas/{name}"}


def read_components(path: Path) -> None:
    """Make known what a JSON Schema file defines, and the file itself where it is a document.

    What refers to a definition, of this file or of one beside it, or to such a file, refers to the component then.
    """
    told = path.read_text(encoding="utf-8")
    told = re.sub(r'"[\w.]*#/\$defs/(\w+)"', lambda named: json.dumps(_address(named[1])), told)
    told = re.sub(r'"(\w+)\.schema\.json"', lambda named: json.dumps(_address(named[1])), told)
    schema = json.loads(told)
    for name, each in schema.pop("$defs").items():
        component(_called(name), each)
    if "type" in schema:
        component(_called(path.name.partition(".")[0]), {key: schema[key] for key in schema if key != "$schema"})


def _called(name: str) -> str:
    return "".join(word.capitalize() for word in name.split("_"))


def _address(name: str) -> str:
    return f"#/components/schemas/{_called(name)}"


def publish(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """The hook: add every known component, and say that a body must be there where one is read."""
    result["components"]["schemas"] = dict(sorted(_COMPONENTS.items()))
    for methods in result["paths"].values():
        for operation in methods.values():
            if "requestBody" in operation:
                operation["requestBody"]["required"] = True
    return result


def described(
    *,
    id: str,
    answer: str,
    says: str,
    status: int = 200,
    methods: Sequence[str] | None = None,
    description: str | None = None,
    path: Mapping[str, str] | None = None,
    asks: type[Answers] | None = None,
    names: Mapping[str, str] | None = None,
    told: Mapping[str, str] | None = None,
    body: Mapping[str, Any] | None = None,
    keyed: bool = False,
    refuses: Mapping[int, Sequence[str]] | None = None,
    examples: Sequence[OpenApiExample] = (),
) -> Callable[[Any], Any]:
    """Tell of an endpoint: the component that it answers with and what that is, what it asks, and what it refuses.

    `path` tells of the parts of its address, `asks` is the form of its parameters (`names` where they are called
    otherwise than the form's fields, `told` what each means), `body` the schema of its JSON, `keyed` that it wants an
    Idempotency-Key. `refuses` lists by status the codes that this endpoint knows beside what every endpoint does.
    """
    refuses = dict(refuses or {})
    statuses = {401, 403, 406, *refuses}
    statuses |= {400} if asks or body or keyed else set()
    statuses |= {413, 415} if body else set()
    parameters = [
        OpenApiParameter(name, {"type": "string"}, OpenApiParameter.PATH, description=means)
        for name, means in (path or {}).items()
    ]
    parameters += _parameters(asks, names or {}, told or {}) if asks else ()
    if keyed:
        schema = {"type": "string", "pattern": f"^[!-~]{{1,{LONGEST_KEY}}}$"}
        means = "Made up by whoever asks, anew for each act. Sent again with the same one, the act is not done again."
        parameters.append(OpenApiParameter(REQUEST_KEY, schema, OpenApiParameter.HEADER, True, means))
    reference = {"$ref": _address("errors")}
    responses: dict[int, Any] = {status: OpenApiResponse({"$ref": _address(answer)}, says)}
    for code in sorted(statuses):
        rules = ", ".join(f"`{rule}`" for rule in refuses.get(code, ()))
        responses[code] = OpenApiResponse(reference, f"{SAID[code]} {rules}".strip())
    decorated: Callable[[Any], Any] = extend_schema(
        operation_id=id,
        description=description,
        methods=methods,
        parameters=parameters,
        request={JSON: body} if body else None,
        responses=responses,
        examples=list(examples),
    )
    return decorated


def _parameters(form: type[Answers], names: Mapping[str, str], told: Mapping[str, str]) -> Iterator[OpenApiParameter]:
    for field_name, field in form.base_fields.items():
        name = names.get(field_name, field_name)
        means = told.get(name) or field.help_text or field.label or name
        yield OpenApiParameter(name, field_schema(field), OpenApiParameter.QUERY, field.required, str(means))


def field_schema(field: forms.Field) -> dict[str, Any]:
    """What a field of a form reads, as the schema of a parameter."""
    if isinstance(field, forms.IntegerField):
        bounds = {"minimum": field.min_value, "maximum": field.max_value, "default": field.initial}
        return {"type": "integer"} | {key: value for key, value in bounds.items() if value is not None}
    if isinstance(field, WordField):
        default = {"default": field.otherwise} if field.otherwise else {}
        return {"type": "string", "enum": list(field.words)} | default
    longest = getattr(field, "max_length", None)
    return {"type": "string", "pattern": "^[^\\u0000]*$"} | ({"maxLength": longest} if longest else {})
