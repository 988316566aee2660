"""Puts this folder on the path, so that tests share ``invented_ranch``."""
