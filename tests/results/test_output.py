"""Files are written whole or not at all, whatever happens meanwhile. The project's own requirement;
no outside source.
"""

import errno
import json
import os
import signal
import socket
import subprocess
import sys
import textwrap
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from optimizer.faults import ScenarioError
from optimizer.results import folder_lock, output, whole_set
from optimizer.results.folder_lock import LOCK_FILE, locked, undisturbed
from optimizer.results.output import check_writable, write_folder

KILLER = Path(__file__).with_name("killed_writers.py")
ROOT = Path(__file__).parents[2]
OLD = {"a.txt": "old a", "b.txt": "old b"}
NEW = {"a.txt": "new a", "b.txt": "new b", "c.txt": "new c"}


@pytest.fixture
def out(tmp_path: Path) -> Path:
    folder = tmp_path / "out"
    folder.mkdir()
    for name, text in {**OLD, "kept.txt": "kept"}.items():
        (folder / name).write_text(text)
    return folder


def content(folder: Path) -> dict[str, str]:
    return {path.name: path.read_text() for path in folder.iterdir()}


def test_killed_at_any_moment(tmp_path: Path) -> None:
    """The old set or the new one at once, the same after the next run, and nothing left over."""
    done = subprocess.run(
        [sys.executable, KILLER, tmp_path], capture_output=True, text=True, check=True
    )
    tallies = json.loads(done.stdout)
    for name, tally in tallies.items():
        assert tally["moments"] >= 15, name
        assert tally["at_once"]["old"] > 0, name
        assert tally["at_once"]["new"] > 0, name
        assert set(tally["after"]) == {"old", "new"}, name
        assert tally["left_over"] == tally["own_lost"] == 0, name
        # Without links files change one by one, and only the next run makes them whole.
        assert ("mix" in tally["at_once"]) == (name == "without_links"), name


CALLS = ("mkdir", "open", "fsync", "chmod", "link", "symlink", "replace", "rename", "listdir")


def failing(call: Callable[..., object], at: int, seen: list[str]) -> Callable[..., object]:
    """The call, which finds the disk full the `at`th time that any such call is made."""

    def maybe(*given: object, **named: object) -> object:
        seen.append(call.__name__)
        if len(seen) == at:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return call(*given, **named)

    return maybe


def complaint(folder: Path) -> str:
    """What is said of writing the new set; nothing when it was written."""
    try:
        write_folder(folder, NEW)
    except ScenarioError as error:
        return str(error)
    return ""


@pytest.mark.parametrize("there", [True, False])
def test_a_full_disk_at_any_call(
    there: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One line and the old files as they were; or it did not matter, and the new ones."""
    failed = 0
    for at in range(1, 200):
        folder = tmp_path / str(at)
        if there:
            folder.mkdir()
            for name, text in OLD.items():
                (folder / name).write_text(text)
        seen: list[str] = []
        with monkeypatch.context() as patch:
            for name in CALLS:
                patch.setattr(os, name, failing(getattr(os, name), at, seen))
            said = complaint(folder)
        if not said:
            check_writable(folder)  # the next run, where the disk was full for tidying up
            assert content(folder) == NEW
        elif there:
            assert content(folder) == OLD
        assert folder.exists() or said
        assert len(said.splitlines()) <= 1
        assert not list(tmp_path.rglob(".*"))
        failed += bool(said)
        if len(seen) < at:
            break
    assert failed >= 5
    assert at < 199


def test_no_room_for_one_file(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "fsync", failing(os.fsync, 2, []))
    with pytest.raises(ScenarioError, match="No space left"):
        write_folder(out, NEW)
    assert content(out) == {**OLD, "kept.txt": "kept"}


def test_a_folder_that_is_there_is_written_from_within(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its parent need not be writable: nothing is made there."""
    made: list[Path] = []
    make = os.mkdir

    def noted(path: Path, mode: int = 0o777) -> None:
        made.append(Path(path))
        make(path, mode)

    monkeypatch.setattr(os, "mkdir", noted)
    write_folder(out, NEW)
    assert made
    assert all(out in path.parents for path in made)
    assert content(out) == {**NEW, "kept.txt": "kept"}


def test_a_link_under_a_files_name_is_replaced(out: Path, tmp_path: Path) -> None:
    """Also one that leads nowhere; what it led to stays as it is."""
    (tmp_path / "elsewhere.txt").write_text("elsewhere")
    for name, goal in (("a.txt", "../elsewhere.txt"), ("b.txt", "gone"), ("c.txt", "c.txt")):
        (out / name).unlink(missing_ok=True)
        (out / name).symlink_to(goal)
    check_writable(out, NEW)
    write_folder(out, NEW)
    assert content(out) == {**NEW, "kept.txt": "kept"}
    assert not any(path.is_symlink() for path in out.iterdir())
    assert (tmp_path / "elsewhere.txt").read_text() == "elsewhere"


def test_files_of_others_in_a_shared_folder_are_found_before(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In a folder such as /tmp only its owner may put another file in the place of one."""
    monkeypatch.setattr(os, "geteuid", lambda: out.stat().st_uid + 1)
    check_writable(out, NEW)
    out.chmod(0o1777)
    with pytest.raises(ScenarioError, match=r"a\.txt: belongs to somebody else"):
        check_writable(out, NEW)
    check_writable(out, ["c.txt"])  # new
    monkeypatch.setattr(os, "geteuid", lambda: out.stat().st_uid)
    check_writable(out, NEW)


def test_permissions_stay(out: Path) -> None:
    (out / "a.txt").chmod(0o600)
    out.chmod(0o750)
    write_folder(out, NEW)
    assert (out / "a.txt").stat().st_mode & 0o777 == 0o600
    assert out.stat().st_mode & 0o777 == 0o750


def test_a_new_folder_has_the_usual_permissions(tmp_path: Path) -> None:
    (tmp_path / "usual").mkdir()
    write_folder(tmp_path / "new", NEW)
    assert (tmp_path / "new").stat().st_mode == (tmp_path / "usual").stat().st_mode


def test_a_link_to_nothing_is_found_before(tmp_path: Path) -> None:
    link = tmp_path / "out"
    link.symlink_to("gone")
    with pytest.raises(ScenarioError, match="is a link to gone, which is not there"):
        check_writable(link)
    link.unlink()
    link.symlink_to("out")
    with pytest.raises(ScenarioError, match="is a link to out"):
        check_writable(link)


def test_what_a_person_put_there_after_a_kill_stays(out: Path) -> None:
    """Links of the killed run lead to the old files; one has been written over meanwhile."""
    stage = out / whole_set.STAGE
    for part in ("new", "old"):
        (stage / part).mkdir(parents=True)
    (stage / whole_set.CURRENT).symlink_to("old")
    for name in OLD:
        (stage / "new" / name).write_text("new")
        os.link(out / name, stage / "old" / name)
        (out / name).unlink()
        (out / name).symlink_to(f"{whole_set.STAGE}/{whole_set.CURRENT}/{name}")
    (out / "a.txt").unlink()
    (out / "a.txt").write_text("mine")
    check_writable(out)
    assert content(out) == {**OLD, "a.txt": "mine", "kept.txt": "kept"}


def test_another_run_in_the_folder_is_told_in_one_line(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It waits for a while first."""
    monkeypatch.setattr(folder_lock, "LONGEST_WAIT", 0.1)
    with locked(out):
        for write in (check_writable, write_folder):
            with pytest.raises(ScenarioError, match="another run") as told:
                write(out, NEW)
            assert len(str(told.value).splitlines()) == 1
    write_folder(out, NEW)
    assert content(out) == {**NEW, "kept.txt": "kept"}


def no_folder_lock(folder: Path) -> int:
    raise OSError(errno.EBADF, os.strerror(errno.EBADF))


@pytest.mark.parametrize("by_file", [False, True])
def test_a_lock_ends_with_its_process(
    by_file: bool, out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed, it leaves no lock; where a folder cannot be locked, a file does the same."""
    if by_file:
        monkeypatch.setattr(folder_lock, "_take_folder", no_folder_lock)
    script = f"""
        import sys
        from pathlib import Path
        from optimizer.results import folder_lock
        if {by_file}:
            folder_lock._take_folder = folder_lock._take_file
        with folder_lock.locked(Path(sys.argv[1])):
            print("locked", flush=True)
            sys.stdin.read()
    """
    with subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(script), out],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=ROOT,
    ) as holder:  # fmt: skip
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"locked\n"
        assert (out / LOCK_FILE).exists() == by_file
        with pytest.raises(ScenarioError, match="another run"), locked(out, 0.0):
            pass
        holder.kill()
        holder.wait()
        with locked(out, 60.0):
            pass
    assert content(out) == {**OLD, "kept.txt": "kept"}


def gone_process() -> int:
    with subprocess.Popen([sys.executable, "-c", ""]) as done:
        done.wait()
        return done.pid


@pytest.mark.parametrize(
    ("holder", "counts"),
    [
        (lambda: f"{os.getpid()} {socket.gethostname()}", True),
        (lambda: f"{gone_process()} {socket.gethostname()}", False),
        (lambda: f"{gone_process()} another computer", True),  # whose processes are not known here
        (lambda: "someone", True),
        (lambda: "", True),  # its maker has not written into it yet
    ],
)
def test_a_lock_file_counts_while_its_maker_may_be_there(
    holder: Callable[[], str], counts: bool, out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(folder_lock, "_take_folder", no_folder_lock)
    (out / LOCK_FILE).write_text(holder())
    if counts:
        with pytest.raises(ScenarioError, match="another run"), locked(out, 0.0):
            pass
        assert (out / LOCK_FILE).exists()
        return
    with locked(out):
        pass
    assert content(out) == {**OLD, "kept.txt": "kept"}


def test_where_nothing_can_be_locked_nothing_is_written(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(folder: Path) -> int:
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    monkeypatch.setattr(folder_lock, "_take_folder", none)
    monkeypatch.setattr(folder_lock, "_take_file", none)
    with pytest.raises(ScenarioError, match="Read-only file system"):
        check_writable(out, NEW)
    with pytest.raises(ScenarioError, match="Read-only file system"):
        write_folder(out, NEW)
    assert content(out) == {**OLD, "kept.txt": "kept"}


def test_a_folder_that_may_not_be_written_is_found_before(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rights are asked of the system, which grants root everything."""
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    with pytest.raises(ScenarioError, match="choose a folder of yours"):
        check_writable(out, NEW)


def test_what_a_stopped_run_left_and_cannot_be_tidied_up_is_told(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (out / whole_set.STAGE).mkdir()

    def kept(path: Path) -> None:
        raise OSError(errno.EPERM, os.strerror(errno.EPERM))

    monkeypatch.setattr(whole_set.shutil, "rmtree", kept)
    with pytest.raises(ScenarioError, match=r"unfinished: is left of a stopped run and cannot be"):
        write_folder(out, NEW)


def test_in_other_threads_ctrl_c_is_not_put_off() -> None:
    """Only the first thread may ask for signals; the block runs all the same."""
    ran: list[bool] = []

    def work() -> None:
        with undisturbed():
            ran.append(True)

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert ran == [True]


@pytest.mark.parametrize("there", [True, False])
def test_many_at_once(there: bool, tmp_path: Path) -> None:
    """Each of eight runs writes its set many times: at the end the set of one stands whole."""
    folder = tmp_path / "out"
    if there:
        folder.mkdir()
    script = """
        import sys
        from pathlib import Path
        from optimizer.results.output import write_folder
        sys.stdin.readline()
        for _ in range(5):
            write_folder(Path(sys.argv[1]), {f"{i}.txt": sys.argv[2] for i in range(4)})
    """
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", textwrap.dedent(script), folder, str(number)],
            stdin=subprocess.PIPE, stderr=subprocess.PIPE, cwd=ROOT,
        )
        for number in range(8)
    ]  # fmt: skip
    for run in runs:
        assert run.stdin is not None
        run.stdin.write(b"go\n")
        run.stdin.flush()
    for run in runs:
        _, err = run.communicate(timeout=300)
        assert (run.returncode, err) == (0, b"")
    assert sorted(content(folder)) == [f"{i}.txt" for i in range(4)]
    assert len(set(content(folder).values())) == 1
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_signals_are_put_off() -> None:
    """Ctrl-C in the block is heeded at its end."""
    steps = []
    with pytest.raises(KeyboardInterrupt):  # noqa: PT012 - the order of the steps is the test
        with undisturbed():
            signal.raise_signal(signal.SIGINT)
            steps.append("within")
        steps.append("after")
    assert steps == ["within"]


def test_what_was_written_is_known(out: Path) -> None:
    """For the line that a stopped run says."""
    before = len(output.written)
    write_folder(out, NEW)
    assert output.written[before:] == [out]
