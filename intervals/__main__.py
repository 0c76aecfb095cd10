"""`python -m intervals`: the same as the command `intervals`."""

from intervals.cli.main import app

app(prog_name="intervals")
