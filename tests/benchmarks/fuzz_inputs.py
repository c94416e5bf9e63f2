"""Thousands of damaged inputs through the command line: tracebacks, slow answers, exit codes.

    python tests/benchmarks/fuzz_inputs.py [COUNT] [FIRST]
    python tests/benchmarks/fuzz_inputs.py --show INDEX

Input INDEX is the same on every machine. Room files, price lists, materials tables, plans, measured
decays, budget curves and options are those of the tests' small room and of the demo rooms, changed
in one to four places. Input that is refused is refused by the whole command. Of input that is read
every eleventh goes on to the end of `predict --fast`, the others stop where long work would begin.
Prints a table and ends with 1 if there was a traceback, a death or an answer over LIMIT.
"""

import contextlib
import io
import json
import multiprocessing
import os
import random
import re
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from unittest import mock

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "bad_input")]
from cases import GOOD_FILES, PIECE  # noqa: E402 - after the path
from command_cases import MORE  # noqa: E402 - after the path
from variant_cases import COUCH  # noqa: E402 - after the path

from optimizer.cli import main  # noqa: E402 - after the path
from optimizer.commands import (  # noqa: E402 - after the path
    budget,
    calibrate,
    compare,
    plan,
    positions,
    predict,
    report,
    why,
)
from optimizer.project import Project  # noqa: E402 - after the path

SEED = 20_251
LIMIT = 10.0  # s of processor time that an answer may take
HANG = 60  # s of processor time after which an answer is given up
MEMORY = 6_000_000_000  # bytes that a worker may have
DEMO = ("spare_room", "garage", "small_bedroom", "living_room")

ODD_NUMBERS = ("nan", "inf", "-inf", "-1", "0", "-0.0", "1e308", "-1e308", "1e-300", "1e15",
               "1e6", "0.001", "5.0", "1e400", "9" * 350, "0x10", "1_000", "1e-17")  # fmt: skip
ODD_VALUES = (*ODD_NUMBERS, "true", '""', "[]", "{}", "null", '"x"', '"1 ft"', '"12 m"', "[1, 2]",
              "[[1, 2, 3]]", "1979-05-27", '"\\u0007"', '"\u202e\u0301"', "'\U0001f3b8'", '"m²"',
              '"' + "n" * 3000 + '"', "[0.1, 0.1, 0.1]", '"front"', '"ceiling"')  # fmt: skip
ODD_TEXT = ("\x00", "\x07", "\u202e", "\ufeff", "é", "\U0001f3b8", "\u2028", "\r", "\r\n", "\t",
            '"', "'", "#", "=", "[", "]", ",", ";", "\\", "{", "%s", "{0}", "\x1b[31m")  # fmt: skip
ODD_JSON: tuple[Any, ...] = (None, True, -1, 0, 1e308, -1e308, 1e-300, 10**400, float("nan"),
    float("inf"), "x", "n" * 3000, [], {}, [[]], {"a": 1}, "\u202e", "front", 3.5)  # fmt: skip
ODD_WORDS = ("", "nan", "inf", "-1", "0", "1e308", "x", "room.toml", ".", "..", "/", "gone",
             "gone/x", "prices.csv", "plan.json", "\u202e", "\U0001f3b8", "n" * 3000, "a b", "--",
             "-", "0.5", "couch", "base", "1,2,3", "600,1500", ",", "9" * 400, "auto", "ft", "plan",
             "1e-9", "/dev/null", "%s", "é\u0301", "\udcff")  # fmt: skip
OPTIONS = {
    "predict": ("--with", "--fast", "--all"),
    "plan": ("--out", "--budget", "--time-limit", "--gap", "--fast", "--confidence", "--variant",
             "--stages", "--alternatives", "--within", "--positions", "--earlier", "--units"),
    "report": ("--room", "--out", "--units", "--only", "--whole", "--bass", "--fast", "--budget"),
    "why": ("--room", "--variant", "--time-limit", "--units", "--fast", "--full"),
    "compare": ("--with", "--replan", "--bare", "--out", "--differences", "--time-limit", "--gap",
                "--units", "--fast"),
    "budget": ("--from", "--to", "--steps", "--gap", "--time-limit", "--variant", "--out"),
    "calibrate": ("--measured", "--with", "--as", "--out", "--fast"),
    "positions": ("--top", "--ears", "--stands", "--variant", "--out", "--units"),
    "materials": ("--sources",),
}  # fmt: skip
Rng = random.Random


class ReadError(Exception):
    """Not an error: the input was read, and the long work that would begin is left out."""


class HangError(Exception):
    """An answer that takes too long was given up."""


def bases() -> list[dict[str, str]]:
    """Sets of good files, each with room.toml, prices.csv, plan.json and decay.csv."""
    tiny = {**GOOD_FILES, **{k: v for k, v in MORE.items() if k in ("plan.json", "decay.csv")}}
    tiny["room.toml"] += COUCH
    tiny["plan.json"] = json.dumps({"format": 1, "room_file": "room.toml", "pieces": [PIECE]})
    found = [tiny]
    for name in DEMO:
        room = (ROOT / "scenarios" / f"{name}.toml").read_text(encoding="utf-8")
        named = re.search(r'catalogue\s*=\s*"([^"]+)"', room)
        prices = ROOT / "scenarios" / (named[1] if named else "")
        if not prices.is_file():
            prices = ROOT / "materials" / "catalogue.csv"
        text = re.sub(r'(catalogue\s*=\s*)"[^"]+"', r'\1"prices.csv"', room)
        listed = prices.read_text(encoding="utf-8")
        found.append({**tiny, "room.toml": text, "prices.csv": listed})
    return found


# ---- damage ---------------------------------------------------------------------------------


def damaged_text(rng: Rng, text: str) -> str:
    """One change to a text of tables and values."""
    lines = text.split("\n")
    change = rng.choice(TEXT_CHANGES)
    return change(rng, text) if rng.random() < 0.6 else "\n".join(damaged_lines(rng, lines))


def odd_token(rng: Rng, text: str) -> str:
    """A token dropped, doubled, exchanged with another or replaced."""
    tokens = list(re.finditer(r'"[^"\n]*"|[\w.+-]+|[^\w\s]', text))
    if len(tokens) < 2:
        return text
    one, other = rng.choice(tokens), rng.choice(tokens)
    new = rng.choice(("", one[0] * 2, other[0], rng.choice(ODD_VALUES)))
    return text[: one.start()] + new + text[one.end() :]


def odd_number(rng: Rng, text: str) -> str:
    """A number made another one, or another type."""
    numbers = list(re.finditer(r"(?<![\w.])-?\d+(\.\d+)?(?![\w.])", text))
    if not numbers:
        return text
    one = rng.choice(numbers)
    factor = rng.choice((-1, 0.01, 0.5, 0.9, 0.97, 1.03, 1.1, 2, 10, 100, 1e6, 0))
    scaled = f"{float(one[0]) * factor:.6g}"
    new = rng.choice((scaled, scaled, rng.choice(ODD_NUMBERS), f'"{one[0]}"', f"[{one[0]}]"))
    return text[: one.start()] + new + text[one.end() :]


def odd_value(rng: Rng, text: str) -> str:
    """A whole value of a key replaced."""
    values = list(re.finditer(r"(?<== )[^\n#]+", text))
    if not values:
        return odd_token(rng, text)
    one = rng.choice(values)
    return text[: one.start()] + rng.choice(ODD_VALUES) + text[one.end() :]


def cut(rng: Rng, text: str) -> str:
    return text[: rng.randrange(len(text) + 1)]


def odd_text(rng: Rng, text: str) -> str:
    at = rng.randrange(len(text) + 1)
    return text[:at] + rng.choice(ODD_TEXT) + text[at + rng.randrange(2) :]


TEXT_CHANGES: tuple[Callable[[Rng, str], str], ...] = (
    odd_token, odd_number, odd_number, odd_value, odd_value, cut, odd_text,
)  # fmt: skip


def damaged_lines(rng: Rng, lines: list[str]) -> list[str]:
    """A line dropped, doubled, moved; a table doubled or dropped; cells of a row changed."""
    heads = [i for i, line in enumerate(lines) if line.startswith("[")]
    at = rng.randrange(len(lines))
    kind = rng.choice((0, 1, 2, 3, 4) if heads else (0, 1, 2, 5, 6))
    if kind == 0:
        return lines[:at] + lines[at + 1 :]
    if kind == 1:
        return lines[:at] + [lines[at]] * 2 + lines[at + 1 :]
    if kind == 2:
        rest = lines[:at] + lines[at + 1 :]
        rest.insert(rng.randrange(len(rest) + 1), lines[at])
        return rest
    if kind in (3, 4):
        which = rng.randrange(len(heads))
        begin, end = heads[which], [*heads, len(lines)][which + 1]
        if kind == 3:  # the whole table again, once or many times
            return lines[:end] + lines[begin:end] * rng.choice((1, 1, 2, 60)) + lines[end:]
        return lines[:begin] + lines[end:]
    cells = lines[at].split(",")
    which = rng.randrange(len(cells))
    new = rng.choice((*ODD_NUMBERS, "", "x", "yes", '"', "wall ceiling", "a;b", "n" * 200_000))
    cells[which : which + 1] = rng.choice(([], [new], [new, new], [new]))
    return [*lines[:at], ",".join(cells), *lines[at + 1 :]]


def damaged_json(rng: Rng, text: str) -> str:
    """One value of a JSON text dropped, doubled or replaced; or the text itself damaged."""
    try:
        data = json.loads(text)
    except ValueError:
        return damaged_text(rng, text)
    if rng.random() < 0.15:
        return damaged_text(rng, text)
    places = list(_places(data))
    if not places:
        return json.dumps(rng.choice(ODD_JSON))
    holder, key = rng.choice(places)
    kind = rng.randrange(6)
    if kind == 0:
        del holder[key]
    elif kind == 1 and isinstance(holder, list):
        holder.extend([holder[key]] * rng.randrange(1, 200))
    elif kind == 2 and isinstance(holder, dict):
        holder[rng.choice(("x", "", "u_m", "room_file", "pieces"))] = holder.pop(key)
    elif kind == 3 and isinstance(holder[key], int | float) and abs(holder[key]) < 1e300:
        holder[key] = holder[key] * rng.choice((-1, 0.1, 0.9, 1.1, 10, 1e9))
    else:
        holder[key] = rng.choice(ODD_JSON)
    return json.dumps(data)


def _places(data: Any) -> Iterator[tuple[Any, Any]]:
    keys = data.keys() if isinstance(data, dict) else range(len(data))
    for key in list(keys):
        yield data, key
        if isinstance(data[key], dict | list):
            yield from _places(data[key])


def as_bytes(rng: Rng, text: str) -> bytes:
    """The text in UTF-8, or now and then in another encoding, or with odd bytes."""
    kind = rng.randrange(60)
    if kind == 0:
        return text.encode("utf-16", errors="replace")
    if kind == 1:
        return text.encode("latin-1", errors="replace") + b"\xe9"
    if kind == 2:
        return rng.randbytes(rng.randrange(3000))
    content = text.encode("utf-8", errors="surrogatepass")
    if kind == 3:
        at = rng.randrange(len(content) + 1)
        return content[:at] + rng.randbytes(rng.randrange(1, 9)) + content[at:]
    return b"\xef\xbb\xbf" + content if kind == 4 else content


# ---- inputs ---------------------------------------------------------------------------------

BUDGET_CURVE = json.dumps({"format": 1, "steps": [{"budget": 100.0, "excess": 1.0, "cost": 90.0}]})
CHANGED = {"room.toml": 45, "prices.csv": 18, "plan.json": 17, "decay.csv": 8, "own.csv": 6, "": 6}


def make_input(index: int, good: list[dict[str, str]]) -> tuple[list[str], dict[str, bytes]]:
    """The words typed and the files that lie there."""
    rng = Rng(f"{SEED}:{index}")
    (changed,) = rng.choices(list(CHANGED), list(CHANGED.values()))
    demo = changed in ("room.toml", "prices.csv") and rng.random() < 0.4
    texts = dict(rng.choice(good[1:]) if demo else good[0])
    if changed:
        damage = damaged_json if changed.endswith(".json") else damaged_text
        for _ in range(rng.choice((1, 1, 1, 2, 3, 4))):
            texts[changed] = damage(rng, texts[changed])
    files = {
        name: as_bytes(rng, text) if name == changed else text.encode()
        for name, text in texts.items()
    }
    files["budget.json"] = BUDGET_CURVE.encode()
    return words_for(rng, changed, demo), files


def words_for(rng: Rng, changed: str, demo: bool) -> list[str]:
    """A command that reads the changed file; changed words when it is none. The plan is that of
    the small room.
    """
    usual = [
        ["predict", "room.toml", "--fast"],
        ["predict", "room.toml", "--fast", "--with", "plan.json"],
        ["plan", "room.toml", "--out", "out", "--fast"],
        ["why", "plan.json", "--room", "room.toml"],
        ["report", "plan.json", "--room", "room.toml", "--out", "out", "--fast"],
        ["compare", "room.toml", "couch", "--bare"],
        ["budget", "room.toml", "--from", "100", "--to", "400"],
        ["positions", "room.toml"],
        ["calibrate", "room.toml", "--measured", "decay.csv", "--out", "new.toml", "--fast"],
        ["report", "plan.json", "--out", "out", "--budget", "budget.json", "--fast"],
        ["materials", "wool"],
    ]
    if changed == "plan.json":
        return rng.choice([usual[1], usual[3], usual[4], usual[9]])
    if changed == "decay.csv":
        return usual[8]
    if changed:
        fitting = [*usual[:1] * 4, *usual[:9]]
        return rng.choice([w for w in fitting if not demo or "plan.json" not in w])
    words = rng.choice(usual)
    for _ in range(rng.randrange(1, 4)):
        kind = rng.randrange(3)
        if kind == 0:
            words[rng.randrange(1, len(words))] = rng.choice(ODD_WORDS)
        else:
            words.append(rng.choice(OPTIONS[words[0]]))
            if rng.random() < 0.8:
                words.append(rng.choice(ODD_WORDS))
    return words


# ---- answers --------------------------------------------------------------------------------


def stop_work(*_: object, **__: object) -> None:
    raise ReadError


WORK = (
    (plan, "_made"), (why, "judged_plan"), (report, "rebuild"), (compare, "compare"),
    (budget, "build_decision"), (calibrate, "calibrate"), (positions, "search"),
)  # fmt: skip


def answer(words: list[str], whole: bool) -> tuple[str, str, float, str]:
    """What came of it (an exit code, "read" or what is wrong), details, seconds and output."""
    out, err = io.StringIO(), io.StringIO()
    began = time.process_time()
    with contextlib.ExitStack() as stack:
        for place, name in WORK:
            stack.enter_context(mock.patch.object(place, name, stop_work))
        if not whole:
            stack.enter_context(mock.patch.object(predict, "room_card", stop_work))
            stack.enter_context(mock.patch.object(Project, "judges", return_value=()))
        stack.enter_context(contextlib.redirect_stdout(out))
        stack.enter_context(contextlib.redirect_stderr(err))
        warned = stack.enter_context(warnings.catch_warnings(record=True))
        warnings.simplefilter("always")
        details = ""
        try:
            result = f"exit code {main(words)}"
        except SystemExit as stop:
            result = f"exit code {stop.code}"
        except ReadError:
            result = "read"
        except (HangError, BaseException) as error:  # whatever it is, it is what is looked for
            result, details = "traceback", _told(error)
    said = out.getvalue() + err.getvalue()
    if result == "exit code 2" and out.getvalue():
        details = "refused, and yet printed"
    if warned and not details:
        details = f"warning: {str(warned[0].message)[:70]} ({Path(warned[0].filename).name})"
    return result, details, time.process_time() - began, said


def _told(error: BaseException) -> str:
    frames = [f for f in traceback.extract_tb(error.__traceback__) if "/tests/" not in f.filename]
    ours = [f for f in frames if "/optimizer/" in f.filename or "/materials/" in f.filename]
    last = (ours or frames)[-1:]
    place = f"{Path(last[0].filename).name}:{last[0].lineno} {last[0].name}" if last else "?"
    return f"{type(error).__name__} in {place}: {str(error)[:60]!r}"


def given_up(number: int, frame: object) -> None:
    raise HangError(f"over {HANG} s of processor time")


def one(index: int, good: list[dict[str, str]], folder: Path) -> tuple[str, str, float, str]:
    """One input laid out in the folder and answered."""
    words, files = make_input(index, good)
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    os.chdir(folder)
    for name, content in files.items():
        (folder / name).write_bytes(content)
    signal.setitimer(signal.ITIMER_PROF, HANG)
    try:
        result, details, seconds, said = answer(words, index % 11 == 0)
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
    if result == "exit code 2" and {p.name for p in folder.iterdir()} != set(files):
        details = details or "refused, and yet wrote"
    return result, details, seconds, said


def work(first: int, step: int, stop: int, report_to: Path, top: Path) -> None:
    """Every `step`th input, each told in a line when it begins and when it ends."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    signal.signal(signal.SIGPROF, given_up)
    good = bases()
    with report_to.open("a", encoding="utf-8") as told:
        for index in range(first, stop, step):
            print(json.dumps([index]), file=told, flush=True)
            result, details, seconds, _ = one(index, good, top / f"input{first % step}")
            print(json.dumps([index, result, details, seconds]), file=told, flush=True)


def answers(first: int, stop: int, top: Path) -> dict[int, tuple[str, str, float]]:
    """Of all inputs, by worker processes; an input in which one died counts as a death."""
    context, step = multiprocessing.get_context("fork"), os.cpu_count() or 1
    found: dict[int, tuple[str, str, float]] = {}
    begins = {worker: first + worker for worker in range(step)}
    running: dict[int, Any] = {}
    while begins or running:
        for worker, begin in begins.items():
            file = top / f"told{worker}"
            file.unlink(missing_ok=True)
            running[worker] = context.Process(target=work, args=(begin, step, stop, file, top))
            running[worker].start()
        begins = {}
        for worker in list(running):
            running[worker].join(1.0)
            if running[worker].is_alive():
                continue
            code = running.pop(worker).exitcode
            rows = [json.loads(line) for line in (top / f"told{worker}").open(encoding="utf-8")]
            found |= {row[0]: tuple(row[1:]) for row in rows if len(row) > 1}
            if code:
                index = rows[-1][0]
                found[index] = ("death", f"exit code {code} of the process", 0.0)
                begins[worker] = index + step
    return found


def show(index: int) -> int:
    """One input in full, its files left in a folder."""
    signal.signal(signal.SIGPROF, given_up)
    folder = Path(tempfile.mkdtemp()) / "input"
    words, _ = make_input(index, bases())
    result, details, seconds, said = one(index, bases(), folder)
    print(f"{folder}: treatment {words}\n{said}\n{result}, {seconds:.2f} s; {details}")
    return 0


def main_of_fuzz() -> int:
    if "--show" in sys.argv:
        return show(int(sys.argv[-1]))
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    with tempfile.TemporaryDirectory() as top:
        found = answers(first, first + count, Path(top))
        os.chdir(ROOT)
    results = Counter(result for result, _, _ in found.values())
    slow = sorted(index for index, (_, _, seconds) in found.items() if seconds > LIMIT)
    for result, number in results.most_common():
        print(f"{result:16} {number:6}")
    seconds = [row[2] for row in found.values()]
    print(f"over {LIMIT:g} s       {len(slow):6}  {slow[:9]}; longest {max(seconds):.1f} s, "
          f"together {sum(seconds):.0f} s")  # fmt: skip
    examples: dict[str, list[int]] = {}
    for index, (_, details, _) in sorted(found.items()):
        if details:
            examples.setdefault(details, []).append(index)
    for details, indices in sorted(examples.items(), key=lambda item: -len(item[1])):
        print(f"{len(indices):5} x {details}; such as {indices[:4]}")
    bad = results["traceback"] + results["death"] + len(slow)
    print(f"{len(found)} inputs, {bad} bad")
    return int(bad > 0 or len(found) < count)


if __name__ == "__main__":
    sys.exit(main_of_fuzz())
