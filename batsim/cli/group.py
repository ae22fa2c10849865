"""The group of all commands: what goes wrong becomes a message and an exit status."""

import os
import sys
from io import TextIOWrapper
from pathlib import Path
from typing import Any

import click

from batsim import __version__
from batsim.errors import BatsimError, ScenarioError, StudyError

BAD_INPUT, OUR_FAULT, STOPPED = 2, 1, 130
"""Exit status: the scenario or the command line is wrong, batsim is wrong, the user stopped it."""


class _Commands(click.Group):
    """A group that turns what goes wrong into a message and an exit status."""

    def main(self, *args: Any, **kwargs: Any) -> Any:  # noqa: ANN401 - as click declares it
        """Run a command with outputs that take every name."""
        _open_outputs()
        return super().main(*args, **kwargs)

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401 - as click declares it
        """Run a command; a traceback is shown only with --debug."""
        try:
            return super().invoke(ctx)
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except BrokenPipeError:
            # The reader of our output has gone, as `head` does: that is no error.
            sys.stderr.close()
            ctx.exit(0)
        except (KeyboardInterrupt, ScenarioError, StudyError) as error:
            stopped = isinstance(error, KeyboardInterrupt)
            click.echo("stopped" if stopped else str(error), err=True)
            ctx.exit(STOPPED if stopped else BAD_INPUT)
        except Exception as error:
            if ctx.params.get("debug"):
                raise
            click.echo(_fault(error), err=True)
            ctx.exit(OUR_FAULT)


def _open_outputs() -> None:
    """Let no letter that the output cannot show end a command, and none of its outputs be closed."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:  # its number would go to the next file that is opened
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115 - to the end of the process
            click.echo("batsim: the output is closed; what is printed goes nowhere", err=True)
        elif isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _fault(error: Exception) -> str:
    """Say what the system refused, or that batsim is wrong."""
    if isinstance(error, OSError):
        return f"batsim: {error.strerror or error}: {error.filename or ''}".rstrip(": ")
    kind = "" if isinstance(error, BatsimError) else f"{type(error).__name__}: "
    return (
        f"batsim: internal error: {kind}{error}\n"
        "This is batsim's fault, not yours; run again with 'batsim --debug ...' for a trace."
    )


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="batsim")
@click.option("--debug", is_flag=True, help="Show a traceback when something goes wrong in batsim itself.")
def main(debug: bool) -> None:
    """Simulate battery rooms of electric lift-truck fleets.

    A scenario file (YAML) states a site and the layouts to compare. Start with `batsim new`.
    """
