"""The practice stage without a clock: sound, listening, hand-over and counsel, sample by sample."""

from __future__ import annotations

from typing import Any

from monitor.advice.equaliser import Equaliser
from monitor.adviser.counsel import Counsel
from monitor.adviser.handover import Handover
from monitor.listening.listener import Listener
from monitor.news import Advised, DeskStands, News
from monitor.stage.loop import StageLoop
from monitor.stage.scenario import DEFAULT_ROOM

BLOCK = 1024
EQUALISER = Equaliser.from_settings("31")


class Direct:
    """In the place of the adviser's thread: the counsel at once."""

    def __init__(self, counsel: Counsel) -> None:
        self.counsel = counsel
        self.result = Advised()
        self.lost_count = 0
        self.news: list[News] = []

    def hear(self, news: News) -> None:
        self.news.append(news)
        self.counsel.hear(news)
        self.result = self.counsel.result


class PlayedStage:
    """A loop that is heard; ``tells_desk`` is whether the box sees fader and sliders."""

    def __init__(self, *, tells_desk: bool, seed: int = 1) -> None:
        self.loop = StageLoop(room=DEFAULT_ROOM, equaliser=EQUALISER, seed=seed)
        self.listener = Listener(sample_rate_hz=48000, way="soundcheck")
        self.counsel = Counsel(EQUALISER, margin_db=3.0)
        self.direct = Direct(self.counsel)
        self._handover = Handover(self.direct)  # type: ignore[arg-type]
        self._tells_desk = tells_desk
        self._numbers: dict[int, int] = {}

    @property
    def now_s(self) -> float:
        return self.listener.clock_s

    def _desk(self) -> DeskStands | None:
        if not self._tells_desk:
            return None
        return DeskStands("cellar", self.loop.fader_db, tuple(-db for db in self.loop.cuts_db))

    def play(self, seconds: float) -> None:
        until_s = self.now_s + seconds
        while self.now_s < until_s:
            events = self.listener.push(self.loop.process(BLOCK))
            told = [
                (event, self._numbers.setdefault(event.ring.id, len(self._numbers) + 1))
                for event in events
            ]
            if told:
                self._handover.say(told, 0.0)
            self._handover.step(
                self.listener,
                self.now_s,
                clock_offset_s=0.0,
                levels=lambda: self.listener.levels().third_octave_dbfs,
                desk=self._desk,
                first=None,
            )

    def do(self, name: str, **values: Any) -> None:
        self.counsel.command({"class": "ring_out", "do": name, **values}, self.now_s)
        self.direct.result = self.counsel.result

    def pull(self, label: str, pull_db: float) -> None:
        index = [slider.label for slider in EQUALISER.sliders].index(label)
        self.loop.set_cut(index, -pull_db)

    def ring_out(self, *, most_s: float, reaction_s: float = 1.0) -> list[str]:
        """Follow the ring-out and nothing else until it has ended; return its phases."""
        phases: list[str] = []
        raised_s, acted_s = self.now_s, -10.0
        while self.now_s < most_s:
            self.play(0.1)
            state = self.direct.result.ring_out
            assert state is not None
            if not phases or phases[-1] != state.phase:
                phases.append(state.phase)
                raised_s = acted_s = self.now_s
            if state.phase == "raise" and self.now_s > raised_s + 1.2:
                self.loop.fader_db += 0.5
                raised_s = self.now_s
            elif state.phase == "pull" and self.now_s > acted_s + reaction_s:
                for pull in state.pulls_now:
                    self.pull(pull.label, pull.pull_db)
                acted_s = self.now_s
            elif state.phase == "back_off":
                # "Come down 3 dB"
                self.loop.fader_db -= float(state.say.split()[-2])
                self.play(1.0)
                self.do("turned_down")
            elif state.phase == "done":
                return phases
        return phases
