"""The reduced model in numba: scalar, a pass at a time, f64, one thread, normals from a passed `numpy.random.Generator`.

Compiled with `njit(error_model="numpy")` and without fastmath, so sums keep their order and no multiply-add is fused. Noises
that are read in one direction only are drawn as they are passed; the row wander, read at five places at once, is an array.
"""

import math

import numpy as np
from numba import njit

from reduced import BIN_M, BINS

compiled = njit(cache=True, error_model="numpy")


def run(reduced, passes, seed):
    """Sums of every pass: looks, sum and sum of squares of the tool error, looks at rows, and of these the expected cut plants
    by clearance."""
    model = reduced.model
    share = np.array(reduced.struck_share())
    sums = np.zeros((passes, 4 + share.shape[1]))
    many(model, share, np.random.Generator(np.random.SFC64(seed)), sums)
    return sums


@compiled
def many(m, share, rng, sums):
    from_m = start_m(m, m.frame_s) - m.tool_line_m
    to_m = m.length_m + m.tool_line_m + m.preview_m + 2.0
    wander = np.empty(int((to_m - from_m) / m.wander_grid_m) + 2)
    seen = np.empty(m.seen_steps + 2)
    commands = np.empty(m.dead_ticks + 1)
    exposed = np.empty(m.latency_steps // m.frame_steps + 1)
    bins = np.empty(BINS)
    for i in range(sums.shape[0]):
        draw_wander(m, rng, wander)
        one_pass(m, rng, wander, from_m, seen, commands, exposed, bins, sums[i])
        for b in range(BINS):
            if bins[b] > 0.0:
                for c in range(share.shape[1]):
                    sums[i, 4 + c] += bins[b] * share[b, c]


@compiled
def start_m(m, lowered_s):
    return m.tool_line_m - m.speed_m_s * (lowered_s + m.warm_up_steps * m.drive_ticks * m.step_s)


@compiled
def draw_wander(m, rng, wander):
    w = m.wander
    value = w.sd * rng.standard_normal()
    slope = w.slope_sd * rng.standard_normal()
    for i in range(len(wander)):
        wander[i] = value
        a, b = rng.standard_normal(), rng.standard_normal()
        value, slope = (
            w.phi_00 * value + w.phi_01 * slope + w.factor_00 * a,
            w.phi_10 * value + w.phi_11 * slope + w.factor_10 * a + w.factor_11 * b,
        )


@compiled
def at(track, x):
    i = int(x)
    return track[i] + (x - i) * (track[i + 1] - track[i])


@compiled
def one_pass(m, rng, wander, from_m, seen, commands, exposed, bins, sums):
    dt, v = m.step_s, m.speed_m_s
    lowered_s = m.frame_s * rng.random()
    way = dt * m.drive_ticks * v
    turn_per_tan = way / m.wheelbase_m
    per_m, seeing_per_m = 1.0 / m.wander_grid_m, 1.0 / m.seeing_grid_m
    appearance_per_m, bins_per_m = 1.0 / m.appearance_grid_m, 1.0 / BIN_M
    look = -2.0 * m.wheelbase_m / (m.preview_m * m.preview_m)

    station, offset, heading, steer = start_m(m, lowered_s), 0.0, 0.0, 0.0
    wobble = m.steering.sd * rng.standard_normal()
    seeing_from = station
    seeing_a = m.seeing.sd * rng.standard_normal()
    seeing_b = m.seeing.decay * seeing_a + m.seeing.spread * rng.standard_normal()
    appearance_from = -m.speed_m_s * lowered_s + m.tool_line_m - m.camera_point_m
    appearance_a = m.appearance.sd * rng.standard_normal()
    appearance_b = m.appearance.decay * appearance_a + m.appearance.spread * rng.standard_normal()
    roll = m.roll.sd * rng.standard_normal()

    integral = derivative = last_error = spool = shift = 0.0
    has_error = False
    commands[:] = 0.0
    command = 0.0
    bins[:] = 0.0
    looks = error_sum = error_squares = 0.0
    slot = newest = exposing = arriving = 0
    next_look, next_exposure, next_arrival = 0, 0, m.latency_steps

    for step in range(-m.warm_up_steps, m.steps):
        sin = math.sin(heading)

        if step >= 0:
            if step == next_look:
                next_look += m.look_steps
                tool_station = station - m.tool_line_m
                if m.entry_length_m <= tool_station <= m.length_m:
                    tool = offset - m.tool_line_m * sin + shift
                    error = tool - at(wander, (tool_station - from_m) * per_m)
                    looks += 1.0
                    error_sum += error
                    error_squares += error * error
                    for lateral_m in m.row_offset_m:
                        off = tool - at(wander, (tool_station - lateral_m * sin - from_m) * per_m)
                        bins[min(int(abs(off) * bins_per_m), BINS - 1)] += 1.0

            # A frame is exposed; the number of an older one arrives and gives a new command.
            if step == next_exposure:
                next_exposure += m.frame_steps
                looked = station - m.camera_point_m
                x = (looked - appearance_from) * appearance_per_m
                while x >= 1.0:
                    appearance_from += m.appearance_grid_m
                    x -= 1.0
                    appearance_a = appearance_b
                    appearance_b = (
                        m.appearance.decay * appearance_a + m.appearance.spread * rng.standard_normal()
                    )
                exposed[exposing] = (
                    at(wander, (looked - from_m) * per_m)
                    - (offset - m.camera_point_m * sin)
                    + appearance_a
                    + x * (appearance_b - appearance_a)
                    + m.roll_height_m * roll
                    - shift
                )
                exposing = exposing + 1 if exposing + 1 < len(exposed) else 0
                roll = m.roll.decay * roll + m.roll.spread * rng.standard_normal()
            if step == next_arrival:
                next_arrival += m.frame_steps
                error = exposed[arriving]
                arriving = arriving + 1 if arriving + 1 < len(exposed) else 0
                change = error - last_error if has_error else 0.0
                last_error, has_error = error, True
                derivative = (m.derivative_filter_s * derivative + m.gain_1_s * m.derivative_s * change) / (
                    m.derivative_filter_s + m.frame_s
                )
                wound = integral + m.gain_1_s * m.frame_s / m.integral_s * error
                wanted = m.gain_1_s * error + wound + derivative
                if not (
                    (wanted > m.left_m_s and error > 0.0) or (wanted < -m.right_m_s and error < 0.0)
                ):
                    integral = wound
                command = 0.0
                if step * m.drive_ticks * dt >= lowered_s + m.start_delay_s:
                    wanted = min(max(wanted, -m.right_m_s), m.left_m_s)
                    command = wanted / (m.left_m_s if wanted > 0.0 else m.right_m_s)
            # Valve and cylinder over the ticks of the step.
            for _ in range(m.drive_ticks):
                commands[newest] = command
                newest = newest + 1 if newest + 1 < len(commands) else 0
                held = commands[newest]
                mean = held + (spool - held) * m.spool_mean
                spool = held + (spool - held) * m.spool_decay
                moved = mean * (m.right_m_s if mean < 0.0 else m.left_m_s) * dt
                shift = min(max(shift + moved, -m.half_stroke_m), m.half_stroke_m)

        # Driver: sees now, steers a reaction time later, in the middle of the step.
        x = (station - seeing_from) * seeing_per_m
        while x >= 1.0:
            seeing_from += m.seeing_grid_m
            x -= 1.0
            seeing_a = seeing_b
            seeing_b = m.seeing.decay * seeing_a + m.seeing.spread * rng.standard_normal()
        ahead_m = (
            offset
            + m.preview_m * sin
            - at(wander, (station + m.preview_m - from_m) * per_m)
            + seeing_a
            + x * (seeing_b - seeing_a)
        )
        if step == -m.warm_up_steps:
            seen[:] = ahead_m
        seen[slot] = ahead_m
        # Those of seen_steps + 1 steps ago and of one step later.
        slot = slot + 1 if slot + 1 < len(seen) else 0
        older = seen[slot]
        newer = seen[slot + 1 if slot + 1 < len(seen) else 0]
        wobble_before = wobble
        wobble = m.steering.decay * wobble + m.steering.spread * rng.standard_normal()
        wanted_steer = look * (newer + m.seen_part * (older - newer)) + 0.5 * (wobble_before + wobble)

        # Tractor, midpoint rule; the half turn of a step is below 0.01 rad, so its second order serves.
        wanted_steer = min(max(wanted_steer, -m.steer_limit_rad), m.steer_limit_rad)
        turn = (wanted_steer - steer) * m.steer_share
        steer_next = steer + min(max(turn, -m.steer_most_rad), m.steer_most_rad)
        turned = turn_per_tan * math.tan(0.5 * (steer + steer_next))
        half, cos = 0.5 * turned, math.sqrt(1.0 - sin * sin)
        station += way * (cos - half * (sin + 0.5 * half * cos))
        offset += way * (sin + half * (cos - 0.5 * half * sin))
        heading += turned
        steer = steer_next

    sums[0], sums[1], sums[2], sums[3] = looks, error_sum, error_squares, looks * len(m.row_offset_m)
