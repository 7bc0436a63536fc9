"""The reduced model in numbers: `reduced.toml`, read once for both peers.

Equations, signs and counting are those of the crate's documentation. Every key of the file must be read here, so a part that
the peers do not have cannot slip in.
"""

import math
import tomllib
from pathlib import Path
from typing import NamedTuple

SCENARIO = Path(__file__).with_name("reduced.toml")

# Ground noises: points per correlation length. Warm-up: preview distances, and correlation lengths at least.
POINTS_PER_REACH = 40
WARM_UP_PREVIEWS = 10
WARM_UP_REACHES = 3

# The drive takes steps of so many ticks of the side-shift.
DRIVE_TICKS = 4

# Tools and row are compared at looks, this far apart (rounded down to whole steps of the drive), where an edge stands for the plants
# nearby.
LOOK_M = 0.2
# Offset of the tools from the row at a look, sorted by size into bins. A bin adds width^2/12 to the variance: 0.005 mm^2
# beside the 100 mm^2 of the plants' scatter. The last bin holds all that lies beyond.
BIN_M = 0.25e-3
BINS = 800

UNITS = {
    "m": 1.0,
    "mm": 1e-3,
    "s": 1.0,
    "ms": 1e-3,
    "m/s": 1.0,
    "km/h": 1 / 3.6,
    "deg": math.pi / 180,
    "deg/s": math.pi / 180,
    "%": 0.01,
    "Hz": 1.0,
    "bar": 1e5,
    "L/min": 1 / 60_000,
    "N": 1.0,
}

# Keys whose part the peers leave out, because it is off; what they take for granted; what they have no use for.
OFF = [
    ("pass", "entry_offset"),
    ("pass", "entry_heading"),
    ("rows", "unit_error_sd"),
    ("hitch.rear", "sway_sd"),
    ("tools", "setting_error_sd"),
    ("camera", "noise_sd"),
    ("camera", "alignment"),
    ("camera", "roll_at_rest_sd"),
    ("camera", "blind_by_gaps"),
    ("camera", "blind_by_weeds"),
    ("camera", "outlier_share"),
    ("hydraulics", "friction"),
    ("hydraulics", "backlash"),
    ("valve.proportional", "deadband"),
]
EXPECTED = {
    ("study", "controllers"): ["pid"],
    ("pass", "while_lifted"): "centred",
    ("rows", "beds"): 1,
    ("camera", "mount"): "shifted",
}
# The expected rate does not depend on where and how densely plants stand.
NOT_OURS = [
    ("plants", "spacing"),
    ("plants", "spacing_cv"),
    ("plants", "emergence"),
    ("", "name"),
    ("", "description"),
    ("study", "working_speed"),
    ("study", "working_clearance"),
    ("study", "passes"),
    ("study", "seed"),
]


class GaussMarkov(NamedTuple):
    """One step of a noise with the correlation exp(-d/l)."""

    sd: float
    decay: float
    spread: float


class Smooth(NamedTuple):
    """One step of a noise with the correlation (1 + d/l) exp(-d/l), state (value, slope)."""

    sd: float
    slope_sd: float
    phi_00: float
    phi_01: float
    phi_10: float
    phi_11: float
    factor_00: float
    factor_10: float
    factor_11: float


class Model(NamedTuple):
    """Parameters of a pass in SI units. Looks, frames and arrivals fall on steps of the drive, the dead time on ticks of the side-shift."""

    step_s: float
    drive_ticks: int
    speed_m_s: float
    warm_up_steps: int
    steps: int
    look_steps: int
    frame_steps: int
    latency_steps: int
    dead_ticks: int
    seen_steps: int
    seen_part: float
    start_delay_s: float
    length_m: float
    entry_length_m: float
    row_offset_m: tuple
    preview_m: float
    wheelbase_m: float
    steer_share: float
    steer_limit_rad: float
    steer_most_rad: float
    tool_line_m: float
    camera_point_m: float
    wander_grid_m: float
    wander: Smooth
    seeing_grid_m: float
    seeing: GaussMarkov
    appearance_grid_m: float
    appearance: GaussMarkov
    steering: GaussMarkov
    roll_height_m: float
    roll: GaussMarkov
    frame_s: float
    gain_1_s: float
    integral_s: float
    derivative_s: float
    derivative_filter_s: float
    left_m_s: float
    right_m_s: float
    pump_left_m_s: float
    pump_right_m_s: float
    spool_decay: float
    spool_mean: float
    half_stroke_m: float


class Reduced(NamedTuple):
    """The model with what is counted."""

    model: Model
    clearances_m: tuple
    scatter_sd_m: float
    protected_radius_m: float
    seed: int
    passes: int

    @property
    def ticks_per_pass(self):
        """Ticks that a pass drives, warm-up included: what every time per tick refers to."""
        return (self.model.warm_up_steps + self.model.steps) * self.model.drive_ticks

    def struck_share(self):
        """Share of plants struck by bin of the offset and clearance, the plants' lateral scatter integrated: [bin][clearance]."""

        def tail(x_m):
            return 0.5 * math.erfc(x_m / (self.scatter_sd_m * math.sqrt(2)))

        def share(offset_m, clearance_m):
            room_m = clearance_m - self.protected_radius_m
            return min(1.0, tail(room_m - offset_m) + tail(room_m + offset_m))

        return [[share((b + 0.5) * BIN_M, c) for c in self.clearances_m] for b in range(BINS)]


def gauss_markov(sd, reach, step):
    decay = math.exp(-step / reach)
    return GaussMarkov(sd, decay, sd * math.sqrt(-math.expm1(-2 * step / reach)))


def ground(noise, sd, reach, step):
    """A noise of the ground: points whose straight lines between them have this sd, on the mean over the way."""
    x = step / reach
    correlation = (1 + x if noise is smooth else 1) * math.exp(-x)
    return noise(sd / math.sqrt((2 + correlation) / 3), reach, step)


def smooth(sd, reach, step):
    m = 1 / reach
    x = m * step
    decay = math.exp(-x)
    fall, rest = -math.expm1(-2 * x), math.exp(-2 * x)
    q_00 = sd**2 * (fall - rest * (2 * x + 2 * x**2))
    q_01 = sd**2 * m * rest * 2 * x**2
    q_11 = sd**2 * m**2 * (fall + rest * (2 * x - 2 * x**2))
    factor_00 = math.sqrt(q_00)
    factor_10 = q_01 / factor_00
    return Smooth(
        sd,
        sd * m,
        decay * (1 + x),
        decay * step,
        -decay * m * x,
        decay * (1 - x),
        factor_00,
        factor_10,
        math.sqrt(q_11 - factor_10**2),
    )


class File:
    """The scenario file; notes which keys were read."""

    def __init__(self, path):
        with open(path, "rb") as text:
            tree = tomllib.load(text)
        self.entries = {}
        for name, value in tree.items():
            if not isinstance(value, dict):
                self.entries["", name] = value
                continue
            for key, inner in value.items():
                if isinstance(inner, dict):
                    self.entries |= {(f"{name}.{key}", k): v for k, v in inner.items()}
                else:
                    self.entries[name, key] = inner
        self.unread = set(self.entries)

    def raw(self, table, key):
        self.unread.discard((table, key))
        return self.entries[table, key]

    def __call__(self, table, key):
        value = self.raw(table, key)
        return [quantity(each) for each in value] if isinstance(value, list) else quantity(value)


def quantity(text):
    number, unit = text.split()
    return float(number) * UNITS[unit]


def whole(duration_s, step_s, what):
    steps = round(duration_s / step_s)
    if abs(steps * step_s - duration_s) > 1e-9:
        raise ValueError(f"{what} is no whole number of steps of {step_s} s: the peers do not interpolate delays")
    return steps


def read(path=SCENARIO, drive_ticks=DRIVE_TICKS):
    """The reduced model of a scenario file. Raises ValueError where the file asks for more than the peers have."""
    of = File(path)
    for key in OFF:
        if of(*key) != 0:
            raise ValueError(f"{'.'.join(key)} is not off, and the peers do not have it")
    for key, value in EXPECTED.items():
        if of.raw(*key) != value:
            raise ValueError(f"{'.'.join(key)} must be {value}: the peers have nothing else")
    for key in NOT_OURS:
        of.unread.discard(key)

    step_s = of("pass", "step")
    drive_s = drive_ticks * step_s
    (speed_m_s,) = of("study", "speeds")
    rows = of.raw("rows", "rows_per_bed")
    seen_rows = of.raw("rows", "seen_rows")
    row_spacing_m = of("rows", "row_spacing")
    row_offset_m = tuple(row_spacing_m * (0.5 * (rows - 1) - row) for row in range(rows))
    frame_s = 1 / of("camera", "frames")
    latency_s = of("camera", "latency")
    tool_line_m = of("hitch.rear", "tools_behind_axle")
    length_m = of("pass", "length")

    preview_m = max(of("driver.hand", "shortest_preview"), speed_m_s * of("driver.hand", "preview_time"))
    wander_reach_m = of("rows", "wander_length")
    seeing_reach_m = of("driver.hand", "seeing_length")
    appearance_reach_m = of("camera", "appearance_length")
    steering_time_s = of("driver.hand", "steering_time")
    reaction_steps = round(of("driver.hand", "reaction_time") / drive_s, 9)
    warm_up_m = max(
        WARM_UP_PREVIEWS * preview_m,
        WARM_UP_REACHES * max(wander_reach_m, seeing_reach_m, steering_time_s * speed_m_s),
    )
    driven_m = length_m + 0.2 * max(row_offset_m) + 1.0

    roll_sd = of("camera", "roll_moving_sd") * math.sqrt(speed_m_s / of("camera", "roll_reference_speed"))

    dead_s = of("valve.proportional", "dead_time")
    spool_s = of("valve.proportional", "spool_lag")
    closed_loop_s = of("controller.pid", "simc_closed_loop_time")
    # SIMC (Skogestad 2003), series form converted; the derivative's filter is a tenth of its time.
    sum_s = closed_loop_s + latency_s + dead_s + frame_s / 2
    integral_s = 4 * sum_s + spool_s
    derivative_s = 4 * sum_s * spool_s / integral_s

    bore_m2 = math.pi / 4 * of("hydraulics", "bore") ** 2
    rod_side_m2 = bore_m2 - math.pi / 4 * of("hydraulics", "rod") ** 2
    supply_pa, return_pa = of("hydraulics", "supply_pressure"), of("hydraulics", "return_pressure")
    rated_m3_s, drop_pa = of("valve.proportional", "rated_flow"), of("valve.proportional", "rated_drop")
    pump_m3_s = of("hydraulics", "pump_flow")

    def metered_m_s(driven_m2, other_m2):
        push_n = supply_pa * driven_m2 - return_pa * other_m2
        return rated_m3_s * math.sqrt(push_n / (drop_pa * (bore_m2**3 + rod_side_m2**3)))

    decay = math.exp(-step_s / spool_s)
    wander_grid_m = wander_reach_m / POINTS_PER_REACH
    seeing_grid_m = seeing_reach_m / POINTS_PER_REACH
    appearance_grid_m = appearance_reach_m / POINTS_PER_REACH
    model = Model(
        step_s=step_s,
        drive_ticks=drive_ticks,
        speed_m_s=speed_m_s,
        warm_up_steps=math.ceil(warm_up_m / (speed_m_s * drive_s) - 1e-9),
        steps=(math.ceil((driven_m / speed_m_s + frame_s) / step_s) + 2) // drive_ticks + 2,
        look_steps=max(1, int(LOOK_M / (speed_m_s * drive_s))),
        frame_steps=whole(frame_s, drive_s, "the time between frames"),
        latency_steps=whole(latency_s, drive_s, "the camera's latency"),
        dead_ticks=whole(dead_s, step_s, "the valve's dead time"),
        # Looked at from the middle of the coming step.
        seen_steps=math.floor(reaction_steps - 0.5),
        seen_part=(reaction_steps - 0.5) % 1.0,
        start_delay_s=of("pass", "start_delay"),
        length_m=length_m,
        entry_length_m=of("pass", "entry_length"),
        row_offset_m=row_offset_m,
        preview_m=preview_m,
        wheelbase_m=of("tractor", "wheelbase"),
        steer_share=-math.expm1(-drive_s / of("tractor", "steering_lag")),
        steer_limit_rad=of("tractor", "steering_limit"),
        steer_most_rad=of("tractor", "steering_rate") * drive_s,
        tool_line_m=tool_line_m,
        camera_point_m=tool_line_m - of("camera", "lookahead"),
        wander_grid_m=wander_grid_m,
        wander=ground(smooth, of("rows", "wander"), wander_reach_m, wander_grid_m),
        seeing_grid_m=seeing_grid_m,
        seeing=ground(gauss_markov, of("driver.hand", "seeing_sd"), seeing_reach_m, seeing_grid_m),
        appearance_grid_m=appearance_grid_m,
        appearance=ground(
            gauss_markov, of("camera", "appearance_sd") / math.sqrt(len(seen_rows)), appearance_reach_m, appearance_grid_m
        ),
        steering=gauss_markov(of("driver.hand", "steering_sd"), steering_time_s, drive_s),
        roll_height_m=of("camera", "roll_height"),
        roll=gauss_markov(roll_sd, of("camera", "roll_time"), frame_s),
        frame_s=frame_s,
        gain_1_s=(1 + spool_s / (4 * sum_s)) / sum_s,
        integral_s=integral_s,
        derivative_s=derivative_s,
        derivative_filter_s=derivative_s / 10,
        left_m_s=metered_m_s(bore_m2, rod_side_m2),
        right_m_s=metered_m_s(rod_side_m2, bore_m2),
        pump_left_m_s=pump_m3_s / bore_m2,
        pump_right_m_s=pump_m3_s / rod_side_m2,
        spool_decay=decay,
        spool_mean=(1 - decay) * spool_s / step_s,
        half_stroke_m=of("hydraulics", "stroke") / 2,
    )
    if min(model.pump_left_m_s, model.pump_right_m_s) < max(model.left_m_s, model.right_m_s):
        raise ValueError("the pump limits the shift speed: the peers do not have that")
    reduced = Reduced(
        model=model,
        clearances_m=tuple(of("study", "clearances")),
        scatter_sd_m=of("plants", "scatter_sd"),
        protected_radius_m=of("plants", "stem_radius") + of("plants", "root_margin"),
        seed=of.raw("study", "seed"),
        passes=of.raw("study", "passes"),
    )
    if of.unread:
        raise ValueError(f"the peers do not have {sorted('.'.join(key) for key in of.unread)}")
    return reduced
