"""Situations around screens: who stands in the way of the handler, and what a screener does after his screen."""

from __future__ import annotations

import numpy as np

from pipeline.actions.events import Event
from pipeline.actions.stretches import stretches
from pipeline.court.places import place_names
from pipeline.spacing.scene import Moment, Scene, of_action, yes_no

NAN = float("nan")
SCREENS = ("on_ball_screen", "off_ball_screen")


def on_ball_screens(scene: Scene) -> list[Moment]:
    """Every on-ball screen, with how the screener stood before they met and after it."""
    return [
        of_action(
            screen,
            "on_ball_screen",
            {"slowest_ft_s": _slowest_ft_s(scene, screen), "stands_after_s": _stands_after_s(scene, screen)},
            {},
        )
        for screen in scene.of_kind("on_ball_screen")
    ]


def used_screens(scene: Scene) -> list[Moment]:
    """Every on-ball screen with the traffic that it leads into.

    The moment is that of the corner turned off it; the screen's where none was turned, or where another screen gets in
    its way and fewer than ``traffic_bodies`` stand there.
    """
    found = []
    off_ball = list(scene.of_kind("off_ball_screen"))
    for screen in scene.of_kind("on_ball_screen"):
        overlap_s, other = _overlap(scene, screen, off_ball)
        corner = next(
            (
                e
                for e in scene.of_kind("corner_turned")
                if e.actor("handler") == screen.actor("handler")
                and -1e-6 <= e.t_s - screen.t_s <= scene.settings.corner_after_s
                and (handler := scene.column(e, "handler")) is not None
                and scene.seen_about(e.t_s, handler)
            ),
            None,
        )
        standing, chances = _on_way(scene, corner, screen) if corner else ([], ())
        actors: list[tuple[str, int | None]] = list(screen.actors)
        if other is not None:
            actors += [("other_screener", other.actor("screener")), ("other_cutter", other.actor("cutter"))]
        actors += [("on_way", int(scene.view.tracks[n])) for n in standing]
        found.append(
            of_action(
                screen,
                "used_screen",
                {"overlap_s": overlap_s, "bodies_on_way": float(len(standing)) if corner else NAN},
                {"corner_turned": yes_no(held=corner is not None)},
                actors=[(role, track) for role, track in actors if track is not None],
                t_s=corner.t_s
                if corner and (other is None or len(standing) >= scene.settings.traffic_bodies)
                else None,
                chances={"bodies_on_way": chances} if corner else {},
            )
        )
    return found


def dead_dribbles(scene: Scene) -> list[Moment]:
    """Every dead dribble, with the first teammate who comes to screen for the handler while he holds the ball.

    Whether the handler then uses the screen does not matter: he cannot. The moment is when the screener is set.
    """
    found = []
    for dead in scene.of_kind("dead_dribble"):
        handler = scene.column(dead, "handler")
        comes = [
            (set_s, mate)
            for mate in np.flatnonzero(scene.view.attackers).tolist()
            if handler is not None and mate != handler and (set_s := _set_for_s(scene, dead, handler, mate)) is not None
        ]
        set_s, mate = min(comes, default=(NAN, None))
        track = () if mate is None else (("screener", int(scene.view.tracks[mate])),)
        found.append(
            of_action(
                dead,
                "dead_dribble",
                {"screener_set_after_s": set_s - dead.t_s if comes else NAN},
                {"screened_for": yes_no(held=bool(comes))},
                actors=[*dead.actors[:1], *track],
                t_s=set_s if comes else None,
            )
        )
    return found


def screeners_after(scene: Scene) -> list[Moment]:
    """Every off-ball screen with what its screener does in the ``after_screen_s`` after it.

    Where the possession ends before that, what he did not do is unknown. When he screened is as unsure as his place, so
    what he does a little later than that counts as done in time.
    """
    found = []
    view, settings = scene.view, scene.settings
    for screen in scene.of_kind("off_ball_screen"):
        column = scene.column(screen, "screener")
        if column is None:
            continue
        until_s = screen.t_s + settings.after_screen_s
        end_s = min(until_s, float(view.t_s[-1]), view.end_s)
        whole = end_s >= until_s - view.step_s - 1e-6
        late_s = _late_s(scene, screen)
        later = [e for e in scene.actions if screen.t_s < e.t_s and e.start_s <= until_s + late_s]
        who = screen.actor("screener")
        deeds = {
            "screened_again": any(
                e.kind in SCREENS and e.actor("screener") == who and e.t_s > screen.t_s for e in later
            ),
            "cut_off_screen": any(
                (e.kind == "off_ball_screen" and e.actor("cutter") == who)
                or (e.actor("cutter") == who and e.traits.get("off_screen") == "yes" and e.t_s > screen.t_s)
                for e in later
            ),
            "got_ball": any(e.kind in ("pass", "handoff") and e.actor("receiver") == who for e in later)
            or bool((view.handler[view.span(screen.t_s, end_s)] == column).any()),
        }
        ended = _ended(scene, column, screen.t_s, end_s)
        found.append(
            of_action(
                screen,
                "after_screen",
                {"path_ft": scene.path_ft(column, screen.t_s, end_s), "followed_s": end_s - screen.t_s},
                {
                    **{name: "yes" if did else ("no" if whole else "unknown") for name, did in deeds.items()},
                    "ended": ended if whole else "unknown",
                },
            )
        )
    return found


def _ended(scene: Scene, column: int, start_s: float, end_s: float) -> str:
    """Name of the place where a player is at the end of a time; ``none`` between the places.

    Who left the picture in a corner is in that corner: from anywhere else he may have gone on, so that is unknown.
    """
    view = scene.view
    places = view.uv_ft[view.span(start_s, end_s), column]
    placed = np.flatnonzero(np.isfinite(places).all(axis=1))
    if not len(placed):
        return "unknown"
    last = place_names(places[placed[-1:]], view.book)[0] or "none"
    return last if placed[-1] == len(places) - 1 or last == "corner" else "unknown"


def _overlap(scene: Scene, screen: Event, off_ball: list[Event]) -> tuple[float, Event | None]:
    """Longest time that an off-ball screen of others in or at the paint shares with an on-ball screen, and which."""
    mine = {screen.actor("handler"), screen.actor("screener")}
    shared = [
        (min(o.end_s, screen.end_s) - max(o.start_s, screen.start_s), o)
        for o in off_ball
        if o.actor("screener") not in mine
        and o.actor("cutter") not in mine
        and (column := scene.column(o, "screener")) is not None
        and scene.at_paint(scene.view.place_at(o.t_s, column))
    ]
    longest = max(shared, key=lambda pair: pair[0], default=(0.0, None))
    return (longest[0], longest[1]) if longest[0] > 0 else (0.0, None)


def _on_way(scene: Scene, corner: Event, screen: Event) -> tuple[list[int], tuple[float, ...]]:
    """Columns of those who stand on the handler's way to the ring as he turns the corner, and everybody's chance to.

    On the way: ahead of him and at most ``on_way_within_ft`` beside the straight line to the ring. The screener, whom
    he has just passed, is not counted.
    """
    view, settings = scene.view, scene.settings
    handler = scene.column(corner, "handler")
    assert handler is not None
    moment = view.at(corner.t_s)
    begin = view.uv_ft[moment, handler]
    length = float(np.hypot(*begin))
    way = -begin / max(length, 1e-6)
    offset = view.uv_ft[moment] - begin
    along = offset @ way
    beside = np.abs(offset[:, 0] * way[1] - offset[:, 1] * way[0])
    beyond = np.linalg.norm(view.uv_ft[moment], axis=1)
    apart = np.where(along > length, beyond, beside)
    others = np.ones(len(view.tracks), bool)
    others[handler] = False
    screener = scene.column(screen, "screener")
    if screener is not None:
        others[screener] = False
    fits = (
        others & (along > 0) & (apart <= settings.on_way_within_ft) & (view.speed_ft_s[moment] < settings.standing_ft_s)
    )
    sigma = np.array([scene.sigma_ft(moment, n) for n in range(len(view.tracks))])
    margin = np.where(fits, np.minimum(settings.on_way_within_ft - apart, along), 0.0)
    chances = np.where(fits, 0.5 + 0.5 * np.tanh(margin / sigma), 0.0)
    return np.flatnonzero(fits).tolist(), tuple(float(c) for c in chances)


def _slowest_ft_s(scene: Scene, screen: Event) -> float:
    """Least speed of the screener in the ``stops_within_s`` before the screen's moment; NaN where not known."""
    column = scene.column(screen, "screener")
    if column is None:
        return NAN
    speeds = scene.view.speed_ft_s[scene.view.span(screen.t_s - scene.settings.stops_within_s, screen.t_s), column]
    return float(speeds.min()) if np.isfinite(speeds).all() else NAN


def _stands_after_s(scene: Scene, screen: Event) -> float:
    """How long after the screen's moment the screener first stands for ``set_for_s``; NaN where he does not in time.

    The smoother that makes unsure places steady also makes a sudden stop gradual, so he has longer to stand then.
    """
    column = scene.column(screen, "screener")
    if column is None:
        return NAN
    view, settings = scene.view, scene.settings
    span = view.span(screen.t_s, screen.t_s + settings.then_stands_s + _late_s(scene, screen))
    slow = view.speed_ft_s[span, column] < settings.screener_set_ft_s
    least = settings.set_for_s - 1e-6
    return next((float(a * view.step_s) for a, b in stretches(slow) if (b - a) * view.step_s >= least), NAN)


def _late_s(scene: Scene, screen: Event) -> float:
    """How much later a screen may have been than it is told, its places being unsure."""
    sigma = screen.measures.get("sigma_ft", NAN)
    return scene.settings.late_s_per_ft * sigma if np.isfinite(sigma) else 0.0


def zipper_cuts(scene: Scene) -> list[Moment]:
    """Every zipper, with whether its defender is behind the cutter as he runs fastest."""
    found = []
    view = scene.view
    for cut in scene.of_kind("zipper_cut"):
        cutter, defender = scene.column(cut, "cutter"), scene.column(cut, "cutter_defender")
        behind = "unknown"
        if cutter is not None and defender is not None:
            moment = view.at(cut.t_s)
            way, offset = view.velocity_ft_s[moment, cutter], view.uv_ft[moment, defender] - view.uv_ft[moment, cutter]
            ahead_ft = float(offset @ way) / max(float(np.hypot(*way)), 1e-6)
            if np.isfinite(ahead_ft):
                behind = yes_no(held=ahead_ft <= -scene.settings.behind_ft)
        found.append(of_action(cut, "zipper_cut", {}, {"defender_behind": behind}))
    return found


def _set_for_s(scene: Scene, dead: Event, handler: int, mate: int) -> float | None:
    """When a teammate who has come to screen is first set for a handler with a dead dribble; None when he is not.

    Set: slow for ``set_for_s``, at most ``screen_handler_ft`` from the handler and ``screen_defender_ft`` from the
    nearest defender of his. Come: nearer to the handler by ``screen_came_ft`` than up to ``set_within_s`` before.
    """
    view, settings = scene.view, scene.settings
    span = view.span(dead.t_s - settings.set_within_s, dead.end_s)
    gap = view.gap_ft[span, handler, mate]
    defenders = np.flatnonzero(view.defenders)
    if not len(defenders) or not np.isfinite(gap).any():
        return None
    at_defender = (
        (view.gap_ft[span, mate][:, defenders] <= settings.screen_defender_ft)
        & (view.gap_ft[span, handler][:, defenders] <= settings.screen_guard_ft)
    ).any(axis=1)
    farthest = np.fmax.accumulate(np.where(np.isfinite(gap), gap, -np.inf))
    ready = (
        (view.speed_ft_s[span, mate] < settings.screener_set_ft_s)
        & (gap <= settings.screen_handler_ft)
        & at_defender
        & (farthest - gap >= settings.screen_came_ft)
        & (view.t_s[span] >= dead.t_s - 1e-6)
    )
    times = view.t_s[span]
    return next(
        (float(times[a]) for a, b in stretches(ready) if times[b - 1] - times[a] >= settings.set_for_s - 1e-6), None
    )
