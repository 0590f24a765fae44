"""Every rule by which a fault or a doubt can be named, with its meaning: what docs/rules.md is made from."""

from __future__ import annotations

from collections.abc import Mapping

from noctuary.archive.rules import RULES as FORM
from noctuary.archive.rules import RULES_OF_GATHERING
from noctuary.facts.plausibility import RULES as PLAUSIBILITY
from noctuary.images.rules import RULES as PICTURES
from noctuary.pages.rules import RULES as SITE

#: Tables by their titles.
TABLES: Mapping[str, Mapping[str, str]] = {
    "Whether a record can be read": FORM,
    "Pictures": PICTURES,
    "Names, places on the sky, the site": SITE,
    "Gathering, adopting and placing": RULES_OF_GATHERING,
}


def every_rule() -> dict[str, str]:
    """All rules by name, with what each means."""
    found = {name: rule.reason for name, rule in PLAUSIBILITY.items()}
    for table in TABLES.values():
        found |= table
    return found
