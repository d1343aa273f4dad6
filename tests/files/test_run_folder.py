from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import pytest

from districtplan.errors import OutputError
from districtplan.files.run_folder import check_target, heal, write_run


def contents(word):
    files = {"index.html": word.encode(), "assets/a.css": b"1", "deep/er/b.csv": b"2"}
    told = {"districtplan": "0", "outputs": [{"name": name} for name in files]}
    return files | {"run.json": json.dumps(told).encode()}


def tree(folder):
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_writes_all(tmp_path):
    write_run(tmp_path / "new" / "run", contents("a"))
    assert tree(tmp_path / "new" / "run") == contents("a")
    assert [path.name for path in (tmp_path / "new").iterdir()] == ["run"]


def test_empty_folder_is_taken(tmp_path):
    (tmp_path / "run").mkdir()
    write_run(tmp_path / "run", contents("a"))
    assert tree(tmp_path) == {f"run/{name}": content for name, content in contents("a").items()}


def test_earlier_run_is_replaced_only_if_asked(tmp_path):
    folder = tmp_path / "run"
    write_run(folder, contents("a"))
    with pytest.raises(OutputError, match="holds an earlier run"):
        write_run(folder, contents("b"))
    assert tree(folder) == contents("a")
    write_run(folder, {"run.json": contents("b")["run.json"]}, replace=True)
    assert [path.name for path in folder.iterdir()] == ["run.json"]
    assert [path.name for path in tmp_path.iterdir()] == ["run"]


@pytest.mark.parametrize(
    "manifest",
    [None, b"", b"[]", b"{}", b'{"outputs": []}', b'{"districtplan": "0"}', b"[" * 100_000],
)
def test_nobody_elses_folder_is_touched(manifest, tmp_path):
    (tmp_path / "thesis.txt").write_text("years of work")
    if manifest is not None:
        (tmp_path / "run.json").write_bytes(manifest)
    before = tree(tmp_path)
    with pytest.raises(OutputError, match="isn't an earlier run"):
        write_run(tmp_path, contents("a"), replace=True)
    assert tree(tmp_path) == before


def test_strangers_in_a_run_folder_stop_replacing(tmp_path):
    folder = tmp_path / "run"
    write_run(folder, contents("a"))
    (folder / "notes.txt").write_text("mine")
    with pytest.raises(OutputError, match=r"didn't write: notes\.txt"):
        write_run(folder, contents("b"), replace=True)
    (folder / "notes.txt").unlink()
    (folder / "link").symlink_to(tmp_path)
    with pytest.raises(OutputError, match="didn't write: link"):
        write_run(folder, contents("b"), replace=True)


def test_links_and_files_are_refused(tmp_path):
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "run").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(OutputError, match="is a link"):
        write_run(tmp_path / "run", contents("a"), replace=True)
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="is a file"):
        write_run(tmp_path / "file", contents("a"), replace=True)
    with pytest.raises(OutputError, match="can't be written"):
        write_run(tmp_path / "file" / "run", contents("a"))
    for what in ("new", "old"):
        aside = tmp_path / f".out.districtplan-{what}"
        aside.symlink_to(tmp_path / "elsewhere")
        with pytest.raises(OutputError, match="isn't a folder of ours"):
            write_run(tmp_path / "out", contents("a"))
        aside.unlink()
    assert list((tmp_path / "elsewhere").iterdir()) == []


@pytest.mark.parametrize(
    "name",
    [
        "/etc/a",
        "../a",
        "a/../b",
        "a//b",
        "",
        ".hidden",
        "a\\b",
        "a:b",
        "a\0",
        "a\n",
        "é",
        "a.",
        "CO",
    ],
)
def test_unsafe_names(name, tmp_path):
    files = contents("a") | {name: b""}
    if name == "CO":
        files |= {"co": b""}
    with pytest.raises(OutputError, match=r"isn't a safe name|only by case"):
        write_run(tmp_path / "run", files)
    assert list(tmp_path.iterdir()) == []


class Killed(BaseException):
    """Stands for the process ending: nothing after it runs."""


STEPS = [
    (Path, "mkdir"), (Path, "open"), (Path, "rename"), (shutil, "rmtree"), (os, "fsync"),
]  # fmt: skip


def count_and_kill(monkeypatch, at):
    """Let the process end before its step number ``at``; count the steps."""
    taken = [0]
    real = {(owner, name): getattr(owner, name) for owner, name in STEPS}

    def wrap(function):
        def step(*args, **kwargs):
            taken[0] += 1
            if taken[0] >= at:
                raise Killed
            return function(*args, **kwargs)

        return step

    for (owner, name), function in real.items():
        monkeypatch.setattr(owner, name, wrap(function))
    return taken


@pytest.mark.parametrize("before", [None, "a"])
def test_killed_at_any_step_leaves_a_whole_run(before, tmp_path, monkeypatch):
    steps = 1
    while True:
        folder = tmp_path / str(steps) / "run"
        folder.parent.mkdir()
        if before:
            write_run(folder, contents(before))
        with monkeypatch.context() as patched:
            # Even the clean-up is cut off: after the kill, every step fails.
            taken = count_and_kill(patched, steps)
            try:
                write_run(folder, contents("b"), replace=True)
                ended = True
            except Killed:
                ended = False
        if ended:
            assert taken[0] == steps - 1
            assert tree(folder) == contents("b")
            break
        heal(folder)
        found = tree(folder) if folder.exists() else None
        assert found in ([contents(before), contents("b")] if before else [None, contents("b")])
        assert [path.name for path in folder.parent.iterdir()] in ([], ["run"])
        write_run(folder, contents("c"), replace=True)
        assert tree(folder) == contents("c")
        steps += 1
    assert steps > 10


@pytest.mark.parametrize("at", range(1, 12))
def test_a_failed_step_leaves_the_old_run(at, tmp_path, monkeypatch):
    folder = tmp_path / "run"
    write_run(folder, contents("a"))
    calls = [0]
    real = Path.open

    def full(path, *args, **kwargs):
        calls[0] += 1
        if calls[0] == at:
            raise OSError(28, "No space left on device")
        return real(path, *args, **kwargs)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "open", full)
        try:
            write_run(folder, contents("b"), replace=True)
            expected = contents("b")
        except OutputError:
            expected = contents("a")
    assert tree(folder) == expected
    assert [path.name for path in tmp_path.iterdir()] == ["run"]


def test_failed_move_puts_the_old_run_back(tmp_path, monkeypatch):
    folder = tmp_path / "run"
    write_run(folder, contents("a"))
    real = Path.rename

    def rename(path, target):
        if path.name.endswith("-new"):
            raise PermissionError(13, "Permission denied")
        return real(path, target)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "rename", rename)
        with pytest.raises(OutputError, match="Permission denied"):
            write_run(folder, contents("b"), replace=True)
    assert tree(folder) == contents("a")
    assert [path.name for path in tmp_path.iterdir()] == ["run"]


def test_old_run_survives_a_folder_made_meanwhile(tmp_path):
    write_run(tmp_path / "run", contents("a"))
    aside = tmp_path / ".run.districtplan-old"
    (tmp_path / "run").rename(aside)
    (tmp_path / "run").mkdir()
    heal(tmp_path / "run")
    assert tree(tmp_path / "run") == contents("a")
    (tmp_path / "run").rename(aside)
    (tmp_path / "run").mkdir()
    (tmp_path / "run" / "mine.txt").write_text("x")
    with pytest.raises(OutputError, match="left by a killed run"):
        heal(tmp_path / "run")
    assert tree(aside) == contents("a")


def test_target_can_be_checked_before_the_work(tmp_path):
    check_target(tmp_path / "run", replace=False)
    write_run(tmp_path / "run", contents("a"))
    with pytest.raises(OutputError):
        check_target(tmp_path / "run", replace=False)
    check_target(tmp_path / "run", replace=True)


def test_a_target_that_cannot_be_looked_at_is_told(tmp_path, monkeypatch):
    with pytest.raises(OutputError, match="can't be written"):
        check_target(tmp_path / ("x" * 300), replace=False)

    def closed(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "exists", closed)
    with pytest.raises(OutputError, match="Permission denied"):
        check_target(tmp_path / "run", replace=False)
