"""``gramwatt completion``: what a shell runs to complete a command, and how it asks for proposals.

Importing this module registers the shells with click.
"""

from __future__ import annotations

import os
from typing import Final

import click
from click.shell_completion import (
    BashComplete,
    CompletionItem,
    ShellComplete,
    ZshComplete,
    add_completion_class,
    get_completion_class,
    split_arg_string,
)

from gramwatt.cli.main import COMPLETION_VARIABLE, main

PROGRAM: Final = "gramwatt"
WORD_BREAKS: Final = "=:"
"""Where bash begins a new word: it replaces only what follows the last of them."""

_BASH: Final = """\
%(complete_func)s() {
    local IFS=$'\\n' line value
    COMPREPLY=()
    for line in $(COMP_LINE="${COMP_LINE:0:COMP_POINT}" %(complete_var)s=bash_complete "$1"); do
        value="${line#*,}"
        case "${line%%%%,*}" in
            dir) compopt -o dirnames ;;
            file) compopt -o default ;;
            *) COMPREPLY+=("$value"); [[ $value == *= ]] && compopt -o nospace ;;
        esac
    done
    return 0
}
complete -o nosort -F %(complete_func)s %(prog_name)s
"""
_ZSH: Final = """\
#compdef %(prog_name)s
%(complete_func)s() {
    local -a described suffix
    local type value text
    while IFS=$'\\t' read -r type value text; do
        case $type in
            dir) _path_files -/ ;;
            file) _path_files -f ;;
            *) described+=("${value//:/\\\\:}:$text"); [[ $value == *= ]] && suffix=(-S '') ;;
        esac
    done < <(COMP_WORDS="${words[*]}" COMP_CWORD=$((CURRENT-1)) %(complete_var)s=zsh_complete $words[1])
    (( $#described )) && _describe -V unsorted described -U $suffix
}
if [[ $zsh_eval_context[-1] == loadautofunc ]]; then
    %(complete_func)s "$@"
else
    (( $+functions[compdef] )) || { autoload -Uz compinit && compinit }
    compdef %(complete_func)s %(prog_name)s
fi
"""


@add_completion_class
class Bash(BashComplete):
    """Bash, which splits words at ``=`` and ``:`` too; here they are put together again."""

    source_template = _BASH

    def get_completion_args(self) -> tuple[list[str], str]:
        """Return the words before the cursor, and the one at it."""
        line = os.environ["COMP_LINE"]
        words = split_arg_string(line)
        typed = "" if line[-1:].isspace() or len(words) < 2 else words.pop()
        self.typed = typed
        return words[1:], typed

    def format_completion(self, item: CompletionItem[str]) -> str:
        """Return the kind of a proposal and the part of it that replaces the last word."""
        value = item.value
        start = max(self.typed.rfind(sign) for sign in WORD_BREAKS) + 1
        return f"{item.type},{value[start:] if value.startswith(self.typed[:start]) else value}"


@add_completion_class
class Zsh(ZshComplete):
    """Zsh, which shows a text beside each proposal."""

    source_template = _ZSH

    def format_completion(self, item: CompletionItem[str]) -> str:
        """Return the kind of a proposal, the proposal and its text."""
        return f"{item.type}\t{item.value}\t{item.help or ''}"


@click.command("completion")
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def completion(shell: str) -> None:
    r"""Print the script that lets a shell complete calculators, inputs and options.

    \b
    For this session:  source <(gramwatt completion bash)
    For each session:  gramwatt completion bash >> ~/.bashrc
    With fish:         gramwatt completion fish | source
    """
    kind: type[ShellComplete] | None = get_completion_class(shell)
    if kind is not None:
        # The base class's method, since that of Bash first runs bash to learn its version.
        click.echo(ShellComplete.source(kind(main, {}, PROGRAM, COMPLETION_VARIABLE)))
