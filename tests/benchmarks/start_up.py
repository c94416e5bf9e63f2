"""What it costs to start, in processor seconds beside those of importing NumPy.

Run: python tests/benchmarks/start_up.py
Prints, for the list of commands and a search of the table, the median over pairs of runs.
"""

import resource
import statistics
import subprocess
import sys

PAIRS = 7
CASES = {
    "treatment --help": ["-m", "optimizer", "--help"],
    "treatment materials wool": ["-m", "optimizer", "materials", "wool"],
}
BESIDE = ["-c", "import numpy"]


def processor_seconds(words: list[str]) -> float:
    """Of a Python process, user and system."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, *words], stdout=subprocess.DEVNULL, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def ratio(words: list[str], pairs: int = PAIRS) -> tuple[float, float]:
    """Median of its seconds over NumPy's, pair by pair, and of its seconds."""
    found = [(processor_seconds(words), processor_seconds(BESIDE)) for _ in range(pairs)]
    return statistics.median(a / b for a, b in found), statistics.median(a for a, _ in found)


if __name__ == "__main__":
    for name, words in CASES.items():
        times, seconds = ratio(words)
        print(f"{name}: {seconds:.2f} s, {times:.1f} times importing NumPy")
