"""A file is replaced whole, or not at all, and nothing outside is written over."""

import pytest
from noctuary.files import remove_remains, replacing, write_whole


def names(folder):
    return sorted(p.name for p in folder.iterdir())


def test_a_file_is_replaced_and_keeps_its_permissions(tmp_path):
    path = tmp_path / "record.yaml"
    path.write_bytes(b"old")
    path.chmod(0o640)
    write_whole(path, b"new", flush=True)
    assert path.read_bytes() == b"new"
    assert path.stat().st_mode & 0o777 == 0o640
    assert names(tmp_path) == ["record.yaml"]


def test_an_error_on_the_way_leaves_the_old_content(tmp_path):
    path = tmp_path / "record.yaml"
    path.write_bytes(b"old")
    with pytest.raises(TypeError), replacing(path) as file:
        file.writelines([b"half", "and no bytes"])  # type: ignore[list-item]
    assert path.read_bytes() == b"old"
    assert names(tmp_path) == ["record.yaml"]


def test_a_link_is_replaced_and_not_followed(tmp_path):
    outside = tmp_path / "outside.txt"
    outside.write_bytes(b"mine")
    folder = tmp_path / "archive"
    folder.mkdir()
    (folder / "cache").symlink_to(outside)
    write_whole(folder / "cache", b"new")
    assert outside.read_bytes() == b"mine"
    assert not (folder / "cache").is_symlink()
    assert (folder / "cache").read_bytes() == b"new"


def test_folders_above_are_made_and_long_names_work(tmp_path):
    path = tmp_path / "a" / "b" / ("x" * 200)
    write_whole(path, b"there")
    assert path.read_bytes() == b"there"
    assert names(path.parent) == [path.name]


def test_what_a_writer_left_that_was_cut_off_goes(tmp_path):
    kept = ["builds.sqlite", ".answers.sqlite.7.part", ".builds.sqlite-journal", "builds.sqlite.9.part"]
    for name in (*kept, ".builds.sqlite.16927.part"):
        (tmp_path / name).write_bytes(b"")
    remove_remains(tmp_path / "builds.sqlite")
    assert names(tmp_path) == sorted(kept)
