"""What a server with folders adds to :mod:`tests.publish.upload.every_kind`; drawn in by such kinds.

A module that uses this gives the fixtures ``server``, with the folder of its ``files``, and ``to``, which lead to
``space``.
"""

from __future__ import annotations

from itertools import count

import pytest

from tests.publish.upload.tiny_site import tiny_site, uploaded

_NUMBERS = count()


@pytest.fixture
def space(server):
    """A folder of the server, two deep, that is not there yet."""
    return server.files / f"web {next(_NUMBERS)}" / "site"


@pytest.fixture(params=[9, 17, 25])
def step(request):
    """After how many changes an upload is cut off."""
    return request.param


def test_the_servers_folder_holds_the_files_as_they_are(tmp_path, to, space):
    files = tiny_site()
    uploaded(tmp_path / "archive", files, to)
    held = {p.relative_to(space).as_posix(): p.read_bytes() for p in space.rglob("*") if p.is_file()}
    assert {name: data for name, data in held.items() if not name.startswith(".")} == files
    assert {name for name in held if name.startswith(".")} == {".noctuary-upload.json"}
