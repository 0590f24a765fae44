"""The rules by which a readable record cannot be true (a fault) or is unlikely (a doubt).

One function a rule, registered in :data:`RULES` with its reason and an example, from which the reference is made; the
modules of :mod:`noctuary.facts.rules` hold them by subject, and each that lies there is read. A rule looks at a
:class:`Case` and yields sightings; it never prints and never changes anything. A doubt that its sidecar answers in
``accepted_doubts`` is no finding; a fault cannot be answered away.
"""

from __future__ import annotations

from datetime import date
from importlib import import_module
from pkgutil import iter_modules

from noctuary.archive.records import Archive
from noctuary.diagnostic import Diagnostic, in_order
from noctuary.facts import rules
from noctuary.facts.archive_facts import ArchiveFacts
from noctuary.facts.rules.rule import RULES, Case

__all__ = ["RULES", "judge"]

for _module in iter_modules(rules.__path__):
    import_module(f"{rules.__name__}.{_module.name}")


def judge(archive: Archive, facts: ArchiveFacts, today: date) -> list[Diagnostic]:
    """Everything that cannot be or is unlikely, in order; doubts that their sidecars answer are left out."""
    case = Case(archive, facts, today)
    findings = []
    for rule in RULES.values():
        for sighting in rule.sightings(case):
            answered = any(rule.name in picture.accepted_doubts for picture in sighting.answered_by)
            if rule.level == "fault" or not answered:
                findings.append(Diagnostic(sighting.mark, rule.level, rule.name, sighting.message, sighting.hint))
    return in_order(findings)
