"""Codes, tries and waits, as an attacker in the audience would play them."""

from __future__ import annotations

import hmac
import itertools
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.access import doorkeeper
from monitor.access.doorkeeper import (
    CODE_COUNT,
    FIRST_WAIT_S,
    HERE_S,
    LONGEST_WAIT_S,
    MOST_WRONG,
    MOST_WRONG_EACH,
    MOST_WRONG_HERE,
    SHOWN_S,
    Doorkeeper,
    Refused,
    duration,
    most_guesses,
    random_code,
)

CODE = "042817"
WRONG = "111111"
HOUR_S = 3600.0


def keeper(fixed: str = "") -> Doorkeeper:
    return Doorkeeper("code", fixed, make_code=lambda: CODE)


def verdict(door: Doorkeeper, now_s: float, code: str, asker: str) -> str:
    """What becomes of a try: "in", or why not."""
    try:
        door.judge(now_s, code, asker)
    except Refused as error:
        return error.why
    return "in"


def shows(door: Doorkeeper, now_s: float, asker: str, **hindered: str) -> bool:
    try:
        return door.ask(now_s, asker, **hindered).where == "panel"
    except Refused:
        return False


def besieged(door: Doorkeeper, evening_s: float, *, tries: bool) -> tuple[int, float]:
    """Play an attacker with a new address each time who asks every second and tries at once.

    Returns how many tries were judged, and how long the panel showed a code, in seconds.
    """
    addresses = (f"10.{n >> 16 & 255}.{n >> 8 & 255}.{n & 255}" for n in itertools.count())
    judged, shown_s = 0, 0.0
    for second in range(int(evening_s) + 1):
        shows(door, float(second), next(addresses))
        while (
            tries
            and judged < 2000
            and verdict(door, float(second), WRONG, next(addresses)) == "wrong"
        ):
            judged += 1
        shown_s += bool(door.on_panel(float(second)))
    return judged, shown_s


def test_the_panel_s_code_lets_one_phone_in_once() -> None:
    door = keeper()
    showing = door.ask(0.0, "a")
    assert (showing.code, showing.where, showing.lasts_s) == (CODE, "panel", SHOWN_S)
    assert door.on_panel(1.0) == CODE
    assert verdict(door, 10.0, CODE, "a") == "in"
    assert door.on_panel(10.0) == ""
    assert verdict(door, 11.0, CODE, "b") == "closed"


def test_nothing_is_right_where_no_code_is_shown() -> None:
    assert verdict(keeper(), 0.0, CODE, "a") == "closed"


def test_a_code_ends_by_itself() -> None:
    door = keeper()
    door.ask(0.0, "a")
    assert door.on_panel(SHOWN_S - 0.1) == CODE
    assert door.on_panel(SHOWN_S) == ""
    assert verdict(door, SHOWN_S, CODE, "a") == "closed"


def test_whoever_asks_meanwhile_shares_the_code_and_does_not_lengthen_it() -> None:
    door = keeper()
    door.ask(0.0, "stranger")
    assert door.ask(60.0, "musician").lasts_s == SHOWN_S - 60.0
    assert verdict(door, 61.0, CODE, "musician") == "in"


def test_codes_are_six_digits_and_not_alike() -> None:
    codes = {random_code() for _ in range(200)}
    assert all(len(code) == 6 and code.isdigit() for code in codes)
    # 200 of 1,000,000: two alike are expected 0.02 times, three pairs never.
    assert len(codes) > 197


def test_codes_are_compared_in_constant_time(monkeypatch: pytest.MonkeyPatch) -> None:
    compared: list[tuple[bytes, bytes]] = []

    def noted(a: bytes, b: bytes) -> bool:
        compared.append((a, b))
        return a == b

    monkeypatch.setattr(hmac, "compare_digest", noted)
    door = keeper()
    door.ask(0.0, "a")
    verdict(door, 0.0, WRONG, "a")
    assert compared == [(CODE.encode(), WRONG.encode())]


@pytest.mark.parametrize(("hours", "guesses"), [(1, 70), (3, 110), (6, 170)])
def test_an_evening_has_room_for_few_guesses(hours: int, guesses: int) -> None:
    # By hand: a new code at once and after 30, 60, 120, 240, 480, 960 s, then each 1800 s; with
    # six hours that is at 0, 30, 90, 210, 450, 930, 1890 s and ten more, each tried ten times.
    assert most_guesses(hours * HOUR_S) == guesses
    judged, _ = besieged(keeper(), hours * HOUR_S, tries=True)
    assert judged == guesses


def test_the_chance_of_an_evening_is_below_one_in_five_thousand() -> None:
    assert most_guesses(6 * HOUR_S) / CODE_COUNT < 1 / 5000


def test_a_crowd_that_only_asks_cannot_keep_the_panel() -> None:
    _, shown_s = besieged(keeper(), 6 * HOUR_S, tries=False)
    assert 0.0 < shown_s / (6 * HOUR_S) < 0.08


def test_one_stranger_cannot_end_a_code() -> None:
    door = keeper()
    door.ask(0.0, "stranger")
    for second in range(85):
        verdict(door, float(second), WRONG, "stranger")
    assert verdict(door, 85.0, CODE, "musician") == "in"


def test_one_address_tries_five_times_at_most() -> None:
    door = keeper()
    door.ask(0.0, "a")
    verdicts = [verdict(door, 0.5 * n, WRONG, "a") for n in range(int(2 * SHOWN_S))]
    # Three at once, then after 15 and 30 s; the wait of a minute reaches beyond the code.
    assert verdicts.count("wrong") == MOST_WRONG_EACH
    assert verdicts[:4] == ["wrong", "wrong", "wrong", "wait"]


def test_the_right_code_is_no_use_while_waiting() -> None:
    door = keeper()
    door.ask(0.0, "a")
    for _ in range(3):
        verdict(door, 0.0, WRONG, "a")
    with pytest.raises(Refused, match="wait 15 s") as refused:
        door.judge(0.0, CODE, "a")
    assert refused.value.wait_s == 15.0
    assert verdict(door, 15.0, CODE, "a") == "in"


def test_ten_wrong_tries_of_a_crowd_end_a_code_and_all_wait_ever_longer() -> None:
    door, now_s = keeper(), 0.0
    for wait_s in (30.0, 60.0, 120.0, 240.0):
        assert shows(door, now_s, "musician")
        verdicts = [verdict(door, now_s, WRONG, f"stranger {n}") for n in range(12)]
        assert verdicts == ["wrong"] * MOST_WRONG + ["closed"] * 2
        assert verdict(door, now_s, CODE, "musician") == "closed"
        assert not shows(door, now_s + wait_s - 0.1, "musician")
        now_s += wait_s + 1.0


def test_the_longest_wait_is_half_an_hour() -> None:
    door, now_s = keeper(), 0.0
    for _ in range(60):
        door.ask(now_s, "a")
        now_s += SHOWN_S + 1800.0
    assert not shows(door, now_s - 0.1, "a")
    assert shows(door, now_s, "a")


def test_whoever_pairs_ends_the_waits() -> None:
    door = keeper()
    door.ask(0.0, "a")
    door.ask(SHOWN_S + FIRST_WAIT_S, "a")
    assert verdict(door, SHOWN_S + FIRST_WAIT_S, CODE, "a") == "in"
    assert shows(door, SHOWN_S + FIRST_WAIT_S + 1.0, "b")


def test_asking_at_the_box_works_whatever_the_crowd_does() -> None:
    door = keeper()
    besieged(door, 2 * HOUR_S, tries=True)
    now_s = 2 * HOUR_S
    assert not shows(door, now_s, "musician")
    showing = door.ask_here(now_s)
    assert (showing.where, showing.lasts_s) == ("box", HERE_S)
    for n in range(9):  # nine strangers with five tries each: fewer than end it
        for _ in range(9):
            verdict(door, now_s, WRONG, f"stranger {n}")
    assert verdict(door, now_s + 200.0, CODE, "musician") == "in"


def test_the_box_s_code_forgives_a_phone_its_own_wait() -> None:
    door = keeper()
    door.ask(0.0, "musician")
    for _ in range(3):
        verdict(door, 0.0, WRONG, "musician")
    door.ask_here(1.0)
    assert verdict(door, 1.0, CODE, "musician") == "in"


def test_the_box_s_code_ends_too() -> None:
    door = keeper()
    door.ask_here(0.0)
    verdicts = [verdict(door, 0.0, WRONG, f"stranger {n}") for n in range(100)]
    assert verdicts.count("wrong") == MOST_WRONG_HERE
    door.ask_here(0.0)
    assert verdict(door, HERE_S, CODE, "musician") == "closed"


def test_the_box_s_code_is_on_no_panel() -> None:
    door = keeper()
    door.ask_here(0.0)
    assert door.on_panel(0.0) == ""
    assert door.ask(0.0, "a").where == "box"


def test_a_code_asked_for_at_the_box_ends_the_panel_s() -> None:
    codes = iter(["000001", "000002"])
    door = Doorkeeper("code", make_code=lambda: next(codes))
    door.ask(0.0, "a")
    door.ask_here(0.0)
    assert verdict(door, 0.0, "000001", "a") == "wrong"
    assert verdict(door, 0.0, "000002", "a") == "in"


def test_the_panel_is_not_taken_from_a_ring() -> None:
    door = keeper()
    with pytest.raises(Refused, match="something rings") as refused:
        door.ask(0.0, "a", hindrance="something rings")
    assert refused.value.why == "busy"
    assert door.on_panel(0.0) == ""
    assert shows(door, 0.0, "a")  # and it has cost nobody a wait


def test_the_same_evening_remembers_failures_and_the_next_does_not() -> None:
    door = keeper()
    besieged(door, HOUR_S, tries=True)
    next_day_s = HOUR_S + 24 * HOUR_S
    door.ask(next_day_s, "a")
    assert shows(door, next_day_s + SHOWN_S + FIRST_WAIT_S, "a")


# --- a code of the settings ----------------------------------------------------------------


def test_a_code_of_the_settings_counts_always_and_is_not_shown() -> None:
    door = keeper("123456")
    showing = door.ask(0.0, "a")
    assert (showing.where, showing.lasts_s) == ("settings", None)
    assert door.on_panel(0.0) == ""
    assert verdict(door, 1.0, "123456", "a") == "in"
    assert verdict(door, 2.0, "123456", "b") == "in"


def test_a_code_of_the_settings_is_guessed_no_faster() -> None:
    judged, _ = besieged(keeper("123456"), 6 * HOUR_S, tries=True)
    assert judged <= most_guesses(6 * HOUR_S)


def test_the_code_of_the_settings_is_no_use_while_all_wait_but_the_box_s_is() -> None:
    door = keeper("123456")
    for n in range(MOST_WRONG):
        assert verdict(door, 0.0, WRONG, f"stranger {n}") == "wrong"
    assert verdict(door, 1.0, "123456", "musician") == "wait"
    door.ask_here(1.0)
    assert verdict(door, 1.0, "123456", "other") == "wrong"
    assert verdict(door, 1.0, CODE, "musician") == "in"


# --- open and off ----------------------------------------------------------------------------


@pytest.mark.parametrize(("control", "words"), [("open", "no code"), ("off", "switched off")])
def test_without_codes_there_are_none(control: doorkeeper.Control, words: str) -> None:
    door = Doorkeeper(control, "123456")
    with pytest.raises(Refused, match=words):
        door.ask(0.0, "a")
    with pytest.raises(Refused, match=words):
        door.ask_here(0.0)
    with pytest.raises(Refused, match=words):
        door.judge(0.0, "123456", "a")


# --- over a restart ---------------------------------------------------------------------------


def restarted(door: Doorkeeper, now_s: float, *, same_boot: bool) -> Doorkeeper:
    again = keeper()
    again.restore(json.loads(json.dumps(door.kept)), same_boot=same_boot, now_s=now_s)
    return again


def test_a_restart_of_the_watcher_forgives_nobody() -> None:
    door = keeper()
    door.ask(100.0, "a")
    for _ in range(4):
        verdict(door, 100.0, WRONG, "a")
    # While a code is shown: it is gone, and counts as one that nobody used.
    again = restarted(door, 110.0, same_boot=True)
    assert verdict(again, 110.0, CODE, "b") == "closed"
    assert not shows(again, 100.0 + SHOWN_S + FIRST_WAIT_S - 1.0, "b")
    assert not shows(again, 110.0, "a")
    assert shows(again, 100.0 + SHOWN_S + FIRST_WAIT_S, "b")


def test_restarting_all_the_time_gives_no_more_guesses() -> None:
    door, judged = keeper(), 0
    for second in range(int(HOUR_S)):
        now_s = float(second)
        shows(door, now_s, f"a{second}")
        while judged < 2000 and verdict(door, now_s, WRONG, f"b{judged}") == "wrong":
            judged += 1
        door = restarted(door, now_s, same_boot=True)
    assert judged == most_guesses(HOUR_S)


def test_a_pulled_plug_ends_a_wait_but_is_not_forgotten() -> None:
    door = keeper()
    besieged(door, HOUR_S, tries=True)
    again = restarted(door, 20.0, same_boot=False)
    assert shows(again, 20.0, "musician")
    assert not shows(again, 20.0 + SHOWN_S + 900.0, "musician")


@pytest.mark.parametrize(
    "kept",
    [
        {},
        {"waits": [], "askers": {}, "fixed_wrong": 0},
        {"waits": {"fail_count": "3", "last_s": 0}, "askers": {}, "fixed_wrong": 0},
        {"waits": {"fail_count": True, "last_s": 0}, "askers": {}, "fixed_wrong": 0},
        {"waits": {"fail_count": 1, "last_s": float("nan")}, "askers": {}, "fixed_wrong": 0},
        {"waits": {}, "askers": {"a": 3}, "fixed_wrong": 0},
    ],
)
def test_junk_is_not_gone_on_from(kept: dict[str, object]) -> None:
    with pytest.raises(ValueError, match="expected|must be a number"):
        keeper().restore(kept, same_boot=True, now_s=0.0)


def test_a_wait_that_a_file_makes_endless_is_bounded() -> None:
    door = keeper()
    waits = {"fail_count": 9, "last_s": 0.0, "until_s": 1e12}
    kept = {"waits": waits, "askers": {}, "fixed_wrong": 0}
    door.restore(kept, same_boot=True, now_s=0.0)
    assert shows(door, 2 * LONGEST_WAIT_S, "a")


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["ask", "try", "restart", "here"]),
            st.integers(0, 30),
            st.floats(0.0, 400.0),
        ),
        max_size=80,
    )
)
def test_no_order_of_things_gives_more_guesses_than_the_sum_says(
    doings: list[tuple[str, int, float]],
) -> None:
    door, now_s, judged, here = keeper(), 0.0, 0, 0
    for what, who, later_s in doings:
        now_s += later_s
        if what == "ask":
            shows(door, now_s, f"a{who}")
        elif what == "restart":
            door = restarted(door, now_s, same_boot=True)
        elif what == "here":
            door.ask_here(now_s)
            here += 1
        else:
            for n in range(who):
                judged += verdict(door, now_s, WRONG, f"b{who}.{n}") == "wrong"
    assert judged <= most_guesses(now_s) + here * MOST_WRONG_HERE


@pytest.mark.parametrize(
    ("seconds", "words"), [(0.2, "1 s"), (14.2, "15 s"), (90.0, "2 min"), (1800.0, "30 min")]
)
def test_waits_are_said_as_people_do(seconds: float, words: str) -> None:
    assert duration(seconds) == words
