"""``glowkin match``, and the options of ``glowkin measure`` that keep a sample as a form. No science here."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from glowkin.base.errors import GlowkinError, WrongUseError
from glowkin.base.priors import PRIOR_OF_MIXTURES, PRIOR_OF_NONE, SURE, VARIATION
from glowkin.options import BRACKET, PHOTOS, PROGRAM, shared_options

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from glowkin.base.matches import Assumed
    from glowkin.session import Session

_FORMS = click.Path(path_type=Path, dir_okay=False)
_SHARE = click.FloatRange(0, 1, max_open=True)


def _together(*options: Callable[..., Any]) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """One decorator of several options, in their order."""

    def put(command: Callable[..., Any]) -> Callable[..., Any]:
        for option in reversed(options):
            command = option(command)
        return command

    return put


keeping_forms = _together(
    click.option("--form", "kept", multiple=True, metavar="SAMPLE=NAME",
                 help="Keep a sample's colour as a form of this name, in --forms; SAMPLE may be FILE:NAME."),
    click.option("--forms", type=_FORMS, metavar="FILE",
                 help="The file of forms to add to; made where there is none."),
    click.option("--replace", is_flag=True, help="Put the form in the place of one of the same name."),
    click.option("--source", metavar="TEXT", help="Where the form is from, in words or as a DOI."),
    click.option("--excitation", metavar="TEXT", help="What made the form glow, as 365 nm."),
)  # fmt: skip
FORMS = click.option("--forms", required=True, type=_FORMS, metavar="FILE", help="The file of known forms.")
FORMS_OR_KEPT = click.option(
    "--forms", type=_FORMS, metavar="FILE",
    help="The file of known forms, which is kept in the study; else that of the latest match in it.",
)  # fmt: skip
supposing = _together(
    click.option("--prior-none", type=_SHARE, default=PRIOR_OF_NONE, show_default=True, metavar="P",
                 help="How probable it is, before the photograph, that a sample is none of the forms."),
    click.option("--prior-mixtures", type=_SHARE, default=PRIOR_OF_MIXTURES, show_default=True, metavar="P",
                 help="The same of two forms mixed; the rest is the forms' alone."),
    click.option("--weight", "weights", multiple=True, metavar="NAME=W",
                 help="How much likelier a form is than the others, whose weights are 1. Repeatable."),
    click.option("--variation", type=click.FloatRange(0, 0.1), default=VARIATION, show_default=True,
                 help="How far batches of one form differ, one standard deviation in u' and in v' (common "
                 "practice, no source)."),
    click.option("--sure", type=click.FloatRange(0.5, 1, max_open=True), default=SURE,
                 show_default=True, metavar="P", help="The probability that a verdict needs."),
)  # fmt: skip


@click.command(epilog="Example: glowkin match evening.dng --forms forms.json")
@PHOTOS
@BRACKET
@FORMS
@supposing
@shared_options
def match(photos: tuple[Path, ...], **options: Any) -> None:
    """Say which known form each sample's colour is consistent with: one, two mixed, or none of them."""
    sys.exit(run(photos, PROGRAM, options))


def run(photos: Sequence[Path], program: str, options: dict[str, Any]) -> int:
    """One run of the command; the exit status."""
    from glowkin import recipes
    from glowkin.session import begun, start

    forms, assumed = options.pop("forms"), supposed(options)
    told = {"forms": str(forms), **options}
    try:
        recipes.check_forms(forms, assumed, int(options["observer"]))
    except WrongUseError:
        raise
    except GlowkinError as error:
        session = begun(program, **told)
        session.matching = True
        session.errors.append({"path": str(forms), "message": str(error)})
        return session.finish()
    session = start(photos, program, **told)
    session.matching = True
    if session.photos:
        session.matches = recipes.match(session.photos, forms, assumed)
    return session.finish()


def supposed(options: dict[str, Any]) -> Assumed:
    """What a command's options say is thought before the photograph."""
    from glowkin.base.matches import Assumed

    weights = dict(_weight(text) for text in options["weights"])
    none, mixtures, variation, sure = (
        options[k] for k in ("prior_none", "prior_mixtures", "variation", "sure")
    )
    return Assumed(none, mixtures, weights, variation, sure)


def _weight(text: str) -> tuple[str, float]:
    name, _, weight = (part.strip() for part in text.rpartition("="))
    try:
        number = float(weight)
    except ValueError:
        number = None
    if not name or number is None:
        raise WrongUseError(f"--weight {text}: write it as NAME=W, such as green=2")
    return name, number


def asked_forms(options: dict[str, Any]) -> dict[str, Any]:
    """Take what is to be kept as forms out of a command's options; wrong use is told at once."""
    asked = {key: options.pop(key) for key in ("kept", "forms", "replace", "source", "excitation")}
    if bool(asked["kept"]) != (asked["forms"] is not None):
        raise WrongUseError("to keep a form give both --form SAMPLE=NAME and the file, --forms FILE")
    if not asked["kept"] and (asked["replace"] or asked["source"] or asked["excitation"]):
        raise WrongUseError("--replace, --source and --excitation belong to --form SAMPLE=NAME")
    asked["kept"] = [_sample_and_name(text) for text in asked["kept"]]
    names = [name for _, name in asked["kept"]]
    if len(set(names)) != len(names):
        raise WrongUseError("--form: two forms are given one name; give each its own")
    if asked["kept"]:
        from glowkin.base.files import check_place
        from glowkin.base.spectra import read_forms

        check_place(asked["forms"])
        there = {f.name for f in read_forms(asked["forms"])} if asked["forms"].exists() else set()
        again = next((name for name in names if name in there), None)
        if again is not None and not asked["replace"]:
            raise WrongUseError(
                f"--form {again}: {asked['forms']} has a form of that name; give another, or --replace"
            )
    return asked


def _sample_and_name(text: str) -> tuple[str, str]:
    sample, _, name = (part.strip() for part in text.rpartition("="))
    if not sample or not name:
        raise WrongUseError(f"--form {text}: write it as SAMPLE=NAME, such as S1=green")
    return sample, name


def keep_forms(session: Session, asked: dict[str, Any]) -> None:
    """Keep the samples asked for; one that there is not becomes an error beside what was measured."""
    from glowkin import recipes
    from glowkin.telling.forms_file import add_form

    if not session.photos:
        return
    for sample, name in asked["kept"]:
        try:
            form = recipes.form_of(session.photos, sample, name, asked["source"], asked["excitation"])
            where = add_form(asked["forms"], form, session.program, replace=asked["replace"])
        except GlowkinError as error:
            session.errors.append({"path": str(asked["forms"]), "message": str(error)})
            continue
        sys.stderr.write(f"Form {name} kept in {where}: u'v' {form.u_prime:.4f}, {form.v_prime:.4f}.\n")
