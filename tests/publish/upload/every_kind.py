"""What must hold at every kind of destination; each kind's own test module draws these in with a real server.

A module that uses them gives the fixture ``to``: a destination that is empty.
"""

from __future__ import annotations

import pytest
from noctuary.publish.upload.connection import UploadError
from noctuary.publish.upload.listing import NAME

from tests.publish.upload.tiny_site import Killed, Tally, archived, counted, dead_links, lying, tiny_site, uploaded


def test_what_lies_there_is_the_site_byte_for_byte(tmp_path, to):
    files = tiny_site()
    uploaded(tmp_path / "archive", files, to)
    assert lying(to.connect()) == files


def test_a_second_upload_sends_nothing(tmp_path, to):
    files = tiny_site()
    uploaded(tmp_path / "archive", files, to)
    tally = Tally()
    report = uploaded(tmp_path / "archive", files, counted(to, tally))
    assert (report.send, report.remove, tally.changes) == ((), (), [])
    assert len(tally.asked) <= 2


def test_an_edited_title_sends_pages_and_no_picture(tmp_path, to):
    uploaded(tmp_path / "archive", tiny_site(), to)
    files = tiny_site(title="Three skies")
    report = uploaded(tmp_path / "archive", files, to)
    sent = {file.name for file in report.send}
    assert sent == {name for name in files if name.endswith(".html")}
    assert lying(to.connect()) == files


def test_what_the_site_lost_goes_with_its_folders(tmp_path, to):
    uploaded(tmp_path / "archive", tiny_site(), to)
    files = tiny_site(["rosette", "veil"])
    report = uploaded(tmp_path / "archive", files, to)
    assert "pictures/andromeda.html" in report.remove
    connection = to.connect()
    assert lying(connection) == files
    assert not [folder for folder in connection.look("images").folders if folder.startswith("andromeda")]


def test_names_are_found_again_when_the_cache_is_lost(tmp_path, to):
    uploaded(tmp_path / "archive", tiny_site(), to)
    files = tiny_site(["veil"])
    uploaded(tmp_path / "archive of another computer", files, to)
    assert lying(to.connect()) == files


def test_what_others_put_there_stays(tmp_path, to):
    from noctuary.publish.upload.connection import Body

    connection = to.connect()
    for name in ("notes.txt", "pictures/mine.html"):
        connection.write(Body(name, 5, b"mine!"))
    uploaded(tmp_path / "archive", tiny_site(), to)
    uploaded(tmp_path / "archive", tiny_site(["veil"]), to)
    assert connection.read("notes.txt") == b"mine!"
    assert connection.read("pictures/mine.html") == b"mine!"


def test_what_others_put_in_the_way_is_written_over_only_when_asked(tmp_path, to):
    from noctuary.publish.upload.connection import Body

    connection = to.connect()
    connection.write(Body("index.html", 5, b"mine!"))
    with pytest.raises(UploadError, match=r"index\.html"):
        uploaded(tmp_path / "archive", tiny_site(), to)
    assert connection.read("index.html") == b"mine!"
    files = tiny_site()
    uploaded(tmp_path / "archive", files, to, replace=True)
    assert lying(to.connect()) == files


def test_another_archives_site_is_refused(tmp_path, to):
    from noctuary.publish.upload.upload import Choices, upload_files

    from tests.publish.upload.tiny_site import built, where

    files = tiny_site()
    uploaded(tmp_path / "archive", files, to)
    other = archived(tmp_path / "other", title="Not mine", author="Somebody", address="https://else.example.org/")
    site = built(tmp_path / "other", tiny_site(["veil"]))
    with pytest.raises(UploadError, match="another archive"):
        upload_files(other, site, where("sftp://somewhere/site"), to, Choices())
    assert lying(to.connect()) == files


def test_a_site_copied_there_by_hand_is_taken_over(tmp_path, to):
    from noctuary.publish.upload.connection import Body

    files = tiny_site()
    connection = to.connect()
    for name, data in files.items():
        connection.write(Body(name, len(data), data))
    report = uploaded(tmp_path / "archive", files, to)
    assert report.send == ()
    assert connection.read(NAME) is not None


def test_verify_finds_what_was_changed_there(tmp_path, to):
    from noctuary.publish.upload.connection import Body

    files = tiny_site()
    uploaded(tmp_path / "archive", files, to)
    spoilt = files["pictures/veil.html"].replace(b"words", b"swears", 1).replace(b"words", b"word", 1)
    assert len(spoilt) == len(files["pictures/veil.html"])
    to.connect().write(Body("pictures/veil.html", len(spoilt), spoilt))
    report = uploaded(tmp_path / "archive", files, to, verify=True)
    assert [file.name for file in report.send] == ["pictures/veil.html"]
    assert lying(to.connect()) == files


@pytest.mark.slow
def test_cut_off_after_any_step_every_link_holds_and_the_next_upload_goes_on(tmp_path, to, step):
    """First a whole site, then a change that adds, edits and removes, each cut off after ``step`` changes."""
    archive = tmp_path / "archive"
    for files in (tiny_site(["rosette", "veil"]), tiny_site(["veil", "andromeda", "m13"], title="Three skies")):
        tally = Tally(step)
        try:
            uploaded(archive, files, counted(to, tally))
        except Killed:
            there = lying(to.connect())
            assert dead_links(there) == []
            again = Tally()
            uploaded(archive, files, counted(to, again))
            # What was whole when it was cut off is not sent once more.
            whole = {n for n in tally.written() if there.get(n) == files.get(n) and not n.endswith(".html")}
            assert not whole & set(again.written())
        assert dead_links(lying(to.connect())) == []
        assert lying(to.connect()) == files
