"""The words of the themes in other languages: nothing missing in German, English by itself, right to left safe."""

import importlib.util
import re
import shutil
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from babel import Locale
from noctuary.build import build
from noctuary.pages.languages import BadCatalogue, read_catalogue, translations
from noctuary.pages.render import Renderer
from noctuary.pages.theme import theme_folders, themes_home
from noctuary.pages.typography import Typography

from tests.builders.one_of_everything import set_pages

ROOT = Path(__file__).parents[2]
NOWHERE = Path("no-archive-here")
#: What marks the places that a message leaves open.
PLACES = re.compile(r"%\(\w+\)s|\{\w+\}")


def _gather_words():
    path = themes_home() / "umbra" / "languages" / "gather_words.py"
    spec = importlib.util.spec_from_file_location("gather_words", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


GATHER = _gather_words()
THEMES = sorted(p.parent.name for p in themes_home().glob("*/templates"))


def _strings(message: Any) -> tuple[str, ...]:
    return message.string if isinstance(message.string, tuple) else (message.string,)


@pytest.mark.parametrize("theme", THEMES)
def test_every_message_has_its_german(theme):
    said = GATHER.gathered(theme)
    file = themes_home() / theme / "languages" / "de.po"
    catalogue: Any = read_catalogue(file) if file.is_file() else {}
    missing = []
    for context, message in said:
        known = catalogue.get(message, context) if catalogue else None
        if known is None or known.fuzzy or not all(_strings(known)):
            missing.append(message)
    assert missing == [], "run themes/umbra/languages/gather_words.py and write what is new"


@pytest.mark.parametrize("file", sorted(themes_home().glob("*/languages/*.po")), ids=lambda p: p.parts[-3] + p.stem)
def test_a_translation_leaves_the_same_places_open_and_none_is_stale(file):
    said = {message for _, message in GATHER.gathered(file.parts[-3])}
    message: Any
    for message in read_catalogue(file):
        if message.id:
            assert message.id in said, f"{message.id!r} is said nowhere any more"
            ours = message.id if isinstance(message.id, tuple) else (message.id,)
            for there in filter(None, _strings(message)):
                # A singular may write the number out.
                assert set(PLACES.findall(there)) <= set(PLACES.findall(" ".join(ours))), message.id
                assert set(PLACES.findall(ours[0])) <= set(PLACES.findall(there)) | {"%(num)s"}, message.id


def test_plurals_follow_the_language_and_not_english():
    """Polish has three forms (Unicode CLDR, plural rules of cardinals: 1; 2–4; 0 and 5–21)."""
    assert Locale("pl").plural_form(1) == "one"
    words = translations(theme_folders(None, NOWHERE), "de")
    assert words.ngettext("one flat", "%(num)s flats", 1) == "ein Hellbild"
    assert words.ngettext("one flat", "%(num)s flats", 0) == "%(num)s Hellbilder"


def test_three_plural_forms_of_an_archive_s_own_language(tmp_path):
    folder = tmp_path / "languages"
    folder.mkdir()
    (folder / "pl.po").write_text(
        'msgid ""\nmsgstr ""\n"Content-Type: text/plain; charset=utf-8\\n"\n'
        '"Plural-Forms: nplurals=3; plural=(n==1 ? 0 : n%10>=2 && n%10<=4 && (n%100<12 || n%100>14) ? 1 : 2);\\n"\n\n'
        'msgid "one flat"\nmsgid_plural "%(num)s flats"\nmsgstr[0] "a"\nmsgstr[1] "b"\nmsgstr[2] "c"\n',
        encoding="utf-8",
    )
    words = translations((tmp_path, themes_home() / "umbra"), "pl")
    said = [words.ngettext("one flat", "%(num)s flats", n) for n in (1, 2, 5, 22, 25)]
    assert said == ["a", "b", "c", "b", "c"]


def test_an_archive_s_own_words_come_first_and_a_region_before_its_language(tmp_path):
    (tmp_path / "languages").mkdir()
    for name, word in (("de", "Plätze"), ("de-AT", "Plätzchen")):
        (tmp_path / "languages" / f"{name}.po").write_text(f'msgid "Place"\nmsgstr "{word}"\n', encoding="utf-8")
    folders = (tmp_path, themes_home() / "umbra")
    assert translations(folders, "de").gettext("Place") == "Plätze"
    assert translations(folders, "de_AT").gettext("Place") == "Plätzchen"
    assert translations(folders, "de-AT").gettext("Night") == "Nacht"
    assert translations(folders, "fr").gettext("Night") == "Night"


def test_a_catalogue_that_cannot_be_read_says_where(tmp_path):
    (tmp_path / "languages").mkdir()
    (tmp_path / "languages" / "de.po").write_text('msgid "Place"\nmsgstr "Ort"\n\nplainly wrong\n', encoding="utf-8")
    with pytest.raises(BadCatalogue) as told:
        translations((tmp_path,), "de")
    assert (told.value.file.name, told.value.line) == ("de.po", 4)


def test_a_translation_that_leaves_another_place_open_is_refused(tmp_path):
    (tmp_path / "languages").mkdir()
    wrong = 'msgid "from %(places)s"\nmsgstr "aus %(orte)s"\n'
    (tmp_path / "languages" / "de.po").write_text(wrong, encoding="utf-8")
    with pytest.raises(BadCatalogue, match="orte"):
        translations((tmp_path,), "de")


def test_one_singular_has_one_plural():
    """gettext finds a plural by its singular: two plurals of one would be mixed up."""
    plurals: dict[tuple, set] = {}
    for theme in THEMES:
        for context, message in GATHER.gathered(theme):
            if isinstance(message, tuple):
                plurals.setdefault((context, message[0]), set()).add(message)
    assert [several for several in plurals.values() if len(several) > 1] == []


@pytest.mark.parametrize("file", sorted(themes_home().glob("*/templates/*.html")), ids=lambda p: p.parts[-3] + p.stem)
def test_what_is_counted_comes_first(file):
    """The first variable of a ``trans`` chooses between singular and plural."""
    counted = r"\{%-?\s*trans\s+([^%]*?)%\}(?:(?!\{%).)*\{%-?\s*pluralize\s*-?%\}"
    for first in re.findall(counted, file.read_text(encoding="utf-8")):
        assert first.startswith("count="), first


def test_dates_and_numbers_are_the_language_s():
    """Unicode CLDR: German dates and number symbols."""
    german = Typography("de")
    assert german.date(date(2025, 1, 18)) == "18. Januar 2025"
    assert german.number(12345.6, 1) == "12.345,6"
    words = translations(theme_folders(None, NOWHERE), "de")
    assert Typography("de", words.gettext, words.ngettext).spread(-3, 4, "°") == "−3° bis 4°"


@pytest.mark.parametrize(("language", "direction"), [("ar", "rtl"), ("he", "rtl"), ("en", "ltr"), ("de", "ltr")])
def test_a_language_without_a_catalogue_speaks_english_in_its_own_direction(language, direction):
    renderer = Renderer(theme_folders(None, NOWHERE), language)
    pages = [p for p in set_pages() if p.path in ("index.html", "targets.html", "nights/2025-01-18.html")]
    for page in pages:
        html = renderer.render(page)
        assert f'dir="{direction}"' in html
        assert (">To the content<" in html) is (language != "de")


#: Sides of a page that stay where they are in either direction: where something is measured, not read.
PHYSICAL = re.compile(
    r"(?<![-\w])(?:margin|padding|border)-(?:left|right)\s*:|text-align\s*:\s*(?:left|right)|float\s*:\s*(?:left|right)"
)


@pytest.mark.parametrize("sheet", sorted(themes_home().glob("*/styles/*.css")), ids=lambda p: p.parts[-3] + p.name)
def test_styles_follow_the_direction_of_the_text(sheet):
    assert PHYSICAL.findall(sheet.read_text(encoding="utf-8")) == []


@pytest.mark.slow
def test_a_german_archive_builds_in_german(tmp_path):
    folder = tmp_path / "archive"
    left_out = shutil.ignore_patterns("site", ".noctuary*", "pictures", "nights", "exhibits")
    shutil.copytree(ROOT / "content_demo", folder, ignore=left_out)
    for kept in ("m13-2024.jpg", "m13-2024.yaml"):
        (folder / "pictures").mkdir(exist_ok=True)
        shutil.copy(ROOT / "content_demo" / "pictures" / kept, folder / "pictures")
    described = (folder / "archive.yaml").read_text(encoding="utf-8")
    described = re.sub(r"(?m)^language:.*\n", "", described) + "\nlanguage: de\n"
    (folder / "archive.yaml").write_text(described, encoding="utf-8")
    outcome = build(folder, workers=1)
    assert outcome.built, [f.message for f in outcome.findings]
    page = (outcome.out / "pictures" / "m13-2024.html").read_text(encoding="utf-8")
    assert '<html lang="de" dir="ltr">' in page
    for word in ("Zum Inhalt", "Ausrüstung", "Aufnahme", "Kugelsternhaufen", "Rektaszension", "Hercules"):
        assert word in page
    for word in ("To the content", "Right ascension", "Acquisition<", ">globular cluster", "Equipment"):
        assert word not in page


@pytest.mark.parametrize("language", ["ar", "he"])
def test_a_quantity_keeps_its_order_on_a_page_from_right_to_left(language):
    """Unicode Standard Annex 9: what is between U+2066 and U+2069 runs from left to right by itself."""
    said = Typography(language).filters
    assert said["unit"](480, "mm") == "\u2066480\u202fmm\u2069"
    assert said["declination"](-2.45)[0] == said["f_ratio"](2.8)[0] == said["spread"](34, 41, "°")[0] == "\u2066"
    assert said["number"](None) == "—"
    assert Typography("en").filters["unit"](480, "mm") == "480\u202fmm"
