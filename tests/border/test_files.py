"""Files are written whole or not at all, never over what somebody else put there, and keep their owner, rights and links."""

from __future__ import annotations

import errno
import os
import subprocess

import pytest

from curelab import files
from curelab.fields import InputError
from curelab.files import Changed, replace, write, write_new
from curelab.tomlfile import read_table

posix = pytest.mark.skipif(os.name == "nt", reason="rights and links of a Unix")
root_only = pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root gives files away")


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def fails(number):
    def failing(*arguments, **more):
        raise OSError(number, os.strerror(number))

    return failing


@posix
@pytest.mark.parametrize("mask", [0o022, 0o077])
def test_a_new_file_has_the_rights_the_user_gives_new_files(tmp_path, mask):
    before = os.umask(mask)
    try:
        write(tmp_path / "a.txt", "words\n")
    finally:
        os.umask(before)
    assert (tmp_path / "a.txt").read_bytes() == b"words\n" and names(tmp_path) == ["a.txt"]
    assert (tmp_path / "a.txt").stat().st_mode & 0o777 == 0o666 & ~mask


def test_what_is_there_is_left_as_it_was(tmp_path):
    (tmp_path / "a.txt").write_text("mine")
    (tmp_path / "folder").mkdir()
    taken = [tmp_path / "a.txt", tmp_path / "folder"]
    if os.name != "nt":
        (tmp_path / "link").symlink_to(tmp_path / "nowhere")  # would be followed, or lost
        taken.append(tmp_path / "link")
    for path in taken:
        with pytest.raises(InputError, match="is there already and was left as it was"):
            write(path, "ours")
    with pytest.raises(InputError, match="cannot be written: No such file or directory; nothing was changed"):
        write(tmp_path / "no such folder" / "a.txt", "ours")
    assert (tmp_path / "a.txt").read_text() == "mine" and len(names(tmp_path)) == len(taken)


@pytest.mark.parametrize("function", ["open", "fsync", "link"])
@pytest.mark.parametrize("after", [0, 1, 2])
def test_several_files_are_written_all_or_none(tmp_path, monkeypatch, function, after):
    """A disk that is full at any of the three files leaves none of them, nor the folders made for them."""
    right, left = getattr(os, function), [after]

    def full(*arguments, **more):
        if left[0] == 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        left[0] -= 1
        return right(*arguments, **more)

    contents = {tmp_path / "new" / "deep" / f"{name}.csv": name * 9 for name in "abc"}
    monkeypatch.setattr(files.os, function, full)
    with pytest.raises(InputError, match="No space left on device; nothing was changed"):
        write_new(contents, folders=True)
    monkeypatch.undo()
    assert names(tmp_path) == []
    write_new(contents, folders=True)
    assert {path: path.read_text() for path in contents} == contents
    assert names(tmp_path / "new" / "deep") == ["a.csv", "b.csv", "c.csv"]


def test_several_files_of_which_one_is_there_are_all_refused(tmp_path):
    (tmp_path / "b.csv").write_text("mine")
    with pytest.raises(InputError, match=r"b\.csv.*is there already"):
        write_new({tmp_path / f"{name}.csv": name for name in "abc"})
    assert names(tmp_path) == ["b.csv"] and (tmp_path / "b.csv").read_text() == "mine"


@pytest.mark.parametrize("links", [True, False])
def test_who_is_faster_keeps_the_name(tmp_path, monkeypatch, links):
    """Another program makes the file while ours is written beside it; on disks with and without second names."""
    sync = os.fsync

    def faster(handle):
        (tmp_path / "b.csv").write_text("theirs")
        sync(handle)

    if not links:
        monkeypatch.setattr(files.os, "link", fails(errno.EPERM))
    monkeypatch.setattr(files.os, "fsync", faster)
    with pytest.raises(InputError, match=r"b\.csv.*is there already"):
        write_new({tmp_path / f"{name}.csv": name for name in "ab"})
    assert names(tmp_path) == ["b.csv"] and (tmp_path / "b.csv").read_text() == "theirs"


def test_a_disk_without_second_names_takes_files_too(tmp_path, monkeypatch):
    monkeypatch.setattr(files.os, "link", fails(errno.EPERM))
    write_new({tmp_path / "a": "a", tmp_path / "b": "b"})
    assert (tmp_path / "a").read_text() == "a" and names(tmp_path) == ["a", "b"]


@posix
def test_a_replaced_file_keeps_rights_and_the_link_to_it(tmp_path):
    file, link = tmp_path / "a.txt", tmp_path / "link.txt"
    file.write_text("old")
    file.chmod(0o640)
    link.symlink_to(file)
    write(link, "new", overwrite=True)
    assert link.is_symlink() and file.read_text() == "new" and file.stat().st_mode & 0o777 == 0o640
    assert names(tmp_path) == ["a.txt", "link.txt"]


@posix
@root_only
def test_a_replaced_file_keeps_its_owner(tmp_path, monkeypatch):
    file = tmp_path / "a.txt"
    file.write_text("old")
    os.chown(file, 4321, 1234)
    replace(file, "new")
    assert (file.stat().st_uid, file.stat().st_gid) == (4321, 1234)
    monkeypatch.setattr(files.os, "chown", fails(errno.EPERM))  # as for anybody but root
    with pytest.raises(InputError, match="belongs to somebody else"):
        replace(file, "newer")
    assert file.read_text() == "new" and names(tmp_path) == ["a.txt"]


@posix
def test_a_file_that_may_only_be_read_or_has_two_names_is_left(tmp_path):
    file = tmp_path / "a.txt"
    file.write_text("old")
    file.chmod(0o444)
    with pytest.raises(InputError, match="may only be read"):
        replace(file, "new")
    file.chmod(0o644)
    os.link(file, tmp_path / "b.txt")
    with pytest.raises(InputError, match="second name"):
        replace(file, "new")
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path, tmp_path / "pipe"):
        with pytest.raises(InputError, match="is no file"):
            write(path, "new", overwrite=True)
    assert file.read_text() == "old" and names(tmp_path) == ["a.txt", "b.txt", "pipe"]


def test_what_another_program_saved_meanwhile_is_left(tmp_path):
    file = tmp_path / "a.txt"
    file.write_bytes(b"theirs")
    with pytest.raises(Changed, match="saved by another program meanwhile"):
        replace(file, "ours", was=b"before")
    assert file.read_bytes() == b"theirs" and names(tmp_path) == ["a.txt"]
    replace(file, "ours", was=b"theirs")
    assert file.read_bytes() == b"ours"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes of a Unix")
def test_a_pipe_into_which_nobody_writes_is_told_and_one_that_is_filled_is_read(tmp_path, monkeypatch):
    """A batch may come from another program; whoever names a pipe by mistake is not left waiting."""
    monkeypatch.setattr(files, "PAUSE", 0.05)
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    with pytest.raises(InputError, match=r"pipe\.toml: cannot be read: nothing comes from it"):
        read_table(pipe)
    monkeypatch.setattr(files, "PAUSE", 10.0)
    with subprocess.Popen(["sh", "-c", 'echo "a = 1" > "$0"', pipe]):
        assert read_table(pipe) == {"a": 1}


def test_what_has_no_name_is_called_by_its_place():
    with pytest.raises(InputError, match=r"/: is a folder"):
        read_table("/")
