"""One input tried: read, and of some that are read the whole command, within bounds of time and memory."""

from __future__ import annotations

import resource
import shutil
import signal
import traceback
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from click.testing import CliRunner
from kinds import Kind

from bodyfit.commands.main import TERMINATED, main
from bodyfit.errors import BodyfitError

LONGEST_S = 60.0  # of processor time, as promised in docs/reliability.md
MOST_BYTES = 1536 * 2**20  # over what the process had, as promised there
LONGEST_REFUSAL = 10_000  # letters; the terminal shows 4000 of them at most
GOOD_EXITS = (0, 1, 2)  # done, can't be fitted, refused


class TooLong(BaseException):
    """An input has used up its time; no Exception, so that nothing takes it for an error of its own."""


@contextmanager
def bounded() -> Iterator[None]:
    """Within it, 60 s of processor time and 1.5 GiB of new addresses are all there is."""

    def stop(*_: object) -> None:
        raise TooLong

    had = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    before, (soft, hard) = signal.signal(signal.SIGPROF, stop), resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (had + MOST_BYTES, hard))
    signal.setitimer(signal.ITIMER_PROF, LONGEST_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        resource.setrlimit(resource.RLIMIT_AS, (soft, hard))
        signal.signal(signal.SIGPROF, before)


def tried(kind: Kind, content: bytes, folder: Path, whole: bool) -> tuple[str, str]:
    """What came of an input: refused, read, done or a fault; and of a fault the last lines of its trace.

    Parameters
    ----------
    kind, content : what stands in the place of the sound file, which is put back afterwards
    folder : of `sound_files`
    whole : the command is called with what can be read
    """
    path = folder / kind.file
    sound = path.read_bytes()
    path.write_bytes(content)
    try:
        with bounded(), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                kind.read(folder)
            except BodyfitError as error:
                return _of_refusal(str(error), kind, folder)
            return _of_command(kind, folder) if whole else ("read", "")
    except TooLong:
        return "fault", f"over {LONGEST_S:.0f} s"
    except MemoryError:
        return "fault", f"over {MOST_BYTES / 2**30:.1f} GiB"
    except Exception:
        return "fault", "".join(traceback.format_exc().splitlines(keepends=True)[-9:])
    finally:
        path.write_bytes(sound)
        shutil.rmtree(folder / "new", ignore_errors=True)


def _of_refusal(told: str, kind: Kind, folder: Path) -> tuple[str, str]:
    """A refusal is one line that names something, of bearable length."""
    if not told.strip() or len(told) > LONGEST_REFUSAL:
        return "fault", f"a refusal of {len(told)} letters"
    return "refused", told


def _of_command(kind: Kind, folder: Path) -> tuple[str, str]:
    words = [word.replace("FOLDER", str(folder)) for word in kind.words]
    done = CliRunner().invoke(main, words)
    if done.exit_code == TERMINATED:  # this process was told to end while the command ran
        raise SystemExit(TERMINATED)
    if done.exit_code not in GOOD_EXITS:
        return "fault", f"exit {done.exit_code}: {done.output[-400:]}"
    if done.exit_code and "Traceback" in done.output:
        return "fault", done.output[-600:]
    left = [*folder.glob("**/.bodyfit-*"), *folder.glob("**/*.part")]
    if left or (done.exit_code and (folder / "new").exists()):
        return "fault", f"left behind: {left or 'a half-written folder'}"
    return ("done" if done.exit_code == 0 else "refused"), done.output[:200]
