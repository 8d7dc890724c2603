"""What is closed when a ``with`` block ends."""

from __future__ import annotations

from types import TracebackType
from typing import Self


class Closed:
    """Gives whoever has a ``close`` the two ends of a ``with`` block."""

    def close(self) -> None:
        """End it; may be called twice."""
        raise NotImplementedError

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
