"""A forms file that grows: read, added to and written whole by rename."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from glowkin.base.errors import WrongUseError
from glowkin.base.files import write_whole
from glowkin.base.spectra import forms_document, read_forms

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
    text = json.dumps(forms_document(forms, program), indent=1, ensure_ascii=False, allow_nan=False)
    return write_whole(path, (text + "\n").encode())
