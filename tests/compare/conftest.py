"""The good room and the style of the bad ones are those of tests/bad_input."""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parents[1] / "bad_input"))
