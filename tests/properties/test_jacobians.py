"""Every residual and its Jacobian, against casadi's automatic differentiation and against differences.

The casadi side writes each residual afresh from its equation, frame by frame, with nothing of the package.
A small unknown x per keyframe and slot moves the state as the smoother does: R ← Exp(x) R, the rest by + x.
"""
# pyright: reportArgumentType=false

import dataclasses

import casadi as ca
import numpy as np
import pytest

from bodyfit.body.motion.joint_angles import angle_rates, joint_angles
from bodyfit.body.parts import Joint
from bodyfit.core.rotations import apply, exp, log
from bodyfit.estimator.residuals.bias import bias_level, bias_walk
from bodyfit.estimator.residuals.chain_closure import bridge
from bodyfit.estimator.residuals.field import field_heading, field_vector
from bodyfit.estimator.residuals.gravity import gravity, velocity_gain, velocity_level
from bodyfit.estimator.residuals.hinge import hinge
from bodyfit.estimator.residuals.initial_rotation import rotation_at_start
from bodyfit.estimator.residuals.joint_angle import joint_angle
from bodyfit.estimator.residuals.joint_centre import joint_centre
from bodyfit.estimator.residuals.posture import held_pose, posture
from bodyfit.estimator.residuals.reported_orientation import fused_orientation
from bodyfit.estimator.residuals.sole import sole_level
from bodyfit.estimator.residuals.travel import position_at_start, travel
from bodyfit.estimator.residuals.turn_rate import turn_rate

KEYFRAMES, UNITS, MOVING = 4, 3, 2  # MOVING: units whose velocity is an unknown
SLOTS = 2 * UNITS + MOVING
SHAPE = (KEYFRAMES, SLOTS, 3)
G, STEP = 9.81, 0.1

# ---- the same maths for casadi, written for this test ----


def cross(v):
    return ca.skew(v)


def sym_exp(v):
    """Rodrigues' formula; a series in |v|² where that is small, so that its derivative exists at zero."""
    square = ca.dot(v, v)
    small = square < 1e-8
    safe = ca.if_else(small, 1.0, square)
    angle = ca.sqrt(safe)
    a = ca.if_else(small, 1 - square / 6, ca.sin(angle) / angle)
    b = ca.if_else(small, 0.5 - square / 24, (1 - ca.cos(angle)) / safe)
    K = cross(v)
    return ca.SX.eye(3) + a * K + b * K @ K


def sym_log(R):
    """Axis times angle: sin φ n is the skew part, cos φ comes from the trace."""
    sine_axis = 0.5 * ca.vertcat(R[2, 1] - R[1, 2], R[0, 2] - R[2, 0], R[1, 0] - R[0, 1])
    cosine = 0.5 * (ca.trace(R) - 1)
    square = ca.dot(sine_axis, sine_axis)
    small = ca.logic_and(square < 1e-8, cosine > 0)
    sine = ca.sqrt(ca.if_else(small, 1.0, square))
    factor = ca.if_else(small, 1 + square / 6 + 3 * square**2 / 40, ca.atan2(sine, cosine) / sine)
    return factor * sine_axis


def sym_angles(R, sequence):
    """Textbook inverse of R = Rz Rx Ry and of R = Ry Rx Ry (with a negative middle angle)."""
    if sequence == "ZXY":
        middle = ca.atan2(R[2, 1], ca.sqrt(R[0, 1] ** 2 + R[1, 1] ** 2))
        return ca.vertcat(ca.atan2(-R[0, 1], R[1, 1]), middle, ca.atan2(-R[2, 0], R[2, 2]))
    middle = -ca.atan2(ca.sqrt(R[0, 1] ** 2 + R[2, 1] ** 2), R[1, 1])
    return ca.vertcat(ca.atan2(-R[0, 1], -R[2, 1]), middle, ca.atan2(-R[1, 0], R[1, 2]))


class State:
    """A random state, every unit turned by `size` (rad) against the world."""

    def __init__(self, size, seed):
        rng = np.random.default_rng(seed)
        self.rng = rng
        turn = rng.normal(size=(KEYFRAMES, UNITS, 3))
        turn *= size / np.linalg.norm(turn, axis=-1, keepdims=True)
        self.R = exp(turn)
        self.bias = np.zeros((KEYFRAMES, UNITS, 3))
        self.velocity = rng.normal(size=(KEYFRAMES, MOVING, 3))
        self.force = rng.normal(size=(KEYFRAMES, UNITS, 3)) * 2 + [0, G, 0]
        self.known = rng.random((KEYFRAMES, UNITS)) < 0.8

    def rotations(self, x):
        return exp(x[:, :UNITS]) @ self.R

    def turned(self, x, vectors, units):
        """World vectors (K + 1, E, 3) of some units, turned with them."""
        return apply(exp(x[:, units]), vectors)


SIZES = [0.0, 1e-6, 0.3, 1.2, 2.9]  # rad, how far every unit is turned from the world's axes


@pytest.fixture(params=SIZES, ids=lambda size: f"turned {size:g} rad")
def state(request):
    return State(request.param, seed=int(10 * request.param) + 1)


def dense(residual):
    """(rows, unknowns) matrix of a `Linearised`, all keyframes and slots, as the smoother reads it."""
    count, entries, m = residual.value.shape
    out = np.zeros((count, entries, m, *SHAPE))
    for slots, shift, J in residual.jacobians:
        for k in range(count):
            for e, slot in enumerate(slots):
                out[k, e, :, k + shift, slot] += J[k, e]
    return out.reshape(count * entries * m, -1)


def differences(evaluate, h=1e-6):
    """Central differences of the residual's own value."""
    columns = []
    for index in range(np.prod(SHAPE)):
        x = np.zeros(np.prod(SHAPE))
        x[index] = h
        ahead, behind = evaluate(x.reshape(SHAPE)).value, evaluate(-x.reshape(SHAPE)).value
        columns.append((ahead - behind).ravel() / (2 * h))
    return np.stack(columns, -1)


def automatic(symbolic):
    """Value and Jacobian at x = 0 of expressions in the same order as `Linearised.value`."""
    flat = ca.SX.sym("x", int(np.prod(SHAPE)))
    x = [
        [flat[3 * (k * SLOTS + s) : 3 * (k * SLOTS + s) + 3] for s in range(SLOTS)] for k in range(KEYFRAMES)
    ]
    rows = ca.vertcat(*symbolic(x))
    f = ca.Function("residual", [flat], [rows, ca.jacobian(rows, flat)])
    value, J = f(np.zeros(flat.shape[0]))
    return np.asarray(value).ravel(), np.asarray(J)


def check(evaluate, symbolic, columns=slice(None), rows=None):
    """Value and Jacobian of a residual agree with both others.

    Parameters
    ----------
    columns : unknowns that the Jacobian is meant to describe; it has to be zero in all others
    rows : which components count, where some are switched off by their weight
    """
    residual = evaluate(np.zeros(SHAPE))
    ours, rows = dense(residual), slice(None) if rows is None else rows.ravel()
    value, J = automatic(symbolic)
    np.testing.assert_allclose(residual.value.ravel()[rows], value[rows], atol=1e-9)
    chosen = np.zeros(ours.shape[1], bool)
    chosen[columns] = True
    np.testing.assert_allclose(ours[rows][:, chosen], J[rows][:, chosen], atol=1e-9 * max(1, np.abs(J).max()))
    np.testing.assert_allclose(ours[rows][:, chosen], differences(evaluate)[rows][:, chosen], atol=2e-7)
    assert not ours[rows][:, ~chosen].any()
    assert np.abs(ours[rows]).max() > 0


def each(function, count=KEYFRAMES, entries=UNITS):
    """Symbolic rows in the order (keyframe, entry, component)."""
    return [function(k, e) for k in range(count) for e in range(entries)]


def vec(values):
    return ca.DM(np.asarray(values))


# ---- one test a residual ----


def test_turn_rate(state):
    turn = exp(state.rng.normal(size=(KEYFRAMES - 1, UNITS, 3)) * 0.5)
    by_bias = -STEP * exp(state.rng.normal(size=(KEYFRAMES - 1, UNITS, 3)) * 0.1)
    variance = np.full((KEYFRAMES - 1, UNITS), 1e-4)

    def evaluate(x):
        bias = state.bias + x[:, UNITS : 2 * UNITS]
        return turn_rate(state.rotations(x), bias, turn, by_bias, variance)

    def rows(x):
        def row(k, u):
            before, after = (sym_exp(x[i][u]) @ vec(state.R[i, u]) for i in (k, k + 1))
            measured = vec(turn[k, u]) @ sym_exp(
                vec(by_bias[k, u]) @ (vec(state.bias[k, u]) + x[k][UNITS + u])
            )
            return sym_log(measured.T @ before.T @ after)

        return each(row, KEYFRAMES - 1)

    check(evaluate, rows)


def test_turn_rate_that_fits_exactly(state):
    """The residual that the smoother meets at its end: near zero, where a careless Log would break down."""
    turn = np.swapaxes(state.R[:-1], -1, -2) @ state.R[1:] @ exp(state.rng.normal(size=(3, UNITS, 3)) * 1e-7)
    by_bias = np.broadcast_to(-STEP * np.eye(3), turn.shape)

    def evaluate(x):
        bias = state.bias + x[:, UNITS : 2 * UNITS]
        return turn_rate(state.rotations(x), bias, turn, by_bias, np.ones((3, UNITS)))

    def rows(x):
        def row(k, u):
            before, after = (sym_exp(x[i][u]) @ vec(state.R[i, u]) for i in (k, k + 1))
            return sym_log((vec(turn[k, u]) @ sym_exp(-STEP * x[k][UNITS + u])).T @ before.T @ after)

        return each(row, KEYFRAMES - 1)

    check(evaluate, rows)


def test_turn_rate_with_a_bias_is_right_to_first_order():
    """The slope by the bias leaves out how Exp bends over the bias already found, 1 − ½ [B b]× + ….

    A bias of 3 °/s over 0.1 s turns by 5 mrad, so that slope is off by 0.3 % at most.
    """
    state = State(1.2, 5)
    turn = exp(state.rng.normal(size=(KEYFRAMES - 1, UNITS, 3)) * 0.5)
    by_bias = np.broadcast_to(-STEP * np.eye(3), turn.shape)
    bias = np.radians(3) * np.array([0.6, 0.0, 0.8])

    def evaluate(x):
        moved = bias + x[:, UNITS : 2 * UNITS]
        return turn_rate(state.rotations(x), moved, turn, by_bias, np.ones((3, UNITS)))

    ours, numerical = dense(evaluate(np.zeros(SHAPE))), differences(evaluate)
    by_rotation = np.zeros(SHAPE, bool)
    by_rotation[:, :UNITS] = True
    np.testing.assert_allclose(ours[:, by_rotation.ravel()], numerical[:, by_rotation.ravel()], atol=2e-7)
    off = np.abs(ours - numerical)[:, ~by_rotation.ravel()].max()
    assert 1e-6 < off < 0.5 * STEP * np.linalg.norm(bias) * STEP * 2


def test_bias_walk(state):
    bias = state.rng.normal(size=(KEYFRAMES, UNITS, 3))

    def rows(x):
        return each(
            lambda k, u: vec(bias[k + 1, u]) + x[k + 1][UNITS + u] - vec(bias[k, u]) - x[k][UNITS + u],
            KEYFRAMES - 1,
        )

    check(lambda x: bias_walk(bias + x[:, UNITS : 2 * UNITS], 1e-6), rows)


def test_bias_level(state):
    bias, expected = state.rng.normal(size=(2, KEYFRAMES, UNITS, 3))
    variance = np.ones((KEYFRAMES, UNITS))

    def rows(x):
        return each(lambda k, u: vec(bias[k, u]) + x[k][UNITS + u] - vec(expected[k, u]))

    check(lambda x: bias_level(bias + x[:, UNITS : 2 * UNITS], expected, variance), rows)


def test_gravity(state):
    def evaluate(x):
        return gravity(state.turned(x, state.force, np.arange(UNITS)), G, 2.5, 2.0, state.known)

    def rows(x):
        return each(lambda k, u: sym_exp(x[k][u]) @ vec(state.force[k, u]) - vec([0, G, 0]))

    level = np.zeros(SHAPE, bool)  # turns about the vertical are left out: they do not change the length
    level[..., 0], level[..., 2] = True, True
    check(evaluate, rows, columns=level.ravel())


def test_velocity_gain(state):
    unit_of = np.array([2, 0])
    state.known[1, 2], state.known[:, 0] = False, True  # one stretch without an accelerometer

    def evaluate(x):
        force = state.turned(x, state.force, np.arange(UNITS))
        velocity = state.velocity + x[:, 2 * UNITS :]
        return velocity_gain(force, velocity, G, STEP, 0.1, state.known, unit_of, 2 * UNITS)

    def rows(x):
        def row(k, v):
            u = unit_of[v]
            before, after = (vec(state.velocity[i, v]) + x[i][2 * UNITS + v] for i in (k, k + 1))
            felt = [sym_exp(x[i][u]) @ vec(state.force[i, u]) - vec([0, G, 0]) for i in (k, k + 1)]
            measured = bool(state.known[k, u] and state.known[k + 1, u])
            return after - before - measured * 0.5 * STEP * (felt[0] + felt[1])

        return each(row, KEYFRAMES - 1, MOVING)

    check(evaluate, rows)


def test_velocity_level(state):
    def rows(x):
        return each(lambda k, v: vec(state.velocity[k, v]) + x[k][2 * UNITS + v], entries=MOVING)

    check(lambda x: velocity_level(state.velocity + x[:, 2 * UNITS :], 1.0, 10.0, 2 * UNITS), rows)


PARENTS, CHILDREN = np.array([0, 0, 2]), np.array([1, 2, 1])


def test_joint_centre(state):
    child_force = state.force[:, CHILDREN] + state.rng.normal(size=(KEYFRAMES, 3, 3))
    known = state.known[:, PARENTS] & state.known[:, CHILDREN]

    def evaluate(x):
        p, c = state.turned(x, state.force[:, PARENTS], PARENTS), state.turned(x, child_force, CHILDREN)
        return joint_centre(p, c, PARENTS, CHILDREN, np.full(3, 0.4), 1.5, known)

    def rows(x):
        def row(k, j):
            p, c = PARENTS[j], CHILDREN[j]
            return sym_exp(x[k][p]) @ vec(state.force[k, p]) - sym_exp(x[k][c]) @ vec(child_force[k, j])

        return each(row)

    check(evaluate, rows)


def test_hinge(state):
    axes = state.rng.normal(size=(3, 2, 3))
    axes /= np.linalg.norm(axes, axis=-1, keepdims=True)

    def rows(x):
        def row(k, j):
            p, c = PARENTS[j], CHILDREN[j]
            at_parent = sym_exp(x[k][p]) @ vec(state.R[k, p]) @ vec(axes[j, 0])
            return at_parent - sym_exp(x[k][c]) @ vec(state.R[k, c]) @ vec(axes[j, 1])

        return each(row)

    check(lambda x: hinge(state.rotations(x), PARENTS, CHILDREN, axes, np.full(3, 0.05), 20.0), rows)


@pytest.mark.parametrize("swung", [False, True], ids=["whole", "directions"])
@pytest.mark.parametrize("part", [0, 1], ids=["first", "changes"])
def test_posture(state, part, swung):
    usual, mounting = exp(state.rng.normal(size=(3, 3)) * 0.3), exp(state.rng.normal(size=(UNITS, 3)) * 0.3)
    whiten, offset = np.diag([2.0, 5.0, 9.0]) + np.zeros((3, 3, 3)), state.rng.normal(size=(3, 3)) * 0.1
    kept, seen, only = 0.8, (usual, whiten, offset), np.array([swung, False, swung])
    posed = np.zeros((KEYFRAMES, 3), bool)
    posed[KEYFRAMES // 2, 1] = True
    turn = exp(state.rng.normal(size=(KEYFRAMES, 3)) * 0.5)  # joints bent by less than half a turn
    state.R = turn[:, None] @ exp(state.rng.normal(size=(KEYFRAMES, UNITS, 3)) * 0.4) @ mounting

    def rows(x):
        def off(k, j):
            p, c = (sym_exp(x[k][u]) @ vec(state.R[k, u] @ mounting[u].T) for u in (PARENTS[j], CHILDREN[j]))
            E = (p @ vec(usual[j])).T @ c
            if only[j]:
                E = E @ sym_exp(ca.vertcat(0, -ca.atan2(E[0, 2] - E[2, 0], E[0, 0] + E[2, 2]), 0))
            return vec(whiten[j]) @ (sym_log(E) - vec(offset[j]))

        if part == 0:
            return each(off, 1, 3)
        scale = 1 / np.sqrt(1 - kept**2)
        share = np.where(posed[:-1] | posed[1:], 1.0, kept)
        return each(lambda k, j: scale * (off(k + 1, j) - share[k, j] * off(k, j)), KEYFRAMES - 1, 3)

    def found(x):
        return posture(state.rotations(x), mounting, PARENTS, CHILDREN, *seen, kept, posed, only)[part]

    check(found, rows)


@pytest.mark.parametrize("part", [0, 1], ids=["first", "changes"])
def test_posture_by_the_offsets(state, part):
    """The constants' Jacobian, exactly: the residual is linear in them."""
    whiten, offset = np.diag([2.0, 5.0, 9.0]) + np.zeros((3, 3, 3)), state.rng.normal(size=(3, 3)) * 0.1
    unit, posed = np.broadcast_to(np.eye(3), (UNITS, 3, 3)), np.arange(KEYFRAMES)[:, None] == [1, -1, 2]

    def of(offset):
        return posture(
            state.R, unit, PARENTS, CHILDREN, unit[:3], whiten, offset, 0.8, posed, np.zeros(3, bool)
        )[part]

    at, J = of(offset).constants
    step = 0.1 * state.rng.normal(size=(3, 3))
    np.testing.assert_array_equal(at, np.arange(9).reshape(3, 3))
    np.testing.assert_allclose(
        of(offset + step).value - of(offset).value, (J @ step[..., None])[..., 0], atol=1e-9
    )


def test_posture_of_directions_is_alike_however_a_child_is_turned_about_its_length(state):
    whiten, offset = np.diag([2.0, 0.0, 9.0]) + np.zeros((3, 3, 3)), np.zeros((3, 3))
    usual, never = exp(state.rng.normal(size=(3, 3)) * 0.3), np.zeros((KEYFRAMES, 3), bool)
    leaf = next(j for j, c in enumerate(CHILDREN) if c not in PARENTS)
    about = np.zeros((UNITS, 3))
    about[CHILDREN[leaf], 1] = 2.0
    for only, alike in ((True, True), (False, False)):
        found = [
            posture(state.R, sits, PARENTS, CHILDREN, usual, whiten, offset, 0.8, never, np.full(3, only))[1]
            for sits in (exp(np.zeros((UNITS, 3))), exp(about))
        ]
        assert np.allclose(*(one.value[:, leaf] for one in found), atol=1e-9) == alike


def test_held_pose(state):
    """Against unit 1; the pose turns each segment, and the unit sits askew."""
    units, segments, mounting = (
        np.array([2, 0]),
        exp(state.rng.normal(size=(UNITS, 3))),
        exp(state.rng.normal(size=(UNITS, 3))),
    )
    body = exp(state.rng.normal(size=(KEYFRAMES, 1, 3)))  # which way it faces, at every keyframe
    held = exp(state.rng.normal(size=(KEYFRAMES, UNITS, 3)) * 0.3)
    state.R = body @ held @ segments @ mounting
    sd, inside = np.array([[0.1, 0.2, 0.1], [0.2, 0.3, 0.2]]), np.arange(KEYFRAMES) > 0

    def rows(x):
        def off(k, e):
            seen = {u: segments[u] @ mounting[u] for u in (1, units[e])}
            facing, other = (sym_exp(x[k][u]) @ vec(state.R[k, u] @ seen[u].T) for u in seen)
            return sym_log(facing.T @ other)

        return each(off, KEYFRAMES, 2)

    counts = inside / inside.sum()
    check(lambda x: held_pose(state.rotations(x), mounting, 1, units, segments, sd, counts), rows)


def test_sole(state):
    feet, mounting = np.array([2, 0]), exp(state.rng.normal(size=(UNITS, 3)) * 0.3)
    standing = np.ones((KEYFRAMES, 2), bool)

    def rows(x):
        def row(k, i):
            u = feet[i]
            up = vec(mounting[u]) @ (sym_exp(x[k][u]) @ vec(state.R[k, u])).T @ vec([0, 1, 0])
            return ca.vertcat(up[0], up[2])

        return each(row, entries=2)

    check(lambda x: sole_level(state.rotations(x), mounting, feet, standing, 0.1, 10.0), rows)


@pytest.mark.parametrize("part", [0, 1], ids=["gain", "way"])
def test_travel(state, part):
    """One unit, its velocity in slot 6 and its position in slot 7."""
    unit, slots = 1, (np.array([1]), np.array([6]), np.array([7]))
    gain, way = state.rng.normal(size=(2, KEYFRAMES - 1, 1, 3))
    known = np.array([[True], [False], [True]])

    def evaluate(x):
        moved = state.velocity + x[:, 2 * UNITS :]
        R = state.rotations(x)[:, [unit]]
        return travel(R, moved[:, :1], moved[:, 1:], gain, way, known, G, STEP, 0.1, slots)[part]

    def rows(x):
        def row(k, _):
            (v, x0), (w, x1) = (
                [vec(state.velocity[i, s]) + x[i][2 * UNITS + s] for s in (0, 1)] for i in (k, k + 1)
            )
            R, up = sym_exp(x[k][unit]) @ vec(state.R[k, unit]), vec([0, G, 0])
            if part == 0:
                return w - v - bool(known[k, 0]) * (R @ vec(gain[k, 0]) - STEP * up)
            return x1 - x0 - STEP * v - bool(known[k, 0]) * (R @ vec(way[k, 0]) - 0.5 * STEP**2 * up)

        return each(row, KEYFRAMES - 1, 1)

    check(evaluate, rows)


def test_position_at_start(state):
    placed = np.array([7])

    def rows(x):
        return [vec(state.velocity[0, 1]) + x[0][7]]

    check(lambda x: position_at_start(state.velocity[:, 1:] + x[:, [7]], 10.0, placed), rows)


ARMS = np.array([[0.1, -0.2, 0.0], [0.0, -0.4, 0.1], [0.05, 0.2, 0.0]])


def bridged(state, x, arms=ARMS):
    """From unit 0 across 2 to 1, whose positions are slots 6 and 7."""
    places = state.velocity + x[:, 2 * UNITS :]
    R = state.rotations(x)[:, [0, 2, 1]]
    return bridge(R, arms, (places[:, 0], places[:, 1]), (0, 2, 1), (3, 5, 4), (6, 7), 0.03, 2.0)


def test_bridge(state):
    def rows(x):
        def row(k, _):
            near, far = (vec(state.velocity[k, s]) + x[k][2 * UNITS + s] for s in (0, 1))
            R = [sym_exp(x[k][u]) @ vec(state.R[k, u]) for u in (0, 2, 1)]
            return far + R[2] @ vec(ARMS[2]) - near - R[0] @ vec(ARMS[0]) - R[1] @ vec(ARMS[1])

        return each(row, KEYFRAMES, 1)

    check(lambda x: bridged(state, x), rows)


def test_arms_of_a_bridge(state):
    """The constants' Jacobian, exactly: the residual is linear in the arms."""
    nothing, change = np.zeros(SHAPE), state.rng.normal(size=ARMS.shape)
    before, after = bridged(state, nothing), bridged(state, nothing, ARMS + change)
    assert before.constants is not None
    at, J = before.constants
    assert list(at[0]) == [9, 10, 11, 15, 16, 17, 12, 13, 14]
    np.testing.assert_allclose((after.value - before.value)[:, 0], J[:, 0] @ change.ravel(), atol=1e-12)


CARRIERS = np.array([2, 0])  # units that carry a magnetometer, or an orientation


def test_field_heading(state):
    """Only the heading's column: that inclination moves it too is left out, so that iron tilts nothing."""
    field = state.rng.normal(size=(KEYFRAMES, 2, 3))
    heading = np.zeros(SHAPE, bool)
    heading[..., 1] = True
    trusted = np.ones((KEYFRAMES, 2), bool)

    def rows(x):
        def row(k, i):
            m = sym_exp(x[k][CARRIERS[i]]) @ vec(field[k, i])
            return ca.atan2(-m[2], m[0])

        return each(row, entries=2)

    def evaluate(x):
        return field_heading(state.turned(x, field, CARRIERS), CARRIERS, 0.2, 20.0, trusted)

    check(evaluate, rows, columns=heading.ravel())


def test_field_vector(state):
    field, north = state.rng.normal(size=(KEYFRAMES, 2, 3)), np.array([0.5, -np.sqrt(0.75), 0.0])
    trusted = np.ones((KEYFRAMES, 2), bool)

    def rows(x):
        return each(lambda k, i: sym_exp(x[k][CARRIERS[i]]) @ vec(field[k, i]) - vec(north), entries=2)

    def evaluate(x):
        return field_vector(state.turned(x, field, CARRIERS), north, CARRIERS, 0.2, 20.0, trusted)

    check(evaluate, rows)


def test_fused_orientation(state):
    near = state.R[:, CARRIERS] @ exp(state.rng.normal(size=(KEYFRAMES, 2, 3)) * [[[1e-7], [0.5]]])

    def rows(x):
        def row(k, i):
            R = sym_exp(x[k][CARRIERS[i]]) @ vec(state.R[k, CARRIERS[i]])
            return sym_log(R @ vec(near[k, i]).T)

        return each(row, entries=2)

    def evaluate(x):
        return fused_orientation(state.rotations(x)[:, CARRIERS], near, CARRIERS, 0.02, 0.3, np.full(3, 20.0))

    check(evaluate, rows)


def test_rotation_at_start(state):
    """Turn away from where the estimate is, Log(Exp(x) R Rᵀ): zero by definition, with the identity as slope.

    Being zero wherever it is taken, its differences are those of the turn; only the first keyframe counts.
    """
    counts = np.zeros((KEYFRAMES, UNITS, 3), bool)
    counts[0] = True
    residual = rotation_at_start(KEYFRAMES, np.full((UNITS, 3), 0.1))

    def turned(x):
        return dataclasses.replace(residual, value=log(state.rotations(x) @ np.swapaxes(state.R, -1, -2)))

    def rows(x):
        return each(lambda k, u: sym_log(sym_exp(x[k][u]) @ vec(state.R[k, u]) @ vec(state.R[k, u]).T))

    check(turned, rows, rows=counts)
    assert not residual.value.any()
    assert not residual.weight[1:].any()
    np.testing.assert_allclose(residual.weight[0], 100.0)


LIMITS = {"ZXY": ("flexion", "adduction", "internal_rotation"), "YXY": ("plane", "elevation", "axial")}


@pytest.mark.parametrize("sequence", ["ZXY", "YXY"])
@pytest.mark.parametrize("kind", ["joint range", "joint stiffness"])
@pytest.mark.parametrize("seed", range(4))
def test_joint_angle(sequence, kind, seed):
    """Angles beyond their limits, or from neutral; away from gimbal lock, where they are defined."""
    state, names = State(2.0, seed), LIMITS[sequence]
    signs = (-1, -1, -1) if seed % 2 else (1, 1, 1)  # a left and a right joint
    joint = Joint("j", "a", "b", sequence=sequence, angles=names, signs=signs)
    raw = state.rng.uniform([-2.5, 0.3, -2.5], [2.5, 1.1, 2.5], (KEYFRAMES, 3))
    raw[:, 1] *= -signs[1] if sequence == "YXY" else state.rng.choice([-1, 1])  # ISB's elevation is negative
    axis = np.eye(3)
    turns = [exp(raw[:, i, None] * axis["XYZ".index(letter)]) for i, letter in enumerate(sequence)]
    relative = turns[0] @ turns[1] @ turns[2]
    p, c = 1, 2
    state.R[:, c] = state.R[:, p] @ relative
    low, high = (-0.4, 0.5) if kind == "joint range" else (0.1, 0.1)  # stiffness: about an offset of 0.1
    sd = np.array([0.05, np.inf, 0.1])

    def evaluate(x):
        R = state.rotations(x)
        named = joint_angles(joint, np.swapaxes(R[:, p], -1, -2) @ R[:, c])
        angles = np.stack([named[name] for name in names], -1)
        excess = np.minimum(0, angles - low) + np.maximum(0, angles - high)
        s = np.array(signs, float)
        return joint_angle(kind, R[:, p], excess, angles * s, sequence, s, p, c, sd, 5.0)

    def rows(x):
        def row(k, _):
            P, C = (sym_exp(x[k][u]) @ vec(state.R[k, u]) for u in (p, c))
            found = sym_angles(P.T @ C, sequence)
            if sequence == "YXY" and signs[1] == -1:  # the other of the two Euler solutions
                found = ca.vertcat(found[0] + ca.pi, -found[1], found[2] + ca.pi)
            return ca.vertcat(*[excess(signs[i] * found[i]) for i in range(3)])

        def excess(angle):
            angle = ca.atan2(ca.sin(angle), ca.cos(angle))
            return ca.fmin(0, angle - low) + ca.fmax(0, angle - high)

        return each(row, entries=1)

    residual = evaluate(np.zeros(SHAPE))
    assert (residual.weight > 0).any()
    check(evaluate, rows, rows=residual.weight > 0)


@pytest.mark.parametrize(("sequence", "middle"), [("ZXY", np.pi / 2), ("YXY", 0.0)])
def test_joint_angle_is_silent_at_gimbal_lock(sequence, middle):
    rates, clear = angle_rates(np.array([[0.3, middle, 0.2], [0.3, middle + 0.05, 0.2]]), sequence)
    assert not clear.any() and np.isfinite(rates).all()
    clears = angle_rates(np.stack([[0.3, middle + d, 0.2] for d in (0.2, 0.5, 1.0)]), sequence)[1]
    np.testing.assert_allclose(clears, np.sin([0.2, 0.5, 1.0]) ** 2, atol=1e-12)
