"""The tables of a ledger, version by version; a step that was released is never changed, only followed.

Times of the program are UTC, times of photographs as their files tell them. Paths are relative to the
study's folder, with slashes. Nothing that was measured is ever deleted: ``current`` marks the measurement
that counts, ``shown`` what belongs to such a one of a photograph that is not left out. What is shown is
counted by triggers (``photographs``, ``samples`` of names, flags, cameras, programs, settings), so that no
question has to walk through all of it.
"""

from __future__ import annotations

APPLICATION_ID = 0x676C6F77
"""The letters "glow", by which SQLite files of this kind are told (SQLite's own field for it)."""

_FIRST = """
CREATE TABLE study (
    id INTEGER PRIMARY KEY CHECK (id = 1),
    title TEXT NOT NULL,
    made_at TEXT NOT NULL,
    program TEXT NOT NULL
) STRICT;

-- every photograph's file, also of frames taken beside others: what it was, and where it lay
CREATE TABLE pictures (
    id INTEGER PRIMARY KEY,
    sha256 TEXT NOT NULL UNIQUE,
    path TEXT NOT NULL,
    name TEXT NOT NULL,
    size_bytes INTEGER NOT NULL,
    modified_ns INTEGER NOT NULL
) STRICT;
CREATE INDEX pictures_by_path ON pictures (path);
CREATE INDEX pictures_by_name ON pictures (name);

-- camera files, filters and known glows, whole
CREATE TABLE files (
    sha256 TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    content BLOB NOT NULL
) STRICT;

CREATE TABLE settings (
    id INTEGER PRIMARY KEY,
    told TEXT NOT NULL UNIQUE CHECK (json_valid(told)),
    photographs INTEGER NOT NULL DEFAULT 0
) STRICT;

CREATE TABLE programs (
    id INTEGER PRIMARY KEY,
    program TEXT NOT NULL,
    versions TEXT NOT NULL CHECK (json_valid(versions)),
    photographs INTEGER NOT NULL DEFAULT 0,
    UNIQUE (program, versions)
) STRICT;

-- camera descriptions; sha256: of the camera file, empty without one
CREATE TABLE cameras (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    basis TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    photographs INTEGER NOT NULL DEFAULT 0,
    UNIQUE (name, basis, sha256)
) STRICT;

-- what the study holds, and how it is to be measured
CREATE TABLE photographs (
    id INTEGER PRIMARY KEY,
    picture_id INTEGER NOT NULL UNIQUE REFERENCES pictures,
    settings_id INTEGER NOT NULL REFERENCES settings,
    names TEXT NOT NULL CHECK (json_valid(names)),
    outlines TEXT CHECK (outlines IS NULL OR json_valid(outlines)),
    note TEXT NOT NULL DEFAULT '',
    left_out TEXT NOT NULL DEFAULT '',
    added_at TEXT NOT NULL,
    taken_at TEXT
) STRICT;
CREATE INDEX photographs_by_time ON photographs (taken_at, id) WHERE left_out = '';
CREATE INDEX photographs_left_out ON photographs (taken_at, id) WHERE left_out <> '';
CREATE INDEX photographs_by_settings ON photographs (settings_id) WHERE left_out = '';

-- photographs whose measurement is asked for and not whole yet; message: why it failed
CREATE TABLE awaited (
    photograph_id INTEGER PRIMARY KEY REFERENCES photographs,
    asked_at TEXT NOT NULL,
    message TEXT
) STRICT;

CREATE TABLE measurements (
    id INTEGER PRIMARY KEY,
    photograph_id INTEGER NOT NULL REFERENCES photographs,
    settings_id INTEGER NOT NULL REFERENCES settings,
    names TEXT NOT NULL,
    outlines TEXT,
    program_id INTEGER NOT NULL REFERENCES programs,
    measured_at TEXT NOT NULL,
    camera_id INTEGER NOT NULL REFERENCES cameras,
    kind TEXT NOT NULL,
    exposure_s REAL,
    iso REAL,
    f_number REAL,
    sample_count INTEGER NOT NULL,
    flags TEXT NOT NULL,
    current INTEGER NOT NULL CHECK (current IN (0, 1)),
    shown INTEGER NOT NULL CHECK (shown IN (0, 1) AND shown <= current)
) STRICT;
CREATE UNIQUE INDEX measurements_current ON measurements (photograph_id) WHERE current = 1;
CREATE INDEX measurements_of ON measurements (photograph_id, id);
CREATE TRIGGER measurement_made AFTER INSERT ON measurements BEGIN
    UPDATE settings SET photographs = photographs + new.shown WHERE id = new.settings_id;
    UPDATE programs SET photographs = photographs + new.shown WHERE id = new.program_id;
    UPDATE cameras SET photographs = photographs + new.shown WHERE id = new.camera_id;
END;
CREATE TRIGGER measurement_shown AFTER UPDATE OF shown ON measurements BEGIN
    UPDATE settings SET photographs = photographs + new.shown - old.shown WHERE id = new.settings_id;
    UPDATE programs SET photographs = photographs + new.shown - old.shown WHERE id = new.program_id;
    UPDATE cameras SET photographs = photographs + new.shown - old.shown WHERE id = new.camera_id;
END;

-- the whole record of a measurement, as glowkin.measure.v1 has a photograph
CREATE TABLE records (
    measurement_id INTEGER PRIMARY KEY REFERENCES measurements,
    record TEXT NOT NULL CHECK (json_valid(record))
) STRICT;

-- what is asked of records, ready to be asked
CREATE TABLE samples (
    id INTEGER PRIMARY KEY,
    measurement_id INTEGER NOT NULL REFERENCES measurements,
    place INTEGER NOT NULL,
    name TEXT NOT NULL,
    taken_at TEXT,
    shown INTEGER NOT NULL CHECK (shown IN (0, 1)),
    u_prime REAL,
    v_prime REAL,
    u_prime_variance REAL,
    v_prime_variance REAL,
    u_prime_v_prime_covariance REAL,
    luminance_relative REAL,
    luminance_per_exposure REAL,
    dominant_wavelength_nm REAL,
    dominant_wavelength_low_nm REAL,
    dominant_wavelength_high_nm REAL,
    excitation_purity REAL,
    excitation_purity_low REAL,
    excitation_purity_high REAL,
    band_centre_nm REAL,
    band_centre_low_nm REAL,
    band_centre_high_nm REAL,
    clipped_fraction REAL NOT NULL,
    flags TEXT NOT NULL,
    UNIQUE (measurement_id, place)
) STRICT;
CREATE INDEX samples_by_name ON samples (name, taken_at, id) WHERE shown = 1;

CREATE TABLE names (
    name TEXT PRIMARY KEY,
    photographs INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TRIGGER sample_made AFTER INSERT ON samples BEGIN
    INSERT INTO names VALUES (new.name, new.shown)
        ON CONFLICT (name) DO UPDATE SET photographs = photographs + excluded.photographs;
END;
CREATE TRIGGER sample_shown AFTER UPDATE OF shown ON samples BEGIN
    UPDATE names SET photographs = photographs + new.shown - old.shown WHERE name = new.name;
END;
CREATE TRIGGER sample_renamed AFTER UPDATE OF name ON samples BEGIN
    UPDATE names SET photographs = photographs - old.shown WHERE name = old.name;
    INSERT INTO names VALUES (new.name, new.shown)
        ON CONFLICT (name) DO UPDATE SET photographs = photographs + excluded.photographs;
END;

-- a flag raised by a photograph or by so many samples in it; their own column flags tells by which
CREATE TABLE flags (
    measurement_id INTEGER NOT NULL REFERENCES measurements,
    flag TEXT NOT NULL,
    samples INTEGER NOT NULL,
    shown INTEGER NOT NULL CHECK (shown IN (0, 1)),
    PRIMARY KEY (measurement_id, flag)
) STRICT, WITHOUT ROWID;
CREATE INDEX flags_by_flag ON flags (flag, measurement_id) WHERE shown = 1;
CREATE TABLE flag_counts (
    flag TEXT PRIMARY KEY,
    photographs INTEGER NOT NULL,
    samples INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TRIGGER flag_raised AFTER INSERT ON flags BEGIN
    INSERT INTO flag_counts VALUES (new.flag, new.shown, new.shown * new.samples)
        ON CONFLICT (flag) DO UPDATE SET photographs = photographs + excluded.photographs,
            samples = samples + excluded.samples;
END;
CREATE TRIGGER flag_shown AFTER UPDATE OF shown ON flags BEGIN
    UPDATE flag_counts SET photographs = photographs + new.shown - old.shown,
        samples = samples + (new.shown - old.shown) * new.samples WHERE flag = new.flag;
END;

-- a small JPEG of each photograph, so that it can be shown when the file is elsewhere
CREATE TABLE previews (
    picture_id INTEGER PRIMARY KEY REFERENCES pictures,
    jpeg BLOB NOT NULL
) STRICT;

-- what the user changed: an edit is one deed, undone as one
CREATE TABLE edits (
    id INTEGER PRIMARY KEY,
    made_at TEXT NOT NULL,
    program TEXT NOT NULL,
    words TEXT NOT NULL,
    undone_at TEXT
) STRICT;
CREATE INDEX edits_standing ON edits (id) WHERE undone_at IS NULL;

CREATE TABLE changes (
    edit_id INTEGER NOT NULL REFERENCES edits,
    photograph_id INTEGER NOT NULL REFERENCES photographs,
    field TEXT NOT NULL CHECK (field IN ('names', 'outlines', 'note', 'left_out')),
    before TEXT,
    after TEXT,
    PRIMARY KEY (edit_id, photograph_id, field)
) STRICT, WITHOUT ROWID;
"""

_CONCLUSIONS = """
-- a course or comparisons; gone: how many of the measurements it was made of count no longer
CREATE TABLE conclusions (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL CHECK (kind IN ('track', 'compare')),
    made_at TEXT NOT NULL,
    program_id INTEGER NOT NULL REFERENCES programs,
    told TEXT NOT NULL CHECK (json_valid(told)),
    words TEXT NOT NULL,
    photographs INTEGER NOT NULL,
    gone INTEGER NOT NULL DEFAULT 0,
    record TEXT NOT NULL CHECK (json_valid(record))
) STRICT;
CREATE TABLE grounds (
    conclusion_id INTEGER NOT NULL REFERENCES conclusions,
    measurement_id INTEGER NOT NULL REFERENCES measurements,
    PRIMARY KEY (conclusion_id, measurement_id)
) STRICT, WITHOUT ROWID;
CREATE INDEX grounds_of ON grounds (measurement_id);
CREATE TRIGGER ground_shown AFTER UPDATE OF shown ON measurements WHEN new.shown <> old.shown BEGIN
    UPDATE conclusions SET gone = gone + old.shown - new.shown
        WHERE id IN (SELECT conclusion_id FROM grounds WHERE measurement_id = new.id);
END;
"""

_ORIGINALS = """
-- of photographs whose position and serial numbers were taken out before they were handed on: the hash before
CREATE TABLE originals (
    picture_id INTEGER PRIMARY KEY REFERENCES pictures,
    sha256 TEXT NOT NULL
) STRICT;
CREATE INDEX originals_by_hash ON originals (sha256);
"""

_MATCHES = """
-- a match with known forms is a conclusion too; both tables anew, since what a CHECK allows cannot be changed
CREATE TABLE conclusions_before AS SELECT * FROM conclusions;
CREATE TABLE grounds_before AS SELECT * FROM grounds;
DROP TABLE grounds;
DROP TABLE conclusions;
CREATE TABLE conclusions (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL CHECK (kind IN ('track', 'compare', 'match')),
    made_at TEXT NOT NULL,
    program_id INTEGER NOT NULL REFERENCES programs,
    told TEXT NOT NULL CHECK (json_valid(told)),
    words TEXT NOT NULL,
    photographs INTEGER NOT NULL,
    gone INTEGER NOT NULL DEFAULT 0,
    record TEXT NOT NULL CHECK (json_valid(record))
) STRICT;
CREATE TABLE grounds (
    conclusion_id INTEGER NOT NULL REFERENCES conclusions,
    measurement_id INTEGER NOT NULL REFERENCES measurements,
    PRIMARY KEY (conclusion_id, measurement_id)
) STRICT, WITHOUT ROWID;
CREATE INDEX grounds_of ON grounds (measurement_id);
INSERT INTO conclusions SELECT id, kind, made_at, program_id, told, words, photographs, gone, record
    FROM conclusions_before;
INSERT INTO grounds SELECT conclusion_id, measurement_id FROM grounds_before;
DROP TABLE conclusions_before;
DROP TABLE grounds_before;

-- of a course: how far a sample had changed at each place of it in one photograph; pixels: a byte each, row
-- by row, steps of 1/200 from -1/8 on, 254 where unknown, 255 outside
CREATE TABLE maps (
    conclusion_id INTEGER NOT NULL REFERENCES conclusions,
    place INTEGER NOT NULL,
    measurement_id INTEGER NOT NULL REFERENCES measurements,
    name TEXT NOT NULL,
    time_s REAL NOT NULL CHECK (abs(time_s) < 1e12),
    fraction REAL NOT NULL CHECK (abs(fraction) < 100),
    by_light INTEGER NOT NULL CHECK (by_light IN (0, 1)),
    pixel_px INTEGER NOT NULL CHECK (pixel_px BETWEEN 1 AND 1000000),
    height INTEGER NOT NULL CHECK (height BETWEEN 1 AND 64),
    width INTEGER NOT NULL CHECK (width BETWEEN 1 AND 64),
    pixels BLOB NOT NULL CHECK (length(pixels) = height * width),
    PRIMARY KEY (conclusion_id, place)
) STRICT;
"""

_BESIDE = """
-- of a bracket the exposures beside the photograph itself, which is the shortest of them
CREATE TABLE exposures (
    photograph_id INTEGER NOT NULL REFERENCES photographs,
    picture_id INTEGER NOT NULL UNIQUE REFERENCES pictures,
    PRIMARY KEY (photograph_id, picture_id)
) STRICT, WITHOUT ROWID;

-- of photographs copied into the study where they were copied from, by the way from the study's folder
CREATE TABLE sources (
    picture_id INTEGER PRIMARY KEY REFERENCES pictures,
    path TEXT NOT NULL
) STRICT;
CREATE INDEX sources_by_path ON sources (path);
"""

_WITHDRAWN = """
-- why a conclusion was withdrawn, empty where it was not; withdrawals: by which edits
ALTER TABLE conclusions ADD COLUMN withdrawn TEXT NOT NULL DEFAULT '';
CREATE TABLE withdrawals (
    edit_id INTEGER NOT NULL REFERENCES edits,
    conclusion_id INTEGER NOT NULL REFERENCES conclusions,
    before TEXT NOT NULL,
    after TEXT NOT NULL,
    PRIMARY KEY (edit_id, conclusion_id)
) STRICT, WITHOUT ROWID;
"""

_STANDING = """
-- withdrawn stands behind a record that may be long: which are not is asked without reading through it
CREATE INDEX conclusions_standing ON conclusions (id) WHERE withdrawn = '';
"""

STEPS = (_FIRST, _CONCLUSIONS, _ORIGINALS, _MATCHES, _BESIDE, _WITHDRAWN, _STANDING)
"""From no tables to version 1, from there to 2, and so on."""
