"""What ``glowkin spectrum`` does with a file: read out, kept as a form, written, printed. No science here."""

from __future__ import annotations

import hashlib
import json
import sys
from typing import TYPE_CHECKING, Any

from glowkin.base.errors import GlowkinError, WrongUseError
from glowkin.base.flags import FLAGS
from glowkin.base.spectra import spectrum_document
from glowkin.colour.observer import white_point_xy
from glowkin.colour.spectrum_file import read_spectrum
from glowkin.findings.spectrum import Told, form_of, power_of, published_form, read_out
from glowkin.terminal import plain_console, print_json, print_table

if TYPE_CHECKING:
    from pathlib import Path

    from glowkin.base.spectra import Form, SpectrumRead
    from glowkin.colour.spectrum_file import MeasuredSpectrum


def spectrum(
    path: Path, told: Told | None = None, *, photons: bool = False
) -> tuple[SpectrumRead, MeasuredSpectrum]:
    """A spectrum file read out, and what it holds."""
    measured = read_spectrum(path)
    sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
    return read_out(str(path), sha256, measured, told or Told(), photons=photons), measured


def run(path: Path | None, program: str, options: dict[str, Any]) -> int:
    """One run of the command; the exit status."""
    told = _told(options)
    _check_use(path, options["form"], options["forms"], options["published"])
    try:
        read, form = _done(path, told, program, options)
    except GlowkinError as error:
        if options["as_json"] and not isinstance(error, WrongUseError):
            print_json(spectrum_document(None, [{"path": str(path), "message": str(error)}], program))
        raise
    if options["as_json"]:
        print_json(spectrum_document(read, [], program, form))
    elif read is not None:
        _show(read)
    return 0


def _done(
    path: Path | None, told: Told, program: str, options: dict[str, Any]
) -> tuple[SpectrumRead | None, Form | None]:
    """What was read out, and the form that was kept."""
    name, published = options["form"], options["published"]
    if path is None:
        uv, error = options["uv"], options["error"]
        return None, _kept(
            published_form(name, published.split(","), told, uv=uv, error=error), options, program
        )
    read, measured = spectrum(path, told, photons=options["photon"])
    form = _kept(form_of(name, read, measured, told), options, program) if name else None
    if options["out"]:
        _write(options["out"], read, measured, program)
    return read, form


def _told(options: dict[str, Any]) -> Told:
    try:
        white_point_xy(options["white_point"], int(options["observer"]))
    except WrongUseError as error:
        raise WrongUseError(f"--white-point: {error}") from error
    return Told(
        options["white_point"],
        int(options["observer"]),
        options["source"] or "",
        options["excitation"] or "",
        options["notes"] or "",
    )


def _check_use(path: Path | None, form: str | None, forms: Path | None, published: str | None) -> None:
    if (path is None) == (published is None):
        raise WrongUseError("give a spectrum FILE, or --published X,Y for a form without one")
    if (form is None) != (forms is None) or (published and form is None):
        raise WrongUseError("a form needs both its name, --form NAME, and the file to keep it, --forms FILE")
    if published and len(published.split(",")) != 2:
        raise WrongUseError(f"--published {published}: give two figures, such as 0.31,0.62")
    if form is not None and not form.strip():
        raise WrongUseError("--form: give the form a name")


def _kept(form: Form, options: dict[str, Any], program: str) -> Form:
    from glowkin.telling.forms_file import add_form

    where = add_form(options["forms"], form, program, replace=options["replace"])
    sd = max(form.u_prime_v_prime_covariance[0][0], form.u_prime_v_prime_covariance[1][1]) ** 0.5
    sys.stderr.write(
        f"Form {form.name} kept in {where}: u'v' {form.u_prime:.4f}, {form.v_prime:.4f}, "
        f"standard deviation {sd:.1g}.\n"
    )
    return form


def _write(out: Path, read: SpectrumRead, measured: MeasuredSpectrum, program: str) -> None:
    from glowkin.base.files import folder_made, write_whole
    from glowkin.telling import drawing
    from glowkin.telling.spectrum_page import spectrum_figure

    folder_made(out / "figures")
    document = json.dumps(spectrum_document(read, [], program), indent=1, ensure_ascii=False, allow_nan=False)
    write_whole(out / "spectrum.json", (document + "\n").encode())
    power = power_of(measured, photons=read.photons)
    figure = spectrum_figure(read, measured.wavelength_nm, power)
    for suffix in ("svg", "png"):
        drawing.save(figure, out / "figures" / f"spectrum.{suffix}")


def _show(read: SpectrumRead) -> None:
    from glowkin.telling.spectrum_page import spectrum_table

    console = plain_console()
    print_table(console, spectrum_table(read))
    for name in read.flags:
        flag = FLAGS[name]
        console.print(f"[bold]{name}[/]: {flag.sentence} {flag.mend}", highlight=False)
