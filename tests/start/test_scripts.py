"""Every script of evidence and every benchmark can be loaded: what it imports is still there.

`.ci/run` has mypy check what they call. No outside source.
"""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
SCRIPTS = sorted(
    path
    for folder in ("evidence", "benchmarks")
    for path in (ROOT / "tests" / folder).glob("*.py")
    if not path.name.startswith("test_")
)
LOAD = """
import runpy, sys
from pathlib import Path
for script in sys.argv[1:]:
    sys.path.insert(0, str(Path(script).parent))
    try:
        runpy.run_path(script, run_name="loaded")
    except Exception as error:
        print(f"{script}: {error!r}")
    del sys.path[0]
"""


def test_every_script_loads() -> None:
    """In one process, since they share what is slow to load."""
    assert len(SCRIPTS) > 20
    done = subprocess.run(
        [sys.executable, "-c", LOAD, *map(str, SCRIPTS)],
        cwd=ROOT, capture_output=True, text=True, timeout=1800,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout == ""
