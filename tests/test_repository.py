"""The tree itself: style, types, directions of imports, docstrings, layout, README."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from districtplan import tables

ROOT = Path(__file__).parents[1]
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "districtplan", "data", "maps",
    "tests",
}  # fmt: skip


def tool(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", *arguments], cwd=ROOT, capture_output=True, text=True, check=False
    )


TYPES = ("pyrefly", "check", "--python-interpreter-path", sys.executable, "--min-severity", "warn")


@pytest.mark.parametrize(
    "arguments",
    [
        pytest.param(("ruff", "check"), id="ruff check"),
        pytest.param(("ruff", "format", "--check"), id="ruff format"),
        pytest.param(TYPES, id="pyrefly"),
        # Takes five times as long as the other, and sees some faults that it does not.
        pytest.param(("mypy",), id="mypy", marks=pytest.mark.slow),
    ],
)
def test_style_and_types(arguments):
    done = tool(*arguments)
    assert done.returncode == 0, done.stdout + done.stderr


def test_imports_go_one_way():
    done = subprocess.run(
        [Path(sys.executable).with_name("lint-imports")],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr


def modules() -> list[str]:
    return sorted(str(path.relative_to(ROOT)) for path in (ROOT / "districtplan").rglob("*.py"))


def test_docstrings_are_numpydoc():
    done = subprocess.run(
        [Path(sys.executable).with_name("numpydoc"), "lint", *modules()],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(
    "tail", ["", "\n\ndef f(x):\n    return x\n"], ids=["clean", "seeded fault"]
)
def test_the_docstring_check_sees_a_fault(tail, tmp_path):
    path = tmp_path / "probe.py"
    path.write_text('"""A probe."""\n' + tail, encoding="utf-8")
    done = subprocess.run(
        [Path(sys.executable).with_name("numpydoc"), "lint", path],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode == 0) is (tail == "")


def tracked() -> list[str]:
    done = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if done.returncode != 0:
        pytest.skip("not a git checkout")
    return [name for name in done.stdout.split("\0") if name]


def test_top_level_is_what_was_agreed():
    names = {name.split("/")[0] for name in tracked()}
    assert {name for name in names if not name.startswith(".")} <= TOP_LEVEL


def test_every_package_folder_has_a_docstring():
    for path in (ROOT / "districtplan").rglob("__init__.py"):
        assert path.read_text(encoding="utf-8").startswith('"""'), path


def readme_command(mark: str) -> str:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    found = re.search(rf"<!-- {mark} -->\n```sh\n(.+)\n```", text)
    assert found, f"README has no command marked {mark}"
    return found[1]


@pytest.mark.parametrize("mark", ["demo", "tests"])
def test_readme_commands_are_one_line(mark):
    assert "\n" not in readme_command(mark)


def test_ci_runs_the_readme_command():
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    extract = re.search(r"command=\$\((.+)\)\n", script)
    assert extract
    done = subprocess.run(
        ["bash", "-c", extract[1]], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == readme_command("tests")


def test_readme_says_of_columns_what_the_program_says():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    found = re.search(r"<!-- columns -->\n(.+?)\n\n", text, re.DOTALL)
    assert found
    rows = [line.strip("| ").split(" | ") for line in found[1].splitlines()[2:]]
    assert len(rows) > 20
    for cells in rows:
        column = tables.BY_NAME[cells[0].strip("`")]
        assert " ".join(cells[1:]).strip() == f"{column.unit} {column.meaning}".strip()


def test_column_names_end_in_their_unit():
    endings = {
        "°": "_deg", "%": "_pct", "m": "_m", "ha": "_ha", "g": "_g", "kg": "_kg",
        "t/(ha yr)": "_t_ha_yr",
    }  # fmt: skip
    for column in tables.COLUMNS:
        if column.unit in endings:
            assert column.name.endswith(endings[column.unit]), column.name
