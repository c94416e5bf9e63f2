"""Damping of room modes by porous pieces, by this project and by finite elements.

The cases are those of tests/referee: a rigid box of 5.1 x 3.9 x 2.7 m, the same with boards, a door
and a window (5 bare walls), and that with stacks of fills, panels and a cloud (5 furnished). Prints
the table kept beside this script: modes below 120 Hz, triangular corner fills; square ones are no
product.
"""

import sys
from pathlib import Path

sys.path[:0] = [
    str(Path(__file__).resolve().parents[2]),
    str(Path(__file__).parents[1] / "referee"),
]
from project_cases import boards, geometry, modes_of, reference  # noqa: E402 - after the path

TOP_HZ = 120.0


def main() -> None:
    pieces, wanted = geometry(), reference()
    print("| case | mode | finite elements, 1/s | this project, 1/s | ratio |")
    print("| --- | --- | --- | --- | --- |")
    for case, modes in wanted.items():
        if "square" in case:
            continue
        hung = pieces.get(case, [])
        found = modes_of(hung, boards(hung) if case.startswith("5") else ())
        for mode, delta in modes.items():
            hz, own = found.get(mode, (TOP_HZ, 0.0))
            if hz < TOP_HZ:
                print(f"| {case} | {mode} | {delta:.3f} | {own:.3f} | {own / delta:.2f} |")


if __name__ == "__main__":
    main()
