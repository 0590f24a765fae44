"""What is said to a person when something cannot be done."""

from __future__ import annotations


class NoctuaryError(Exception):
    """An error for a person to read: what is wrong, what to do instead, and the rule that has a name for it.

    ``rule`` and ``hint`` are empty where the message says all. A class whose errors are all of one rule names it.
    """

    rule = ""

    def __init__(self, message: str, hint: str = "", rule: str = "") -> None:
        super().__init__(message, hint, rule)
        self.message = message
        self.hint = hint
        self.rule = rule or self.rule

    def __str__(self) -> str:
        return f"{self.message}; {self.hint}" if self.hint else self.message
