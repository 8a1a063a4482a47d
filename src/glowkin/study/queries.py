"""The text of every query that is asked of a study, by what it answers."""

from __future__ import annotations

_PHOTOGRAPH = """
    SELECT p.id, f.path, f.sha256, f.size_bytes, f.modified_ns, p.taken_at, p.added_at, p.note, p.left_out,
        CASE WHEN a.message IS NOT NULL THEN 'not measured' WHEN a.photograph_id IS NOT NULL THEN 'awaited'
            ELSE 'measured' END,
        a.message, m.id, m.measured_at, g.program, c.name, m.sample_count,
        m.exposure_s, m.iso, m.f_number, m.kind, coalesce(m.flags, '')
    FROM photographs p JOIN pictures f ON f.id = p.picture_id
    LEFT JOIN awaited a ON a.photograph_id = p.id
    LEFT JOIN measurements m ON m.photograph_id = p.id AND m.current = 1
    LEFT JOIN programs g ON g.id = m.program_id
    LEFT JOIN cameras c ON c.id = m.camera_id
"""
_SAMPLE = """
    SELECT f.path, s.taken_at, s.measurement_id, s.name, s.u_prime, s.v_prime, s.u_prime_variance,
        s.u_prime_v_prime_covariance, s.v_prime_variance, s.luminance_relative, s.luminance_per_exposure,
        s.dominant_wavelength_nm, s.dominant_wavelength_low_nm, s.dominant_wavelength_high_nm,
        s.excitation_purity, s.excitation_purity_low, s.excitation_purity_high,
        s.band_centre_nm, s.band_centre_low_nm, s.band_centre_high_nm, s.clipped_fraction, s.flags
    FROM samples s JOIN measurements m ON m.id = s.measurement_id
    JOIN photographs p ON p.id = m.photograph_id JOIN pictures f ON f.id = p.picture_id
"""
_SHOWS = (
    "p.id IN (SELECT id FROM photographs WHERE picture_id = f.id "
    "UNION ALL SELECT photograph_id FROM exposures WHERE picture_id = f.id)"
)
"""The photograph that a file is, or is an exposure of."""

QUERIES = {
    "title": "SELECT title, made_at, program FROM study",
    "photographs counted": "SELECT count(*) FROM photographs WHERE left_out = ''",
    "measured counted": "SELECT coalesce(sum(photographs), 0) FROM programs",
    "left out counted": "SELECT count(*) FROM photographs WHERE left_out <> ''",
    "awaited counted": (
        "SELECT count(*), count(a.message), count(m.id) FROM awaited a "
        "JOIN photographs p ON p.id = a.photograph_id "
        "LEFT JOIN measurements m ON m.photograph_id = p.id AND m.current = 1 WHERE p.left_out = ''"
    ),
    "samples counted": "SELECT coalesce(sum(photographs), 0) FROM names",
    "first taken": (
        "SELECT taken_at FROM photographs WHERE left_out = '' AND taken_at > '' ORDER BY taken_at LIMIT 1"
    ),
    "last taken": (
        "SELECT taken_at FROM photographs WHERE left_out = '' AND taken_at > '' "
        "ORDER BY taken_at DESC LIMIT 1"
    ),
    "edits counted": "SELECT count(*) FROM edits WHERE undone_at IS NULL",
    "photographs": (
        f"{_PHOTOGRAPH} WHERE p.id IN (SELECT id FROM photographs WHERE left_out = '' "  # noqa: S608 - fixed text
        "ORDER BY taken_at, id LIMIT ? OFFSET ?) ORDER BY p.taken_at, p.id"
    ),
    "left out": (
        f"{_PHOTOGRAPH} WHERE p.id IN (SELECT id FROM photographs WHERE left_out <> '' "  # noqa: S608 - fixed text
        "ORDER BY taken_at, id LIMIT ? OFFSET ?) ORDER BY p.taken_at, p.id"
    ),
    "not done": (
        f"{_PHOTOGRAPH} WHERE p.id IN (SELECT photograph_id FROM awaited) "  # noqa: S608 - fixed text
        "AND p.left_out = '' LIMIT ? OFFSET ?"
    ),
    "photograph": f"{_PHOTOGRAPH} WHERE p.id = ?",
    "by path": (
        f"SELECT p.id FROM pictures f JOIN photographs p ON {_SHOWS} WHERE f.path = ? "  # noqa: S608 - fixed text
        "ORDER BY p.left_out <> '', p.id DESC"
    ),
    "by source": (
        f"SELECT p.id FROM sources s JOIN pictures f ON f.id = s.picture_id JOIN photographs p ON {_SHOWS} "  # noqa: S608 - fixed text
        "WHERE s.path = ? ORDER BY p.left_out <> '', p.id DESC"
    ),
    "by hash": (
        f"SELECT p.id, f.path, f.sha256 FROM pictures f JOIN photographs p ON {_SHOWS} "  # noqa: S608 - fixed text
        "WHERE f.sha256 >= ? AND f.sha256 < ? LIMIT 6"
    ),
    "by name": (
        f"SELECT p.id, f.path FROM pictures f JOIN photographs p ON {_SHOWS} WHERE f.name = ?"  # noqa: S608 - fixed text
    ),
    "every name": "SELECT name FROM names",
    "names": (
        "SELECT n.name, n.photographs, (SELECT s.taken_at FROM samples s WHERE s.name = n.name "
        "AND s.shown = 1 AND s.taken_at > '' ORDER BY s.taken_at LIMIT 1), (SELECT s.taken_at FROM samples s "
        "WHERE s.name = n.name AND s.shown = 1 ORDER BY s.taken_at DESC LIMIT 1) "
        "FROM names n WHERE n.photographs > 0"
    ),
    "course": (
        f"{_SAMPLE} WHERE s.id IN (SELECT id FROM samples WHERE name = ? AND shown = 1 "  # noqa: S608 - fixed text
        "ORDER BY taken_at, id LIMIT ? OFFSET ?) ORDER BY s.taken_at, s.id"
    ),
    "samples of": f"{_SAMPLE} WHERE s.measurement_id = ? ORDER BY s.place",
    "flags": "SELECT flag, photographs, samples FROM flag_counts WHERE photographs > 0 ORDER BY flag",
    "flagged": (
        "SELECT f.path FROM flags t JOIN measurements m ON m.id = t.measurement_id "
        "JOIN photographs p ON p.id = m.photograph_id JOIN pictures f ON f.id = p.picture_id "
        "WHERE t.flag = ? AND t.shown = 1 ORDER BY t.measurement_id LIMIT ?"
    ),
    "cameras": (
        "SELECT c.name, c.basis, nullif(c.sha256, ''), f.name, c.photographs FROM cameras c "
        "LEFT JOIN files f ON f.sha256 = c.sha256 WHERE c.photographs > 0"
    ),
    "programs": "SELECT program, versions, photographs FROM programs WHERE photographs > 0",
    "settings": "SELECT id, told, photographs FROM settings WHERE photographs > 0",
    "settings of": "SELECT settings_id FROM measurements WHERE id = ?",
    "settings told": "SELECT told FROM settings WHERE id = ?",
    "measurements of": (
        "SELECT m.id, m.measured_at, g.program, c.name, nullif(c.sha256, ''), m.settings_id, m.sample_count, "
        "m.current, m.flags FROM measurements m JOIN programs g ON g.id = m.program_id "
        "JOIN cameras c ON c.id = m.camera_id WHERE m.photograph_id = ? ORDER BY m.id"
    ),
    "record": (
        "SELECT r.record, f.path FROM records r JOIN measurements m ON m.id = r.measurement_id "
        "JOIN photographs p ON p.id = m.photograph_id JOIN pictures f ON f.id = p.picture_id "
        "WHERE r.measurement_id = ?"
    ),
    "check": "SELECT json_extract(record, '$.check') FROM records WHERE measurement_id = ?",
    "names of": "SELECT name FROM samples WHERE measurement_id = ? ORDER BY place",
    "preview": (
        "SELECT v.jpeg FROM photographs p JOIN previews v ON v.picture_id = p.picture_id WHERE p.id = ?"
    ),
    "file": "SELECT name, content FROM files WHERE sha256 = ?",
    "picture": "SELECT path, sha256, size_bytes, modified_ns FROM pictures WHERE sha256 = ?",
    "exposures": (
        "SELECT f.path, f.sha256, f.size_bytes, f.modified_ns FROM exposures e "
        "JOIN pictures f ON f.id = e.picture_id WHERE e.photograph_id = ? ORDER BY f.id"
    ),
    "pictures": (
        "SELECT id, path, sha256, size_bytes, modified_ns FROM pictures WHERE id > ? ORDER BY id LIMIT ?"
    ),
    "conclusions": (
        "SELECT c.id, c.kind, c.made_at, g.program, c.words, c.photographs, c.gone FROM conclusions c "
        "JOIN programs g ON g.id = c.program_id WHERE c.id IN (SELECT id FROM conclusions "
        "WHERE withdrawn = '' ORDER BY id DESC LIMIT ? OFFSET ?) ORDER BY c.id DESC"
    ),
    "maps": (
        "SELECT a.name, f.path, a.time_s, a.fraction, a.by_light, a.pixel_px, a.height, a.width, a.pixels "
        "FROM maps a JOIN measurements m ON m.id = a.measurement_id "
        "JOIN photographs p ON p.id = m.photograph_id JOIN pictures f ON f.id = p.picture_id "
        "WHERE a.conclusion_id = ? ORDER BY a.place"
    ),
    "conclusion": "SELECT kind, told, record, withdrawn FROM conclusions WHERE id = ?",
    "grounds": (
        "SELECT g.measurement_id, f.sha256, f.path FROM grounds g "
        "JOIN measurements m ON m.id = g.measurement_id "
        "JOIN photographs p ON p.id = m.photograph_id JOIN pictures f ON f.id = p.picture_id "
        "WHERE g.conclusion_id = ? AND g.measurement_id > ? ORDER BY g.measurement_id LIMIT ?"
    ),
    "needed": (
        "SELECT p.id, f.sha256 FROM photographs p JOIN pictures f ON f.id = p.picture_id "
        "WHERE p.left_out = '' AND p.id > ? ORDER BY p.id LIMIT ?"
    ),
    "exposures needed": (
        "SELECT e.picture_id, f.sha256 FROM exposures e JOIN photographs p ON p.id = e.photograph_id "
        "JOIN pictures f ON f.id = e.picture_id WHERE p.left_out = '' AND e.picture_id > ? "
        "ORDER BY e.picture_id LIMIT ?"
    ),
    "settings needed": (
        "SELECT told FROM settings s WHERE EXISTS "
        "(SELECT 1 FROM photographs p WHERE p.settings_id = s.id AND p.left_out = '')"
    ),
    "edits": "SELECT id, made_at, program, words, undone_at FROM edits ORDER BY id DESC LIMIT ? OFFSET ?",
}
"""A test goes through them all and sees that each goes by an index."""
