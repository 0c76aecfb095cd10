"""The command line: one module a command. Each parses, calls one stage, prints, and answers with an exit code.

Only typer is imported at the top of these modules; what a command needs it imports when it runs, so that `--help` answers at once.
"""
