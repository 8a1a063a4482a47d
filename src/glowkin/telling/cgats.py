"""Colours as CGATS.17 text (ISO 28178): the trade's plain table, with a head of keywords and declared fields.

Chromaticity goes into the standard's own fields ``XYY_X`` and ``XYY_Y``; ``XYY_CAPY`` is left out, since Y of
a glow has no perfect diffuser to be a percentage of. What the standard has no field for is declared with
``KEYWORD``, as the standard asks (its fields and keywords from memory). An unknown figure stands as ``NA``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from glowkin.base.records import MeasuredPhoto, Sample

    Take: TypeAlias = Callable[[MeasuredPhoto, Sample], object]

UNKNOWN = "NA"


def cgats_text(photos: Sequence[MeasuredPhoto], title: str, program: str) -> str:
    """One data set a sample, in order; lines end with CR LF, columns with tabs, the file is ASCII."""
    rows = [
        "\t".join(_cell(v) for v in (number, *(take(photo, s) for _, take, _ in _FIELDS)))
        for number, (photo, s) in enumerate(((p, s) for p in photos for s in p.samples), 1)
    ]
    names = ["SAMPLE_ID", *(name for name, _, _ in _FIELDS)]
    lines = [
        "CGATS.17", *_head(photos, title, program),
        f"NUMBER_OF_FIELDS\t{len(names)}", "BEGIN_DATA_FORMAT", "\t".join(names), "END_DATA_FORMAT",
        f"NUMBER_OF_SETS\t{len(rows)}", "BEGIN_DATA", *rows, "END_DATA", "",
    ]  # fmt: skip
    return "\r\n".join(lines)


def _head(photos: Sequence[MeasuredPhoto], title: str, program: str) -> Iterator[str]:
    taken = [p.taken_at for p in photos if p.taken_at]
    observers, whites = ({getattr(p, key) for p in photos} for key in ("observer", "white_point"))
    yield f"ORIGINATOR\t{_text(program)}"
    yield f"DESCRIPTOR\t{_text(title)}"
    if taken:
        yield f"CREATED\t{_text(max(taken))}"
    yield f"INSTRUMENTATION\t{_text('; '.join(sorted({p.camera.name for p in photos})) or 'camera')}"
    yield f"MEASUREMENT_SOURCE\t{_text('self-luminous samples under a UV lamp, photographed')}"
    if photos:
        degrees = " and ".join(str(o) for o in sorted(observers))
        white = " and ".join(sorted(whites)).replace(",", " ")
        yield f"WEIGHTING_FUNCTION\t{_text(f'OBSERVER, {degrees} degree')}"
        yield f"COMPUTATIONAL_PARAMETER\t{_text(f'WHITE_POINT, {white}')}"
    yield f"# unknown figures: {UNKNOWN}; total covariances, scaled so that the chi-square ellipse holds 95 %"
    for name, _, words in _FIELDS:
        if words:
            yield f"# {name}: {words}"
            yield f"KEYWORD\t{_text(name)}"


def _cell(value: object) -> str:
    if value is None:
        return UNKNOWN
    return _text(value) if isinstance(value, str) else repr(value)


def _text(words: str) -> str:
    r"""Quoted, on one line, without quotes inside; what is not ASCII as its escape.

    >>> _text('red "dry", 5 µm')
    '"red \'dry\', 5 \\xb5m"'
    """
    flat = " ".join(words.replace('"', "'").split())
    return f'"{flat.encode("ascii", "backslashreplace").decode("ascii")}"'


def _own(name: str) -> Take:
    return lambda _, s: getattr(s, name)


def _end(name: str, i: int) -> Take:
    return lambda _, s: None if getattr(s, name) is None else getattr(s, name)[i]


def _covariance(i: int, j: int) -> Take:
    return lambda _, s: None if s.u_prime_v_prime_covariance is None else s.u_prime_v_prime_covariance[i][j]


_FIELDS: tuple[tuple[str, Take, str], ...] = (
    ("SAMPLE_NAME", _own("name"), "name of the sample"),
    ("XYY_X", _own("x"), ""),
    ("XYY_Y", _own("y"), ""),
    ("U_PRIME", _own("u_prime"), "u' of CIE 1976"),
    ("V_PRIME", _own("v_prime"), "v' of CIE 1976"),
    ("U_PRIME_VARIANCE", _covariance(0, 0), "variance of u'"),
    ("U_PRIME_V_PRIME_COVARIANCE", _covariance(0, 1), "covariance of u' and v'"),
    ("V_PRIME_VARIANCE", _covariance(1, 1), "variance of v'"),
    ("LUMINANCE_RELATIVE", _own("luminance_relative"), "luminance, to the photograph's brightest sample"),
    ("DOMINANT_WAVELENGTH", _own("dominant_wavelength_nm"), "nm"),
    ("DOMINANT_WAVELENGTH_LOW", _end("dominant_wavelength_interval_nm", 0), "nm, low end of 95 %"),
    ("DOMINANT_WAVELENGTH_HIGH", _end("dominant_wavelength_interval_nm", 1), "nm, high end of 95 %"),
    ("EXCITATION_PURITY", _own("excitation_purity"), "1, to the white of WHITE_POINT"),
    ("TAKEN_AT", lambda p, _: p.taken_at, "capture time, ISO 8601"),
    ("PHOTOGRAPH", lambda p, _: p.path, "file of the photograph"),
    ("SHA_256", lambda p, _: p.sha256, "hash of that file"),
    ("FLAGS", lambda _, s: " ".join(s.flags) or "none", "flags of the sample"),
)  # fmt: skip
"""Field, its value, and what it is where the standard does not say."""
