"""Every rule has its line in the list of rules, and every line a place that names it."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

from noctuary.rule_list import every_rule

CODE = Path(__file__).parents[1] / "generator" / "noctuary"
# Which argument names the rule.
CALLS = {
    "fault": 1,
    "doubt": 1,
    "_problem": 3,
    "report": 1,
    "stop": 1,
    "wrong": 0,
    "_trouble": 0,
    "NotAQuantity": 2,
    "NotAClock": 0,
}


def rules_named() -> Iterator[tuple[str, str]]:
    """Rules named in calls that make a finding, with the file."""
    for path in sorted(CODE.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        constants = {
            node.targets[0].id: node.value
            for node in ast.walk(tree)
            if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name)
        }
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call):
                continue
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if called in CALLS and len(node.args) > CALLS[called]:
                for name in _texts(node.args[CALLS[called]], constants):
                    yield name, path.name


def _texts(node: ast.expr, constants: dict[str, ast.expr]) -> Iterator[str]:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.IfExp):
        yield from _texts(node.body, constants)
        yield from _texts(node.orelse, constants)
    elif isinstance(node, ast.Name) and isinstance(constants.get(node.id), ast.Constant):
        yield from _texts(constants[node.id], {})


def test_every_rule_that_the_code_names_is_listed() -> None:
    named = list(rules_named())
    assert len(named) > 60
    known = every_rule()
    assert sorted({f"{rule} in {file}" for rule, file in named if rule not in known}) == []


def test_every_rule_that_is_listed_is_named_somewhere() -> None:
    text = "".join(
        p.read_text(encoding="utf-8") for p in CODE.rglob("*.py") if p.name not in {"rules.py", "rule_list.py"}
    )
    # A name that is put together from a kind (unknown-camera) is one of a family.
    families = ("unknown-",)
    lost = [name for name in every_rule() if f'"{name}"' not in text and not name.startswith(families)]
    assert lost == []
