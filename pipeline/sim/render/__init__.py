"""render: turn one simulated moment and a look into a picture and its labels.

Comes in: a `SceneFrame`, a `Look`, bodies. Goes out: a BGR picture, boxes with visible shares, a court-area label map.
Will not decide what happens on the floor, and knows nothing of files or codecs.
"""
