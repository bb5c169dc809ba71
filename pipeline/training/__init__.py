"""training: from renders and labelled real frames to the weights in ``models/``.

Comes in: simulated frames and folders of labelled real frames. Goes out: weights, their ONNX form and
model cards. Never runs as part of the product.
"""
