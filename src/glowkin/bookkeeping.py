"""What the commands that change a study do: read what is meant, have the workbook do it, tell of it."""

from __future__ import annotations

import contextlib
import dataclasses
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from glowkin.base.errors import GlowkinError, WrongUseError
from glowkin.base.names import broken, listed
from glowkin.base.places import typed
from glowkin.base.settings import FRAME_KINDS, Likely
from glowkin.camera.camera_file import CameraFile
from glowkin.camera.filter import given_filter
from glowkin.camera.glows import known_glow
from glowkin.light.photo import RAW_SUFFIXES
from glowkin.options import INTERRUPTED
from glowkin.run.gather import one_a_shot
from glowkin.samples.names import check_given, given_words
from glowkin.samples.outlines import read_outlines
from glowkin.session import begun, meant
from glowkin.showing import print_document
from glowkin.studied import filled
from glowkin.study.edits import Change, Field, Withdrawal
from glowkin.study.measuring import Done, complete
from glowkin.study.pictures import copied
from glowkin.study.study_file import STUDY_FILE, check_files, known_glows, study_file_in
from glowkin.study.tables import outlines_json
from glowkin.study.ways import LIKELY, Way, way_of
from glowkin.study.words import heading, named_here
from glowkin.study.workbook import new_study, open_workbook

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from glowkin.base.settings import Settings
    from glowkin.study.rows import PhotographRow
    from glowkin.study.workbook import Taken, Workbook

Error = dict[str, str]
_OF_PHOTOS = ("names", "outlines", *FRAME_KINDS, "camera", "filter", "references")
_SHOWN = 3


def begin(study: Path, title: str, program: str, *, as_json: bool) -> int:
    """Begin a study; the exit status."""
    folder = new_study(study, title, program)
    if as_json:
        print_document(folder, (), program)
    else:
        sys.stdout.write(
            f"{study}: a new study. Add photographs with: glowkin study add {typed(study)} PHOTO...\n"
        )
    return 0


def add(
    study: Path, photos: Sequence[Path], program: str, options: dict[str, Any], *, copy: bool, replace: bool,
    bracket: bool = False,
) -> int:  # fmt: skip
    """Take photographs up, those of a ``bracket`` as one, and measure what is awaited; the exit status."""
    with _opened(study, program) as workbook:
        told = as_written(workbook.folder, options)
        check_written(workbook.folder, options)
        session = begun(program, out=None, **{**options, "camera": told["camera"], "filter": told["filter"]})
        settings, errors = with_likely(session.settings, workbook.folder), list(session.errors)
        if not photos and (given := [k for k in _OF_PHOTOS if options[k] not in (None, ())]):
            said = ", ".join(
                f"--{k.removesuffix('s') if k == 'references' else k}".replace("_", "-") for k in given
            )
            raise WrongUseError(
                f"{said}: of which PHOTO? Name it; those in the study are measured otherwise with: "
                f"glowkin study remeasure {typed(study)}"
            )
        if photos and not errors:
            paths, errors = meant(photos, settings)
            how = {"copy": copy, "replace": replace, "bracket": bracket}
            if not bracket or not errors:
                taken, refused = taken_up(workbook, paths, settings, **how)
                errors += refused
                _say_taken(taken, 1 if bracket else len(paths))
        how = {"again": True, "as_json": options["as_json"]}
        return _completed(workbook, study, errors, program, options["jobs"], **how)


def as_written(folder: Path, options: dict[str, Any]) -> dict[str, Any]:
    """Options of a measuring command; those not given as the study file in the folder has them."""
    written = study_file_in(folder)
    return options if written is None else filled(written, folder / STUDY_FILE, options)


def check_written(folder: Path, options: dict[str, Any]) -> None:
    """See that files which the study file in a folder names can be read, but for those an option replaces."""
    written = study_file_in(folder)
    if written is not None:
        check_files(folder / STUDY_FILE, written, [key for key, value in options.items() if value])


def with_likely(settings: Settings, folder: Path) -> Settings:
    """The settings with the known glows that the study file in a folder tells of, where none are given."""
    written = study_file_in(folder)
    if written is None or settings.references:
        return settings
    return dataclasses.replace(settings, likely=Likely((), known_glows(folder, written)))


def taken_up(
    workbook: Workbook, paths: Sequence[Path], settings: Settings, *, copy: bool, replace: bool = False,
    bracket: bool = False,
) -> tuple[list[Taken], list[Error]]:  # fmt: skip
    """Take up each photograph, or all as one bracket, to be measured by these settings; those that cannot be,
    with the reason.
    """
    check_given(settings.names)
    paths = _exposures(paths) if bracket else paths
    way = _checked_way(settings, workbook.folder)
    if copy:
        way.frames = [copied(frame, workbook.folder) for frame in way.frames]
    taken, errors, number = [], [], workbook.keep_way(way)
    told = number, settings.names, settings.outlines
    if bracket:
        one = workbook.add_bracket(paths, *told, copy=copy, replace=replace)
        return [_names_stay(workbook, one, paths[0], settings.names)], []
    for path in paths:
        try:
            one = workbook.add(path, *told, copy=copy, replace=replace)
            taken.append(_names_stay(workbook, one, path, settings.names))
        except GlowkinError as error:
            errors.append({"path": str(path), "message": str(error)})
    return taken, errors


def _names_stay(workbook: Workbook, one: Taken, path: Path, names: Sequence[str]) -> Taken:
    """What became of a photograph, with a word on names given for one that has others already."""
    if one.added or not names:
        return one
    awaited = (list(t.names) for t in workbook.tasks() if t.photograph_id == one.photograph_id)
    now = workbook.names_of(one.photograph_id) or next(awaited, [])
    if now == list(names):
        return one
    edit = f"glowkin study edit {typed(workbook.folder)} {typed(path)} --names A,B,.."
    words = f"{path}: its names stay; change them with: {edit}"
    return dataclasses.replace(one, words=".\n".join(filter(None, (one.words, words))))


def _exposures(paths: Sequence[Path]) -> list[Path]:
    """The exposures of a bracket: of each shot saved both ways the raw file only."""
    exposures = one_a_shot(paths, RAW_SUFFIXES)
    if len(exposures) < 2:
        raise WrongUseError("--bracket: only one exposure is left of these PHOTOs; name two or more")
    return exposures


def _say_taken(taken: Sequence[Taken], given: int) -> None:
    """Say on standard error what was not plainly added."""
    again = sum(not one.added for one in taken)
    otherwise = sum(one.otherwise for one in taken)
    for one in taken:
        if one.words:
            sys.stderr.write(f"{one.words}.\n")
    if again:
        sys.stderr.write(f"{again} of {given} {'was' if again == 1 else 'were'} in the study already.\n")
    if otherwise:
        sys.stderr.write(
            f"{otherwise} of these {'is' if otherwise == 1 else 'are'} measured with other options than "
            "given here; to change that: glowkin study remeasure, with the options.\n"
        )


def remeasure(
    study: Path, photos: Sequence[Path], program: str, options: dict[str, Any], given: set[str],
    without: Sequence[str],
) -> int:  # fmt: skip
    """Ask for new measurements and make them; the exit status."""
    if both := sorted(name for name in set(without) if _key(name) in given):
        raise WrongUseError(f"--{both[0]} and --without {both[0]} contradict each other; give one of them")
    with _opened(study, program) as workbook:
        session = begun(program, out=None, names=None, outlines=None, **options)
        way = _checked_way(session.settings, workbook.folder)
        changed = {key: way.told[key] for key in way.told if key in given}
        changed |= {key: None if key in ("camera", "filter") else [] for key in map(_key, without)}
        changed |= {LIKELY: []} if "references" in changed else {}
        workbook.keep_way(way)
        rows = workbook.reading.find_all(map(str, photos))
        if left := [row.path for row in rows if row.left_out]:
            raise WrongUseError(
                f"{', '.join(left)}: left out of the study; take in again with: edit --take-in"
            )
        standing = dict(workbook.standing())
        asked = {row.id: standing[row.id] for row in rows} if photos else standing
        others = {old: workbook.other_settings(old, changed) for old in set(asked.values())}
        workbook.ask_again(asked, others)
        return _completed(workbook, study, [], program, options["jobs"], as_json=options["as_json"])


def edit(
    study: Path, photos: Sequence[Path], program: str, options: dict[str, Any], jobs: int, *, as_json: bool
) -> int:
    """Make one edit, and measure what it asks for; the exit status."""
    with _opened(study, program) as workbook:
        rows = workbook.reading.find_all(map(str, photos))
        changes = [c for row in rows for c in _changes(workbook, row, options)]
        withdrawals = [_withdrawal(workbook, number, options) for number in options["conclusions"]]
        workbook.edit(_words(rows, options), changes, withdrawals)
        return _completed(workbook, study, [], program, jobs, as_json=as_json)


def undo(study: Path, program: str, jobs: int, *, as_json: bool) -> int:
    """Undo the last edit, and measure what that asks for; the exit status."""
    with _opened(study, program) as workbook:
        sys.stderr.write(f"Undone: {workbook.undo()}.\n")
        return _completed(workbook, study, [], program, jobs, as_json=as_json)


@contextlib.contextmanager
def _opened(study: Path, program: str) -> Iterator[Workbook]:
    """A study to be changed; a study file in it that is wrong is told before anything is."""
    with open_workbook(study, program) as workbook:
        study_file_in(workbook.folder)
        yield workbook


def _key(option: str) -> str:
    return "references" if option == "reference" else option.replace("-", "_")


def _checked_way(settings: Settings, folder: Path) -> Way:
    """What the ledger keeps of settings; the files they name are refused here where they cannot be read."""
    if settings.camera is not None:
        CameraFile.load(Path(settings.camera))
    if settings.filter is not None:
        given_filter(Path(settings.filter))
    for _, glow in settings.references:
        known_glow(glow)
    return way_of(settings, folder)


def _changes(workbook: Workbook, row: PhotographRow, options: dict[str, Any]) -> list[Change]:
    """What an edit changes of one photograph."""
    names = workbook.names_of(row.id)
    count = len(names) if row.status == "measured" else None
    out: dict[Field, str | None] = {}
    if options["outlines"] is not None:
        outlines, told = read_outlines(options["outlines"])
        out["outlines"] = outlines_json(outlines)
        count = len(outlines)
        names = list(told) or (names if len(names) == len(outlines) else [])
        out["names"] = json.dumps(names, ensure_ascii=False)
    if options["found"]:
        out["outlines"] = None
        out["names"], count = "[]", None
    if options["names"] is not None:
        names = list(listed(options["names"]))
        check_given(names)
        out["names"] = json.dumps(names, ensure_ascii=False)
        if count not in (None, len(names)):
            raise WrongUseError(f"{row.path}: {given_words(len(names))}, it has {count} samples; name each")
    for pair in options["rename"]:
        names = _renamed(row.path, names, pair)
        out["names"] = json.dumps(names, ensure_ascii=False)
    if len(set(names)) < len(names):
        raise WrongUseError(f"{row.path}: two samples would have the same name; give each its own")
    if options["note"] is not None:
        out["note"] = options["note"]
    if options["leave_out"] is not None or options["take_in"]:
        out["left_out"] = _why(options)
    return [Change(row.id, field, after) for field, after in out.items()]


def _why(options: dict[str, Any]) -> str:
    """Why something is left out; empty where it is taken in again."""
    return "" if options["take_in"] else options["leave_out"].strip() or "no reason given"


def _withdrawal(workbook: Workbook, number: int, options: dict[str, Any]) -> Withdrawal:
    """What an edit makes of a conclusion; it must be there, and not be so already."""
    if bool(workbook.reading.withdrawn(number)) is not options["take_in"]:
        state = "is not withdrawn" if options["take_in"] else "is withdrawn already"
        raise WrongUseError(f"--conclusion {number}: {state}")
    return Withdrawal(number, _why(options))


def _renamed(path: str, names: Sequence[str], pair: str) -> list[str]:
    old, _, new = (part.strip() for part in pair.partition("="))
    if not old or not new:
        raise WrongUseError(f"--rename {pair}: write it as OLD=NEW, such as S1=red-batch-1")
    if odd := broken([new]):
        raise WrongUseError(f"--rename {old}: {odd}; leave it out")
    if old not in names:
        there = f"there are {', '.join(names)}" if names else "it has no samples yet"
        raise WrongUseError(f"--rename {pair}: {path} has no sample {old}; {there}")
    return [new if name == old else name for name in names]


def _words(rows: Sequence[PhotographRow], options: dict[str, Any]) -> str:
    """An edit in words."""
    where = ", ".join(row.path for row in rows[:_SHOWN])
    where += f" and {len(rows) - _SHOWN} more" if len(rows) > _SHOWN else ""
    numbers = ", ".join(f"conclusion {number}" for number in options["conclusions"])
    where = ", ".join(filter(None, (where, numbers)))
    said = [f"names {options['names']}"] if options["names"] is not None else []
    said += [f"{pair.partition('=')[0]} renamed {pair.partition('=')[2]}" for pair in options["rename"]]
    said += [f"outlines of {options['outlines'].name}"] if options["outlines"] is not None else []
    said += ["outlines as found"] if options["found"] else []
    said += [f"note {options['note']!r}"] if options["note"] is not None else []
    left_out = "left out" if rows else "withdrawn"
    said += [f"{left_out}: {options['leave_out']}"] if options["leave_out"] is not None else []
    said += ["taken in again"] if options["take_in"] else []
    return f"{where}: {', '.join(said)}"


def _completed(
    workbook: Workbook, study: Path, errors: list[Error], program: str, jobs: int, *, as_json: bool,
    again: bool = False,
) -> int:  # fmt: skip
    """Measure all that is awaited, what failed before only ``again``, and say how the study stands; the exit
    status.
    """
    written = study_file_in(workbook.folder)
    done = complete(workbook, jobs, _told, written.names if written else (), again=again)
    errors += [{"path": path, "message": named_here(why, str(study))} for path, why in done.errors]
    if as_json:
        print_document(workbook.folder, errors, program)
    else:
        _show(workbook, done)
    for error in errors:
        sys.stderr.write(f"Error: {error['message']}\n")
    if done.interrupted:
        left = len(workbook.tasks())
        sys.stderr.write(
            f"Interrupted: {left} are still to be measured; go on with: glowkin study add {typed(study)}\n"
        )
        return INTERRUPTED
    return 1 if errors else 0


def _told(path: Path, left: int) -> None:
    """Say on standard error what was measured, once it is kept."""
    sys.stderr.write(f"{path.name}: measured and kept{f', {left} to go' if left else ''}\n")
    sys.stderr.flush()


def _show(workbook: Workbook, done: Done) -> None:
    """What a run measured, where it is little, and how the study stands."""
    if done.measured and len(done.measured) <= _SHOWN:
        from glowkin.terminal import show

        rows = [workbook.reading.photograph(number) for number in done.measured]
        show([workbook.reading.record(r.measurement_id) for r in rows if r.measurement_id is not None])
    sys.stdout.write(f"{heading(workbook.reading.overview())}\n")
