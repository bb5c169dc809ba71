"""Put trained networks into ``models/``: copy the files, write the index that the product checks them against.

    python -m pipeline.training.publish --trained DIR --models models

``DIR`` holds what the training wrote: ``NAME.pt``, ``NAME.onnx`` and ``NAME.json`` for detector and areas. The cards
beside them (``NAME.md``) are written by hand.
"""

import argparse
import hashlib
import json
import shutil
from pathlib import Path

from pipeline.errors import ModelError

LARGEST_BYTES = 12_000_000
"""A file may not be larger: weights live in the repository."""

TASKS = ("detector", "areas", "numbers", "text_regions", "bug_text")
"""All networks that ship, in the index's order. The last two are public ones, adopted by ``training/text_networks``."""

RECORDED = (
    "steps",
    "pictures",
    "epochs",
    "pictures_an_epoch",
    "minutes",
    "batch",
    "optimizer",
    "learning_rate",
    "real_share",
    "renders",
    "real",
)
"""What of the training's record goes into the index."""


def publish(trained: Path, models: Path, tasks: tuple[str, ...] = ("detector", "areas")) -> str:
    """Copy the weights of some tasks and write ``index.toml`` for all that lie in `models` afterwards.

    Returns
    -------
    str
        The index as written.

    Raises
    ------
    ModelError
        A file is missing or too large.
    """
    models.mkdir(parents=True, exist_ok=True)
    for task in tasks:
        for suffix in (".pt", ".onnx", ".json"):
            source = trained / f"{task}{suffix}"
            if not source.is_file():
                raise ModelError(f"{source} is missing; give the folder that the training wrote.")
            if source.stat().st_size > LARGEST_BYTES:
                raise ModelError(
                    f"{source}: {source.stat().st_size} bytes, at most {LARGEST_BYTES} ship; train a narrower network."
                )
            shutil.copyfile(source, models / source.name)
    return write_index(models)


def write_index(models: Path) -> str:
    """Write ``index.toml`` for all networks that lie in `models`; gives it as written."""
    sections = [_section(models, task) for task in TASKS if (models / f"{task}.json").is_file()]
    index = (
        "# Written by `python -m pipeline.training.publish`: the networks and the checksums they are used by.\n\n"
        + "\n".join(sections)
    )
    (models / "index.toml").write_text(index, encoding="utf-8")
    return index


def _section(models: Path, task: str) -> str:
    record = json.loads((models / f"{task}.json").read_text(encoding="utf-8"))
    lines = [f"[{task}]", f"card = {json.dumps(task + '.md')}"]
    lines += [f"classes = {json.dumps(record['classes'])}", f"input_px = {json.dumps(record['input_px'])}"]
    lines += [f"{key} = {json.dumps(record[key])}" for key in ("source", "license") if key in record]
    lines += [f"{key} = {json.dumps(record[key])}" for key in RECORDED if key in record]
    for form in ("onnx", "pt"):
        path = models / f"{task}.{form}"
        if form == "pt" and not path.is_file():
            continue  # public networks ship as ONNX only
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        lines += ["", f"[{task}.{form}]", f'file = "{path.name}"', f"bytes = {path.stat().st_size}"]
        lines += [f'sha256 = "{digest}"']
    return "\n".join(lines) + "\n"


def main(arguments: list[str] | None = None) -> None:
    """Read the command line and publish."""
    parser = argparse.ArgumentParser(prog="python -m pipeline.training.publish", description=__doc__)
    parser.add_argument("--trained", type=Path, required=True, help="folder with NAME.pt, NAME.onnx and NAME.json")
    parser.add_argument("--models", type=Path, default=Path("models"))
    parser.add_argument("--tasks", nargs="+", choices=["detector", "areas"], default=["detector", "areas"])
    given = parser.parse_args(arguments)
    publish(given.trained, given.models, tuple(given.tasks))


if __name__ == "__main__":
    main()
