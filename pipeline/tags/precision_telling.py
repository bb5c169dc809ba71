"""How right every recogniser has been, for people, programs and the eye."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Literal

from pipeline.errors import LibraryError
from pipeline.tags.ranking import LEAST_DECIDED, Interval, KindPrecision

SEEN_COLOUR, IDEAL_COLOUR = "#1f5a7a", "#8a8a8a"


def precision_lines(kinds: Sequence[KindPrecision]) -> Iterator[str]:
    """A paragraph a recogniser."""
    if not kinds:
        yield "Nobody has decided anything yet; 'elbowroom decide' or the review pages do."
    for number, kind in enumerate(kinds):
        if number:
            yield ""
        unsure = f", {kind.unsure} unsure" if kind.unsure else ""
        yield f"{kind.kind} ({kind.family}): {kind.decided} decided, {kind.confirmed} confirmed{unsure}."
        if kind.precision is None:
            continue
        yield f"  precision {told(kind.precision)}"
        least = f"; it takes {LEAST_DECIDED} decisions to learn" if kind.decided < LEAST_DECIDED else ""
        yield f"  ordered by {kind.by}{least}"
        if not math.isnan(kind.auc):
            yield (
                f"  a confirmed one comes before a rejected one in {kind.auc:.0%} of pairs "
                f"({kind.auc_score:.0%} by the score alone)"
            )
        yield f"  calibration, off by {kind.calibration_error:.2f} on average; each decision foretold without itself:"
        yield "    foretold      count  confirmed (95 %)"
        for one in kind.bins:
            yield f"    {one.low:.2f} to {one.high:.2f}  {one.count:5d}  {told(one.confirmed)}"
        yield from (f"  {text}" for text in kind.words)


def precision_as_json(kinds: Sequence[KindPrecision]) -> list[dict[str, Any]]:
    """The same for programs."""
    return [
        {
            "family": kind.family.value,
            "kind": kind.kind,
            "decided": kind.decided,
            "confirmed": kind.confirmed,
            "unsure": kind.unsure,
            "precision": None if kind.precision is None else _interval(kind.precision),
            "by": kind.by.value,
            "auc": _known(kind.auc),
            "auc_score": _known(kind.auc_score),
            "calibration_error": _known(kind.calibration_error),
            "calibration": [
                {
                    "low": one.low,
                    "high": one.high,
                    "foretold": one.foretold,
                    "count": one.count,
                    "confirmed": _interval(one.confirmed),
                }
                for one in kind.bins
            ],
            "words": list(kind.words),
        }
        for kind in kinds
    ]


def calibration_plot(kind: KindPrecision, form: Literal["svg", "png"] = "svg") -> bytes:
    """Foretold against confirmed, with intervals and the diagonal of perfect calibration; readable in grey.

    The same decisions give the same bytes.
    """
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    with rc_context({"svg.hashsalt": "elbowroom", "svg.fonttype": "path", "font.size": 10}):
        figure = Figure(figsize=(4.6, 4.2), layout="constrained")
        axes = figure.add_subplot()
        axes.plot([0, 1], [0, 1], linestyle=(0, (4, 3)), color=IDEAL_COLOUR, linewidth=1.2, label="as foretold")
        at = [one.foretold for one in kind.bins]
        shares = [one.confirmed.share for one in kind.bins]
        below = [max(0.0, one.confirmed.share - one.confirmed.low) for one in kind.bins]  # rounding
        above = [max(0.0, one.confirmed.high - one.confirmed.share) for one in kind.bins]
        axes.errorbar(
            at, shares, yerr=[below, above], fmt="o-", color=SEEN_COLOUR, ecolor=SEEN_COLOUR, elinewidth=1.2,
            capsize=4, markersize=6, linewidth=1.6, label="as staff judged, 95 %",
        )  # fmt: skip
        for x, y, one in zip(at, shares, kind.bins, strict=True):
            axes.annotate(str(one.count), (x, y), textcoords="offset points", xytext=(7, -12), fontsize=8)
        axes.set(xlim=(0, 1), ylim=(0, 1), xlabel="foretold", ylabel="share confirmed")
        axes.set_title(f"{kind.kind.replace('_', ' ')}: {kind.confirmed} of {kind.decided} confirmed", fontsize=11)
        axes.grid(color="#dddddd", linewidth=0.6)
        axes.set_axisbelow(True)
        axes.legend(loc="upper left", fontsize=8, frameon=False)
        stream = io.BytesIO()
        figure.savefig(stream, format=form, dpi=130, metadata={"Date": None} if form == "svg" else {"Software": None})
    return stream.getvalue()


def write_plots(kinds: Sequence[KindPrecision], folder: Path) -> Iterator[Path]:
    """A plot of every kind with decisions, as SVG."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for kind in kinds:
            if kind.bins:
                path = folder / f"{kind.family}-{kind.kind}.svg"
                path.write_bytes(calibration_plot(kind))
                yield path
    except OSError as error:
        raise LibraryError(f"{folder} cannot be written ({error.strerror}); check the path and the disk.") from error


def told(interval: Interval) -> str:
    """A share with its interval in words."""
    return f"{interval.share:.0%} ({interval.low:.0%} to {interval.high:.0%})"


def _interval(interval: Interval) -> dict[str, float]:
    return {"share": interval.share, "low": interval.low, "high": interval.high}


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value
