"""One residual a file: value, Jacobian, weight, source. All are linearised at the keyframes.

Unknowns are three-vectors, numbered as `slots`: first every unit's small world-frame rotation θ
(R ← Exp(θ) R), then every unit's gyroscope bias, then velocities.
"""
