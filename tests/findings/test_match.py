"""Samples beside known forms: densities against scipy, a textbook example, published chromaticities."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from glowkin.base.errors import CannotReadError, WrongUseError
from glowkin.base.matches import Assumed, match_document, matches_from_json
from glowkin.base.records import CameraUsed, MeasuredPhoto, Sample
from glowkin.base.spectra import Form
from glowkin.base.uncertainty import Uncertain
from glowkin.camera.emission_density import SPREAD, emission_density
from glowkin.camera.emission_prior import emission_prior
from glowkin.camera.nearby import near_loadings
from glowkin.colour.chromaticity import uv_prime_to_xy, xy_to_uv_prime
from glowkin.colour.mixing import mixed_uv_prime
from glowkin.findings.known_forms import colour_of_form, form_of_sample, match_photos
from glowkin.findings.match import Common, forms_ready, fraction_interval, log_normal_density
from glowkin.findings.spectrum import Told

# Published chromaticities x, y: ITU-R BT.2020 primaries; FL2 and FL11 of CIE 15.
XY = {"red": (0.708, 0.292), "green": (0.170, 0.797), "FL2": (0.3721, 0.3751), "FL11": (0.3805, 0.3769)}
UV = {name: xy_to_uv_prime(xy) for name, xy in XY.items()}
OWN = 0.002**2 * np.eye(2)


def known(uv, covariance=OWN, shared=None):
    return Uncertain(np.asarray(uv, dtype=float), np.asarray(covariance), shared or {})


def form(name, observer=2, **more):
    C = ((4e-6, 0.0), (0.0, 4e-6))
    x, y = XY.get(name, (0.3, 0.6))
    u, v = xy_to_uv_prime((x, y))
    return Form(name, float(u), float(v), C, x, y, observer, "published", "ITU-R BT.2020; CIE 15", **more)


def photo(*samples, observer=2):
    camera = CameraUsed("maker model", "chart")
    about = ("2026-05-04T09:00", 0.1, 100.0, 4.0, "raw", (100, 100))
    return MeasuredPhoto("a.dng", "00ff", *about, camera, "E", (1 / 3, 1 / 3), observer, (), samples)


def sample(name, uv, sd=0.002, shared=None):
    C = sd**2 * np.eye(2) + sum((np.array(S) @ np.array(S).T for S in (shared or {}).values()), 0 * OWN)
    x, y = uv_prime_to_xy(uv)
    colour = (float(uv[0]), float(uv[1]), tuple(map(tuple, C.tolist())), shared or {}, float(x), float(y))
    return Sample(name, (1.0, 1.0), 9.0, (), *colour)


def test_densities_are_those_of_scipy():
    rng = np.random.default_rng(3)
    for _ in range(20):
        A = 0.01 * rng.standard_normal((2, 2))
        C, away = A @ A.T + 1e-5 * np.eye(2), 0.02 * rng.standard_normal(2)
        assert log_normal_density(away[None], C[None])[0] == pytest.approx(
            multivariate_normal(cov=C).logpdf(away)
        )


def test_density_of_emission_is_one_altogether_and_that_of_its_spectra():
    """Summed over the diagram, and beside scipy's Gaussian averaged over the prior's own colours."""
    density = emission_density(2)
    assert density.weight.sum() == pytest.approx(1.0)
    C = 0.02**2 * np.eye(2)
    at = np.array([0.2, 0.5])
    kernel = multivariate_normal(mean=at, cov=C + SPREAD**2 * np.eye(2))
    of_spectra = kernel.pdf(emission_prior().uv_prime[2]).mean()
    found = density.around(at[None], C[None])[0]
    inside = 0.1 / 0.195  # the area within the locus in u'v', by arithmetic on its corners, about
    assert found == pytest.approx(0.9 * of_spectra + inside, rel=0.03)


def test_probabilities_by_the_rule_worked_by_hand():
    """One form: prior odds times a ratio of densities (Bayes, as in any textbook), all by scipy."""
    a, m = known(UV["green"]), known(UV["green"] + (0.004, -0.003))
    assumed = Assumed(prior_of_none=0.6, prior_of_mixtures=0.1, variation_u_prime_v_prime=0.005)
    told = forms_ready(["green"], [a], assumed).told(m)
    spread = OWN + 0.005**2 * np.eye(2)
    with_photo = multivariate_normal(cov=OWN + spread).pdf([0.004, -0.003])
    without = emission_density(2).around(a.value[None], spread[None])[0]
    odds = 0.4 / 0.6 * with_photo / without
    assert told.probability[0] == pytest.approx(odds / (1 + odds))
    assert told.probability.sum() == pytest.approx(1.0)


def test_a_test_for_a_rare_condition():
    """The textbook's screening test: 1 % are ill, 80 % of them and 9.6 % of the others test positive: 7.8 %.

    (Eddy, in Judgment under Uncertainty, 1982, as quoted in many textbooks; from memory.) Two answers, told
    apart by a ratio of 0.8 to 0.096: with that ratio put into prior and photograph the rule gives the same.
    """
    ratio = 0.8 / 0.096
    a = known(UV["FL2"])
    assumed = Assumed(prior_of_none=0.99, prior_of_mixtures=0.0)
    ready = forms_ready(["FL2"], [a], assumed)
    spread = OWN + 0.004**2 * np.eye(2)
    top = (
        multivariate_normal(cov=OWN + spread).pdf([0, 0])
        / emission_density(2).around(UV["FL2"][None], spread[None])[0]
    )
    far = np.sqrt(2 * np.log(top / ratio) * (OWN + spread)[0, 0])
    told = ready.told(known(UV["FL2"] + (far, 0.0)))
    assert told.probability[0] == pytest.approx(0.078, abs=0.0005)


def test_without_a_photograph_every_answer_has_its_prior():
    ready = forms_ready(["red", "green"], [known(UV["red"]), known(UV["green"])], Assumed())
    assert ready.untold().probability == pytest.approx([0.125, 0.125, 0.25, 0.5])
    assert ready.untold().probability.sum() == pytest.approx(1.0)


def test_a_form_of_a_colour_that_no_light_has_is_none_of_those_seen():
    """A file may hold any figures; u' of light ends at 0.63 (the spectrum locus)."""
    ready = forms_ready(["green", "beyond"], [known(UV["green"]), known((2.0, 1.5))], Assumed())
    told = ready.told(known(UV["green"]))
    assert np.isfinite(told.probability).all()
    assert told.probability[0] > 0.9
    assert told.probability[1] < 1e-6


def test_errors_that_sample_and_form_share_cancel():
    S = 0.03 * np.eye(2)
    close = UV["green"] + (0.03, -0.012)
    a = known(UV["green"], shared={"camera": S})
    same = forms_ready(["green"], [a], Assumed()).told(known(close, shared={"camera": S}))
    other = forms_ready(["green"], [a], Assumed()).told(known(close, shared={"another": S}))
    assert same.probability[0] < 0.01 < other.probability[0]


def read_by(camera, uv, alike=0.65):
    """A colour with an error of 0.02 that its camera has of such emissions, as ``camera.infer`` parts it."""
    error = 0.02**2 * np.eye(2)
    return known(uv, OWN + (1 - alike) * error, near_loadings(np.asarray(uv), alike * error, camera))


def test_one_emission_seen_twice_by_one_camera_errs_alike():
    """Equal readings then differ by their noise alone (arithmetic); of another camera's by both errors."""
    a, m = read_by("one", UV["FL2"]), read_by("one", UV["FL2"] + (0.003, 0.0))
    same, twice = Common.of(m, a, 0.65), 2 * OWN
    left = m.covariance + a.covariance - 2 * (same.colours + same.more)
    np.testing.assert_allclose(left, twice, atol=5e-6)
    other = Common.of(read_by("other", UV["FL2"]), a, 0.65)
    assert not other.more.any()
    assert not other.colours.any()


def test_a_batch_is_told_better_by_the_camera_that_knows_its_form():
    forms = [read_by("one", UV["FL2"])]
    told = [forms_ready(["FL2"], forms, Assumed()).told(read_by(c, UV["FL2"])) for c in ("one", "other")]
    odds = [t.probability[0] / t.probability[-1] for t in told]
    assert odds[0] > 5 * odds[1]


def test_developed_files_are_not_trusted_so_far():
    """Their saturated colours look alike whatever they are."""
    ready = forms_ready(["FL2"], [read_by("one", UV["FL2"], 0.8)], Assumed())
    raw, rendered = (ready.told(read_by("one", UV["FL2"], 0.8), kind) for kind in ("raw", "rendered"))
    assert rendered.probability[0] < raw.probability[0]


def test_mixtures_are_found_with_the_light_they_hold():
    """Published primaries mixed by colour-science's rule elsewhere tested: the light comes back."""
    ready = forms_ready(["red", "FL2"], [known(UV["red"]), known(UV["FL2"])], Assumed())
    for f in (0.05, 0.3, 0.8):
        told = ready.told(known(mixed_uv_prime(UV["red"], UV["FL2"], f)))
        middle, low, high = fraction_interval(ready.answers[2].fraction, told.weight[2])
        assert low < f < high
        assert middle == pytest.approx(f, abs=0.03)
        assert told.probability[2] > 0.8


def test_fraction_intervals_cover_errors_drawn_apart_from_the_inference():
    """Errors drawn here, the shared one drawn once for all; widths quoted with what they cover."""
    rng, S, batch = np.random.default_rng(11), 0.004 * np.eye(2), 0.004
    inside, width = [], []
    for _ in range(300):
        f, camera = rng.uniform(), rng.standard_normal(2)
        read = [UV[n] + S @ camera + 0.002 * rng.standard_normal(2) for n in ("red", "FL2")]
        true = mixed_uv_prime(*(UV[n] + batch * rng.standard_normal(2) for n in ("red", "FL2")), f)
        m = known(true + S @ camera + 0.002 * rng.standard_normal(2), shared={"camera": S})
        ready = forms_ready(["a", "b"], [known(r, shared={"camera": S}) for r in read], Assumed())
        _, low, high = fraction_interval(ready.answers[2].fraction, ready.told(m).weight[2])
        inside.append(low <= f <= high)
        width.append(high - low)
    assert 0.91 <= np.mean(inside) <= 0.985
    assert np.median(width) < 0.09


def test_verdicts_in_words():
    forms = [form("red"), form("green"), form("FL2")]
    mixed = photo(sample("mixed", mixed_uv_prime(UV["red"], UV["FL2"], 0.4)))
    samples = [
        sample("yellow", mixed_uv_prime(UV["red"], UV["green"], 0.4)),
        sample("twice", UV["FL2"], sd=0.05),
        sample("none", (0.22, 0.2)),
    ]
    found = match_photos([photo(*samples)], forms, Assumed(), "forms.json")
    said = {s.name: s for s in found.samples}
    two = match_photos([mixed], forms[::2], Assumed(), "forms.json").samples[0]
    assert two.sentence == "colour consistent with a mixture of red and FL2; not proof of identity"
    assert two.consistent_with == ("red", "FL2")
    assert said["twice"].verdict == "cannot tell"
    assert said["twice"].sentence.startswith("cannot tell: ")
    # Any yellow band looks so: a mixture of red and green is one of many things.
    assert said["yellow"].sentence == "cannot tell: none of them or red with green"
    assert said["none"].sentence == "colour consistent with none of the forms"
    assert said["none"].not_excluded == ((),)
    assert all(sum(row["probability"] for row in s.rows()) == pytest.approx(1.0) for s in found.samples)
    assert "cannot tell" in found._repr_html_()


def test_two_forms_of_one_colour_cannot_be_told_apart():
    twins = [replace(form("red"), name=name) for name in ("red", "also red")]
    found = match_photos([photo(sample("a", UV["red"], sd=0.001))], twins, Assumed(), "forms.json").samples[0]
    assert found.verdict == "cannot tell"
    assert found.forms[0].probability == pytest.approx(found.forms[1].probability, rel=1e-6)


def test_one_form_alone():
    found = match_photos([photo(sample("a", UV["FL2"], sd=0.0005))], [form("FL2")], Assumed(), "f.json")
    first = found.samples[0]
    assert first.mixtures == ()
    assert first.prior_of_none == 0.5
    assert first.sentence == "colour consistent with FL2; not proof of identity"


def test_weights_and_priors_shift_the_answer():
    seen = photo(sample("a", UV["FL2"] + (0.004, 0.0), sd=0.005))
    forms = [form("FL2"), form("FL11")]
    even = match_photos([seen], forms, Assumed(), "f").samples[0]
    heavier = match_photos([seen], forms, Assumed(weights={"FL11": 20.0}), "f").samples[0]
    doubtful = match_photos([seen], forms, Assumed(prior_of_none=0.95, prior_of_mixtures=0.02), "f").samples[
        0
    ]
    assert heavier.forms[1].probability > 1.5 * even.forms[1].probability
    assert doubtful.probability_of_none > even.probability_of_none


def test_a_sample_without_a_colour_keeps_what_was_thought_before():
    seen = photo(Sample("dark", (1.0, 1.0), 9.0, ()))
    found = match_photos([seen], [form("red"), form("green")], Assumed(), "f").samples[0]
    assert (found.verdict, found.probability_of_none) == ("cannot tell", 0.5)
    assert found.sentence == "cannot tell: the sample has no colour"


def test_the_record_comes_back_as_it_was():
    found = match_photos([photo(sample("a", UV["FL2"]))], [form("FL2"), form("red")], Assumed(), "f", "12ab")
    assert matches_from_json(match_document(found, (), "glowkin")) == found


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"prior_of_none": 0.8, "prior_of_mixtures": 0.2}, "something must be left"),
        ({"prior_of_none": float("nan")}, "shares of one"),
        ({"weights": {"red": -1.0}}, "a weight is 0 or above"),
        ({"variation_u_prime_v_prime": -0.1}, "differ by 0 to 0.1"),
        ({"sure": 1.0}, "from 0.5 to below 1"),
    ],
)
def test_what_cannot_be_thought_is_refused(how, words):
    with pytest.raises(WrongUseError, match=words):
        Assumed(**how)


def test_forms_that_do_not_fit_are_told():
    seen = photo(sample("a", UV["FL2"]))
    with pytest.raises(CannotReadError, match="holds no form"):
        match_photos([seen], [], Assumed(), "f.json")
    with pytest.raises(WrongUseError, match="no such form; there are red"):
        match_photos([seen], [form("red")], Assumed(weights={"rde": 2.0}), "f.json")
    with pytest.raises(WrongUseError, match="one form at least"):
        match_photos([seen], [form("red")], Assumed(weights={"red": 0.0}), "f.json")
    with pytest.raises(CannotReadError, match="is for the 10° observer"):
        match_photos([seen], [form("red", observer=10)], Assumed(), "f.json")
    with pytest.raises(WrongUseError, match="both observers"):
        match_photos([seen, photo(observer=10)], [form("red")], Assumed(), "f.json")


def test_a_spectrum_gives_the_form_for_the_other_observer(colour_science):
    """The form of FL2's spectrum at 10 degrees: xy 0.3793, 0.3673 (CIE 15:2004, Table T.8.1; from memory)."""
    sd = colour_science.SDS_ILLUMINANTS["FL2"]
    nm, power = np.array(sd.wavelengths), np.array(sd.values)
    kept = form("FL2", wavelength_nm=tuple(nm), power=tuple(power / power.max()))
    ten = colour_of_form(kept, 10, "f.json")
    np.testing.assert_allclose(uv_prime_to_xy(ten.value), (0.3793, 0.3673), atol=0.0006)
    np.testing.assert_allclose(uv_prime_to_xy(colour_of_form(kept, 2, "f").value), XY["FL2"], atol=1e-6)


def test_a_form_from_a_sample_keeps_what_its_camera_shares():
    S = ((0.01, 0.0), (0.0, 0.01))
    seen = photo(sample("a", UV["green"], shared={"maker model, camera": S}))
    kept = form_of_sample("green", seen, seen.samples[0], Told(excitation="365 nm"))
    assert (kept.basis, kept.camera, kept.shared_errors) == (
        "photograph", "maker model, chart", {"maker model, camera": S},
    )  # fmt: skip
    colour = colour_of_form(kept, 2, "f")
    np.testing.assert_allclose(colour.own, OWN, atol=1e-12)
    np.testing.assert_allclose(colour.covariance, np.array(kept.u_prime_v_prime_covariance))


def test_cameras_without_a_name_share_nothing():
    seen = photo(sample("a", UV["green"], shared={"unknown camera, sRGB, camera": ((0.01,), (0.0,))}))
    seen = replace(seen, camera=CameraUsed("unknown camera, sRGB", "generic"))
    kept = form_of_sample("green", seen, seen.samples[0], Told())
    assert kept.shared_errors is None
    assert kept.u_prime_v_prime_covariance[0][0] == pytest.approx(0.01**2 + 0.002**2)
