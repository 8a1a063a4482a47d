"""A forms file that grows: read, added to and written whole by rename."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from glowkin.base.errors import CannotReadError, WrongUseError
from glowkin.base.spectra import forms_document, read_forms
from glowkin.telling.files import write_whole

if TYPE_CHECKING:
    from pathlib import Path

    from glowkin.base.spectra import Form


def add_form(path: Path, form: Form, program: str, *, replace: bool = False) -> Path:
    """Put a form into the file, which is made where there is none; the others stay as they are.

    Raises ``WrongUseError`` where a form of that name is there already and is not to be replaced.
    """
    forms = read_forms(path) if path.exists() else []
    if any(form.name == other.name for other in forms) and not replace:
        raise WrongUseError(f"--form {form.name}: {path} has a form of that name; give another, or --replace")
    forms = [form if other.name == form.name else other for other in forms]
    forms += [form] if form not in forms else []
    if not path.parent.is_dir():
        raise CannotReadError(f"{path}: there is no folder {path.parent}; make it first")
    text = json.dumps(forms_document(forms, program), indent=1, ensure_ascii=False, allow_nan=False)
    return write_whole(path, (text + "\n").encode())
