"""python -m bench [PART...] [FOLDER...]: prints ratios and shares, all measured in this one run."""

from __future__ import annotations

import argparse
from pathlib import Path

from bench.delivery import table as delivery
from bench.files import alarms, conform, fuzz, line_up, second_opinion, standards, trace
from bench.form import compare as form
from bench.speed import checking, load, packs, pages, queues, unpack, uploads
from bench.speed import engine as speed
from bench.tempo import by_hand, demo_songs, recordings
from bench.tempo import compare as tempo

PARTS = {
    "speed": speed.run,
    "load": load.run,
    "tempo": tempo.run,
    "demo": demo_songs.run,
    "form": form.run,
    "recordings": recordings.run,
    "by-hand": by_hand.run,
    "alarms": alarms.run,
    "line-up": line_up.run,
    "opinion": second_opinion.run,
    "standards": standards.run,
    "fuzz": fuzz.run,
    "trace": trace.run,
    "conform": conform.run,
    "delivery": delivery.run,
    "packs": packs.run,
    "uploads": uploads.run,
    "pages": pages.run,
    "unpack": unpack.run,
    "checking": checking.run,
    "queues": queues.run,
}


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m bench", description=__doc__)
    parser.add_argument("part", nargs="*", help=f"any of {', '.join(PARTS)}, or a folder; none means the first three")
    parser.add_argument("--data", type=Path, default=Path("var/bench"), help="where made and fetched audio is kept")
    parser.add_argument("--seed", type=int, default=1, help="another seed makes other songs")
    parser.add_argument("--songs", type=int, default=24, help="songs in the tempo set")
    parser.add_argument("--form-songs", type=int, default=80, help="so many of the songs with known form, in order")
    parser.add_argument("--long-minutes", type=float, default=180.0, help="length of the long file; 0 leaves it out")
    parser.add_argument("--mutants", type=int, default=100, help="files with broken headers of each container")
    parser.add_argument("--minutes", type=float, default=5.0, help="length of the file that is timed")
    parser.add_argument("--rate", type=int, default=48_000, help="sample rate of the file that is timed")
    parser.add_argument("--beside", default="librosa", help="tools to compare with: librosa,aubio,essentia")
    parser.add_argument("--megabytes", type=int, default=1024, help="MiB of the file that is uploaded")
    parser.add_argument("--entries", type=int, default=1_000, help="entries of the zip that is unpacked")
    parser.add_argument("--tiny-files", type=int, default=1_000, help="of one booking, for queues and checking")
    parser.add_argument("--interruptions", type=int, default=0, help="kill clients and house so often in an upload")
    parser.add_argument("--folds", type=Path, help="weights by fold (fit_choice --folds-out): read what is held out")
    parser.add_argument("--held-out", action="store_true", help="deliveries nobody has tuned anything on")
    parser.add_argument("--times", type=int, default=1, help="so many sets for each damage of a delivery")
    parser.add_argument("--sets", type=int, default=40, help="good deliveries that are looked through for false alarms")
    parser.add_argument("--from-set", type=int, default=0, help="leave the deliveries before this one out")
    parser.add_argument("--coverage", type=int, default=0, help="so many takes to hold a delivery's intervals against")
    parser.add_argument("--feel", type=int, default=0, help="so many takes whose feel is compared with their strokes")
    parser.add_argument("--cost", action="store_true", help="what checking a delivery costs beside decoding it")
    parser.add_argument("--font", type=Path, help="a sound font whose strokes are played in deliveries")
    parser.add_argument("--only", default="", help="damages of a delivery whose name holds these words")
    parser.add_argument("--failures", action="store_true", help="print each song that is wrong, and why")
    parser.add_argument("--findings", action="store_true", help="of the alarms, print every finding, not only stops")
    options = parser.parse_intermixed_args()
    options.folders = [Path(name) for name in options.part if name not in PARTS and Path(name).is_dir()]
    options.part = [name for name in options.part if Path(name) not in options.folders]
    if unknown := set(options.part) - set(PARTS):
        parser.error(f"no such part: {', '.join(sorted(unknown))}")
    options.data.mkdir(parents=True, exist_ok=True)
    for part in options.part or ("speed", "load", "tempo"):
        PARTS[part](options)


if __name__ == "__main__":
    main()
