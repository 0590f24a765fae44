"""The page that a host shows where nothing lies leads back from any depth."""

import re
from pathlib import Path
from urllib.parse import urljoin

import pytest
from noctuary.archive.starter import begin
from noctuary.build import build


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("absent") / "nights"
    begin(folder)
    return folder


@pytest.mark.parametrize(
    ("address", "host", "top"),
    [("https://example.org/astro/", "https://example.org", "/astro/"), (None, "https://other.example", "/")],
)
def test_it_leads_back_from_any_depth(archive: Path, address: str | None, host: str, top: str) -> None:
    written = archive / "archive.yaml"
    text = re.sub(r"(?m)^address:.*\n", "", written.read_text(encoding="utf-8"))
    written.write_text(text + (f"\naddress: {address}\n" if address else ""), encoding="utf-8")
    assert build(archive).built
    html = (archive / "site" / "404.html").read_text(encoding="utf-8")
    links = [link for link in re.findall(r'(?:href|src)="([^"]*)"', html) if not link.startswith("#")]
    assert links
    for asked in ("no.html", "pictures/no.html", "a/b/c/d/no.html"):
        for link in links:
            there = urljoin(f"{host}{top}{asked}", link)
            assert there.startswith(f"{host}{top}"), link
            file = archive / "site" / there.removeprefix(f"{host}{top}").partition("#")[0]
            assert file.is_file(), link
    assert '<meta name="robots" content="noindex">' in html
    assert 'href="#content"' in html
