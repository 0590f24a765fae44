"""A branch of a bare git repository as a destination."""

import os
import shutil
import subprocess

import pytest
from noctuary.archive.upload_address import read_address
from noctuary.publish.upload.connection import UploadError
from noctuary.publish.upload.git_branch import upload_branch
from noctuary.publish.upload.upload import Choices

from tests.publish.upload.tiny_site import archived, built, tiny_site

pytestmark = pytest.mark.skipif(
    shutil.which("git") is None and not os.environ.get("CI"), reason="git is not installed: apt-get install git"
)


def git(repository, *arguments, given=None):
    command = ["git", "-c", "user.name=A", "-c", "user.email=a@example.org", *arguments]
    done = subprocess.run(command, cwd=repository, input=given, capture_output=True, check=True)
    return done.stdout


@pytest.fixture
def bare(tmp_path):
    folder = tmp_path / "host.git"
    folder.mkdir()
    git(folder, "init", "-q", "--bare")
    return folder


def upload(tmp_path, bare, files, where="archive", branch="site", **choices):
    archive = tmp_path / where
    site = built(archive, files)
    address = read_address(f"git+file://{bare}#{branch}")
    chosen = Choices(**{"sleep": lambda seconds: None, **choices})
    return upload_branch(archived(archive), site, address, chosen)


def on_branch(bare, branch="site"):
    names = git(bare, "ls-tree", "-r", "-z", "--name-only", branch).decode().split("\0")
    return {n: git(bare, "cat-file", "blob", f"{branch}:{n}") for n in names if n and not n.startswith(".")}


def commits(bare, branch="site"):
    return git(bare, "rev-list", branch).decode().split()


def objects(bare):
    return git(bare, "cat-file", "--batch-all-objects", "--batch-check").decode().count("\n")


def test_the_branch_holds_the_site_byte_for_byte_in_one_commit(tmp_path, bare):
    files = tiny_site()
    upload(tmp_path, bare, files)
    assert on_branch(bare) == files
    first = commits(bare)
    assert len(first) == 1
    assert b"noctuary <noctuary@upload.invalid>" in git(bare, "cat-file", "commit", "site")
    report = upload(tmp_path, bare, files)
    assert (report.send, report.remove) == ((), ())
    assert commits(bare) == first
    git(bare, "fsck", "--full", "--strict")


def test_an_edited_title_sends_pages_and_no_picture(tmp_path, bare):
    upload(tmp_path, bare, tiny_site())
    files = tiny_site(title="Three skies")
    before = objects(bare)
    report = upload(tmp_path, bare, files)
    pages = {name for name in files if name.endswith(".html")}
    assert {file.name for file in report.send} == pages
    assert on_branch(bare) == files
    assert len(commits(bare)) == 1
    # What was sent is the pages, their three folders' trees, the listing and the commit.
    assert objects(bare) - before <= len(pages) + 5
    git(bare, "fsck", "--full", "--strict")


def test_no_picture_is_kept_in_the_cache(tmp_path, bare):
    files = tiny_site() | {"images/large-480.0123456789ab.jpg": os.urandom(2_000_000)}
    upload(tmp_path, bare, files)
    cache = sum(p.stat().st_size for p in (tmp_path / "archive" / ".noctuary").rglob("*") if p.is_file())
    assert cache < 100_000


@pytest.mark.parametrize("filtered", [False, True])
def test_another_computer_goes_on_with_the_branch(tmp_path, bare, filtered):
    git(bare, "config", "uploadpack.allowFilter", str(filtered).lower())
    git(bare, "config", "uploadpack.allowAnySHA1InWant", "true")
    upload(tmp_path, bare, tiny_site())
    files = tiny_site(["veil", "m13"])
    report = upload(tmp_path, bare, files, where="archive of another computer")
    assert on_branch(bare) == files
    assert "pictures/rosette.html" in report.remove
    assert "theme/scripts/umbra.js" not in {file.name for file in report.send}
    git(bare, "fsck", "--full", "--strict")


def test_history_is_kept_where_asked_and_never_taken_unasked(tmp_path, bare):
    upload(tmp_path, bare, tiny_site())
    upload(tmp_path, bare, tiny_site(["veil"]), keep_history=True)
    assert len(commits(bare)) == 2
    files = tiny_site(["m13"])
    with pytest.raises(UploadError, match="history"):
        upload(tmp_path, bare, files)
    assert len(commits(bare)) == 2
    upload(tmp_path, bare, files, keep_history=True)
    assert len(commits(bare)) == 3
    assert on_branch(bare) == files


def person_commits(bare, tmp_path, files, branch="site", parent=True):
    clone = tmp_path / f"clone-{len(list(tmp_path.iterdir()))}"
    git(tmp_path, "init", "-q", str(clone))
    if parent:
        git(clone, "fetch", "-q", str(bare), branch)
        git(clone, "checkout", "-q", "FETCH_HEAD")
    for name, data in files.items():
        (clone / name).parent.mkdir(parents=True, exist_ok=True)
        (clone / name).write_bytes(data)
    git(clone, "add", "-A", "-f")
    git(clone, "commit", "-q", "-m", "by hand")
    git(clone, "push", "-q", str(bare), f"HEAD:refs/heads/{branch}")


def test_files_of_others_stay_on_the_branch(tmp_path, bare):
    """The empty file that turns a host's own processing off, or the one that names a domain."""
    person_commits(bare, tmp_path, {".no-processing": b"", "DOMAIN": b"nights.example.org\n"}, parent=False)
    files = tiny_site()
    for title in ("Two skies", "Three skies"):
        upload(tmp_path, bare, files := tiny_site(title=title))
        assert git(bare, "cat-file", "blob", "site:DOMAIN") == b"nights.example.org\n"
        assert git(bare, "cat-file", "blob", "site:.no-processing") == b""
    assert {n: d for n, d in on_branch(bare).items() if n != "DOMAIN"} == files


def test_a_branch_with_somebodys_history_is_left_alone(tmp_path, bare):
    person_commits(bare, tmp_path, {"program.py": b"print()"}, parent=False)
    person_commits(bare, tmp_path, {"program.py": b"print(1)"})
    before = commits(bare)
    with pytest.raises(UploadError, match="history"):
        upload(tmp_path, bare, tiny_site())
    assert commits(bare) == before


def test_a_file_in_the_way_and_another_archive_are_refused(tmp_path, bare):
    person_commits(bare, tmp_path, {"index.html": b"mine"}, parent=False)
    with pytest.raises(UploadError, match=r"index\.html"):
        upload(tmp_path, bare, tiny_site())
    upload(tmp_path, bare, tiny_site(), replace=True)
    other = archived(tmp_path / "other", title="Not mine", author="Somebody", address="https://else.example.org/")
    site = built(tmp_path / "other", tiny_site(["veil"]))
    with pytest.raises(UploadError, match="another archive"):
        upload_branch(other, site, read_address(f"git+file://{bare}#site"), Choices())


def test_what_the_host_says_no_to_is_one_line(tmp_path, bare):
    upload(tmp_path, bare, tiny_site())
    git(bare, "config", "receive.denyNonFastForwards", "true")
    with pytest.raises(UploadError) as told:
        upload(tmp_path, bare, tiny_site(["veil"]))
    assert "--keep-history" in told.value.hint
    assert on_branch(bare) == tiny_site()
    with pytest.raises(UploadError) as told:
        upload(tmp_path, tmp_path / "nowhere.git", tiny_site())
    assert "\n" not in told.value.message


def test_a_cache_from_a_stranger_configures_nothing(tmp_path, bare):
    """A git repository or its settings among the archive's files must not make git run anything."""
    ran = tmp_path / "ran"
    archive = tmp_path / "archive"
    built(archive, tiny_site())
    git(tmp_path, "init", "-q", str(archive))
    command = f"touch {ran}; false"
    for name in ("core.sshCommand", "core.fsmonitor", "uploadpack.packObjectsHook", "remote.origin.uploadpack"):
        git(archive, "config", name, command)
    hooks = archive / ".git" / "hooks"
    for name in ("pre-push", "reference-transaction", "post-index-change"):
        (hooks / name).write_text(f"#!/bin/sh\ntouch {ran}\n")
        (hooks / name).chmod(0o755)
    upload(tmp_path, bare, tiny_site())
    upload(tmp_path, bare, tiny_site(["veil"]))
    assert not ran.exists()


def test_a_dry_run_and_a_cut_off_leave_the_branch_as_it_was(tmp_path, bare):
    upload(tmp_path, bare, tiny_site())
    before = commits(bare)
    report = upload(tmp_path, bare, tiny_site(["veil"]), dry_run=True)
    assert report.remove
    assert commits(bare) == before

    def cut(what, done, total):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        upload(tmp_path, bare, tiny_site(["veil"]), progress=cut)
    assert on_branch(bare) == tiny_site()
    assert not list((tmp_path / "archive" / ".noctuary" / "upload").glob("git-*"))
    upload(tmp_path, bare, tiny_site(["veil"]))
    assert on_branch(bare) == tiny_site(["veil"])
