"""The JSON Schemas that editors complete and check keys with say of a record what the reader says of it.

Judged by a validator of JSON Schema, draft 2020-12 (json-schema.org).
"""

from __future__ import annotations

from typing import Any

import pytest
import yaml
from jsonschema import Draft202012Validator
from noctuary.archive.schema import SCHEMAS, schema_text

# What an editor checks are the values as YAML has them: numbers, and dates as the text that was written.
_Loader = type("_Loader", (yaml.SafeLoader,), {})
_Loader.yaml_implicit_resolvers = {  # type: ignore[attr-defined]
    letter: [pair for pair in pairs if pair[0] != "tag:yaml.org,2002:timestamp"]
    for letter, pairs in yaml.SafeLoader.yaml_implicit_resolvers.items()
}


def accepted(name: str, text: str) -> bool:
    value: Any = yaml.load(text, _Loader)
    schema = yaml.safe_load(schema_text(name))
    return Draft202012Validator(schema).is_valid(value)


@pytest.mark.parametrize("name", SCHEMAS)
def test_every_schema_is_one(name: str) -> None:
    Draft202012Validator.check_schema(yaml.safe_load(schema_text(name)))


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("sidecar", "{title: Old, finished: 2009}"),
        ("sidecar", "{title: Old, finished: 2009-09, objects: M 51, tags: spring}"),
        ("sidecar", "{title: Old, finished: 2009-09-14, objects: [M 51, M 52], builds_on: older}"),
        ("sidecar", "{title: Old, finished: 2009, sessions: [{night: 2009-09-14}]}"),
        ("sidecar", "{title: Old, finished: 2009, sessions: [{night: 2009-09-15, integration: 3 h}]}"),
        ("equipment", "cameras:\n  old compact:\nrigs:\n  compact: {camera: old compact}\n  other:\n"),
        ("places", "home: {latitude: 51d12m N, longitude: -3.1, time_zone: Europe/London, publish: hidden}"),
        ("archive", "{title: T, author: A, gone: first-light}"),
        ("exhibit", "{title: T, pictures: rosette}"),
    ],
)
def test_what_the_reader_takes_an_editor_takes(name: str, text: str) -> None:
    assert accepted(name, text)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("sidecar", "{title: Old}"),
        ("sidecar", "{title: Old, finished: 20xx}"),
        ("sidecar", "{title: Old, finished: 2009, panels: [a], builds_on: [b]}"),
        ("sidecar", "{title: Old, finished: 2009, sessions: [{night: 2009-09-14, integration: 1 h, "
         "frames: [{exposure: 60 s, kept: 3}]}]}"),
        ("places", "home: {latitude: 51.2, longitude: -3.1, time_zone: Europe/London, publish: secret}"),
    ],
)  # fmt: skip
def test_what_the_reader_refuses_an_editor_marks(name: str, text: str) -> None:
    assert not accepted(name, text)
