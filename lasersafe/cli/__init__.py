"""The command line: thin, imports inside the command bodies, one line for every error, exit code 2."""

from __future__ import annotations

import copy
import gc
import os
import sys
from typing import Annotated

import typer
from typer import Option

import lasersafe
from lasersafe.cli import commands, questions
from lasersafe.cli.options import app, complain, prepare, say
from lasersafe.errors import CalcError

__all__ = ["app", "commands", "main", "questions", "run"]


def _version(wanted: bool) -> None:
    if wanted:
        say(f"lasersafe {lasersafe.__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, Option("--version", callback=_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    del version


def main() -> None:
    """Run the command line as a program."""
    prepare()
    run()


def run() -> None:
    """Run the command line; every error that a user can cause is one message and exit code 2."""
    # leave out what takes time and is of no use here; who runs the program can still ask for it
    gc.set_threshold(500_000)  # one command makes few cycles: looking for them would take a tenth of its time
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # numpy would start a thread for each core, for matrices only
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # or every installed package is looked through
    asked, alone = sys.argv[1:2], copy.copy(app)
    own = [one for one in app.registered_commands if [one.name or getattr(one.callback, "__name__", "")] == asked]
    alone.registered_commands = own or app.registered_commands  # to define them all takes longer than some of them
    try:
        alone()
    except CalcError as error:
        complain(f"error: {error}")
        sys.exit(2)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)
    except Exception as error:
        if not isinstance(error, OSError):
            fault = f"{type(error).__name__}: {error}"
            complain(f"error: fault inside lasersafe, please report it with the input: {fault}")
            sys.exit(3)
        name = f"{error.filename}: " if error.filename else ""
        complain(f"error: {name}{error.strerror or error}")
        sys.exit(2)
    finally:
        gc.freeze()  # nor are they looked for when the process ends
