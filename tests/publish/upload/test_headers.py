"""What a server is told about a file: its kind of content, by the standard that names it."""

from __future__ import annotations

import pytest
from noctuary.publish.upload.headers import content_type


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("data/coverage.fits", "application/fits"),  # RFC 4047
        ("data/placements/ring.wcs", "application/fits"),
        ("data/acquisition.vot", "application/x-votable+xml"),  # VOTable 1.4, section 8
        ("data/iiif/collection.json", "application/json"),  # IIIF Presentation 3.0, section 6.2
        ("feed.xml", "application/atom+xml"),  # RFC 4287
        ("targets/m-31.html", "text/html; charset=utf-8"),
        ("unknown", "application/octet-stream"),
    ],
)
def test_a_file_is_served_as_what_it_is(name: str, kind: str) -> None:
    assert content_type(name) == kind
