"""What is timed, each job in a process of its own: `python -m bench.speed.jobs NAME FILE REPEATS` prints a JSON line.

One core, one thread, and CPU seconds, which other work on the machine does not change. The first call counts apart from
the later ones, since some libraries compile when first called. Peak memory is the process's own, imports included.
"""

from __future__ import annotations

import json
import os
import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path

Job = Callable[[Path], None]
BLOCK_S = 5


def bare_decode(path: Path) -> None:
    """The floor: read every frame in blocks, and do nothing with them."""
    import soundfile

    with soundfile.SoundFile(path) as file:
        for _ in file.blocks(file.samplerate * BLOCK_S, dtype="float32", always_2d=True):
            pass


def survey(path: Path) -> None:
    """All measurements of one file, as the portal's workers take them."""
    from analysis.measuring.survey import survey_file

    survey_file(path)


def song(path: Path) -> None:
    """The survey and, on top, tempo, bar one and meter."""
    from analysis.core.reports import Brief
    from analysis.measuring.song import SongFile, measure_song
    from analysis.measuring.survey import survey_file

    one = survey_file(path)
    measure_song([SongFile(one.report, one.features, path)], Brief())


def librosa_tempo(path: Path) -> None:
    """Tempo and beats alone, by librosa's default tracker at its default rate."""
    import librosa

    mono, rate = librosa.load(path)
    librosa.beat.beat_track(y=mono, sr=rate)


def libraries(path: Path) -> None:
    """What a person would write: tempo by librosa, loudness by pyloudnorm, a 4 x oversampled peak by scipy."""
    import librosa
    import numpy as np
    import pyloudnorm
    import soundfile
    from scipy.signal import resample_poly

    mono, rate = librosa.load(path)
    librosa.beat.beat_track(onset_envelope=librosa.onset.onset_strength(y=mono, sr=rate), sr=rate)
    samples, rate = soundfile.read(path, always_2d=True)
    pyloudnorm.Meter(rate).integrated_loudness(samples)
    np.abs(resample_poly(samples, 4, 1, axis=0)).max()


JOBS: dict[str, Job] = {job.__name__: job for job in (bare_decode, survey, song, librosa_tempo, libraries)}


def peak_memory_mb() -> float:
    """Of this process since its program started; `ru_maxrss` would count the parent's memory at the fork as well."""
    status = Path("/proc/self/status")
    if status.exists():
        line = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM"))
        return int(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:1])
    job, path, repeats = JOBS[sys.argv[1]], Path(sys.argv[2]), int(sys.argv[3])
    times_s = []
    for _ in range(1 + repeats):
        start = time.process_time()
        job(path)
        times_s.append(time.process_time() - start)
    print(json.dumps({"first_s": times_s[0], "warm_s": min(times_s[1:] or times_s), "peak_mb": peak_memory_mb()}))


if __name__ == "__main__":
    main()
