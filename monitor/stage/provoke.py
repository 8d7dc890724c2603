"""Provoke feedback on the practice stage, offline, with the truth beside the sound.

Every run is rendered twice from the same programme and the same noise: with the loop closed,
and its twin with the loop opened.  The difference is the feedback and nothing else.  What should
ring, when, and how fast comes from the Nyquist criterion on the loop's own response, never from
a detector.

Conventions
-----------
Times are seconds from the first sample.  Excess is 20 log10 |L| of the most critical frequency
with zero phase: negative is stable.  Signals are what the box's microphone hears, full scale 1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.stage.fir import convolved
from monitor.stage.moving_loop import planned, stage_of
from monitor.stage.nyquist import Critical
from monitor.stage.played import block_of, closed_drive, opened_drive, programme_of, room_noise
from monitor.stage.room import Responses
from monitor.stage.run_spec import PROVOCATIONS, RunSpec
from monitor.stage.run_truth import first_above, in_band, running_level, stability, winner


@dataclass(frozen=True)
class Run:
    """A rendered run and its truth.

    ``closed`` and ``opened`` are what the box hears, float32 [n].  ``feedback`` is their
    difference before the box's own clipping.  ``excess_db`` [m] goes with ``excess_time_s`` [m]
    and counts what a compressor takes away.  ``truth`` holds every frequency that is unstable at
    the worst moment, or on the way of a hand or of somebody walking and where they come to rest,
    most critical first; ``critical_frequency_hz`` the one of them that won; ``near`` those that
    are stable by less than ``NEAR_DB`` and may linger.
    ``onset_s`` is when the loop first became unstable, ``off_s`` when the fader left it stable
    again for good (a compressor not counted), ``overtake_s`` when the feedback first stays
    above the programme in its own third-octave band, ``louder_than_programme_s`` above the whole
    programme; None where that never happens.  The programme is all that the box hears with the
    loop opened, the noise of its own microphone included: no ear at its place hears what is
    under that.
    """

    spec: RunSpec
    sample_rate_hz: int
    closed: np.ndarray
    opened: np.ndarray
    feedback: np.ndarray
    excess_time_s: np.ndarray
    excess_db: np.ndarray
    peak_excess_db: float
    truth: tuple[Critical, ...]
    near: tuple[Critical, ...]
    critical_frequency_hz: float
    onset_s: float | None
    off_s: float | None
    overtake_s: float | None
    louder_than_programme_s: float | None
    acts_s: float | None

    @property
    def modes(self) -> tuple[tuple[float, float], ...]:
        """(frequency in Hz, dB beside the most critical, never positive) of truth and near."""
        both = (*self.truth, *self.near)
        return tuple((c.frequency_hz, both[0].margin_db - c.margin_db) for c in both)

    def excess_at(self, time_s: float | np.ndarray) -> np.ndarray:
        """Return the excess in dB at one or more times."""
        return np.interp(time_s, self.excess_time_s, self.excess_db)


def render_run(
    spec: RunSpec, sound: np.ndarray | None = None, *, known: Responses | None = None
) -> Run:
    """Render a run.

    Parameters
    ----------
    spec : RunSpec
    sound : np.ndarray [shape=(n,)], optional
        The programme at the vocal microphone, with ``programme="given"``; repeated or cut to
        the run's length, its level set by ``programme_db``.
    known : Responses, optional
        Responses at the spec's rate to use in place of the spec's room.

    Raises
    ------
    ValueError
        If the spec cannot be rendered; one clear line.
    """
    rate = spec.sample_rate_hz
    if spec.provocation not in PROVOCATIONS:
        raise ValueError(
            f"provocation {spec.provocation!r} is unknown; known: {', '.join(PROVOCATIONS)}"
        )
    if not 1.0 <= spec.duration_s <= 600.0:
        raise ValueError(f"duration_s={spec.duration_s} must lie between 1 and 600")
    rng = np.random.default_rng([spec.seed, 99])
    stage = known or stage_of(spec.room_seed, spec.t60_s, spec.place, spec.box_below_m, rate)
    block = block_of(stage, spec.latency_s, rate)
    n = int(spec.duration_s * rate) // block * block
    loop = planned(spec, stage, n, rng)

    # Levels: the loud programme reaches the loudspeaker at programme_db when at the limit.
    limit_db = float(loop.limits_db(np.array([0]))[0])
    source = programme_of(spec, n, sound)
    loud = float(
        np.sqrt(np.quantile(running_level(source.astype(np.float64) ** 2, rate // 20)[::512], 0.9))
    )
    wanted = 10.0 ** ((spec.programme_db - limit_db) / 20.0)
    voice = source * np.float32(wanted / loud) if loud > 1e-9 else source
    floor = wanted * 10.0 ** (float(rng.uniform(-60.0, -40.0)) / 20.0)
    voice = voice + np.float32(floor) * room_noise(n, rng)

    drive, reduction_db = closed_drive(spec, loop, voice, block)
    drive_open = opened_drive(spec, loop, voice, block)
    direct = convolved(voice, stage.voice_box)
    difference = convolved(drive - drive_open, stage.box)
    quiet = convolved(drive_open, stage.box) + direct

    truth = stability(spec, loop, limit_db=limit_db, reduction_db=reduction_db, block=block)
    onset_s = truth.onset_s
    end_s = spec.acts_s if spec.acts_s is not None else n / rate
    critical_hz = truth.found[0].frequency_hz if truth.found else 0.0
    span = slice(int((onset_s or 0.0) * rate), int(end_s * rate))
    if onset_s is not None:
        critical_hz = winner(difference, truth.unstable, rate, span)

    # The box's own microphone: a full-blown howl would reach box_peak_dbfs.
    at_end = np.exp(-2j * np.pi * critical_hz / rate * np.arange(len(stage.box)))
    reach = abs(np.dot(stage.box, at_end)) + 1e-9
    box_gain = np.float32(10.0 ** (spec.box_peak_dbfs / 20.0) / reach)
    noise = np.float32(10.0 ** (spec.box_noise_dbfs / 20.0)) * room_noise(n, rng)
    quiet = quiet * box_gain + noise
    difference = difference * box_gain
    overtake_s = louder_s = None
    if onset_s is not None:
        overtake_s = first_above(
            in_band(difference, critical_hz, rate),
            in_band(quiet, critical_hz, rate),
            rate=rate,
            from_s=onset_s,
        )
        louder_s = first_above(difference, quiet, rate=rate, from_s=onset_s)
    return Run(
        spec=spec,
        sample_rate_hz=rate,
        closed=np.clip(quiet + difference, -1.0, 1.0).astype(np.float32),
        opened=np.clip(quiet, -1.0, 1.0).astype(np.float32),
        feedback=difference.astype(np.float32),
        excess_time_s=truth.time_s,
        excess_db=truth.excess_db,
        peak_excess_db=truth.peak_excess_db,
        truth=truth.unstable,
        near=truth.near,
        critical_frequency_hz=critical_hz,
        onset_s=onset_s,
        off_s=truth.off_s,
        overtake_s=overtake_s,
        louder_than_programme_s=louder_s,
        acts_s=spec.acts_s,
    )
