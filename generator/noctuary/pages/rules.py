"""The rules of names, placements and the published site."""

from __future__ import annotations

RULES: dict[str, str] = {
    "address-changed": "The site was published under another address than the one it has now (a doubt).",
    "address-gone": "A picture was published, and nothing leads on from its address (a doubt).",
    "cache": "What a build learned cannot be kept for the next one (a doubt).",
    "dead-link": "A link in a text leads to a page that the site does not have (a doubt).",
    "disk": "A file cannot be read or written: a full disk, a folder that may not be written to.",
    "embedded-placement": "The placement embedded in a picture cannot be used and was passed over (a doubt).",
    "executor": "The executor of `--executor` cannot be reached.",
    "picture-in-text": "A picture in a text is left out: texts hold words alone (a doubt).",
    "placement": "A placement's header cannot be used: no celestial axes, another picture's size, a singular matrix.",
    "publish": "The output folder holds files that no build made, or another build is at work.",
    "template": "A template of the theme has a mistake in it, or reaches for what a template may not have.",
    "text-as-typed": (
        "A text is too long, or has too many open brackets, to be read as Markdown, and is shown as typed (a doubt)."
    ),
    "theme-file": "theme.yaml names a file that the theme does not have.",
    "theme-name": "A file of the archive's theme is published under a name that some system cannot hold (a doubt).",
    "theme-replaces": (
        "A style sheet of the archive's theme stands in for a much larger one, the rest of which is lost (a doubt)."
    ),
    "theme-unused": "A file of the archive's theme stands in for nothing, and nothing asks for it (a doubt).",
    "unknown-object": (
        "No catalogue and no entry of objects.yaml knows an object by this name: it has its page, without facts that "
        "need a place (a doubt)."
    ),
    "unknown-theme": "There is no theme of this name and no such folder.",
    "unreadable": "A file of the archive cannot be read.",
}
