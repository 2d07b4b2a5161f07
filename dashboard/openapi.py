"""The description of the API, OpenAPI 3.1."""

from __future__ import annotations

from typing import Any

_NUMBER = {"type": "number"}
_TEXT = {"type": "string"}
_PROBLEM = {
    "description": "an RFC 9457 problem document",
    "content": {"application/problem+json": {"schema": {"type": "object"}}},
}


def _get(summary: str, parameters: list[dict[str, Any]] | None = None) -> dict[str, Any]:
    return {
        "summary": summary,
        "parameters": parameters or [],
        "responses": {"200": _json("found"), "404": _PROBLEM, "422": _PROBLEM},
    }


def _post(
    summary: str, properties: dict[str, Any], needed: list[str], status: str
) -> dict[str, Any]:
    schema = {"type": "object", "properties": properties, "required": needed}
    return {
        "summary": summary,
        "requestBody": {"required": True, "content": {"application/json": {"schema": schema}}},
        "responses": {
            status: _json("done"),
            "400": _PROBLEM,
            "404": _PROBLEM,
            "422": _PROBLEM,
        },
    }


def _upload() -> dict[str, Any]:
    kinds = ("image/jpeg", "image/png", "image/webp")
    return {
        "summary": "put a photo beside a mark; it is made smaller and loses its metadata",
        "requestBody": {
            "required": True,
            "content": {kind: {"schema": {"type": "string", "format": "binary"}} for kind in kinds},
        },
        "responses": {
            "201": _json("kept"),
            "404": _PROBLEM,
            "413": _PROBLEM,
            "422": _PROBLEM,
        },
    }


def _json(words: str) -> dict[str, Any]:
    return {"description": words, "content": {"application/json": {"schema": {}}}}


def _query(name: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"name": name, "in": "query", "required": False, "schema": schema}


def _numbered(path: dict[str, Any]) -> dict[str, Any]:
    number = {"name": "number", "in": "path", "required": True, "schema": {"type": "integer"}}
    return {"parameters": [number], **path}


def document() -> dict[str, Any]:
    """The whole description."""
    sizes = {
        "depth_mm": _NUMBER,
        "area_cm2": _NUMBER,
        "volume_ml": _NUMBER,
        "base": {"enum": ["wood", "silicone", "glass"]},
        "poured_at": _NUMBER,
    }
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "Pourside",
            "version": "1",
            "description": "Times are seconds since 1970, UTC; temperatures Celsius.",
        },
        "paths": {
            "/api/v1/now": {"get": _get("the bench in a few numbers")},
            "/api/v1/sensors": {"get": _get("every sensor")},
            "/api/v1/readings": {
                "get": _get(
                    "a span of one sensor; peaks survive",
                    [
                        _query("sensor", _TEXT),
                        _query("from", _NUMBER),
                        _query("to", _NUMBER),
                        _query("points", {"type": "integer", "minimum": 1, "maximum": 2000}),
                    ],
                )
            },
            "/api/v1/refusals": {"get": _get("what was not believed, by reason")},
            "/api/v1/resins": {
                "get": _get("the shelf"),
                "post": _post(
                    "add a resin; stage times in hours as stage_<key>",
                    {"name": _TEXT, "kind": _TEXT, "ref_temp_c": _NUMBER},
                    ["name", "ref_temp_c"],
                    "201",
                ),
            },
            "/api/v1/pieces": {
                "get": _get("pieces, newest first"),
                "post": _post("start a piece", {"name": _TEXT, "note": _TEXT}, ["name"], "201"),
            },
            "/api/v1/pieces/{number}/layers": _numbered(
                {"post": _post("start a layer", {"resin": _TEXT, **sizes}, ["resin"], "201")}
            ),
            "/api/v1/layers/{number}/marks": _numbered(
                {
                    "get": _get("a layer's marks, each with where its photos are"),
                    "post": _post(
                        "log a mark",
                        {"kind": _TEXT, "at": _NUMBER, "verdict": _TEXT, "note": _TEXT},
                        ["kind"],
                        "201",
                    ),
                }
            ),
            "/api/v1/marks/{number}/photos": _numbered({"post": _upload()}),
            "/api/v1/layers/{number}/outlook": _numbered(
                {"get": _get("what the monitor believes of a layer")}
            ),
            "/api/v1/alarms": {"get": _get("every alarm")},
            "/api/v1/alarms/{number}/acknowledge": _numbered(
                {
                    "post": {
                        "summary": "say that somebody knows",
                        "responses": {"202": _json("asked"), "404": _PROBLEM},
                    }
                }
            ),
            "/api/v1/plans": {
                "get": _get("plans of the pieces on the bench: recipe, wishes, what is done, acts")
            },
            "/api/v1/bottles": {
                "get": _get("bottles with what is left in each, in ml; `old` where hardener slows")
            },
            "/api/v1/preview": {
                "post": _post("what a pour would do", {"resin": _TEXT, **sizes}, ["resin"], "200")
            },
        },
    }
