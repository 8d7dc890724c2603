"""What every recipe for sounds can do."""

from __future__ import annotations

from typing import Protocol

from tests.bench.sounds.shelf import Shelf
from tests.bench.sounds.store import Store


class Recipe(Protocol):
    """One way to make some sounds of one package."""

    @property
    def package(self) -> str:
        """``source_package`` of the manifest."""

    @property
    def prefix(self) -> str:
        """How the names of its files begin."""

    def make(self, shelf: Shelf, store: Store) -> None:
        """Put the sounds on the shelf that are not there yet; ``Missing`` if it cannot."""


def title_of(recipe: Recipe) -> str:
    """What a recipe is called in lists; no two have one title."""
    source = getattr(recipe, "source", None)
    return " ".join([recipe.package, recipe.prefix, *([source.kind] if source else [])])
