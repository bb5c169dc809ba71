"""The matcher: which players of a possession played a set, by pruned search.

Phases that must be there are taken in the order of the file, each with every action that fits it, agrees with the
players bound so far and comes at its time; some may be left out for a match in part. A branch that cannot beat the best
match so far is cut. Then come the endings, all or nothing, then the optional phases, the best fit each.

The score is the mean over the phases of how well each was met: the score of its action, less for what was nearly so
or not seen, 0 for a phase that was not found. Optional phases and the ending weigh less (``SetSettings``). Where
players should stand as the set starts lowers or forbids it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

import numpy as np

from pipeline.sets.definition import AT_START, During, Edge, Need, Window
from pipeline.sets.match import Match, Met, shared_time
from pipeline.sets.meetings import seen_beside
from pipeline.sets.plan import Plan, PlannedLine, PlannedPart, PlannedPhase
from pipeline.sets.play import Fit, Play
from pipeline.sets.settings import SetSettings
from pipeline.sets.starting import start_share

LATER_COSTS = 0.02
"""Of two endings the one that comes first is meant; each second later takes this much of its quality away."""

MATCHES_AT_MOST = 6
"""One set is run no more often than this in one possession."""


def match_set(plan: Plan, play: Play) -> list[Match]:
    """Every run of a set in a possession, the best of those that overlap, in order of time."""
    found: list[Match] = []
    while len(found) < MATCHES_AT_MOST:
        best: Match | None = None
        for mirror in (1, -1) if plan.one_sided else (1,):
            for line in plan.lines:
                here = sum(not play.kinds.isdisjoint(kinds) for kinds in line.kinds)
                if here < least_found(len(line.kinds), play.settings):
                    continue
                best = _Search(plan, play, line, mirror, found, best).run()
        if best is None:
            break
        found.append(best)
    return sorted(found, key=lambda match: (match.start_s, match.rank()))


def least_found(required: int, settings: SetSettings) -> int:
    """How many of the phases that must be there a match in part has at least."""
    return min(required, max(2, math.ceil(settings.partial_share * required)))


class _Search:
    """One line of a set on one side of one possession."""

    def __init__(
        self, plan: Plan, play: Play, line: PlannedLine, mirror: int, before: Sequence[Match], best: Match | None
    ) -> None:
        self._plan = plan
        self._play = play
        self._s = play.settings
        self._line = line
        self._mirror = mirror
        self._before = before
        self._used = frozenset().union(*(match.used for match in before))
        self.best = best
        self._longest_s = plan.definition.longest_s or self._s.longest_s
        self._bound: list[int | None] = [None] * len(plan.definition.players)
        self._met: dict[str, Fit] = {}
        self._steps = 0
        self._longest_ending = max((len(ending.required) for ending in line.endings), default=0)
        required = line.part.required
        self._missing_at_most = len(required) - least_found(len(required), self._s)
        self._weight = (
            len(required) + (self._s.ending_weight if line.endings else 0.0) + self._weight_of(line.part.optional)
        )

    def run(self) -> Match | None:
        """The better of the best match of this line and the one given."""
        required = self._line.part.required
        empty = sum(not self._play.fits(phase, self._mirror) for phase in required)
        if empty <= self._missing_at_most:
            self._required(0, 0.0, 0)
        return self.best

    # ---- the phases that must be there --------------------------------------------------------

    def _required(self, number: int, quality: float, missing: int) -> None:
        required = self._line.part.required
        self._steps += 1
        if self._steps > self._s.steps_at_most or not self._may_win(len(required) - number, quality, missing):
            return
        if number == len(required):
            if missing == 0 or all(fit.seen for fit in self._met.values()):
                self._finish(quality, missing)
            return
        phase = required[number]
        for fit in self._timely(phase, self._last_before(required[:number]), self._line.part):
            taken = self._take(phase, fit)
            if taken is not None:
                self._required(number + 1, quality + fit.quality, missing)
                self._give_back(phase, taken)
        if missing < self._missing_at_most:
            self._required(number + 1, quality, missing + 1)

    def _may_win(self, left: int, quality: float, missing: int) -> bool:
        """Whether what is to come can still make the best match, with ``left`` phases to look for."""
        required = len(self._line.part.required)
        most = (self._weight - required + quality + left) / self._weight
        if most < self._s.least_score:
            return False
        if self.best is None:
            return True
        if self.best.complete or missing == 0:
            return missing == 0 and (not self.best.complete or most >= self.best.score)
        return required - missing + self._longest_ending >= self.best.found

    def _may_stand(self, score: float, found: int, *, complete: bool) -> bool:
        """Whether a whole match can still be the best."""
        if score < self._s.least_score:
            return False
        if self.best is None or self.best.complete != complete:
            return self.best is None or complete
        return score >= self.best.score if complete else found >= self.best.found

    def _take(self, phase: PlannedPhase, fit: Fit) -> list[int] | None:
        """Bind an action's players; the players that were newly bound, or None when they do not agree."""
        taken: list[int] = []
        for player, track in fit.binds:
            now = self._bound[player]
            if now == track:
                continue
            if now is not None or track in self._bound:
                for one in taken:
                    self._bound[one] = None
                return None
            self._bound[player] = track
            taken.append(player)
        self._met[phase.name] = fit
        return taken

    def _give_back(self, phase: PlannedPhase, taken: Iterable[int]) -> None:
        for player in taken:
            self._bound[player] = None
        del self._met[phase.name]

    def _agrees(self, fit: Fit) -> bool:
        for player, track in fit.binds:
            now = self._bound[player]
            if now != track and (now is not None or track in self._bound):
                return False
        return True

    # ---- time ---------------------------------------------------------------------------------

    def _last_before(self, phases: Sequence[PlannedPhase]) -> Fit | None:
        return next((self._met[phase.name] for phase in reversed(phases) if phase.name in self._met), None)

    def _timely(self, phase: PlannedPhase, last: Fit | None, part: PlannedPart) -> Iterator[Fit]:
        """Actions that fit a phase, agree with the players bound and come at its time."""
        used = {fit.index for fit in self._met.values()}
        begun_s = min((fit.t_s for fit in self._met.values()), default=math.inf)
        trusted = part is self._line.part and phase.phase.need is Need.REQUIRED
        for fit in self._play.fits(phase, self._mirror):
            if fit.index in used or fit.index in self._used or not (fit.seen or (trusted and self._trusted(fit))):
                continue
            if self._met and abs(fit.t_s - begun_s) > self._longest_s:
                continue
            if self._agrees(fit) and self._at_its_time(phase, fit, last) and self._others_at_theirs(phase, fit, part):
                yield fit

    def _trusted(self, fit: Fit) -> bool:
        """Whether a phase may be met by what nobody saw; none of a counter, which is what was not planned."""
        if self._line.line.counter is not None:
            return False
        hidden = sorted([other.hidden_s for other in self._met.values() if not other.seen] + [fit.hidden_s])
        moments = 1 + sum(b - a > self._s.met_around_s for a, b in pairwise(hidden))
        return moments <= self._s.unseen_at_most

    def _at_its_time(self, phase: PlannedPhase, fit: Fit, last: Fit | None) -> bool:
        slack = self._s.order_slack_s
        if phase.phase.any_time:
            return True
        timed = False
        for time in phase.phase.times:
            anchor = self._anchor(time.anchor.phase if isinstance(time, Window) else time.phase)
            if anchor is not None:
                timed = True
                if not _holds(time, fit, anchor, slack):
                    return False
        if timed or last is None or (phase.phase.times and not self._anchored(phase)):
            return True
        return -slack <= fit.t_s - last.t_s <= self._s.longest_wait_s

    def _anchored(self, phase: PlannedPhase) -> bool:
        """Whether every phase that a phase is timed by has been looked for."""
        names = [time.anchor.phase if isinstance(time, Window) else time.phase for time in phase.phase.times]
        order = [one.name for one in self._line.part.required]
        here = order.index(phase.name) if phase.name in order else len(order)
        stands_for = self._line.line.stands_for
        return all(stands_for.get(name, name) in order[:here] or name not in order for name in names)

    def _others_at_theirs(self, phase: PlannedPhase, fit: Fit, part: PlannedPart) -> bool:
        """Phases that were taken before and are timed by this one."""
        for other in part.required:
            taken = self._met.get(other.name)
            if taken is None or other is phase:
                continue
            for time in other.phase.times:
                name = time.anchor.phase if isinstance(time, Window) else time.phase
                if name == phase.name and not _holds(time, taken, fit, self._s.order_slack_s):
                    return False
        return True

    def _anchor(self, name: str) -> Fit | None:
        found = self._met.get(name)
        return found if found is not None else self._met.get(self._line.line.stands_for.get(name, name))

    # ---- endings, optional phases, the whole -----------------------------------------------------

    def _finish(self, quality: float, missing: int) -> None:
        """The main line stands: find its ending and the optional phases, and see whether it is the best.

        Where a player whom only an optional phase or the ending names could not have started where he should, it is
        tried without them.
        """
        main = list(self._met)
        last = max(self._met.values(), key=lambda fit: fit.t_s)
        ending, ending_fits = self._ending(last)
        bound = list(self._bound)
        tries: list[tuple[PlannedPart | None, bool]] = [(ending, True), (ending, False)]
        if ending is not None:
            tries += [(None, True), (None, False)]
        for chosen, optional in tries:
            stood = self._whole(quality, missing, main, chosen, ending_fits, optional=optional)
            more = len(self._met) > len(main)
            self._bound = list(bound)
            self._met = {name: self._met[name] for name in main}
            if stood or not more:
                return

    def _whole(
        self,
        quality: float,
        missing: int,
        main: Sequence[str],
        ending: PlannedPart | None,
        ending_fits: dict[str, Fit],
        *,
        optional: bool,
    ) -> bool:
        """Put the main line, an ending and the optional phases together; whether nothing forbids that."""
        line, s = self._line, self._s
        parts = [line.part]
        ending_quality = optional_quality = 0.0
        if ending is not None:
            parts.append(ending)
            ending_quality = float(np.mean([fit.quality for fit in ending_fits.values()]))
            for phase in ending.required:
                self._take(phase, ending_fits[phase.name])
        if optional:
            optional_quality = sum(self._optional(part) for part in parts)
        weight = len(line.part.required) + (s.ending_weight if line.endings else 0.0)
        weight += sum(self._weight_of(part.optional) for part in parts)
        score = (quality + s.ending_weight * ending_quality + optional_quality) / weight
        must_end = self._plan.definition.must_end and bool(line.endings) and ending is None
        complete = missing == 0 and not must_end
        found = len(line.part.required) - missing + (0 if ending is None else len(ending.required))
        if not self._may_stand(score, found, complete=complete):
            return True
        share = self._links(parts) * self._starts() if self._borne_out() and self._allowed(parts) else 0.0
        if score * share >= s.least_score:
            self._offer(parts, main, score * share, complete=complete, must_end=must_end)
        return share > 0

    def _ending(self, last: Fit) -> tuple[PlannedPart | None, dict[str, Fit]]:
        best: tuple[float, PlannedPart | None, dict[str, Fit]] = (-math.inf, None, {})
        for ending in self._line.endings:
            for fits in self._all_of(ending, 0, last):
                chosen = [fits[phase.name] for phase in ending.required]
                late_s = max(0.0, chosen[0].t_s - last.t_s)
                grade = float(np.mean([fit.quality for fit in chosen])) - LATER_COSTS * late_s
                if grade > best[0]:
                    best = (grade, ending, fits)
        return best[1], best[2]

    def _all_of(self, ending: PlannedPart, number: int, last: Fit) -> Iterator[dict[str, Fit]]:
        """Every way to meet all phases that an ending must have."""
        self._steps += 1
        if self._steps > self._s.steps_at_most:
            return
        if number == len(ending.required):
            if ending.required:
                yield {phase.name: self._met[phase.name] for phase in ending.required}
            return
        phase = ending.required[number]
        before = self._last_before(ending.required[:number]) or last
        for fit in list(self._timely(phase, before, ending)):
            taken = self._take(phase, fit)
            if taken is not None:
                yield from self._all_of(ending, number + 1, last)
                self._give_back(phase, taken)

    def _weight_of(self, phases: Iterable[PlannedPhase]) -> float:
        """What phases that need not be there weigh in the score."""
        usual, optional = self._s.usual_weight, self._s.optional_weight
        return sum(usual if phase.phase.need is Need.USUAL else optional for phase in phases)

    def _optional(self, part: PlannedPart) -> float:
        """Take the best fit of every optional phase; the sum of their qualities, weighed."""
        total = 0.0
        begun_s = min(fit.t_s for fit in self._met.values())
        for phase in part.optional:
            here = part.phases.index(phase)
            before = [one for one in part.phases[:here] if one.phase.need is Need.REQUIRED]
            last = self._last_before(before)
            if last is None and part is not self._line.part:
                last = self._last_before(self._line.part.required)
            timely = self._timely(phase, last, part)
            if last is None and not phase.phase.times and not phase.phase.any_time:
                timely = (fit for fit in timely if 0 <= begun_s - fit.t_s <= self._s.longest_wait_s)
            fits = sorted(timely, key=lambda fit: (-fit.quality, fit.t_s, fit.index))
            if fits and self._take(phase, fits[0]) is not None:
                total += fits[0].quality * self._weight_of((phase,))
        return total

    def _borne_out(self) -> bool:
        """Whether enough was seen of a match that takes a phase on trust; of a handoff, that the two met was seen.

        With a screen on trust something of the set that must be there was seen too (:func:`seen_beside`).
        """
        taken = self._met.values()
        unseen = [fit for fit in taken if not fit.seen]
        if not unseen:
            return True
        kinds = [self._play.events[fit.index].kind for fit in unseen]
        required = sum(self._met[phase.name].seen for phase in self._line.part.required if phase.name in self._met)
        if required < max(seen_beside(self._play.events[fit.index]) for fit in unseen):
            return False
        seen = len(taken) - len(unseen)
        return seen + kinds.count("handoff") >= min(self._s.unseen_beside, len(self._line.part.required))

    def _allowed(self, parts: Sequence[PlannedPart]) -> bool:
        """Not too long, not over a match that stands, nothing forbidden in it."""
        start_s = min(fit.start_s for fit in self._met.values())
        end_s = max(fit.end_s for fit in self._met.values())
        first_s, last_s = min(fit.t_s for fit in self._met.values()), max(fit.t_s for fit in self._met.values())
        if last_s - first_s > self._longest_s:
            return False
        for match in self._before:
            if shared_time(start_s, end_s, match.start_s, match.end_s) > self._s.apart_share:
                return False
        for part in parts:
            for phase in part.forbidden:
                if self._happened(phase, first_s, last_s):
                    return False
        return True

    def _happened(self, phase: PlannedPhase, first_s: float, last_s: float) -> bool:
        used = {fit.index for fit in self._met.values()}
        for fit in self._play.fits(phase, self._mirror):
            if (
                not fit.seen
                or fit.index in used
                or any(self._bound[player] not in (None, track) for player, track in fit.binds)
            ):
                continue
            times = [(t, self._anchor(t.anchor.phase if isinstance(t, Window) else t.phase)) for t in phase.phase.times]
            known = [(time, anchor) for time, anchor in times if anchor is not None]
            if known:
                if all(_holds(time, fit, anchor, 0.0) for time, anchor in known):
                    return True
            elif phase.phase.any_time or first_s <= fit.t_s <= last_s:
                return True
        return False

    def _links(self, parts: Sequence[PlannedPart]) -> float:
        """Sides that refer to another phase."""
        start_s = min(fit.start_s for fit in self._met.values())
        share = 1.0
        for part in parts:
            for phase in part.phases:
                fit = self._met.get(phase.name)
                for zone in phase.linked if fit is not None else ():
                    assert fit is not None
                    other = None if zone.than in (None, AT_START) else self._anchor(str(zone.than))
                    share *= self._play.linked_share(zone, fit, other, start_s)
        return share

    def _starts(self) -> float:
        """Where the players are as the set starts; binds those whom no action named."""
        first = min(self._met.values(), key=lambda fit: fit.start_s)
        everybody = frozenset(range(len(self._bound)))
        late = self._line.part.required[0].name not in self._met  # the set may have started before what was found
        share, self._bound = start_share(
            self._plan.definition.players,
            self._bound,
            self._play,
            first,
            self._mirror,
            loose=everybody if late else frozenset(),
            loose_if_found_so=everybody if late else self._line.acting,
        )
        return share

    def _offer(
        self, parts: Sequence[PlannedPart], main: Sequence[str], score: float, *, complete: bool, must_end: bool
    ) -> None:
        definition = self._plan.definition
        met = tuple(
            Met(phase, self._met.get(phase.name))
            for part in parts
            for phase in part.phases
            if phase.phase.need is not Need.FORBIDDEN
        )
        missing = [one.phase.name for one in met if one.fit is None and one.phase.phase.need is Need.REQUIRED]
        last = max((self._met[name] for name in main), key=lambda fit: (fit.t_s, fit.seen))
        match = Match(
            plan=self._plan,
            mirror=self._mirror,
            counter=self._line.line.counter,
            ending=parts[1].name if len(parts) > 1 else None,
            complete=complete,
            score=min(1.0, score),
            tracks=tuple(self._bound[: len(definition.players)]),
            met=met,
            missing=(*missing, *(("ending",) if must_end else ())),
            start_s=min(fit.start_s for fit in self._met.values()),
            end_s=max(fit.end_s for fit in self._met.values()),
            t_s=last.t_s,
            moment=last.index,
        )
        if self.best is None or match.rank() < self.best.rank():
            self.best = match


def _holds(time: Window | During, fit: Fit, anchor: Fit, slack_s: float) -> bool:
    if isinstance(time, During):
        return fit.start_s <= anchor.end_s + slack_s and anchor.start_s <= fit.end_s + slack_s
    edge = time.anchor.edge
    from_s = anchor.t_s if edge is Edge.MOMENT else anchor.start_s if edge is Edge.START else anchor.end_s
    return time.low_s - slack_s <= fit.t_s - from_s <= time.high_s + slack_s
