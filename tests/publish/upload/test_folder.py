"""A plain folder as a destination."""

import pytest
from noctuary.archive.upload_address import read_address
from noctuary.publish.upload.folder import destination

from tests.publish.upload.every_kind import *  # noqa: F403


@pytest.fixture(params=range(0, 60, 1))
def step(request):
    return request.param


@pytest.fixture
def to(tmp_path):
    (tmp_path / "archive").mkdir()
    return destination(read_address(str(tmp_path / "stick" )), tmp_path / "archive")
