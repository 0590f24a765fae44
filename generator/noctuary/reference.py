"""The references in ``docs/``, made from the code: keys, commands, rules, what templates receive.

``python -m noctuary.reference`` writes them anew between their marks; a test fails while text and code differ.
"""

from __future__ import annotations

import dataclasses
import importlib
import pkgutil
import re
from collections.abc import Iterator
from pathlib import Path

import click

from noctuary import pages
from noctuary.archive.declaration import Declared, Keys, declared_keys, records_in
from noctuary.archive.keys import MODELS
from noctuary.cli import noctuary
from noctuary.facts.plausibility import RULES
from noctuary.rule_list import TABLES

TITLES = {
    "archive": "archive.yaml",
    "equipment": "equipment.yaml",
    "places": "places.yaml (by name)",
    "objects": "objects.yaml (by name)",
    "sidecar": "pictures/**/NAME.yaml, the sidecar",
    "night": "nights/YYYY-MM-DD.md, front matter",
    "exhibit": "exhibits/NAME.yaml",
    "page": "pages/NAME.md, front matter",
}


def keys() -> str:
    """A table for every kind of record and every mapping inside one, in Markdown."""
    parts = []
    for name, model in MODELS.items():
        rows = [row for record in records_in(model) for row in _rows(record, "")]
        parts.append(f"## {TITLES[name]}\n\n| key | meaning | default |\n|---|---|---|\n{''.join(rows)}\n")
    return "\n".join(parts)


def _rows(record: type[Keys], prefix: str) -> Iterator[str]:
    for name, declared in declared_keys(record).items():
        yield f"| `{prefix}{name}` | {declared.meaning} | {_default(declared)} |\n"
        for inner in declared.inside:
            yield from _rows(inner, f"{prefix}{name}.{'NAME.' if declared.by_name else ''}")


def _default(declared: Declared) -> str:
    if declared.required:
        return "required"
    default = declared.default
    if default in (None, (), dataclasses.MISSING):
        return "–"
    if isinstance(default, bool):
        return "yes" if default else "no"
    return f"`{default:g}`" if isinstance(default, float) else f"`{default}`"


def commands() -> str:
    """Every command with its arguments, options, help and example, in Markdown."""
    parts = []
    for name, command in noctuary.commands.items():
        context = click.Context(command, info_name=f"noctuary {name}")
        usage = " ".join(command.collect_usage_pieces(context))
        text = " ".join((command.help or "").split())
        text = re.sub(r"Example: (.*)$", r"\n\n    \1\n", text)
        parts.append(f"## `noctuary {name} {usage}`\n\n{text}\n")
        rows = [
            (", ".join(p.opts), p.make_metavar(context) if not p.is_flag else "", p.help or "")
            for p in command.params
            if isinstance(p, click.Option)
        ]
        if rows:
            parts.append("| option | meaning |\n|---|---|")
            parts += [
                f"| `{f'{opts} {metavar}'.strip().replace('|', chr(92) + '|')}` | {text} |"
                for opts, metavar, text in rows
            ]
            parts.append("")
    return "\n".join(parts)


def rules() -> str:
    """Every rule with its level, reason and source, in Markdown."""
    lines = [
        "## Whether a record is likely\n",
        "| rule | level | reason | example | source |",
        "|---|---|---|---|---|",
    ]
    for rule in sorted(RULES.values(), key=lambda r: (r.level != "fault", r.name)):
        cells = (f"`{rule.name}`", rule.level, rule.reason, rule.example, rule.source or "–")
        lines.append("| " + " | ".join(_cell(c) for c in cells) + " |")
    for title, table in TABLES.items():
        lines += [f"\n## {title}\n", "| rule | meaning |", "|---|---|"]
        lines += [f"| `{name}` | {_cell(meaning)} |" for name, meaning in sorted(table.items())]
    return "\n".join(lines) + "\n"


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


def contexts() -> str:
    """Every page's context with its fields, in Markdown: what a theme's templates receive."""
    lines = []
    for module in sorted(info.name for info in pkgutil.iter_modules(pages.__path__)):
        loaded = importlib.import_module(f"noctuary.pages.{module}")
        for name, kind in sorted(vars(loaded).items()):
            if not (name.endswith("Context") and isinstance(kind, type) and kind.__module__ == loaded.__name__):
                continue
            lines.append(f"**`{name}`** (`generator/noctuary/pages/{module}.py`): {_cell(kind.__doc__ or '')}\n")
            lines.append("| field | type |\n|---|---|")
            lines += [
                f"| `{f.name}` | `{str(f.type).replace('|', chr(92) + '|')}` |" for f in dataclasses.fields(kind)
            ]
            lines.append("")
    return "\n".join(lines)


PARTS = {"keys": keys, "commands": commands, "rules": rules, "contexts": contexts}


def with_reference(text: str) -> str:
    """A text with what is between its marks made anew."""
    for name, make in PARTS.items():
        begin, end = f"<!-- {name} -->\n", f"<!-- end of {name} -->"
        before, found, rest = text.partition(begin)
        if found:
            _, closed, after = rest.partition(end)
            if not closed:
                raise ValueError(f"the mark {name} is not closed")
            text = f"{before}{begin}\n{make()}\n{end}{after}"
    return text


if __name__ == "__main__":
    for path in sorted((Path(__file__).resolve().parents[2] / "docs").glob("*.md")):
        path.write_text(with_reference(path.read_text(encoding="utf-8")), encoding="utf-8")
