"""Find the camera of a lone picture from what it shows of the floor."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.court.camera import Camera, NoCourt
from pipeline.court.fitting import (
    REFERENCE_WIDTH_PX,
    Fit,
    MarkSet,
    camera_of,
    default_prior,
    fit_camera,
    start_costs,
)
from pipeline.court.floor_lines import BORDER_NAMES, area_labels, edge_areas
from pipeline.court.marks import floor_evidence
from pipeline.court.rule_books import RULE_BOOKS, RuleBook, rule_book
from pipeline.court.settings import Markings, MarkSettings, RegistrationSettings
from pipeline.court.view_bank import MAP_SIZE, agreement, picture_grid, view_bank

Array = NDArray[np.float64]

_LINE = BORDER_NAMES.index("line")


@dataclass(frozen=True, slots=True, eq=False)
class CourtFit:
    """A camera found in one picture, and how well it explains it.

    Attributes
    ----------
    camera : Camera
    rule_book : str
    residual_px : float
        Root mean square miss of the marks that lie on lines, in pixels of the picture.
    residual_ft : float
        The same on the floor.
    agreement : float
        Overlap (IoU) of the floor model with the seen areas, 0..1.
    inliers : float
        Share of the marks of named borders that lie on their lines, 0..1.
    quality : float
        0..1, one at a perfect fit.
    circle_radius_ft : float
        The centre circle as painted; the rule book's where it is not seen.
    other_books : tuple of str
        Rule books that explain a lone picture nearly as well, best first: with any, the rule book is a guess. None
        where it was told, or where a film voted.
    """

    camera: Camera
    rule_book: str
    residual_px: float
    residual_ft: float
    agreement: float
    inliers: float
    quality: float
    circle_radius_ft: float
    other_books: tuple[str, ...] = ()


def model_map(camera: Camera, book: RuleBook, markings: Markings | None = None) -> NDArray[np.uint8]:
    """Label map (36, 64) of the areas a camera would see, without people."""
    columns, rows = MAP_SIZE
    floor = camera.to_floor(picture_grid(columns, rows, camera.size_px))
    labels = area_labels(floor, book).reshape(rows, columns)
    return edge_areas(labels) if markings == "edge" else labels


def judge(
    fit: Fit, book: RuleBook, size_px: tuple[int, int], seen: NDArray[np.uint8], markings: Markings | None = None
) -> CourtFit:
    """Measure how well a fitted camera explains the marks and the label map (36, 64) of its picture.

    With the markings ``edge`` both must be of the court's edge and circle only.
    """
    camera = camera_of(fit.parameters, size_px)
    good = fit.inlier
    # Painted lines of unknown name may belong to another sport: they neither speak for a camera nor against it.
    named = fit.border != _LINE
    px = float(np.sqrt(np.mean(fit.residual_px[good] ** 2))) if good.any() else float("inf")
    ft = float(np.sqrt(np.mean(fit.residual_ft[good] ** 2))) if good.any() else float("inf")
    overlap = agreement(seen, model_map(camera, book, markings))
    share = float(good[named].mean()) if named.any() else 0.0
    quality = float(np.clip(overlap * share / (1 + (px / 2) ** 2), 0, 1))
    return CourtFit(
        camera, book.name, px * size_px[0] / REFERENCE_WIDTH_PX, ft, overlap, share, quality, float(fit.parameters[8])
    )


@dataclass(frozen=True, slots=True, eq=False)
class FittedView:
    """One way to see a picture: a fit under one rule book, and its score (lower is better)."""

    fit: Fit
    judged: CourtFit
    score: float


_LOST_BY = 1.5
"""A book whose best view scores this much worse than another's is tried again from that one's place."""

_BANK_OF = {"fiba": "fiba", "nba": "fiba", "ncaa": "nfhs", "nfhs": "nfhs"}
"""Rule book whose bank of views serves each book: at a bank's resolution the wide lanes are alike, and the narrow."""


def find_view(
    marks: MarkSet, seen: NDArray[np.uint8], size_px: tuple[int, int], settings: RegistrationSettings
) -> list[FittedView] | NoCourt:
    """The best view of a lone picture under each rule book allowed by the settings, best first, unchecked.

    Parameters as :func:`find_camera`.
    """
    if len(marks) < settings.least_marks:
        return NoCourt(f"Only {len(marks)} points of floor markings are seen, {settings.least_marks} are needed.")
    floor_share, telling = float((seen > 0).mean()), float((seen > 1).mean())
    if settings.markings == "edge":
        telling = floor_share  # corners of the court tell too
    if floor_share < settings.least_floor or telling < settings.least_telling:
        return NoCourt(
            f"The floor fills {floor_share:.0%} of the picture and paints, three-point areas and circle {telling:.1%}; "
            f"{settings.least_floor:.0%} and {settings.least_telling:.1%} are needed."
        )
    names = [settings.rule_book] if settings.rule_book else list(RULE_BOOKS)
    found: dict[str, FittedView] = {}

    def keep(view: FittedView) -> None:
        name = view.judged.rule_book
        if name not in found or view.score < found[name].score:
            found[name] = view

    for shape in dict.fromkeys(_BANK_OF[n] for n in names):
        for rough in _rough_fits(marks, seen, rule_book(shape), size_px, settings):
            first = _fine_view(marks, seen, rough.parameters, rule_book(shape), size_px, settings)
            for name in (n for n in names if _BANK_OF[n] == shape):
                keep(first if name == shape else _under_book(first, marks, seen, rule_book(name), size_px, settings))
    best = min(found.values(), key=lambda view: view.score)
    for name, view in list(found.items()):
        if view.score - best.score > _LOST_BY:  # perhaps the place was missed, not the book
            keep(_under_book(best, marks, seen, rule_book(name), size_px, settings))
    return sorted(found.values(), key=lambda view: view.score)


def _rough_fits(
    marks: MarkSet, seen: NDArray[np.uint8], book: RuleBook, size_px: tuple[int, int], settings: RegistrationSettings
) -> list[Fit]:
    """The two best different places from the bank of views, fitted roughly to a quarter of the marks."""
    thin = marks.only(np.arange(0, len(marks), max(1, len(marks) // 90)))  # type: ignore[arg-type]
    prior = default_prior(book, settings)
    views = view_bank(book.name, markings=settings.markings or "all").nearest(seen, settings.candidates * 5)
    starts = np.column_stack([views, np.full(len(views), book.circle_radius_ft)])
    starts[:, 7] = settings.lens_mean
    costs = start_costs(thin, starts, book, size_px, prior, settings, width_px=24.0)
    straight = prior.fixing(("k1", "circle_radius"), starts[0])
    fits = [
        fit_camera(thin, starts[i], book, size_px, straight, settings, widths_px=(16.0, 8.0), iterations=4)
        for i in np.argsort(costs)[: settings.candidates]
    ]
    return _distinct(fits)[:2]


def _fine_view(
    marks: MarkSet,
    seen: NDArray[np.uint8],
    start: Array,
    book: RuleBook,
    size_px: tuple[int, int],
    settings: RegistrationSettings,
    widths_px: tuple[float, ...] = (8.0, 4.0, 3.0),
) -> FittedView:
    fit = fit_camera(marks, start, book, size_px, default_prior(book, settings), settings, widths_px=widths_px)
    judged = judge(fit, book, size_px, seen, settings.markings)
    return FittedView(fit, judged, score_of(fit, judged, settings))


def _under_book(
    view: FittedView,
    marks: MarkSet,
    seen: NDArray[np.uint8],
    book: RuleBook,
    size_px: tuple[int, int],
    settings: RegistrationSettings,
) -> FittedView:
    """The same place as another view, under another rule book."""
    start = _to_other_book(view.fit.parameters, rule_book(view.judged.rule_book), book)
    return _fine_view(marks, seen, start, book, size_px, settings, widths_px=(6.0, 3.0))


def score_of(fit: Fit, judged: CourtFit, settings: RegistrationSettings) -> float:
    """How badly a fit explains a picture, to choose among places and rule books; lower is better.

    Misses of the marks, overlap of the areas, and the share of painted lines within the areas that lie on lines of the
    book: free-throw circles and restricted arcs tell narrow lanes from wide ones where the areas' borders are unsure.
    """
    line = fit.border == _LINE
    on_lines = float(fit.inlier[line].sum()) / max(float(line.sum()), 40.0)
    miss = 2 * fit.cost / settings.worth_of_marks
    return miss - 4 * judged.agreement - 1.5 * on_lines


def _distinct(fits: list[Fit]) -> list[Fit]:
    """Fits by cost, without those that look where a better one looks."""
    kept: list[Fit] = []
    for fit in sorted(fits, key=lambda f: f.cost):
        if all(np.max(np.abs(fit.parameters[3:5] - k.parameters[3:5])) > 1.5 for k in kept):
            kept.append(fit)
    return kept


def _to_other_book(parameters: Array, book: RuleBook, other: RuleBook) -> Array:
    """Carry a camera to a floor of another size so that it sees the same end alike."""
    moved = parameters.copy()
    looks_right = moved[3] > 0
    moved[0] += (other.length_ft - book.length_ft) if looks_right else 0.0
    moved[1] += (other.width_ft - book.width_ft) / 2
    return moved


def find_camera(
    marks: MarkSet, seen: NDArray[np.uint8], size_px: tuple[int, int], settings: RegistrationSettings
) -> CourtFit | NoCourt:
    """Find the camera of a lone picture.

    Parameters
    ----------
    marks : MarkSet
    seen : ndarray of uint8, shape (36, 64)
        Label map of the picture, labels as ``AREA_LABELS``.
    size_px : tuple of int
    settings : RegistrationSettings
    """
    views = find_view(marks, seen, size_px, settings)
    if isinstance(views, NoCourt):
        return views
    best, *rest = views
    close = tuple(v.judged.rule_book for v in rest if v.score - best.score < settings.sure_book_margin)
    return checked(replace(best.judged, other_books=close), settings)


def checked(fit: CourtFit, settings: RegistrationSettings) -> CourtFit | NoCourt:
    """The fit if it passes its own check, else why not."""
    px = fit.residual_px * REFERENCE_WIDTH_PX / fit.camera.size_px[0]
    if fit.agreement < settings.least_agreement:
        return NoCourt(
            f"The best floor model overlaps the seen areas by {fit.agreement:.0%}, "
            f"{settings.least_agreement:.0%} is needed."
        )
    if fit.inliers < settings.least_inliers:
        return NoCourt(
            f"The best floor model explains {fit.inliers:.0%} of the markings, {settings.least_inliers:.0%} are needed."
        )
    if px > settings.most_residual_px or fit.residual_ft > settings.most_residual_ft:
        return NoCourt(f"The best floor model misses the markings by {px:.1f} px and {fit.residual_ft:.2f} ft.")
    return fit


def register_picture(
    probability: NDArray[np.float32],
    size_px: tuple[int, int],
    settings: RegistrationSettings | None = None,
    marking: MarkSettings | None = None,
) -> CourtFit | NoCourt:
    """Find the camera of a lone picture from the area network's probabilities.

    Parameters
    ----------
    probability : ndarray of shape (6, h, w)
        See ``area_network.AreaNetwork.areas``.
    size_px : tuple of int
        Picture width and height.
    """
    evidence = floor_evidence(probability, size_px, marking)
    return find_camera(evidence.marks, evidence.areas, size_px, settings or RegistrationSettings())


_POLYGON_LABEL = {"court": 1, "three_point_area": 2, "paint": 3, "centre_circle": 4}
_POLYGON_BORDER = {
    "court": "court_edge",
    "three_point_area": "arc_edge",
    "paint": "paint_edge",
    "centre_circle": "circle_edge",
}


def polygon_map(polygons: Sequence[Mapping[str, object]], size_px: tuple[int, int]) -> NDArray[np.uint8]:
    """Label map (36, 64) of labelled polygons (dicts of ``area`` and ``points``)."""
    columns, rows = MAP_SIZE
    grid = picture_grid(columns, rows, size_px)
    labels = np.zeros(len(grid), dtype=np.uint8)
    for area, label in _POLYGON_LABEL.items():
        for polygon in polygons:
            if polygon["area"] == area:
                labels[_inside(np.asarray(polygon["points"], dtype=np.float64), grid)] = label
    return labels.reshape(rows, columns)


def _inside(polygon: Array, points: Array) -> NDArray[np.bool_]:
    """Even-odd test of points (N, 2) in a polygon (V, 2)."""
    inside = np.zeros(len(points), dtype=bool)
    for (x1, y1), (x2, y2) in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        if y1 == y2:
            continue
        crosses = (y1 > points[:, 1]) != (y2 > points[:, 1])
        inside ^= crosses & (points[:, 0] < (x2 - x1) * (points[:, 1] - y1) / (y2 - y1) + x1)
    return inside


def polygon_marks(polygons: Sequence[Mapping[str, object]], size_px: tuple[int, int], step_px: float = 6.0) -> MarkSet:
    """Marks along the edges of labelled polygons.

    Stretches within 1 % of the picture's edge are dropped: there the polygon is cut, not bordered. A stretch of a paint
    or three-point polygon that runs along the court's border closes it at the baseline and counts as court edge once.
    """
    width, height = size_px
    margin = 0.01 * width
    px, normal, border = [], [], []
    court_edges = [np.asarray(p["points"], dtype=np.float64) for p in polygons if p["area"] == "court"]
    three = [np.asarray(p["points"], dtype=np.float64) for p in polygons if p["area"] == "three_point_area"]
    for polygon in polygons:
        points = np.asarray(polygon["points"], dtype=np.float64)
        if polygon["area"] == "paint" and not any(_inside(t, points.mean(axis=0)[None])[0] for t in three):
            continue  # mislabelled: a paint lies in a three-point area
        area = np.sum(points[:, 0] * np.roll(points[:, 1], -1) - np.roll(points[:, 0], -1) * points[:, 1])
        for a, b in zip(points, np.roll(points, -1, axis=0), strict=True):
            length = float(np.hypot(*(b - a)))
            if length < 1e-6:
                continue
            count = max(1, int(length / step_px))
            along = a + (b - a) * ((np.arange(count) + 0.5) / count)[:, None]
            inward = np.array([-(b - a)[1], (b - a)[0]]) / length * np.sign(area)
            away = np.minimum(
                np.minimum(along[:, 0], width - along[:, 0]), np.minimum(along[:, 1], height - along[:, 1])
            )
            keep = away > margin
            if polygon["area"] in ("paint", "three_point_area"):
                keep &= _distance_to(court_edges, along) > 0.012 * width
            px.append(along[keep])
            normal.append(np.repeat(inward[None], int(keep.sum()), axis=0))
            kind = BORDER_NAMES.index(_POLYGON_BORDER[str(polygon["area"])])
            border.append(np.full(int(keep.sum()), kind, dtype=np.intp))
    if not px:
        return MarkSet(np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0, dtype=np.intp), np.zeros(0))
    all_px = np.concatenate(px)
    return MarkSet(all_px, np.concatenate(normal), np.concatenate(border), np.ones(len(all_px)))


def _distance_to(polygons: Sequence[Array], points: Array) -> Array:
    """Distance of points (N, 2) to the nearest edge of any polygon; infinite without polygons."""
    best = np.full(len(points), np.inf)
    for polygon in polygons:
        for a, b in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
            along = b - a
            length2 = max(float(along @ along), 1e-12)
            t = np.clip((points - a) @ along / length2, 0, 1)
            best = np.minimum(best, np.linalg.norm(points - a - t[:, None] * along, axis=1))
    return best


def fit_polygons(
    polygons: Sequence[Mapping[str, object]],
    size_px: tuple[int, int],
    book: str = "fiba",
    settings: RegistrationSettings | None = None,
) -> CourtFit | NoCourt:
    """Find the camera of a picture whose floor areas are labelled by hand.

    Parameters
    ----------
    polygons : sequence of mapping
        Each with ``area`` (court, paint, three_point_area, centre_circle) and ``points``, pixels (N, 2).
    size_px : tuple of int
        Picture width and height.
    book : str
        Rule book of the floor.
    """
    chosen = (settings or RegistrationSettings()).model_copy(update={"rule_book": rule_book(book).name})
    marks = polygon_marks(polygons, size_px)
    return find_camera(marks, polygon_map(polygons, size_px), size_px, chosen)
