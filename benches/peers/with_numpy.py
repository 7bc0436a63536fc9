"""The reduced model in NumPy: passes side by side as f32 arrays, normals in blocks, a Python loop over ticks.

Every pass has its own origin of the ground noises (they are stationary), so that all passes stand at nearly the same place of
their grids and rows of an array serve instead of gathering. Stations are kept as what is lost against straight driving: f32
would not carry steps of 20 ms over 200 m.
"""

import numpy as np

from reduced import BIN_M, BINS

F = np.float32
# Passes side by side: what was fastest of 256 to 4096.
WIDTH = 2048
# Rows of normals drawn at once.
BLOCK = 64


def constant(value):
    """An array without dimensions: what costs NumPy least beside an array."""
    return np.array(value, F)


ZERO, HALF, ONE = constant(0), constant(0.5), constant(1)


def run(reduced, passes, seed):
    """Sums of every pass: looks, sum and sum of squares of the tool error, looks at rows, and of these the expected cut plants
    by clearance."""
    rng = np.random.Generator(np.random.SFC64(seed))
    share = np.array(reduced.struck_share())
    blocks = []
    for first in range(0, passes, WIDTH):
        width = min(WIDTH, passes - first)
        blocks.append(Block(reduced.model, rng, width).sums(share))
    return np.concatenate(blocks)


class Normals:
    """Rows of standard normal deviates, drawn in blocks."""

    def __init__(self, rng, width):
        self.rng, self.rows, self.next_row = rng, np.empty((BLOCK, width), F), BLOCK

    def __call__(self):
        if self.next_row == BLOCK:
            self.rng.standard_normal(dtype=F, out=self.rows)
            self.next_row = 0
        self.next_row += 1
        return self.rows[self.next_row - 1]


def gauss_markov(noise, normals, count):
    """A noise at `count` points of its grid: [point][pass]."""
    track = np.empty((count, normals.rows.shape[1]), F)
    decay, spread, carried = constant(noise.decay), constant(noise.spread), np.empty_like(track[0])
    before = normals() * constant(noise.sd)
    for first in range(0, count, BLOCK):
        block = track[first : first + BLOCK]
        normals.rng.standard_normal(dtype=F, out=block)
        block *= spread
        for row in block:
            np.multiply(before, decay, out=carried)
            row += carried
            before = row
    return track


def smooth(noise, normals, count):
    """The same of a smooth noise."""
    track = np.empty((count, normals.rows.shape[1]), F)
    value, slope = normals() * constant(noise.sd), normals() * constant(noise.slope_sd)
    w = [constant(each) for each in noise[2:]]
    for row in track:
        row[:] = value
        a, b = normals(), normals()
        value, slope = w[0] * value + w[1] * slope + w[4] * a, w[2] * value + w[3] * slope + w[5] * a + w[6] * b
    return track


class Track:
    """A noise on its grid, linear between the points."""

    def __init__(self, track, from_m, grid_m):
        self.track, self.from_m, self.per_m = track, from_m, 1 / grid_m
        self.rise = np.diff(track, axis=0)
        # By how much the rise into a point exceeds the rise out of it.
        self.kink = np.empty_like(self.rise)
        np.subtract(self.rise[:-1], self.rise[1:], out=self.kink[1:])
        self.scale = constant(-self.per_m)
        self.x, self.part = np.empty_like(track[0]), np.empty_like(track[0])

    def at(self, place_m, lag_m, out):
        """Values at `place_m - lag_m`, the lag 0 to one grid step, from whole rows."""
        x = (place_m - self.from_m) * self.per_m
        i = int(x)
        np.multiply(lag_m, self.scale, out=self.x)
        self.x += constant(x - i)
        np.multiply(self.x, self.rise[i], out=out)
        out += self.track[i]
        np.minimum(self.x, ZERO, out=self.part)
        self.part *= self.kink[i]
        out += self.part
        return out


def gather(track, x, lanes):
    """Values of grid noises at the points `x`, between them linear."""
    i = x.astype(np.int32)
    a, b = track[i, lanes], track[i + 1, lanes]
    b -= a
    b *= x - i
    b += a
    return b


class Block:
    """Some passes side by side, driven from end to end."""

    def __init__(self, model, rng, width):
        self.m, self.rng, self.width = model, rng, width
        m, v = model, model.speed_m_s
        # Distances count from each pass's own tick 0; `lowered_m` is what its tools still lack then.
        self.lowered_m = (v * m.frame_s * rng.random(width)).astype(F)
        warm_up_m = v * m.step_s * m.drive_ticks * m.warm_up_steps
        driven_m = v * m.step_s * m.drive_ticks * m.steps
        self.normals = Normals(rng, width)

        def points(from_m, to_m, grid_m):
            return int((to_m - from_m) / grid_m) + 3

        low_m = -warm_up_m - m.tool_line_m - 1.0
        high_m = driven_m + m.preview_m + 1.0
        self.wander = Track(
            smooth(m.wander, self.normals, points(low_m, high_m, m.wander_grid_m)), low_m, m.wander_grid_m
        )
        self.seeing = Track(
            gauss_markov(m.seeing, self.normals, points(low_m, driven_m, m.seeing_grid_m)), low_m, m.seeing_grid_m
        )
        self.looked_from_m = -m.camera_point_m - 1.0
        self.appearance = gauss_markov(
            m.appearance, self.normals, points(self.looked_from_m, driven_m, m.appearance_grid_m)
        )
        self.lanes = np.arange(width)
        self.rows = np.array(m.row_offset_m, F)[:, None]
        self.looks = []
        self.drive()

    def drive(self):
        m, normals, new = self.m, self.normals, lambda: np.zeros(self.width, F)
        way_m = m.speed_m_s * m.step_s * m.drive_ticks
        look = constant(-2.0 * m.wheelbase_m / m.preview_m**2)
        seen_part = constant(m.seen_part)
        preview, to_tools = constant(m.preview_m), constant(-m.tool_line_m)
        to_camera = constant(-m.camera_point_m)
        turn_per_tan, way = constant(way_m / m.wheelbase_m), constant(way_m)
        steer_share = constant(m.steer_share)
        steer_limits = constant(-m.steer_limit_rad), constant(m.steer_limit_rad)
        steer_most = constant(-m.steer_most_rad), constant(m.steer_most_rad)
        # Half of the hands' error, because a step takes the mean of both its ends.
        wobble_decay, wobble_spread = constant(m.steering.decay), constant(0.5 * m.steering.spread)
        wobble = normals() * constant(0.5 * m.steering.sd)

        lag, offset, heading, steer = new(), new(), new(), new()
        sin, row, ahead, wanted, middle = new(), new(), new(), new(), new()
        seen = [new() for _ in range(m.seen_steps + 2)]
        slot = 0

        shift, command, spool, moved = new(), new(), new(), new()
        self.roll = normals() * constant(m.roll.sd)
        self.integral, self.derivative, self.last_error = new(), new(), None
        exposed = []
        held = [new() for _ in range(m.dead_ticks)]
        started_s = self.lowered_m / F(m.speed_m_s) + F(m.start_delay_s)
        spool_decay, spool_mean = constant(m.spool_decay), constant(m.spool_mean)
        # Speed times tick to the left and right, as the mean of both and what the sign adds.
        both = constant(0.5 * (m.left_m_s + m.right_m_s) * m.step_s)
        differ = constant(0.5 * (m.left_m_s - m.right_m_s) * m.step_s)
        stroke = constant(-m.half_stroke_m), constant(m.half_stroke_m)

        for step in range(-m.warm_up_steps, m.steps):
            place_m = way_m * step
            np.sin(heading, out=sin)

            if step >= 0:
                if step % m.look_steps == 0:
                    self.look(place_m - m.tool_line_m, lag, sin, offset + to_tools * sin + shift)
                if step % m.frame_steps == 0:
                    exposed.append(self.expose(place_m, lag, offset + to_camera * sin + shift))
                    if step >= m.latency_steps:
                        command = self.answer(exposed.pop(0))
                        command *= started_s <= F(step * m.drive_ticks * m.step_s)
                for _ in range(m.drive_ticks):
                    held.append(command)
                    reached = held.pop(0)
                    spool -= reached
                    np.multiply(spool, spool_mean, out=moved)
                    moved += reached
                    spool *= spool_decay
                    spool += reached
                    np.abs(moved, out=row)
                    row *= differ
                    moved *= both
                    moved += row
                    shift += moved
                    np.maximum(shift, stroke[0], out=shift)
                    np.minimum(shift, stroke[1], out=shift)

            # Driver: sees now, steers a reaction time later, in the middle of the step.
            self.wander.at(place_m + m.preview_m, lag, row)
            self.seeing.at(place_m, lag, ahead)
            ahead -= row
            ahead += offset
            np.multiply(sin, preview, out=row)
            ahead += row
            if step == -m.warm_up_steps:
                for each in seen:
                    each[:] = ahead
            # The array of the oldest, which the next step writes over.
            seen[slot], ahead = ahead, seen[slot]
            slot = (slot + 1) % len(seen)
            newer = seen[(slot + 1) % len(seen)]
            np.subtract(seen[slot], newer, out=wanted)
            wanted *= seen_part
            wanted += newer
            wanted *= look
            wanted += wobble
            wobble *= wobble_decay
            np.multiply(normals(), wobble_spread, out=row)
            wobble += row
            wanted += wobble

            # Tractor, midpoint rule; tan and 1 - cos from the sine.
            np.maximum(wanted, steer_limits[0], out=wanted)
            np.minimum(wanted, steer_limits[1], out=wanted)
            wanted -= steer
            wanted *= steer_share
            np.maximum(wanted, steer_most[0], out=wanted)
            np.minimum(wanted, steer_most[1], out=wanted)
            np.multiply(wanted, HALF, out=middle)
            middle += steer
            steer += wanted
            np.sin(middle, out=middle)
            np.multiply(middle, middle, out=row)
            np.subtract(ONE, row, out=row)
            np.sqrt(row, out=row)
            np.divide(middle, row, out=wanted)
            wanted *= turn_per_tan
            np.multiply(wanted, HALF, out=middle)
            middle += heading
            heading += wanted
            np.sin(middle, out=middle)
            np.multiply(middle, middle, out=row)
            np.subtract(ONE, row, out=wanted)
            np.sqrt(wanted, out=wanted)
            wanted += ONE
            row /= wanted
            row *= way
            lag += row
            middle *= way
            offset += middle
        # `Track.at` reads two steps of a grid.
        if lag.max() * max(self.wander.per_m, self.seeing.per_m) > 1:
            raise ValueError("a pass swerves so much that it leaves its grid step")

    def look(self, place_m, lag, sin, tool):
        """Notes how the tools stand to the guided row and to every row, where the pass counts."""
        m = self.m
        station = F(place_m + m.tool_line_m) - lag - self.lowered_m
        counted = (station >= F(m.entry_length_m)) & (station <= F(m.length_m))
        if counted.any():
            error = tool - self.wander.at(place_m, lag, np.empty_like(lag))
            back = lag + self.rows * sin
            x = F((place_m - self.wander.from_m) * self.wander.per_m) - back * F(self.wander.per_m)
            off = np.abs(tool - gather(self.wander.track, x, self.lanes))
            self.looks.append((counted, error, np.minimum((off * F(1 / BIN_M)).astype(np.int32), BINS - 1)))

    def expose(self, place_m, lag, frame):
        """What a frame shows: the row under the camera from the shifted frame."""
        m = self.m
        looked_m = place_m - m.camera_point_m
        error = self.wander.at(looked_m, lag, np.empty(self.width, F))
        x = F((looked_m - self.looked_from_m) / m.appearance_grid_m) - lag * F(1 / m.appearance_grid_m)
        error += gather(self.appearance, x, self.lanes)
        error += F(m.roll_height_m) * self.roll
        error -= frame
        self.roll *= F(m.roll.decay)
        self.roll += F(m.roll.spread) * self.normals()
        return error

    def answer(self, error):
        """The PID's valve command."""
        m = self.m
        change = ZERO if self.last_error is None else error - self.last_error
        self.last_error = error
        self.derivative *= F(m.derivative_filter_s)
        self.derivative += F(m.gain_1_s * m.derivative_s) * change
        self.derivative /= F(m.derivative_filter_s + m.frame_s)
        wound = self.integral + F(m.gain_1_s * m.frame_s / m.integral_s) * error
        wanted = F(m.gain_1_s) * error + wound + self.derivative
        left, right = F(m.left_m_s), F(m.right_m_s)
        winds_up = ((wanted > left) & (error > 0)) | ((wanted < -right) & (error < 0))
        self.integral = np.where(winds_up, self.integral, wound)
        wanted = np.clip(wanted, -right, left)
        return wanted / np.where(wanted > 0, left, right)

    def sums(self, share):
        sums = np.zeros((self.width, 4 + share.shape[1]))
        histogram = np.zeros(self.width * BINS)
        for counted, error, bins in self.looks:
            error = error * counted
            sums[:, 0] += counted
            sums[:, 1] += error
            sums[:, 2] += error * error
            for row in bins:
                histogram[self.lanes * BINS + row] += counted
        sums[:, 3] = sums[:, 0] * len(self.rows)
        sums[:, 4:] = histogram.reshape(-1, BINS) @ share
        return sums
