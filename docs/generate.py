"""Write the reference pages that are made from the code: ``python docs/generate.py``.

``commands.md`` from the commands and their options, ``flags.md`` from the table of flags. The tests check
that both are current.
"""

from __future__ import annotations

import sys
from inspect import cleandoc
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

HERE = Path(__file__).parent
NOTE = "<!-- Written by docs/generate.py; change the code, then run it again. -->\n"

ABOUT_COMMANDS = """# Commands

```
glowkin COMMAND [OPTIONS] [ARGUMENTS]
```

`glowkin --help` lists the commands, `glowkin COMMAND --help` shows one of them. A folder stands for the
photographs directly in it.

With `--json`, exactly one JSON document is printed on standard output; everything else goes to standard
error. The document comes also when no photograph could be read; its `errors` say why.
[Records](records.md) explains the fields.

| exit status | means |
|---|---|
| 0 | done, also when a photograph holds no sample |
| 1 | something could not be read or measured; one sentence names the file and the mend |
| 2 | wrong usage |
| 130 | interrupted |

Among many photographs a bad one is reported, the others are measured, and the status is 1.
"""

ABOUT_FLAGS = """# Flags

A flag marks what a reader must know before believing a figure. Flags stand beside a photograph, a sample, a
point in time or a whole series. They are never silent corrections: where glowkin corrected something, the
interval says so too.

| flag | what was noticed | what to do |
|---|---|---|
"""


def commands_page() -> str:
    """The command reference."""
    from glowkin.cli import main

    return "\n".join([NOTE, ABOUT_COMMANDS, *(_command(*pair) for pair in _commands("", main))])


def _commands(before: str, group: click.Group) -> Iterator[tuple[str, click.Command]]:
    """Each command with its full name, those of groups one after another."""
    for name, command in group.commands.items():
        if isinstance(command, click.Group):
            yield from _commands(f"{name} ", command)
        else:
            yield before + name, command


def flags_page() -> str:
    """The table of flags."""
    from glowkin.base.flags import FLAGS

    rows = (f"| `{flag.name}` | {flag.sentence} | {flag.mend} |\n" for flag in FLAGS.values())
    return f"{NOTE}\n{ABOUT_FLAGS}{''.join(rows)}"


PAGES: dict[str, Callable[[], str]] = {"commands.md": commands_page, "flags.md": flags_page}


def _command(name: str, command: click.Command) -> str:
    options = [p for p in command.params if isinstance(p, click.Option)]
    arguments = " ".join(_argument(p) for p in command.params if isinstance(p, click.Argument))
    usage = " ".join(part for part in ("glowkin", name, arguments, "[OPTIONS]" if options else "") if part)
    rows = "\n".join(f"| {_names(option)} | {_help(option)} |" for option in options)
    table = f"| option | does |\n|---|---|\n{rows}\n" if rows else ""
    example = (command.epilog or "").removeprefix("Example: ")
    parts = [f"## glowkin {name}\n", f"{cleandoc(command.help or '')}\n", f"```\n{usage}\n```\n", table]
    parts += [f"Example:\n\n```\n{example}\n```\n"] if example else []
    return "\n".join(part for part in parts if part)


def _argument(argument: click.Argument) -> str:
    name = (argument.name or "").upper()
    text = f"{name.removesuffix('S')}..." if argument.nargs == -1 else name
    return text if argument.required else f"[{text}]"


def _names(option: click.Option) -> str:
    value = "" if option.is_flag else f" {_value(option)}"
    return ", ".join(f"`{name}{value}`" for name in option.opts).replace("|", "\\|")


def _value(option: click.Option) -> str:
    if option.metavar:
        return option.metavar
    kind = option.type
    if isinstance(kind, click.Choice):
        return "|".join(str(choice) for choice in kind.choices)
    if isinstance(kind, click.Path):
        return "PATH"
    return "N" if isinstance(kind, click.IntRange) else "X"


def _help(option: click.Option) -> str:
    text = (option.help or "").replace("|", "\\|")
    more = " May be given several times." if option.multiple and "epeat" not in text else ""
    return text + more + (f" Default: `{option.default}`." if option.show_default else "")


def main() -> None:
    """Write every page."""
    for name, page in PAGES.items():
        (HERE / name).write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
