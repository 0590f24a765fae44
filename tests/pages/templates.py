"""One macro of the theme by itself, so that what it says can be read for any facts."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from noctuary.pages.render import Renderer
from noctuary.pages.theme import theme_folders


@cache
def _renderer() -> Renderer:
    return Renderer(theme_folders(None, Path("no-archive-here")), "en")


def set_macro(template: str, macro: str, **values: Any) -> str:
    """What a macro of the default theme sets, narrow blanks as plain ones, without the line ends around it."""
    source = f'{{% from "{template}" import {macro} with context %}}{{{{ {macro}({", ".join(values)}) }}}}'
    text = _renderer().environment.from_string(source).render(values)
    return text.replace("\u202f", " ").strip("\n")
