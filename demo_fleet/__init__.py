"""An invented fleet with known truth, made by a seeded generator, written as the files that people have."""

from demo_fleet.files import DemoFiles, write

__all__ = ["DemoFiles", "write"]
