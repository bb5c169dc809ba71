"""Situations of the ball: catches, touches, post-ups, and the ball's first way inside."""

from __future__ import annotations

from types import MappingProxyType

import numpy as np

from pipeline.actions.events import Event
from pipeline.actions.stretches import stretches
from pipeline.actions.view import NOBODY
from pipeline.spacing.measures import FIVE, hull_area_ft2
from pipeline.spacing.scene import Moment, Scene, of_action, yes_no

NAN = float("nan")
SCREENS = ("on_ball_screen", "off_ball_screen")


def catches(scene: Scene) -> list[Moment]:
    """Every pass that was caught, with the denial before it.

    A pass that would have flown faster than any is none: the ball was said to be with the wrong player.
    """
    found = []
    beyond = scene.settings.wing_beyond_v_ft
    for caught in scene.of_kind("pass"):
        receiver, passer = scene.column(caught, "receiver"), scene.column(caught, "passer")
        if receiver is None or _too_fast(scene, caught):
            continue
        v = float(scene.view.place_at(caught.t_s, receiver)[1])
        from_v = NAN if passer is None else float(scene.view.place_at(caught.start_s, passer)[1])
        denials = [
            d
            for d in scene.of_kind("denial")
            if d.actor("receiver") == caught.actor("receiver")
            and d.start_s < caught.t_s
            and caught.t_s - d.end_s <= scene.settings.denied_before_s
        ]
        denied = max(denials, key=lambda d: d.end_s, default=None)
        actors = [("receiver", caught.actor("receiver")), ("passer", caught.actor("passer"))]
        if denied is not None:
            actors.append(("denier", denied.actor("receiver_defender")))
        same_side = yes_no(held=abs(from_v) > beyond and from_v * v > 0) if np.isfinite(from_v) else "unknown"
        found.append(
            of_action(
                caught,
                "catch",
                {"catch_abs_v_ft": abs(v), "denied_s": denied.measures["lasted_s"] if denied else 0.0},
                {
                    "on_wing_side": yes_no(held=abs(v) > beyond) if np.isfinite(v) else "unknown",
                    "from_same_side": same_side,
                    "settled": scene.settled(caught.start_s),
                },
                actors=[(role, track) for role, track in actors if track is not None],
            )
        )
    return found


def touches(scene: Scene) -> list[Moment]:
    """Every touch, with what followed it and who was denied during it.

    The moment is the start of its longest stretch without a dribble.
    """
    found = []
    for touch in scene.of_kind("touch"):
        who = touch.actor("handler")
        denied = sorted(
            {
                int(receiver)
                for d in scene.of_kind("denial")
                if d.start_s < touch.end_s and d.end_s > touch.start_s and (receiver := d.actor("receiver")) is not None
            }
            - {who}
        )
        found.append(
            of_action(
                touch,
                "touch",
                {"denied_count": float(len(denied)), "seen_still_s": _seen_still_s(scene, touch)},
                {"then": _then(scene, touch), "settled": scene.settled(touch.t_s)},
                actors=[*touch.actors, *(("denied", track) for track in denied)],
                t_s=_still_from_s(scene, touch),
            )
        )
    return found


def post_ups(scene: Scene) -> list[Moment]:
    """Every post-up, with what the four others do meanwhile.

    Their movement is judged over the ``still_s`` from the catch on, or from the start where the ball did not come.
    Unknown where one of the four was not placed all along.
    """
    found = []
    view = scene.view
    for post in scene.of_kind("post_up"):
        poster = scene.column(post, "poster")
        others = [int(n) for n in np.flatnonzero(view.attackers) if n != poster]
        ways = _ways_ft(scene, others, post)
        mates = {int(view.tracks[n]) for n in others}
        found.append(
            of_action(
                post,
                "post_up",
                {
                    "most_moved_ft": float(max(ways)) if len(ways) == 4 else NAN,
                    "mean_moved_ft": float(np.mean(ways)) if len(ways) == 4 else NAN,
                    "others_placed": float(len(ways)),
                    "with_ball_s": _with_ball_s(scene, post),
                },
                {
                    "screened": yes_no(held=any(_during(e, post) for e in scene.of_kind(*SCREENS))),
                    "cut": yes_no(
                        held=any(
                            _during(e, post) and e.actor("cutter") in mates
                            for e in scene.actions
                            if e.kind.endswith("_cut")
                        )
                    ),
                    "settled": scene.settled(post.t_s),
                },
                actors=[*post.actors, *(("other", int(view.tracks[n])) for n in others)],
                spread={"most_moved_ft": scene.settings.least_sigma_ft},
            )
        )
    return found


def ball_inside(scene: Scene) -> list[Moment]:
    """The moment at which the ball first comes inside ``ball_inside_ft``, after having been outside it.

    Where one of the ten is not placed just then, the nearest moment within ``inside_within_s`` at which all are. Where
    there is none, four placed defenders tell that the defence's area is at least theirs.
    """
    view = scene.view
    ball = np.linalg.norm(view.ball_uv_ft, axis=1)
    held = np.flatnonzero((view.handler != NOBODY) & ~np.isfinite(ball))
    ball[held] = view.ring_ft[held, view.handler[held]]
    known = np.flatnonzero(np.isfinite(ball))
    outside = known[ball[known] > scene.settings.ball_inside_ft]
    if not len(outside):
        return []
    later = known[(known > outside[0]) & (ball[known] <= scene.settings.ball_inside_ft)]
    if not len(later):
        return []
    moment = _whole(scene, int(later[0]))
    attack, defence = _areas_ft2(scene, moment)
    sigma = [_hull_sigma_ft2(scene, moment, team) for team in (view.attackers, view.defenders)]
    handler = int(view.handler[moment])
    event = Event(
        kind="ball_inside",
        shot=view.shot,
        possession=view.possession,
        start_s=float(view.t_s[max(moment - view.steps(1.0), 0)]),
        end_s=float(view.t_s[min(moment + view.steps(1.0), len(view.t_s) - 1)]),
        t_s=float(view.t_s[moment]),
        actors=() if handler == NOBODY else (("handler", int(view.tracks[handler])),),
        place_ft=view.court_point_ft(view.ball_uv_ft[moment])
        if np.isfinite(view.ball_uv_ft[moment]).all()
        else view.court_place_ft(moment, handler),
        attacked_end=view.end,
        measures=MappingProxyType(
            {
                "hull_attack_ft2": attack,
                "hull_defence_ft2": defence,
                "hull_lead_ft2": attack - defence,
                "players_placed": float(np.isfinite(view.uv_ft[moment, view.attackers | view.defenders, 0]).sum()),
                "u_ft": float(view.ball_uv_ft[moment, 0]),
                "v_ft": float(view.ball_uv_ft[moment, 1]),
                "sigma_ft": float(np.nanmean(view.sigma_ft[moment])),
            }
        ),
        score=float(view.observed[moment, view.attackers | view.defenders].mean()),
        traits=MappingProxyType({"settled": scene.settled(float(view.t_s[moment]))}),
    )
    unsure = float(np.hypot(sigma[0], sigma[1]))  # of the comparison of the two
    spread = dict.fromkeys(("hull_attack_ft2", "hull_defence_ft2", "hull_lead_ft2"), unsure)
    return [Moment(event, MappingProxyType(spread))]


def _too_fast(scene: Scene, caught: Event) -> bool:
    """Whether no ball flies that far in that time, even if it was thrown earlier and caught later than told."""
    longest_s = caught.measures["flight_s"] + scene.settings.flight_off_s
    return bool(caught.measures["length_ft"] > scene.settings.fastest_pass_ft_s * longest_s)


def _whole(scene: Scene, moment: int) -> int:
    """The moment nearest to one at which both hulls are known; that one where none is near enough."""
    known = np.isfinite(scene.spacing.hull_attack_ft2) & np.isfinite(scene.spacing.hull_defence_ft2)
    away = np.abs(scene.view.t_s - scene.view.t_s[moment])
    near = np.flatnonzero(known & (away <= scene.settings.inside_within_s + 1e-6))
    return int(near[away[near].argmin()]) if len(near) else moment


def _areas_ft2(scene: Scene, moment: int) -> tuple[float, float]:
    """Areas round attackers and defenders; NaN where not known.

    Four defenders who are placed cover no more than the five do: where that alone is more than the attack covers, it
    stands for the defence.
    """
    view = scene.view
    attack, defence = float(scene.spacing.hull_attack_ft2[moment]), float(scene.spacing.hull_defence_ft2[moment])
    places = view.uv_ft[moment, view.defenders]
    placed = places[np.isfinite(places).all(axis=1)]
    if np.isfinite(defence) or len(placed) != FIVE - 1:
        return attack, defence
    least = float(hull_area_ft2(placed[None])[0])
    return attack, least if least > attack else NAN


def _then(scene: Scene, touch: Event) -> str:
    """What followed a touch: what its handler did with the ball, or ``other``; unknown where nothing is known."""
    who, until_s = touch.actor("handler"), touch.end_s + scene.settings.next_within_s
    roles = {"pass": ("pass", "passer"), "handoff": ("handoff", "giver"), "shot": ("shot", "shooter")}
    for kind, (what, role) in roles.items():
        if any(
            e.actor(role) == who and touch.t_s < e.start_s + 1e-6 and e.start_s <= until_s for e in scene.of_kind(kind)
        ):
            return what
    if any(e.actor("loser") == who and touch.t_s < e.t_s <= until_s for e in scene.of_kind("turnover")):
        return "lost"
    return "other" if touch.end_s < scene.view.end_s - scene.settings.next_within_s else "unknown"


def _still_parts(scene: Scene, touch: Event) -> list[tuple[float, float]]:
    """A touch's times without a dribble; empty where the touch is not known."""
    who = touch.actor("handler")
    own = next((t for t in scene.view.touches if t.track == who and abs(t.start_s - touch.start_s) < 1e-6), None)
    if own is None:
        return []
    begins = [own.start_s, *(min(end, own.end_s) for _, end in sorted(own.dribbles))]
    ends = [*(max(start, own.start_s) for start, _ in sorted(own.dribbles)), own.end_s]
    return list(zip(begins, ends, strict=True))


def _still_from_s(scene: Scene, touch: Event) -> float:
    """Start of a touch's longest time without a dribble; its catch where that is not known."""
    parts = _still_parts(scene, touch)
    return max(parts, key=lambda part: part[1] - part[0])[0] if parts else touch.t_s


def _seen_still_s(scene: Scene, touch: Event) -> float:
    """Longest time without a dribble in which the ball was never unseen for longer than ``ball_unseen_s``.

    While it is not seen it may have been dribbled, or passed and caught again. Unknown where the touch is.
    """
    parts = _still_parts(scene, touch)
    view = scene.view
    longest = 0.0
    for part in parts:
        span = view.span(*part)
        t_s, seen = view.t_s[span], view.dribble[span] >= 0
        for first, past in stretches(~seen):
            if (past - first) * view.step_s <= scene.settings.ball_unseen_s + 1e-6:
                seen[first:past] = True
        whole = max((float(t_s[past - 1] - t_s[first]) for first, past in stretches(seen)), default=-view.step_s)
        longest = max(longest, min(whole + view.step_s, part[1] - part[0]))
    return longest if parts else NAN


def _with_ball_s(scene: Scene, post: Event) -> float:
    """How long a post-up lasted with the ball in the poster's hands; 0 where it never came."""
    own = (t for t in scene.view.touches if t.track == post.actor("poster"))
    return sum(max(min(t.end_s, post.end_s) - max(t.start_s, post.start_s), 0.0) for t in own)


def _ways_ft(scene: Scene, others: list[int], post: Event) -> list[float]:
    """Ways of the others placed all along, in the ``still_s`` after the catch or as long as the post-up lasts."""
    until_s = min(post.t_s + scene.settings.still_s, max(post.end_s, post.t_s + scene.settings.path_step_s))
    ways = (scene.path_ft(n, post.t_s, until_s) for n in others)
    return [way for way in ways if np.isfinite(way)]


def _during(event: Event, post: Event) -> bool:
    return post.start_s <= event.t_s <= post.end_s


def _hull_sigma_ft2(scene: Scene, moment: int, team: np.ndarray) -> float:
    """One sigma of a hull's area: how it changes with every coordinate, times that one's uncertainty."""
    columns = np.flatnonzero(team & np.isfinite(scene.view.uv_ft[moment]).all(axis=1))
    if len(columns) < FIVE - 1:
        return NAN
    places = scene.view.uv_ft[moment, columns]
    sigma = np.array([scene.sigma_ft(moment, int(n)) for n in columns])
    moved = np.repeat(places[None], 2 * len(columns), axis=0)
    for k in range(len(moved)):
        moved[k, k // 2, k % 2] += 0.5
    slope = (hull_area_ft2(moved) - hull_area_ft2(places[None])) / 0.5
    return float(np.sqrt(np.sum((slope * np.repeat(sigma, 2)) ** 2)))
