"""Scripts without a guard start processes, which don't run them again."""

from __future__ import annotations

import subprocess
import sys

SCRIPT = """
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from districtplan.workers import without_script
print("begun")
with without_script(), ProcessPoolExecutor(2, get_context("spawn")) as pool:
    print(*pool.map(abs, [-1, -2]))
print(__file__)
"""


def test_a_plain_script_is_not_run_again(tmp_path):
    script = tmp_path / "plain.py"
    script.write_text(SCRIPT, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, script], capture_output=True, text=True, check=False, timeout=60
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == ["begun", "1", "2", str(script)]
