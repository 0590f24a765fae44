"""docs/themes.md lists every property that an archive may set in its extra.css, with the values of each theme."""

import re
from itertools import pairwise
from pathlib import Path

import pytest
from noctuary.build import build
from noctuary.pages.theme import themes_home

from tests.builders.many_pictures import write_archive

PAGE = (Path(__file__).parents[2] / "docs" / "themes.md").read_text(encoding="utf-8")
WINDOWS = {"from 60rem": "(min-width: 60rem)", "from 100rem": "(min-width: 100rem)"}
"""Media conditions of umbra's wider windows; each also keeps what the narrower ones set."""


def style_sheet(theme: str) -> str:
    return (themes_home() / theme / "styles" / f"{theme}.css").read_text(encoding="utf-8")


def properties(css: str, selector: str, condition: str = "") -> dict[str, str]:
    """What the first block of `selector` (below the media condition, if one is given) sets."""
    start = css.index(f"{selector} {{", css.index(f"@media {condition}") if condition else 0)
    return dict(re.findall(r"(--[\w-]+): ([^;]+);", css[start : css.index("}", start)]))


def listed(theme: str) -> dict[str, dict[str, str]]:
    """The section's tables: for each property the value in every column that has one."""
    section = re.split(r"^##+ ", PAGE.partition(f"### The properties of {theme}\n")[2], flags=re.M)[0]
    table: dict[str, dict[str, str]] = {}
    columns: list[str] = []
    for line in section.splitlines():
        cells = [cell.strip() for cell in line.strip("|").split(" | ")]
        if cells[0] == "property":
            columns = cells[2:]
        elif cells[0].startswith("`--"):
            assert cells[1], cells[0]
            values = [cell.strip("`") for cell in cells[2:]]
            table[cells[0].strip("`")] = dict(zip(columns, values, strict=True))
    return table


def defined(theme: str) -> dict[str, dict[str, str]]:
    """The theme's own values of each property, in the columns in which the page gives them."""
    css = style_sheet(theme)
    base = properties(css, ":root")
    if theme == "folio":
        grounds = {"day": base}
        grounds |= {name: base | properties(css, f':root[data-ground="{name}"]') for name in ("night", "red")}
        sizes = {"everywhere": base}
    else:
        grounds = {"night": base}
        grounds |= {name: properties(css, f':root[data-ground="{name}"]') for name in ("day", "red")}
        sizes = {"narrow": base}
        for narrower, wider in pairwise(["narrow", *WINDOWS]):
            sizes[wider] = sizes[narrower] | properties(css, ":root", WINDOWS[wider])
    return {
        name: {column: values[name] for column, values in (grounds if value.startswith("#") else sizes).items()}
        for name, value in base.items()
    }


@pytest.mark.parametrize("theme", ["umbra", "folio"])
def test_the_page_lists_every_property_of_the_theme_with_its_values(theme: str) -> None:
    assert listed(theme) == defined(theme)
    assert set(listed(theme)) == set(re.findall(r"(--[\w-]+):", style_sheet(theme)))


@pytest.mark.parametrize(("theme", "ground"), [("umbra", "day"), ("folio", "night")])
def test_a_ground_is_the_same_whether_chosen_or_asked_for_by_the_system(theme: str, ground: str) -> None:
    css = style_sheet(theme)
    assert properties(css, f':root[data-ground="{ground}"]') == properties(css, ":root:not([data-ground])")


@pytest.mark.slow
def test_the_example_sets_properties_that_exist_and_arrives_after_the_theme(tmp_path: Path) -> None:
    example = re.search(r"^    :root \{.*\n(?:    .*\n)+", PAGE, re.M)
    assert example is not None
    rules = re.sub(r"^    ", "", example[0], flags=re.M)
    names = set(re.findall(r"(--[\w-]+):", rules))
    assert names <= set(listed("umbra"))
    archive = write_archive(tmp_path / "archive", 1)
    (archive / "theme").mkdir()
    (archive / "theme" / "extra.css").write_text(rules, encoding="utf-8")
    outcome = build(archive, workers=1)
    assert outcome.built
    assert [str(f) for f in outcome.findings if f.mark.file.startswith("theme")] == []
    site = archive / "site"
    assert (site / "theme" / "extra.css").read_text(encoding="utf-8") == rules
    together = (site / "theme" / "styles" / "together.css").read_text(encoding="utf-8")
    assert all(re.search(rf"{name}:", together) and f"var({name})" in together for name in names)
    page = (site / "index.html").read_text(encoding="utf-8")
    assert page.index("theme/styles/together.css") < page.index("theme/extra.css") < page.index("</head>")
