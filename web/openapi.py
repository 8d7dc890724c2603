"""temporary"""

from flask import Flask


def add_openapi(app: Flask) -> None:
    """Nothing yet."""
