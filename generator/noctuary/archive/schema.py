"""JSON Schemas of what a person writes, for editors that complete keys.

``python -m noctuary.archive.schema`` writes them beside this module from the models in
:mod:`noctuary.archive.keys`; they are shipped, so that an archive gets them without pydantic.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from noctuary.files import remove_remains, write_whole

_SHIPPED = Path(__file__).parent / "schemas"
SCHEMAS = ("archive", "equipment", "places", "objects", "sidecar", "exhibit", "night", "page")


def write_schemas(folder: Path) -> list[Path]:
    """Put the schemas into an archive's ``.noctuary/schemas/``; what is there already is left alone."""
    target = folder / ".noctuary" / "schemas"
    target.mkdir(parents=True, exist_ok=True)
    written = []
    for name in SCHEMAS:
        content = (_SHIPPED / f"{name}.json").read_bytes()
        path = target / f"{name}.json"
        if not path.is_file() or path.read_bytes() != content:
            write_whole(path, content)
            remove_remains(path)
            written.append(path)
    return written


def schema_text(name: str) -> str:
    """The JSON Schema of one kind of record, as it is shipped."""
    from pydantic import TypeAdapter

    from noctuary.archive.keys import MODELS

    schema: dict[str, Any] = TypeAdapter(MODELS[name]).json_schema()
    for part in (schema, *schema.get("$defs", {}).values()):
        part.pop("title", None)
        for inner in part.get("properties", {}).values():
            inner.pop("title", None)
    schema = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": f"noctuary: {name}", **schema}
    return json.dumps(schema, indent=1, ensure_ascii=False, sort_keys=True) + "\n"


def main() -> None:
    _SHIPPED.mkdir(exist_ok=True)
    for name in SCHEMAS:
        (_SHIPPED / f"{name}.json").write_text(schema_text(name), encoding="utf-8")


if __name__ == "__main__":
    main()
