"""ball: where the ball was, who had it, and what became of it.

Comes in: ball boxes, ``cameras`` and ``tracks``; or places from tracking data. Goes out: ``ball``, ``touches`` (holds
with their dribbles, passes, handoffs, shots, rebounds and loose balls) and ``possessions``. Weighs everything that a
shot shows at once (``story``): detections beside bodies and rings (``evidence``), whole flights (``flights``) and which
team attacks which ring (``sides``); where only places are known, those (``place_states``). Does not name basketball
actions beyond these.
"""
