"""What a press means, held against what the ring-out and the link's gate accept."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.advice.equaliser import Equaliser
from monitor.advice.pulls import Pull
from monitor.advice.ring_out import RingOut
from monitor.advice.ring_out_state import RingOutState
from monitor.advice.set_advice import RingNow, SetAdvice, set_advice
from monitor.button_press import commands_of_press
from monitor.link.commands import check_command
from monitor.news import Advised

THIRTY_ONE = Equaliser.from_settings("31")
PARAMETRIC = Equaliser.from_settings("parametric")


def advised(*pulls: Pull, ring_out: RingOutState | None = None) -> Advised:
    advice = SetAdvice("pull 2.5k by 4", pulls, None, "", "")
    return Advised(advice, ring_out=ring_out)


def test_with_nothing_going_on_it_opens_a_ring_out() -> None:
    assert commands_of_press(Advised(), THIRTY_ONE.sliders) == [{"class": "ring_out", "do": "open"}]


def test_an_advice_is_acknowledged_as_pulled() -> None:
    pull = Pull("2.5k", 4.0, 2500.0, 4.3, more_db=2.0)
    (command,) = commands_of_press(advised(pull), THIRTY_ONE.sliders)
    assert THIRTY_ONE.sliders[command["slider"]].label == "2.5k"
    assert check_command(command) == {**command, "cut_db": -4.0}
    assert "q" not in command


@pytest.mark.parametrize(
    "rings",
    [
        # It was pulled, and only has to die.
        [RingNow(2480.0, gained_db=9.0)],
        # So many at once are asked for at the fader.
        [RingNow(hz) for hz in (315.0, 800.0, 2480.0)],
    ],
)
def test_where_nothing_is_to_be_pulled_a_press_does_nothing(rings: list[RingNow]) -> None:
    advice = set_advice(THIRTY_ONE, rings)
    assert advice is not None
    assert not advice.pulls
    assert commands_of_press(Advised(advice), THIRTY_ONE.sliders) == []


def test_a_filter_is_acknowledged_where_it_was_put() -> None:
    label = PARAMETRIC.sliders[1].label
    filter_at = advised(Pull(label, 3.0, 1870.0, 8.0))
    (command,) = commands_of_press(filter_at, PARAMETRIC.sliders)
    assert check_command(command) == {
        "class": "pull",
        "slider": 1,
        "cut_db": -3.0,
        "centre_hz": 1870.0,
        "q": 8.0,
    }


def states() -> dict[str, RingOutState]:
    """A state of each phase, by the ring-out's own commands where they lead there."""
    ring_out = RingOut(THIRTY_ONE, margin_db=3.0)
    found = {"ready": ring_out.state}
    ring_out.command("begin", 0.0)
    found["raise"] = ring_out.state
    ring_out.command("pause", 1.0)
    found["paused"] = ring_out.state
    found["pull"] = replace(
        found["raise"], phase="pull", may=("pulled", "turned_down", "skip", "pause", "stop")
    )
    found["back_off"] = replace(found["raise"], phase="back_off", may=("turned_down", "stop"))
    found["listen"] = replace(found["raise"], phase="listen", may=("undo", "pause", "stop"))
    ring_out.command("stop", 2.0)
    found["done"] = replace(ring_out.state, phase="done", may=())
    return found


@pytest.mark.parametrize(
    ("phase", "says"),
    [
        ("ready", "begin"),
        ("raise", "pause"),
        ("paused", "go_on"),
        ("pull", "pulled"),
        ("listen", "pause"),
        ("back_off", "turned_down"),
        ("done", "close"),
    ],
)
def test_in_a_ring_out_it_says_the_next_thing_and_ends_nothing(phase: str, says: str) -> None:
    state = states()[phase]
    # An advice of the set says nothing while a ring-out is open.
    pull = advised(Pull("2.5k", 4.0, 2500.0, 4.3), ring_out=state)
    (command,) = commands_of_press(pull, THIRTY_ONE.sliders)
    assert command == {"class": "ring_out", "do": says}
    assert check_command(command) == command
    assert phase == "done" or says in state.may
