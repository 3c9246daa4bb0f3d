"""The command: one file per command, found by its place."""


def main() -> None:
    """Entry point of the console command."""
