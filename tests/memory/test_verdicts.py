"""Rig, room or not enough evenings yet: by plain cases, by another test, and by 100 histories."""

from __future__ import annotations

import pytest
from scipy.stats import fisher_exact

from monitor.memory.phrases import MOST_ODDS
from monitor.memory.verdicts import BandVerdict, by_venue, verdicts_of
from tests.bench.memory import judged, told
from tests.bench.memory_histories import SCORING, TUNING, made_history
from tests.memory.made import gig, pull


def only(gigs: list[object], here: str | None = None) -> BandVerdict:
    found = verdicts_of(gigs, here)  # type: ignore[arg-type]
    assert len(found) == 1
    return found[0]


def test_what_rings_at_every_venue_is_the_rig_s() -> None:
    gigs = [gig(venue, [2500.0]) for venue in ("anchor", "barn", "crown", "dock") for _ in range(2)]
    found = only([*gigs, gig("anchor")])
    assert found.verdict == "rig"
    assert found.rate > 0.6
    assert found.words.startswith("2.5 kHz rang on 8 of 9 evenings, at 4 of 4 venues: it comes")


def test_what_rings_at_one_of_several_is_that_room_s() -> None:
    here = [gig("anchor", [250.0]) for _ in range(3)]
    elsewhere = [gig(venue) for venue in ("barn", "crown") for _ in range(3)]
    found = only([*here, *elsewhere])
    assert (found.verdict, found.venue_uid) == ("room", "anchor")
    assert found.words.startswith(
        "250 Hz rang on 3 of 3 evenings at The anchor and none of 6 elsewhere: that room"
    )
    seen = found.evidence
    assert (seen.here_rang, seen.here_of, seen.elsewhere_rang, seen.elsewhere_of) == (3, 3, 0, 6)


def test_one_venue_alone_is_never_told_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    # Not even by a model that is easily sure.
    monkeypatch.setattr("monitor.memory.verdicts.SURE", {"rig": 0.1, "room": 0.1})
    found = only([gig("anchor", [250.0]) for _ in range(12)])
    assert found.verdict == "unsure"
    assert "no other venue is known" in found.words


def test_one_ring_is_not_enough() -> None:
    found = only([gig("anchor", [250.0]), gig("barn")])
    assert found.verdict == "unsure"
    assert "not enough evenings yet" in found.words


def test_silence_behind_a_cut_is_no_silence() -> None:
    here = [gig("anchor", [250.0]) for _ in range(3)]
    cut = [pull("250", 251.2, 9.0, 0.0)]
    open_elsewhere = only([*here, *(gig("barn") for _ in range(5))])
    cut_elsewhere = only([*here, *(gig("barn", pulls=cut) for _ in range(5))])
    assert open_elsewhere.verdict == "room"
    assert cut_elsewhere.verdict == "unsure"
    assert cut_elsewhere.evidence.hidden_count == 5
    assert "5 evenings it stood pulled" in cut_elsewhere.words


def test_what_has_not_rung_for_long_is_said() -> None:
    venues = ("anchor", "barn", "crown", "dock")
    rang = [gig(venue, [2500.0]) for venue in venues for _ in range(3)]
    quiet = [gig(venue) for venue in venues]
    assert "not on the last" not in only([*rang, *quiet[:3]]).words
    assert "venues, not on the last 4: it comes along" in only([*rang, *quiet]).words
    pulled = [gig(venue, pulls=[pull("2.5k", 2511.9, 9.0, 0.0)]) for venue in venues]
    assert only([*rang, *pulled]).evidence.quiet_anywhere_count == 0


def test_odds_are_said_no_higher_than_they_can_be_trusted() -> None:
    venues = ("anchor", "barn", "crown", "dock", "eagle", "ferry")
    found = only([gig(venue, [2500.0]) for venue in venues for _ in range(4)])
    assert found.chance > 0.999
    assert found.odds == MOST_ODDS
    assert "(over 50 to 1)" in found.words


def test_a_gig_without_venue_or_with_rings_gone_is_left_out() -> None:
    gigs = [gig(None, [250.0]), gig("anchor", [250.0], is_whole=False), gig("anchor")]
    assert list(by_venue(gigs)) == ["anchor"]
    assert verdicts_of(gigs) == []


def test_the_venue_asked_about_is_the_one_that_is_weighed() -> None:
    gigs = [gig("anchor", [250.0]) for _ in range(4)] + [gig("barn", [250.0]) for _ in range(2)]
    gigs += [gig(venue) for venue in ("crown", "dock", "eagle") for _ in range(3)]
    assert only(gigs).venue_uid == "anchor"
    assert only(gigs, "barn").venue_uid == "barn"
    assert only(gigs, "crown").venue_uid == "anchor"


def test_fields_are_plain_and_rounded() -> None:
    fields = only([gig("anchor", [250.0]), gig("barn")]).fields()
    assert fields["band"] == "250"
    assert fields["verdict"] == "unsure"
    assert fields["evidence"]["here_rang"] == 1
    assert 0.0 <= fields["rate"] <= 1.0


def test_a_hundred_histories_of_known_truth() -> None:
    # The bench's thousand, a tenth of it.  Truth: what the histories were made of.
    places = [place for seed in range(100) for place in judged(made_history(seed, SCORING))]
    wrong = sum(place.is_wrong for place in places)
    said = sum(place.verdict != "unsure" for place in places)
    assert len(places) > 800
    assert wrong / len(places) < 0.05
    assert wrong / said < 0.05
    # One that never speaks is worth nothing.
    assert said / len(places) > 0.35


def test_the_bench_can_find_a_wrong_verdict(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("monitor.memory.verdicts.SURE", {"rig": 0.0, "room": 0.0})
    places = [place for seed in range(30) for place in judged(made_history(seed, SCORING))]
    assert sum(place.is_wrong for place in places) / len(places) > 0.1


def test_no_room_is_called_against_fisher_s_exact_test() -> None:
    # scipy.stats.fisher_exact, one-sided: rang here and not elsewhere.  It knows neither cuts nor
    # lengths, and so is asked only where nothing stood pulled; then it may be weaker but not
    # opposed.
    asked = 0
    for seed in range(60):
        for band in verdicts_of(made_history(seed, TUNING).gigs):
            seen = band.evidence
            if band.verdict != "room" or seen.hidden_count:
                continue
            table = [
                [seen.here_rang, seen.here_of - seen.here_rang],
                [seen.elsewhere_rang, seen.elsewhere_of - seen.elsewhere_rang],
            ]
            asked += 1
            assert fisher_exact(table, alternative="greater").pvalue < 0.35, (seed, band.words)
    assert asked > 50


def test_cuts_to_begin_with_lie_on_resonances() -> None:
    cuts = [cut for seed in range(60) for cut in told(made_history(seed, SCORING))]
    assert len(cuts) > 200
    assert sum(cut.is_true for cut in cuts) / len(cuts) > 0.85
