"""The OpenAPI document: what all operations share, and where the texts and examples of each come in."""

from __future__ import annotations

import re
from collections.abc import Iterator
from http import HTTPStatus
from typing import Any

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter
from rest_framework.permissions import AllowAny

from surveys.api.example_values import COMPONENT_EXAMPLES, PROPERTY_EXAMPLES
from surveys.api.fields import QUANTITY
from surveys.api.operation_texts import OPERATION_TEXTS, TAGS
from surveys.api.problems import Problem
from surveys.api.property_texts import COMPONENT_TEXTS, PARAMETER_TEXTS, PROPERTY_TEXTS
from surveys.api.quantity_examples import QUANTITY_EXAMPLES
from surveys.inputs.problems import CONTENT_TYPE
from surveys.inputs.quantity_schema import quantity_schema, series_schema

UNITS = OpenApiParameter(
    "units", str, enum=["metric", "us"], description="System of units of the answer; `metric` by default."
)
WRITES = frozenset({"POST", "PUT", "PATCH", "DELETE"})
EXAMPLE_ID = "0192f3a0-5c1e-7b60-9c43-2f3c1d7a9e10"

ERRORS = {
    400: "The request is malformed, or a value is not allowed.",
    401: "The request is not signed in, or the token has expired.",
    403: "The role of the user or the scope of the token does not allow the request.",
    404: "The record does not exist, or the user may not see the record.",
    406: "The service has no answer in the media type of the `Accept` header.",
    409: "The request conflicts with the state of a record, or the first request with the key is still running.",
    412: "The record has changed since the version in `If-Match`.",
    413: "The body is too large.",
    415: "The service does not read the media type of the body.",
    422: "The idempotency key was used with a different request.",
    428: "The request needs the `If-Match` header.",
    429: "Too many requests. Repeat the request after `Retry-After`.",
    503: "The service is temporarily unavailable. Repeat the request after `Retry-After`.",
}
SUCCESSES = {
    200: "The request succeeded.",
    201: "The record was created.",
    202: "The request was accepted. The calculation continues in the background.",
    204: "The request succeeded. The answer has no body.",
    304: "The record has not changed since the version in `If-None-Match`.",
}
HEADERS = {
    "ETag": ("Version of the answer, for `If-Match` and `If-None-Match`.", {"type": "string"}),
    "Location": (
        "Address of the created record or of the started calculation.",
        {"type": "string", "format": "uri-reference"},
    ),
    "Retry-After": ("Seconds to wait before the next request.", {"type": "integer", "minimum": 0}),
    "X-Request-ID": ("Id of the request in the logs of the service.", {"type": "string", "format": "uuid"}),
}


def _header_parameter(name: str, description: str, example: str) -> dict[str, Any]:
    return {
        "in": "header",
        "name": name,
        "description": description,
        "schema": {"type": "string", "examples": [example]},
    }


IDEMPOTENCY_KEY = _header_parameter(
    "Idempotency-Key",
    "Key chosen by the client, up to 200 characters. A request sent again with the same key gets the first answer.",
    EXAMPLE_ID,
)
IF_MATCH = _header_parameter(
    "If-Match",
    "`ETag` of the version to change. The change is rejected (412) if the record has changed since.",
    '"5d41402abc4b2a76b9719d911017c592"',
)
IF_NONE_MATCH = _header_parameter(
    "If-None-Match",
    "`ETag` of a known version. The answer is 304 without a body if the version is current.",
    '"5d41402abc4b2a76b9719d911017c592"',
)


class QuantityInput(OpenApiSerializerFieldExtension):
    """A quantity of a request, with the examples of its kind."""

    target_class = "surveys.inputs.fields.QuantityIn"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: Any, direction: Any) -> dict[str, Any]:
        """Return the schema of the field's kind."""
        return quantity_schema(self.target.kind)


class SeriesInput(OpenApiSerializerFieldExtension):
    """One quantity of a request or a series of them, with the examples of its kind."""

    target_class = "surveys.inputs.calculations.SeriesIn"

    def map_serializer_field(self, auto_schema: Any, direction: Any) -> dict[str, Any]:
        """Return the schema of the field's kind."""
        return series_schema(self.target.kind, self.target.max_values)


class Schema(AutoSchema):
    """Texts, headers and error statuses of an operation."""

    def get_override_parameters(self) -> list[Any]:
        """Return the parameters of every operation."""
        return [UNITS]

    def get_operation_id(self) -> str:
        """Return the operation id as one identifier, also where the path ends in a file name."""
        return re.sub(r"[^A-Za-z0-9]+", "_", super().get_operation_id())

    def get_summary(self) -> str:
        """Return the summary of the operation."""
        return OPERATION_TEXTS[self.get_operation_id()].summary

    def get_description(self) -> str:  # type: ignore[override]
        """Return the description of the operation."""
        return OPERATION_TEXTS[self.get_operation_id()].description

    def get_operation(
        self, path: str, path_regex: str, path_prefix: str, method: str, registry: Any
    ) -> dict[str, Any] | None:
        """Return the operation with its headers and its error answers."""
        operation = super().get_operation(path, path_regex, path_prefix, method, registry)
        if operation is None:
            return None
        if AllowAny in self.view.permission_classes:
            operation["security"] = []
        operation["parameters"] = [*operation.get("parameters", []), *self._header_parameters()]
        for status, response in operation["responses"].items():
            response["description"] = SUCCESSES[int(status)]
            response["headers"] = {name: _header_ref(name) for name in self._headers(int(status))}
        if self._cacheable:
            operation["responses"]["304"] = {"$ref": "#/components/responses/NotModified"}
        for error in self._errors(operation):
            operation["responses"][str(error)] = {"$ref": f"#/components/responses/{_error_name(error)}"}
        return operation

    @property
    def _cacheable(self) -> bool:
        return self.method == "GET" and getattr(self.view, "cacheable", True)

    @property
    def _keyed(self) -> bool:
        repeatable = getattr(self.view, "repeatable", None)
        return self.method in WRITES and repeatable is not None and self._action not in repeatable

    @property
    def _versioned(self) -> bool:
        return self._action == "partial_update" and getattr(self.view, "checks_if_match", False)

    @property
    def _action(self) -> str:
        return getattr(self.view, "action", None) or ""

    def _header_parameters(self) -> Iterator[dict[str, Any]]:
        if self._keyed:
            yield IDEMPOTENCY_KEY
        if self._versioned:
            yield IF_MATCH
        if self._cacheable:
            yield IF_NONE_MATCH

    def _headers(self, status: int) -> Iterator[str]:
        if self._cacheable or self._versioned:
            yield "ETag"
        if status in (201, 202):
            yield "Location"
        if status == 202:
            yield "Retry-After"
        yield "X-Request-ID"

    def _errors(self, operation: dict[str, Any]) -> Iterator[int]:
        yield 400
        if AllowAny not in self.view.permission_classes:
            yield from (401, 403)
        elif self.method in WRITES:
            yield 401
        if "{" in self.path or getattr(self.view, "hidden_from_clients", False):
            yield 404
        yield 406
        records = getattr(self.view, "writers", None) is not None
        if self.method in WRITES and (records or getattr(self.view, "conflicts", False)):
            yield 409
        if self._versioned:
            yield from (412, 428)
        if "requestBody" in operation:
            yield from (413, 415)
        if self._keyed:
            yield 422
        if getattr(self.view, "throttled_as", None):
            yield 429
        yield 503


def _header_ref(name: str) -> dict[str, str]:
    return {"$ref": f"#/components/headers/{name}"}


def _error_name(status: int) -> str:
    return re.sub(r"\W", "", HTTPStatus(status).phrase.title())


def complete(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Add the shared components, the tags, the texts and the examples to the document."""
    components = result["components"]
    components["headers"] = {
        name: {"description": description, "schema": schema}
        for name, (description, schema) in HEADERS.items()
    }
    components["responses"] = {_error_name(status): _error_response(status) for status in ERRORS} | {
        "NotModified": {
            "description": SUCCESSES[304],
            "headers": {name: _header_ref(name) for name in ("ETag", "X-Request-ID")},
        }
    }
    for component, schema in components["schemas"].items():
        _describe(component, schema)
    for component, schema in components["schemas"].items():
        if component.endswith("Request"):
            _exemplify(component, schema, components["schemas"])
        else:
            _exemplify_quantities(component, schema)
    operations = [operation for path in result["paths"].values() for operation in path.values()]
    for operation in operations:
        for parameter in operation["parameters"]:
            parameter["description"] = _described(parameter, PARAMETER_TEXTS.get(parameter["name"], ""))
        _exemplify_body(operation, components["schemas"])
    used = {tag for operation in operations for tag in operation["tags"]}
    result["tags"] = [{"name": name, "description": text} for name, text in TAGS.items() if name in used]
    return result


def _error_response(status: int) -> dict[str, Any]:
    names = ["X-Request-ID"] + (["Retry-After"] if status in (429, 503) else [])
    return {
        "description": ERRORS[status],
        "headers": {name: _header_ref(name) for name in names},
        "content": {CONTENT_TYPE: {"schema": {"$ref": f"#/components/schemas/{Problem.__name__}"}}},
    }


def _base(component: str) -> str:
    """Return the name of a serializer from that of its component."""
    return component.removeprefix("Patched").removesuffix("Request")


def _describe(component: str, schema: dict[str, Any]) -> None:
    """Describe the properties of a component, also those of objects inside."""
    # A serializer's docstring is for its readers; the properties describe the object.
    schema.pop("description", None)
    for name, one in _properties(schema):
        text = COMPONENT_TEXTS.get(f"{_base(component)}.{name}") or PROPERTY_TEXTS.get(name, "")
        if described := _described(one, text):
            one["description"] = described


def _described(schema: dict[str, Any], text: str) -> str:
    """Return the own description, or the text; the list of choices comes last."""
    own = schema.get("description", "")
    return f"{text}\n\n{own}" if own.startswith("* `") and text else own or text


def _properties(schema: Any) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the properties of a schema and of the objects inside."""
    if not isinstance(schema, dict):
        return
    for name, one in schema.get("properties", {}).items():
        yield name, one
        yield from _properties(one)
    for key in ("items", "additionalProperties"):
        yield from _properties(schema.get(key))
    for key in ("oneOf", "anyOf", "allOf"):
        for one in schema.get(key, []):
            yield from _properties(one)


def _exemplify(component: str, schema: dict[str, Any], schemas: dict[str, Any]) -> None:
    """Give each property of a request an example."""
    known = COMPONENT_EXAMPLES.get(_base(component))
    own = known if isinstance(known, dict) else {}
    for name, one in schema.get("properties", {}).items():
        one["examples"] = [own[name] if name in own else _property_example(component, name, schemas)]


def _exemplify_quantities(component: str, schema: dict[str, Any]) -> None:
    """Give each quantity of an answer an example of its kind."""
    for name, one in _properties(schema):
        many = one.get("type") == "array"
        if _is_quantity(one["items"] if many else one):
            example = QUANTITY_EXAMPLES.get(f"{component}.{name}") or QUANTITY_EXAMPLES[name]
            one["examples"] = [[example] if many else example]


def _is_quantity(schema: dict[str, Any]) -> bool:
    """Return whether a schema is that of a quantity of an answer, or null."""
    alternatives = [schema, *schema.get("allOf", []), *schema.get("oneOf", [])]
    references = [one["$ref"] for one in alternatives if "$ref" in one]
    others = [one for one in schema.get("oneOf", []) if "$ref" not in one and one != {"type": "null"}]
    return references == [QUANTITY["$ref"]] and not others


def _exemplify_body(operation: dict[str, Any], schemas: dict[str, Any]) -> None:
    """Give a JSON body its example."""
    for media_type, content in operation.get("requestBody", {}).get("content", {}).items():
        reference = content.get("schema", {}).get("$ref", "")
        if media_type == "application/json" and reference:
            value = _component_example(reference.rpartition("/")[2], schemas)
            content["examples"] = {"request": {"summary": operation["summary"], "value": value}}


def _component_example(component: str, schemas: dict[str, Any]) -> Any:
    """Return the example of a component: the known one, or of its required properties."""
    schema, known = schemas[component], COMPONENT_EXAMPLES.get(_base(component))
    if isinstance(known, dict):
        return known
    properties = schema.get("properties")
    if properties is None:
        return _example("", schema, schemas)
    names = [*schema.get("required", []), *(known or ())] or list(properties)[:1]
    return {name: _property_example(component, name, schemas) for name in dict.fromkeys(names)}


def _property_example(component: str, name: str, schemas: dict[str, Any]) -> Any:
    """Return an example of a property of a component."""
    own = PROPERTY_EXAMPLES.get(f"{_base(component)}.{name}")
    return own if own is not None else _example(name, schemas[component]["properties"][name], schemas)


def _example(name: str, schema: dict[str, Any], schemas: dict[str, Any]) -> Any:
    """Return an example of a property."""
    if "$ref" in schema:
        component = schema["$ref"].rpartition("/")[2]
        if "enum" in schemas[component]:
            choices = schemas[component]["enum"]
            return PROPERTY_EXAMPLES[name] if PROPERTY_EXAMPLES.get(name) in choices else choices[0]
        return _component_example(component, schemas)
    if name in PROPERTY_EXAMPLES:
        return PROPERTY_EXAMPLES[name]
    for key in ("oneOf", "anyOf", "allOf"):
        if key in schema:
            return _example(name, schema[key][0], schemas)
    if "examples" in schema:
        return schema["examples"][0]
    if "enum" in schema:
        return schema["enum"][0]
    return _plain_example(name, schema, schemas)


def _plain_example(name: str, schema: dict[str, Any], schemas: dict[str, Any]) -> Any:
    """Return an example of a property by its type and format."""
    kind = schema.get("type", "string")
    kind = kind[0] if isinstance(kind, list) else kind
    if kind == "array":
        return [_example("", schema["items"], schemas)]
    by_format = {
        "uuid": EXAMPLE_ID,
        "date-time": "2026-10-06T09:30:00+02:00",
        "date": "2026-10-06",
        "email": "technician@client.example",
    }
    by_type = {
        "boolean": True,
        "integer": schema.get("minimum", 1),
        "number": schema.get("minimum", 1.0),
        "object": {},
    }
    return by_type.get(kind, by_format.get(schema.get("format", ""), "Text"))
