"""Several exercises at once, one to a core: threads, for FluidSynth needs no Python meanwhile."""

import os
from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from itertools import islice
from pathlib import Path
from threading import Event

from midiforge.errors import MidiforgeError
from midiforge.frozen import frozen
from midiforge.kits.kit import Kit
from midiforge.model.exercise import Exercise
from midiforge.sound.audio_file import About, check_ending, write_audio
from midiforge.sound.fluid import Sound, library
from midiforge.sound.level import gain_for, is_silent, within_peak
from midiforge.sound.packages import check_packages
from midiforge.sound.render import RATE, rendered


@frozen
class Job:
    """One exercise to be made one file; its format by the path's ending.

    closed: whether it loops; see `render.rendered`. times: how often the loop goes round.
    reference: the gain of the files it belongs to (made smaller where a sample would pass
        -1 dBFS); None for its own.
    """

    exercise: Exercise
    kit: Kit
    path: Path
    about: About
    closed: bool = True
    reference: float | None = None
    times: int = 1


@frozen
class Done:
    """A file that was written.

    samples: how many; loop: where it loops to, None if it does not.
    gain: the factor it was written with. silent: whether next to nothing is heard in it.
    """

    job: Job
    samples: int
    loop: int | None
    gain: float
    silent: bool = False


def render_all(
    jobs: Iterable[Job], sound: Sound, rate: int = RATE, workers: int | None = None
) -> Iterator[Done]:
    """Makes the files, and tells of each in the order of the jobs.

    jobs: read as they are needed. workers: how many at once, one to a core if not given; only so
    many are in memory at a time.

    Raises MidiforgeError at the first that fails; files already written stay, each whole.
    """
    check_packages()
    library()
    workers = workers or os.cpu_count() or 1
    waiting = iter(jobs)
    under_way: deque[Future[Done]] = deque()
    stopped = Event()
    pool = ThreadPoolExecutor(workers, "midiforge-sound")
    try:
        while True:
            # A file that takes long must not keep the others' workers idle.
            for job in islice(waiting, 2 * workers - len(under_way)):
                under_way.append(pool.submit(_done, job, sound, rate, stopped))
            if not under_way:
                return
            yield under_way.popleft().result()
    finally:
        stopped.set()
        pool.shutdown(cancel_futures=True)


def _done(job: Job, sound: Sound, rate: int, stopped: Event) -> Done:
    check_ending(job.path)
    try:
        made = rendered(job.exercise, job.kit, sound, rate, job.closed)
    except MemoryError:
        minutes = float(job.exercise.seconds) / 60
        raise MidiforgeError(
            f"there is not enough memory for {minutes:.0f} minutes of sound once round",
            str(job.path),
            hint="a shorter progression, or a faster tempo",
        ) from None
    if job.reference is None:
        gain = gain_for(made.samples, rate)
    else:
        gain = within_peak(job.reference, made.samples)
    if not stopped.is_set():
        write_audio(job.path, made, gain, job.about, job.times)
    return Done(job, made.size(job.times), made.loop, gain, is_silent(made.samples, gain))
