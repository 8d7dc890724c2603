"""The textbooks' worked examples.  Books round logarithms to 0.5 dB, so 0.2 dB is allowed."""

from __future__ import annotations

import math

import pytest

from monitor.placing import acoustics
from tests.placing import textbook

# J. Eargle, Sound System Design Reference Manual, p. 4-2: talker to microphone 1 m, talker to
# listener 7 m, microphone to loudspeaker 4 m, loudspeaker to listener 6 m.
EARGLE = {
    "talker_to_microphone": 1.0,
    "talker_to_listener": 7.0,
    "microphone_to_loudspeaker": 4.0,
    "loudspeaker_to_listener": 6.0,
}
# G. Ballou (ed.), Handbook for Sound Engineers, ch. 34, printed p. 1252, in feet.
BALLOU = {
    "talker_to_microphone": 2.0,
    "talker_to_listener": 128.0,
    "microphone_to_loudspeaker": 45.0,
    "loudspeaker_to_listener": 90.0,
}
BALLOU_CRITICAL_FT = 31.2
BOOK_DB = 0.2


@pytest.mark.parametrize(
    ("margin_db", "book_db"),
    [(0.0, 13.5), (6.0, 7.5)],  # Eargle pp. 4-2 and 4-4
)
def test_potential_gain_in_the_open_air(margin_db: float, book_db: float) -> None:
    found = textbook.free_potential_db(**EARGLE, margin_db=margin_db)
    assert found == pytest.approx(book_db, abs=BOOK_DB)


def test_needed_gain_and_what_half_the_distance_costs() -> None:
    # Eargle p. 4-4: 7 m and an equivalent acoustic distance of 3 m need 7.5 dB; 1.5 m needs 6 more.
    three = textbook.free_needed_db(talker_to_listener=7.0, ead=3.0)
    half = textbook.free_needed_db(talker_to_listener=7.0, ead=1.5)
    assert three == pytest.approx(7.5, abs=BOOK_DB)
    assert half - three == pytest.approx(6.0, abs=BOOK_DB)


def test_a_mouth_nearer_makes_up_what_is_missing() -> None:
    # Eargle p. 4-5: 16 dB short are made up by 0.16 m in place of 1 m.
    near = EARGLE | {"talker_to_microphone": 0.16}
    gained = textbook.free_potential_db(**near) - textbook.free_potential_db(**EARGLE)
    assert gained == pytest.approx(16.0, abs=BOOK_DB)


def test_potential_gain_in_a_room() -> None:
    found = acoustics.indoor_potential_db(
        **BALLOU, critical_distance=BALLOU_CRITICAL_FT, open_count=3
    )
    assert found == pytest.approx(11.7, abs=BOOK_DB)  # Ballou p. 1252


def test_needed_gain_in_a_room_and_that_this_one_will_ring() -> None:
    needed = acoustics.indoor_needed_db(
        talker_to_listener=128.0, ead=4.0, critical_distance=BALLOU_CRITICAL_FT
    )
    assert needed == pytest.approx(17.7, abs=BOOK_DB)  # Ballou p. 1252
    potential = acoustics.indoor_potential_db(
        **BALLOU, critical_distance=BALLOU_CRITICAL_FT, open_count=3
    )
    assert potential - needed == pytest.approx(-6.0, abs=BOOK_DB)


@pytest.mark.parametrize(
    ("distance", "book_db"),
    # Ballou p. 1252: Q 5, 28 000 square feet of a mean absorption of 0.35.  The page also prints
    # 33.2 for 45 ft inside the sum; only 32.2 gives its own result.
    [(128.0, 33.6), (45.0, 32.2), (2.0, 10.0), (90.0, 33.4)],
)
def test_attenuation_on_the_way(distance: float, book_db: float) -> None:
    found = textbook.attenuation_db(distance, directivity_factor=5.0, absorption=28000.0 * 0.35)
    assert found == pytest.approx(book_db, abs=BOOK_DB)


def test_both_forms_of_the_room_s_gain_are_one() -> None:
    # Ballou gives potential gain with g(x) (eq. 34-22) and with attenuations (p. 1252).
    absorption = 28000.0 * 0.35

    def loss(distance: float) -> float:
        return textbook.attenuation_db(distance, directivity_factor=5.0, absorption=absorption)

    by_loss = loss(128.0) + loss(45.0) - loss(2.0) - loss(90.0) - 10.0 * math.log10(3.0) - 6.0
    by_distance = acoustics.indoor_potential_db(
        **BALLOU,
        critical_distance=acoustics.critical_distance(
            directivity_factor=5.0, absorption=absorption
        ),
        open_count=3,
    )
    assert by_distance == pytest.approx(by_loss, abs=1e-9)
    assert by_loss == pytest.approx(11.7, abs=BOOK_DB)  # Ballou p. 1252


def test_doubling_the_open_microphones_costs_3_db() -> None:
    # Ballou ch. 34: 10 log10 of their number.
    for count in (1, 2, 8):
        more = acoustics.open_microphones_db(2 * count) - acoustics.open_microphones_db(count)
        assert more == pytest.approx(3.0, abs=0.02)


def test_critical_distance() -> None:
    found = acoustics.critical_distance(directivity_factor=5.0, absorption=28000.0 * 0.35)
    assert found == pytest.approx(31.2, abs=0.1)  # Ballou p. 1252, in feet


@pytest.mark.parametrize(
    ("quality", "volume_m3", "t60_s"), [(1.0, 200.0, 0.5), (5.0, 200.0, 0.5), (5.0, 500.0, 0.8)]
)
def test_critical_distance_from_volume_and_t60(
    quality: float, volume_m3: float, t60_s: float
) -> None:
    # 0.057 sqrt(Q V / T60): formula from memory, no source read.
    found = acoustics.critical_distance_m(
        directivity_factor=quality, volume_m3=volume_m3, t60_s=t60_s
    )
    assert found == pytest.approx(0.057 * math.sqrt(quality * volume_m3 / t60_s), rel=0.01)


def test_at_the_critical_distance_the_room_doubles_the_sound() -> None:
    # Eargle ch. 6: total is the direct sound + 3 dB.
    direct_db = -20.0 * math.log10(5.0)
    assert acoustics.room_level_db(5.0, 5.0) - direct_db == pytest.approx(3.0, abs=0.02)


def test_mean_absorption_gives_the_reverberation_back() -> None:
    # Eyring's formula the other way round (from memory, no source read).
    volume, surface = 200.0, 210.0
    for t60_s in (0.25, 0.6, 1.5):
        a = textbook.mean_absorption(volume_m3=volume, surface_m2=surface, t60_s=t60_s)
        assert 0.0 < a < 1.0
        assert 0.161 * volume / (-surface * math.log(1.0 - a)) == pytest.approx(t60_s, rel=1e-3)
